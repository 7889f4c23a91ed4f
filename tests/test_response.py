"""What is known of a phone's response before the solve: the rule, shrinking, what is kept, the map."""

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import photo_sets
import pytest
import response_sets as sets
from click.testing import CliRunner
from laid import patch_of
from scipy.stats import norm

from lightcheck import card, humpmap, lamp, photo, report, response
from lightcheck import specimen as sp
from lightcheck.card import grey
from lightcheck.check import ends
from lightcheck.check.ends import contrast_apart
from lightcheck.cli.main import main
from lightcheck.errors import LightcheckError
from lightcheck.photo import CameraFacts, Photo, bracket
from lightcheck.photo.slope import LogSlope
from lightcheck.relief import nuisance
from lightcheck.relief.scene import lay_scene
from lightcheck.response import choose, kept

PHONE = CameraFacts(make="Quillhaven", model="Quillhaven Bench 2")


def picture(kind: str = "JPEG", facts: CameraFacts = PHONE) -> Photo:
    blank = np.full((8, 8), 0.5, np.float32)
    return Photo(
        name="a.jpg", sha256="", coded=np.zeros((8, 8, 3), np.uint8), light=blank,
        spoilt=np.zeros((8, 8), bool), facts=facts, kind=kind,
    )  # fmt: skip


def curve(slope=1.3, sigma=0.05, *, low=-4.0, high=-1.0) -> LogSlope:
    return LogSlope(
        light_log=np.linspace(low, high, 4), slope=np.full(4, slope), sigma=np.full(4, float(sigma))
    )


def measured(**more) -> response.Response:
    given = {"source": "bracket", "curve": curve(), "bent": (True, True), "phone": "Quillhaven Bench 2"}
    return response.Response(**{**given, **more})


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Where responses are kept by the XDG Base Directory Specification."""
    monkeypatch.setattr(kept.sys, "platform", "linux")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return tmp_path / "state" / "lightcheck" / "responses"


# --- the rule ---------------------------------------------------------------------------------------


@pytest.fixture
def sources(monkeypatch):
    """Strips, brackets and a kept response that are all there; what is popped is not."""
    there = {"strip", "bracket", "kept"}

    def strips(_):
        if "strip" in there:
            return curve(1.1)
        raise LightcheckError("Only 0 patches", "More.")

    monkeypatch.setattr(choose.__globals__["tone"], "response", strips)
    monkeypatch.setattr(bracket, "response", lambda _: curve(1.2))
    monkeypatch.setattr(choose.__globals__["photos_"], "load_all", lambda paths: (picture(),) * len(paths))
    response.keep(measured(curve=curve(1.4)))
    return there


def chosen(sources, *kinds, use_kept=True):
    brackets = ("b1.jpg", "b2.jpg") if "bracket" in sources else ()
    photos = tuple(picture(k) for k in kinds)
    return choose(photos, ((),) * len(photos), brackets=brackets, use_kept=use_kept)


def test_the_rule_goes_down_the_list(sources):
    assert chosen(sources, "raw", "raw").source == "raw"
    found = chosen(sources, "JPEG", "JPEG")
    assert found.source == "grey strip" and found.curve.slope[0] == 1.1
    assert found.sentence.endswith("The bracket was not needed.")
    sources.remove("strip")
    assert chosen(sources, "JPEG", "HEIF").source == "bracket"
    sources.remove("bracket")
    found = chosen(sources, "JPEG", "JPEG")
    assert found.source == "kept" and "Kept response of this phone used" in found.sentence
    assert found.curve.slope[0] == 1.4 and found.more_sigma > 0
    assert chosen(sources, "JPEG", use_kept=False).source == "standard"


def test_raw_among_others_keeps_its_own(sources):
    found = chosen(sources, "raw", "JPEG")
    assert found.source == "grey strip" and found.bent == (False, True)


def test_a_response_kept_of_another_phone_is_not_used(sources):
    sources.clear()
    other = replace(PHONE, model="Quillhaven Bench 3")
    assert choose((picture(facts=other),), ((),), use_kept=True).source == "standard"
    assert choose((picture(), picture(facts=other)), ((), ()), use_kept=True).source == "standard"
    assert choose((picture(facts=CameraFacts()),), ((),), use_kept=True).source == "standard"


@pytest.mark.parametrize(
    ("shot", "words"),
    [
        (picture("raw"), "bracket is raw"),
        (picture(facts=CameraFacts(make="Tarn", model="3")), "another phone"),
    ],
)
def test_brackets_that_do_not_fit_are_refused(sources, monkeypatch, shot, words):
    sources.remove("strip")
    monkeypatch.setattr(choose.__globals__["photos_"], "load_all", lambda paths: (picture(), shot))
    with pytest.raises(LightcheckError, match=words) as refusal:
        chosen(sources, "JPEG")
    assert refusal.value.remedy


# --- shrinking --------------------------------------------------------------------------------------


@pytest.mark.parametrize("sigma", [0.01, 0.03, 0.06])
def test_a_curve_is_shrunk_by_its_own_uncertainty(sigma):
    """Against the product of two normal densities on a fine net (scipy.stats)."""
    x = np.linspace(-2, 2, 40001)
    both = norm.pdf(x, 0.3, sigma) * norm.pdf(x, 0, 0.25)
    both /= both.sum()
    mean = both @ x
    got, spread = measured(curve=curve(1.3, sigma)).at([-2.5])
    assert got[0] == pytest.approx(mean, abs=1e-4)
    assert spread[0] == pytest.approx(np.sqrt(both @ (x - mean) ** 2), abs=1e-4)


def test_beyond_what_was_measured_it_fades_to_the_usual_prior():
    mean, sigma = measured().at([-2.5, -0.8, 0.5, 9.0])
    assert (np.diff(mean) < 0).all() and mean[0] > 0.25 and mean[-1] < 0.01
    assert sigma[0] < 0.05 and sigma[-1] == response.USUAL_SIGMA
    assert (sigma <= response.USUAL_SIGMA).all()


def test_a_kept_one_counts_less():
    fresh, older = measured(), measured(more_sigma=kept.CHANGED_SIGMA)
    assert older.at([-2.0])[0] < fresh.at([-2.0])[0] and older.at([-2.0])[1] > fresh.at([-2.0])[1]


# --- in the solve -----------------------------------------------------------------------------------


BENCH = photo_sets.Bench.of(small=True)


@pytest.fixture(scope="module")
def odd_pair(tmp_path_factory):
    """A pair as JPEG by a phone with an odd curve, and the same light as raw: paths, paths, lamps, shots."""
    pytest.importorskip("rawpy")
    from test_photo_kinds import dng, sensor

    place = tmp_path_factory.mktemp("odd")
    shots = BENCH.pair()
    paths, typed = photo_sets.write(shots, place)
    raws = []
    for path, shot in zip(paths, shots, strict=True):
        coded = sp.srgb_encode(np.clip(shot.light, 0, 1))
        sets.rewrite(path, sets.linear(coded - 0.05 * np.sin(2 * np.pi * coded)))
        raws.append(path.with_suffix(".dng"))
        raws[-1].write_bytes(dng(sensor(shot.light, white=65535, black=0), white=65535, black=0))
    return paths, tuple(raws), typed


def mapped(paths, typed, **more):
    asked = humpmap.Recipe(photos=tuple(map(str, paths)), lamps=typed, **more)
    return humpmap.make(asked)


def test_raw_and_jpeg_of_one_shot_give_one_map(odd_pair):
    """The JPEG's curve is up to 38 % off in contrast; both raw, and one of each."""
    jpegs, raws, typed = odd_pair
    first = mapped(jpegs, typed)
    peak = BENCH.board.humps[0].height_mm
    assert first.response.source == "standard" and max(first.relief.response) > 1.15
    for paths, bent in ((raws, (False, False)), ((jpegs[0], raws[1]), (True, False))):
        other = mapped(paths, typed)
        assert other.response.bent == bent
        assert other.patch.grid.shape == first.patch.grid.shape
        off = other.fair.height_mm - first.fair.height_mm
        both = np.isfinite(off)
        assert np.mean(np.abs(off[both]) < first.fair.sigma_mm[both]) > 0.95
        assert np.sqrt(np.mean(off[both] ** 2)) < 0.1 * peak
    assert np.nanmedian(other.fair.sigma_mm) < 1.2 * np.nanmedian(first.fair.sigma_mm)


def lamps(kind: str = "lamp") -> tuple[lamp.Lamp, ...]:
    specs = (lamp.read(f"{side},900mm,110mm") for side in ("left", "right"))
    placed = (lamp.place(s, centres_mm={}, eye_mm=np.array([0, 0, 700.0])) for s in specs)
    return tuple(replace(a, kind=kind) for a in placed)


def falling(lit: tuple[lamp.Lamp, ...]):
    """A scene with light that falls off across the sheet, each way."""
    patch = patch_of()
    x, _ = patch.grid.mesh_mm()
    return lay_scene(replace(patch, log_light=np.stack([-1.5 - x / 300, -1.5 + x / 300])), lit)


def test_without_a_response_nothing_changes():
    """None, and the standard one, give the same columns and priors to the last bit."""
    scene = falling(lamps())
    plain, standard = (
        nuisance.describe(scene),
        nuisance.describe(scene, response.Response(source="standard", bent=(True, True))),
    )
    for name in ("expected", "sigma", "response", "hats"):
        assert (getattr(plain, name) == getattr(standard, name)).all()
    assert (plain.sigma[plain.of("response")] == nuisance.RESPONSE_SIGMA).all()


def test_a_measured_one_is_the_prior_of_the_solve_and_raw_has_no_columns():
    scene = falling(lamps())
    wide = curve(1.3, 0.02, low=-20.0, high=20.0)
    own = nuisance.describe(scene, measured(curve=wide, bent=(True, False)))
    mine = own.of("response")
    assert own.expected[mine] == pytest.approx(0.3, abs=0.005) and own.sigma[mine] == pytest.approx(
        0.02, abs=0.001
    )
    assert (own.response[:, 1] == 0).all() and (own.hats[:, 1] == 0).all() and own.response[:, 0].any()
    held = nuisance.describe(falling(lamps("far")), measured(curve=wide))
    assert (held.sigma[held.of("response")] == nuisance.NO_FALL_OFF_SIGMA).all()


# --- grey strips in the photos ----------------------------------------------------------------------


@pytest.fixture(scope="module")
def stripped(tmp_path_factory):
    """A pair by an odd phone, strips on cards 0 (outside the patch) and 2 (inside): paths, lamps, photos."""
    place = tmp_path_factory.mktemp("strips")
    board, phone = BENCH.board, sp.Phone(width_px=2016, height_px=1512, distance_mm=540.0, curve="odd")
    with sets.strips((0, 2)):
        shots = sp.shoot(board, "pair", place, seed=4, phone=phone)
    paths = tuple(p for p, _ in shots)
    return paths, tuple(s for _, s in shots), tuple(photo.load(p) for p in paths)


@pytest.fixture(scope="module")
def strip_map(stripped):
    return mapped(stripped[0], stripped[1])


def test_strips_in_sight_tell_the_curve(strip_map):
    """Within 2.5 sigma of what the made-up phone does, at every level."""
    found = strip_map.response
    assert found.source == "grey strip" and found.sentence.endswith("read from 4 grey strips.")
    coded = np.linspace(0.05, 0.95, 5000)
    true, out = np.log(sets.linear(coded)), np.log(sets.linear(coded - 0.05 * np.sin(2 * np.pi * coded)))
    expected = np.interp(found.curve.light_log, out, np.gradient(true, out))
    assert np.ptp(expected) > 0.3
    assert (np.abs(found.curve.slope - expected) < 2.5 * found.curve.sigma).all()


def test_no_wood_is_seen_through_a_strip(strip_map):
    patch = strip_map.patch
    place = next(p for p in patch.cards if p.card == 2)
    c, s = np.cos(place.turn_rad), np.sin(place.turn_rad)
    for up, wood in ((-37.0, False), (-48.0, False), (-60.0, False), (-72.0, True)):
        row, column = (round(float(i)) for i in patch.grid.index(place.x_mm - up * s, place.y_mm + up * c))
        assert patch.wood[row, column] == wood and patch.inside[row, column]
    assert not {"damp or oiled", "local tone mapping"} & {f.name for f in strip_map.findings}


def test_strips_that_disagree_are_local_tone_mapping(stripped, tmp_path):
    """Contrast 14 % less at one end of the frame than at the other; 6.5 % lie between the strips."""
    paths, _, photos = stripped
    assert not list(ends.ends(photos, tuple(card.find(p) for p in photos)))
    bent = []
    for path in paths:
        copy = tmp_path / path.name
        copy.write_bytes(path.read_bytes())
        sets.contrast_by_place(copy, 0.14)
        bent.append(photo.load(copy))
    (found,) = ends.ends(tuple(bent), tuple(card.find(p) for p in bent))
    assert found.name == "local tone mapping" and found.severity == "amber" and found.remedy
    assert 0.05 < found.sigma_mm < 0.2
    raw = tuple(replace(p, kind="raw") for p in bent)
    assert not list(ends.ends(raw, tuple(card.find(p) for p in raw)))


@pytest.mark.parametrize("share", [0.0, 0.06, 0.12])
def test_how_far_apart_strips_are(share):
    """Strips made by hand, of known contrast."""
    drawn = np.log([1.0, 0.5, 0.5, 0.5, 0.3, 0.3, 0.15, 0.06])
    made = [
        grey.Strip(
            card=n, coverage=np.linspace(0, 1, 8), pitch_mm=np.full(8, 0.4),
            parts=np.repeat(np.exp(times * drawn)[:, None], 16, axis=1) * 0.4, paper=np.full(8, 0.4),
            sigma=np.full(8, 0.004),
        )
        for n, times in ((0, 1.0), (1, 1 + share))
    ]  # fmt: skip
    apart, sigma = contrast_apart(made, curve(1.0, low=-6.0, high=0.0))
    assert apart == pytest.approx(share / (1 + share / 2), abs=0.002) and ends.PRINTS_APART < sigma < 0.03


# --- kept -------------------------------------------------------------------------------------------


def test_what_is_kept_comes_back_and_names_no_more_than_the_phone(folder):
    path = response.keep(measured())
    assert path.parent == folder and sorted(p.name for p in folder.iterdir()) == ["quillhaven-bench-2.json"]
    facts = json.loads(path.read_text())
    assert set(facts) == {"schema", "phone", "source", "day", "light_log", "slope", "sigma"}
    (back,) = response.listed()
    assert back.phone == "Quillhaven Bench 2" and back.source == "bracket"
    for name in ("light_log", "slope", "sigma"):
        assert (getattr(back.curve, name) == getattr(curve(), name)).all()


def test_a_later_one_takes_its_place(folder):
    response.keep(measured())
    response.keep(measured(curve=curve(1.1)))
    (back,) = response.listed()
    assert back.curve.slope[0] == 1.1


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{", '{"schema": 9}', '{"schema": 1, "phone": "x", "light_log": [1]}', "[" * 5000, "nan"],
)
def test_a_damaged_one_is_refused_by_name(folder, text):
    response.keep(measured()).write_text(text)
    with pytest.raises(LightcheckError, match="Quillhaven Bench 2 can not be read") as refusal:
        choose((picture(),), ((),), use_kept=True)
    assert "--no-kept-response" in refusal.value.remedy
    assert choose((picture(),), ((),)).source == "standard" and response.listed() == ()


@pytest.mark.parametrize(
    ("key", "value"), [("slope", [1, 1, 1, 50]), ("sigma", [0, 1, 1, 1]), ("light_log", [0] * 4)]
)
def test_senseless_numbers_are_refused(folder, key, value):
    path = response.keep(measured())
    path.write_text(json.dumps(json.loads(path.read_text()) | {key: value}))
    with pytest.raises(LightcheckError, match="can not be read"):
        kept.read("Quillhaven Bench 2")


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (measured(source="standard", curve=None), "no measured response"),
        (measured(source="kept"), "no measured response"),
        (measured(phone=""), "which phone"),
    ],
)
def test_what_can_not_be_kept_is_refused(folder, found, words):
    with pytest.raises(LightcheckError, match=words) as refusal:
        response.keep(found)
    assert refusal.value.remedy and not folder.exists()


def test_a_folder_that_can_not_be_written_is_told(folder):
    folder.parent.parent.mkdir(parents=True)
    folder.parent.write_text("a file is in the way")
    with pytest.raises(LightcheckError, match="could not be kept"):
        response.keep(measured())


@pytest.mark.parametrize(
    ("platform", "variables", "expected"),
    [
        ("linux", {}, "~/.local/state/lightcheck/responses"),
        ("linux", {"XDG_STATE_HOME": "relative/is/ignored"}, "~/.local/state/lightcheck/responses"),
        ("darwin", {}, "~/Library/Application Support/lightcheck/responses"),
        ("win32", {"LOCALAPPDATA": "/local"}, "%LOCALAPPDATA%/lightcheck/responses"),
    ],
)
def test_the_folder_is_the_platforms_own(monkeypatch, platform, variables, expected):
    for name in ("XDG_STATE_HOME", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(kept.sys, "platform", platform)
    assert response.shown_folder() == expected
    assert kept.folder().parts[-2:] == ("lightcheck", "responses")


# --- the command ------------------------------------------------------------------------------------


WORDS = ["map", "a.jpg", "b.jpg", "--lamp", "left,900mm,110mm", "--lamp", "right,900mm,110mm"]


@pytest.fixture
def command(monkeypatch, tmp_path):
    """Run map with a made-up result; recipes as they were asked for."""
    asked = []

    def run(*typed, found=None):
        result = SimpleNamespace(spots=(), warnings=(), response=found)
        monkeypatch.setattr(humpmap, "make", lambda recipe: asked.append(recipe) or result)
        monkeypatch.setattr(report, "write", lambda *_, **__: tmp_path / "report.html")
        return CliRunner().invoke(main, [*WORDS, *typed, "-o", str(tmp_path / "out")]), asked[-1]

    return run


def test_the_command_hands_on_brackets_and_keeps_only_when_asked(command, folder):
    found = measured(sentence="Read from the bracket.")
    result, recipe = command("--bracket", "1.jpg", "--bracket", "2.jpg", found=found)
    assert recipe.brackets == ("1.jpg", "2.jpg") and recipe.kept_response
    assert "Note: Read from the bracket." in result.stderr and not folder.exists()
    result, _ = command("--keep-response", found=found)
    assert (
        "kept in $XDG_STATE_HOME/lightcheck/responses" in result.stderr and len(list(folder.iterdir())) == 1
    )
    assert command("--no-kept-response")[1].kept_response is False


def test_keeping_what_was_not_measured_is_two_lines(command, folder):
    result, _ = command("--keep-response", found=measured(source="standard", curve=None))
    assert result.exit_code == 1 and "no measured response" in result.stderr and not folder.exists()


def test_about_lists_what_is_kept(folder):
    run = CliRunner().invoke
    assert "Kept response" not in run(main, ["about"]).stdout
    response.keep(measured())
    told = run(main, ["about"]).stdout
    assert "Kept response of Quillhaven Bench 2: bracket" in told and str(folder) not in told
    assert json.loads(run(main, ["about", "--json"]).stdout)["kept_responses"][0]["source"] == "bracket"


def test_one_bracket_is_refused(stripped):
    paths = stripped[0]
    with pytest.raises(LightcheckError, match="two or more"):
        choose((picture(),), ((),), brackets=(str(paths[0]),))
