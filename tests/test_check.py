"""Checks on photos: each fault is named for what it is, and sound photos are left alone."""

import json
import math
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import photo_sets as sets
import pytest
from click.testing import CliRunner

from lightcheck import card, check, lamp, photo
from lightcheck.check import camera, finding, grain, lamps, light, lit, paper, sharp, sheet
from lightcheck.cli.main import main
from lightcheck.patch import Base, lay_out
from lightcheck.photo import CameraFacts, Photo

FIXTURES = Path(__file__).parent.parent / "fixtures"
IN_A_HURRY = (  # of the 34 sets of demo/figures_check.py; what a tag alone tells is tested further down
    "out of focus", "shaken", "focused on one end", "greasy lens", "burnt out", "underexposed",
    "white balance not locked", "grain taken for noise", "sent by messenger",
    "lamps typed the wrong way round", "the same photo twice", "printed 3 % too short", "one card curled",
    "daylight", "ribbon stripe", "a damp place", "raised grain, lamp across it",
)  # fmt: skip


def looked_at(folder: Path, shots) -> tuple[check.Finding, ...]:
    paths, typed = sets.write(shots, folder)
    return check.files(paths, lamps=tuple(lamp.read(t) for t in typed))


@pytest.mark.parametrize("fault", IN_A_HURRY)
def test_a_fault_is_named_for_what_it_is(tmp_path, fault):
    name, make = sets.BAD[fault]
    found = looked_at(tmp_path, make(sets.Bench.of(small=True)))
    assert name in {f.name for f in found}
    assert len({f.name for f in found}) <= 2  # and little else is blamed
    told = next(f for f in found if f.name == name)
    assert told.severity in (check.AMBER, check.RED) and told.remedy.endswith(".") and told.what


@pytest.mark.parametrize("number", [0, 4, 9])
def test_sound_photos_are_left_alone(tmp_path, number):
    (only,) = looked_at(tmp_path, sets.good(number, small=True))
    assert (only.name, only.severity) == ("sound", check.GREEN)


@pytest.mark.parametrize("scene", ["pair-1", "three-1"])
def test_path_traced_photos_are_left_alone(scene):
    """Rendered by a program that shares nothing with this one."""
    typed = json.loads((FIXTURES / scene / "truth.json").read_text(encoding="utf-8"))["lamps"]
    paths = tuple(sorted((FIXTURES / scene).glob("*.jpg")))
    found = check.files(paths, lamps=tuple(lamp.read(t) for t in typed))
    assert [f.severity for f in found] == [check.GREEN]


def test_a_path_traced_sheen_is_seen():
    typed = json.loads((FIXTURES / "wind-1" / "truth.json").read_text(encoding="utf-8"))
    assert typed["gloss"] > 0
    paths = tuple(sorted((FIXTURES / "wind-1").glob("*.jpg")))
    found = check.files(paths, lamps=tuple(lamp.read(t) for t in typed["lamps"]))
    assert [f.name for f in found] == ["glossy"]


# --- sharpness -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    """A sound pair, read, with its cards: (photos, sightings, lamps)."""
    shots = sets.Bench.of(small=True).pair()
    paths, typed = sets.write(shots, tmp_path_factory.mktemp("pair"))
    photos = tuple(photo.load(p) for p in paths)
    return photos, tuple(card.find(p) for p in photos), tuple(lamp.read(t) for t in typed)


@pytest.mark.parametrize("sigma_px", [1.0, 1.6, 2.2])
def test_blur_is_measured(pair, sigma_px):
    """Blurs add up by their squares: a Gaussian's is known, the lens's own was measured without it."""
    photos, sightings, _ = pair
    import cv2

    own = sharp.blur(photos[0], sightings[0]).along_px
    soft = replace(photos[0], light=cv2.GaussianBlur(photos[0].light, (0, 0), sigma_px))
    found = sharp.blur(soft, sightings[0])
    assert found.along_px == pytest.approx(math.hypot(own, sigma_px), rel=0.08)
    assert found.across_px == pytest.approx(math.hypot(own, sigma_px), rel=0.12)


@pytest.mark.parametrize("turn_deg", [0, 50])
def test_shake_is_measured_along_its_way(pair, turn_deg):
    """A drawn-out bell of known sigmas, 2 px along and 0.5 across."""
    photos, sightings, _ = pair
    import cv2

    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    v, u = np.mgrid[-9:10, -9:10]
    bell = np.exp(-0.5 * (((u * c + v * s) / 2.0) ** 2 + ((v * c - u * s) / 0.5) ** 2))
    drawn = cv2.filter2D(photos[0].light, -1, bell / bell.sum())
    own = sharp.blur(photos[0], sightings[0]).along_px
    found = sharp.blur(replace(photos[0], light=drawn), sightings[0])
    assert found.along_px == pytest.approx(math.hypot(own, 2.0), rel=0.12)
    assert found.across_px == pytest.approx(math.hypot(own, 0.5), rel=0.2)


# --- cards -----------------------------------------------------------------------------------------


def test_a_squashed_print_is_measured(tmp_path):
    paths, _ = sets.write(sets.squashed(sets.Bench.of(small=True)), tmp_path)
    photos = tuple(photo.load(p) for p in paths)
    ratio, doubt = paper.squeeze(photos, tuple(card.find(p) for p in photos))
    assert ratio == pytest.approx(-math.log(0.97), abs=max(3 * doubt, 0.005))


# --- light ------------------------------------------------------------------------------------------


def test_light_falls_off_as_it_should():
    """Below a lamp 100 mm up, and 100 mm beside that: cos 45 over twice the square is 2 sqrt 2 less."""
    log = lamps.log_light(Base(), np.array([0.0, 0.0, 100.0]), np.array([[0.0, 0.0], [100.0, 0.0]]))
    assert log == pytest.approx([0.0, -math.log(2 * math.sqrt(2))])


def test_room_light_is_measured(tmp_path):
    """Half of the lamp's light at the origin comes from the sky, by making."""
    paths, typed = sets.write(sets.daylit(sets.Bench.of(small=True)), tmp_path)
    photos = tuple(photo.load(p) for p in paths)
    laid = sheet.from_sightings(photos, tuple(card.find(p) for p in photos))
    stood = tuple(lamp.place(lamp.read(t), centres_mm={}, eye_mm=np.zeros(3)) for t in typed)
    share = lamps.shares(laid.base, stood, lit.lit(laid))[0]
    assert abs(share.ambient - 0.5) < 2 * share.sigma and share.ambient == pytest.approx(0.5, abs=0.15)


def test_doubt_from_light_is_that_of_a_hump():
    """Against the slope of a raised cosine, by finite differences, under a lamp 7 degrees high."""
    x = np.linspace(-50, 50, 20_001)
    height = 0.3 * (1 + np.cos(2 * np.pi * x / 100)) / 2
    contrast = np.gradient(height, x).max() / math.tan(math.radians(7))
    assert finding.height_of_light(contrast) == pytest.approx(0.3, rel=1e-4)


def test_doubts_add_up_once_for_each_kind():
    def one(name, mm):
        return check.Finding(name=name, severity=check.AMBER, what="", sigma_mm=mm)

    assert check.doubt_mm([one("a", 0.3), one("a", 0.1), one("b", 0.4), one("c", None)]) == pytest.approx(0.5)
    assert check.doubt_mm([]) == 0.0


@pytest.mark.parametrize(("up_mm", "severity"), [(110, None), (330, "amber"), (700, "red")])
def test_a_lamp_is_too_high_by_degrees(pair, up_mm, severity):
    """0.1 mm over 100 mm: pi/1000 of slope, over the tangent of 7, 20 and 38 degrees."""
    stood = lamp.place(lamp.read(f"left,900mm,{up_mm}mm"), centres_mm={}, eye_mm=np.zeros(3))
    found = list(light.height(pair[0][:1], (stood,), 0.1))
    assert [f.severity for f in found] == ([severity] if severity else [])


def test_slopes_of_a_surface_have_no_shine_and_a_whirl_is_all_shine():
    y, x = np.mgrid[-30:31, -40:41] * grain.CELL_MM
    bell = np.exp(-(x**2 + y**2) / (2 * 45.0**2))
    up, along = np.gradient(bell, grain.CELL_MM)
    sound = np.ones(bell.shape, bool)
    whirl = np.stack([up, -along])
    shine = grain._shine(whirl, sound)
    inner = np.s_[15:-15, 15:-15]
    # the slopes are softened a little on the way: a bell of 45 mm becomes one of hypot(45, 10)
    assert shine[inner].max() == pytest.approx(np.hypot(up, along).max(), rel=0.12)
    assert grain._shine(np.stack([along, up]), sound)[inner].max() < 0.01 * shine.max()


# --- what the phone wrote ---------------------------------------------------------------------------


def plain(name: str, **facts) -> Photo:
    usual = {"model": "Bench 2", "focal_35mm": 26.0, "exposure_s": 0.02, "iso": 100.0, "f_number": 1.8}
    return Photo(
        name=name, sha256=name, coded=np.zeros((4, 6, 3), np.uint8), light=np.zeros((4, 6), np.float32),
        spoilt=np.zeros((4, 6), bool), facts=CameraFacts(**(usual | facts)), written_px=(6, 4),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("facts", "name"),
    [
        ({"focal_35mm": 13.0}, "other lens"),
        ({"focal_35mm": 26.5}, None),  # a focus step
        ({"lens": "wide"}, "other lens"),
        ({"model": "Another"}, "other lens"),
        ({"iso": 600.0}, "exposure changed"),
        ({"exposure_s": 0.04}, None),
        ({"exposure_s": 0.2, "flash": True}, "long exposure"),
        ({"iso": 20.0, "exposure_s": 0.1}, None),  # the same light, got otherwise
        ({"zoom": 1.5}, "digital zoom"),
        ({"zoom": 1.0}, None),
        ({"merged_frames": True, "frames": 9}, "merged frames"),
        ({"merged_frames": True, "frames": 0}, "merged frames"),
        ({"scene": "night"}, "night mode"),
        ({"scene": "portrait"}, "portrait mode"),
        ({"stated_px": (12, 8)}, "shrunk copy"),
        ({"stated_px": (6, 4)}, None),
    ],
)
def test_the_phone_tells_on_itself(facts, name):
    usual = {"lens": "main"} if "lens" in facts else {}
    found = list(camera.camera((plain("a.jpg", **usual), plain("b.jpg", **facts))))
    assert [f.name for f in found if f.photo == "b.jpg"] == ([name] if name else [])
    assert {f.photo for f in found} <= {"b.jpg"}


def test_a_phone_that_writes_nothing_is_no_reason_to_fail():
    bare = replace(plain("a.jpg"), facts=CameraFacts())
    assert [f.name for f in camera.camera((bare,))] == ["no camera facts"]


# --- inside the map, and on the command line --------------------------------------------------------


def test_a_laid_out_patch_gives_the_same_findings(pair):
    photos, sightings, specs = pair
    patch = lay_out(list(photos), list(sightings))
    wrong = (specs[1], specs[0])
    for lamps_typed in (specs, wrong):
        direct = check.examine(photos, sightings, lamps=lamps_typed)
        laid = check.examine(photos, sightings, lamps=lamps_typed, patch=patch)
        assert [(f.name, f.photo) for f in direct] == [(f.name, f.photo) for f in laid]


def run(*typed):
    return CliRunner().invoke(main, ["check", *map(str, typed)])


def test_findings_are_told_in_words(tmp_path):
    paths, typed = sets.write(sets.wrong_side(sets.Bench.of(small=True)), tmp_path)
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    result = run(*paths, "--lamp", typed[0], "--lamp", typed[1])
    assert result.exit_code == 0
    assert result.stdout.count("RED    lamp on the wrong side: ") == 2
    assert "Do: Give the photos and their --lamp in the same order" in result.stdout
    assert "Take the photos marked red again" in result.stderr
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


def test_json_is_one_object(tmp_path):
    paths, typed = sets.write(sets.merged(sets.Bench.of(small=True)), tmp_path)
    result = run("--json", "-q", *paths, "--lamp", typed[0], "--lamp", typed[1])
    told = json.loads(result.stdout)
    assert (told["schema"], told["verdict"]) == (1, "amber")
    assert {tuple(row) for row in told["findings"]} == {tuple(f.name for f in fields(check.Finding))}
    assert {row["name"] for row in told["findings"]} == {"merged frames"}
    assert all(row["sigma_mm"] > 0 for row in told["findings"]) and result.stderr == ""


def test_sound_photos_without_lamps_are_green(tmp_path):
    paths, _ = sets.write(sets.Bench.of(small=True).pair(), tmp_path)
    result = run(*paths)
    assert result.stdout.startswith("GREEN  sound: No fault was found")
    assert "fit to map" in result.stderr


def test_files_that_are_no_photos_are_findings(tmp_path):
    (tmp_path / "notes.jpg").write_bytes(b"planks, screws, glue")
    result = run(tmp_path / "notes.jpg", tmp_path / "gone.jpg")
    assert result.exit_code == 0
    assert result.stdout.count("RED    not readable: ") == 2


def test_as_many_lamps_as_photos(tmp_path):
    result = run("a.jpg", "b.jpg", "--lamp", "left,900mm,110mm")
    assert result.exit_code == 1 and result.stdout == ""
    assert result.stderr.splitlines() == [
        "There are 2 photos and 1 lamps.",
        "Give one --lamp for each photo, in the same order, or none.",
    ]
    assert run("a.jpg", "--lamp", "behind me").exit_code == 1
