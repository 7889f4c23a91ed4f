"""A job folder: settings that a builder edits by hand, passes added, undone and put back, maps made once."""

import dataclasses
import hashlib
import os
import tomllib

import job_add
import job_maps
import pytest

from lightcheck import job, plan
from lightcheck.errors import LightcheckError
from lightcheck.job import fresh, settings

FULL = """
schema = 1
part = "bottom panel"
side = "port"
bow = "left"
tolerances = ["1/32in over 3ft", "0.3mm over 300mm"]
least = "0.15mm"
longest = "800mm,300mm"
measured = "99.4mm"
card_thickness = "3mm"

[left_on_the_wood]
roughed = "4mm"
for_the_longboard = "0.25mm"

[planking]
thickness = "6mm"
species = "larch"

[stations]
3 = "900mm"
"3 1/2" = "1.2m"
aft = "-50mm"

[lamps]
left-stand = "left,900mm,110mm"
far = "135deg,far,8deg"

[[tools]]
name = "block plane"
kind = "plane"
sole_length = "6in"
sole_width = "50mm"
shaving = "0.05mm"

[[tools]]
name = "long board"
kind = "longboard"
"""


@pytest.fixture(autouse=True)
def quick_disk(monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda _: None)


@pytest.fixture
def folder(tmp_path):
    job.create(tmp_path / "job", FULL)
    return tmp_path / "job"


def edited(folder, old: str, new: str) -> None:
    text = (folder / "job.toml").read_text()
    assert old in text
    (folder / "job.toml").write_text(text.replace(old, new))


def test_every_setting_is_read_in_millimetres(folder):
    held = job.open_job(folder).settings
    assert (held.part, held.side, held.bow) == ("bottom panel", "port", "left")
    assert [(t.height_mm, t.over_mm) for t in held.tolerances] == [
        (0.3, 300.0), (pytest.approx(25.4 / 32), pytest.approx(3 * 304.8)),
    ]  # fmt: skip
    assert (held.least_mm, held.longest_mm, held.measured_mm) == (0.15, (800.0, 300.0), (99.4, 99.4))
    assert (held.card_thickness_mm, held.roughed_mm, held.for_longboard_mm) == (3.0, 4.0, 0.25)
    assert (held.planking_mm, held.species) == (6.0, "larch")
    assert held.stations == (("3", 900.0), ("3 1/2", 1200.0), ("aft", -50.0))
    assert held.lamp("left-stand") == "left,900mm,110mm" and held.lamp("flash") == "flash"
    assert [t.name for t in held.tools] == ["block plane", "long board"]
    assert held.tools[0].length_mm == pytest.approx(152.4) and held.tools[1].length_mm is None
    assert held.told == ()


def test_the_tools_go_to_the_working_list_as_they_are(folder):
    (tool,) = job.bench(job.open_job(folder).settings)
    assert isinstance(tool, plan.Tool)
    assert (tool.name, tool.length_mm, tool.width_mm) == ("block plane", pytest.approx(152.4), 50.0)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"0.3mm over 300mm"', '"0.3 over 300"', "0.3"),
        ('"0.3mm over 300mm"', '"300mm over 0.3mm"', "height comes first"),
        ('"0.3mm over 300mm"', '"0.3mm"', "0.3mm over 300mm"),
        ('"0.3mm over 300mm"', '"0.1mm over 20mm"', "too short"),
        ('"0.3mm over 300mm"', "0.3", "0.3mm over 300mm"),
        ('side = "port"', 'side = "larboard"', "Use one of"),
        ('bow = "left"', "bow = left", "Mend that line"),
        ('least = "0.15mm"', "least = 0.15", "double quotes"),
        ('least = "0.15mm"', 'least = "0mm"', "least"),
        ('longest = "800mm,300mm"', 'longest = "1m,2m,3m"', "more than two"),
        ('roughed = "4mm"', 'roughed = "0.2mm"', "more for the longboard"),
        ('far = "135deg,far,8deg"', 'flash = "left,900mm,110mm"', "name of its own"),
        ('far = "135deg,far,8deg"', "far = 8", "lamp's place"),
        ('sole_length = "6in"', 'sole_length = "six"', "sole_length"),
        ("schema = 1", "schema = 99", "up to date"),
        ("[planking]", "[[planking]]", "square brackets"),
    ],
)
def test_what_can_not_be_understood_is_refused_with_its_place(folder, old, new, words):
    edited(folder, old, new)
    with pytest.raises(LightcheckError) as refused:
        job.open_job(folder)
    assert "job.toml" in refused.value.problem
    assert words in f"{refused.value.problem} {refused.value.remedy}"


def test_a_word_that_is_not_known_is_told_with_the_nearest_one(folder):
    edited(folder, 'species = "larch"', 'spieces = "larch"')
    edited(folder, 'shaving = "0.05mm"', 'shavings = "0.05mm"')
    told = job.open_job(folder).told
    assert any("planking.spieces" in t and "planking.species" in t for t in told)
    assert any("tools (block plane).shavings" in t and "shaving?" in t for t in told)


def test_a_fresh_file_is_toml_and_reads_back_whatever_was_typed(tmp_path):
    part = 'the "long" one \\ C:\\new\n[x] \x7f é'
    text = fresh.toml(part=part, side="starboard", bow="up", tolerances=("0.5mm over 1m",))
    assert tomllib.loads(text)["part"] == " ".join(part.split())
    held = settings.understood(text, tmp_path)
    assert (held.side, held.bow, held.told) == ("starboard", "up", ())
    assert held.tolerances == (settings.Tolerance(height_mm=0.5, over_mm=1000.0),)


def test_offered_lines_are_remarks_until_the_builder_takes_the_mark_away(tmp_path):
    """Nothing of a fresh file is a tolerance; every remark that offers a setting is a sound one."""
    text = fresh.toml(part="x")
    held = settings.understood(text, tmp_path)
    assert held.tolerances == () and held.tools == () and held.lamps == () and held.stations == ()
    offered = []
    for line in text.splitlines():
        bare = line.strip().removeprefix("# ")
        taken = line.strip().startswith("# ") and (bare.startswith(('"', "[[")) or " = " in bare)
        offered.append(bare if taken else line)
    held = settings.understood("\n".join(offered), tmp_path)
    assert len(held.tolerances) == 2 and len(held.tools) == 1 and len(held.lamps) == 2
    assert held.planking_mm == 6.0 and held.told == ()


def test_no_offered_figure_is_called_a_rule_or_a_standard():
    text = fresh.toml(part="x").lower()
    assert text.count("common practice, no source") >= 2
    assert "no rule asks for them" in text
    for name in ("iso", "din", "astm", "standard", "class rule"):
        assert name not in text


def test_a_bad_tolerance_is_refused_before_there_is_a_job(tmp_path):
    with pytest.raises(LightcheckError, match="tolerances"):
        job.create(tmp_path / "job", job.toml(part="x", tolerances=("0.3 over 300",)))
    assert not (tmp_path / "job").exists()


def test_a_new_job_wants_a_folder_of_its_own(folder, tmp_path):
    with pytest.raises(LightcheckError, match="is a job already"):
        job.create(folder, FULL)
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("x")
    with pytest.raises(LightcheckError, match="not empty"):
        job.create(tmp_path / "full", FULL)
    with pytest.raises(LightcheckError, match="a file, not a folder"):
        job.create(tmp_path / "full" / "mine.txt", FULL)
    with pytest.raises(LightcheckError, match="not the folder of a job"):
        job.open_job(tmp_path / "full")
    nowhere = job.changing(tmp_path / "nowhere", "job add")
    with pytest.raises(LightcheckError, match="not the folder of a job"), nowhere:
        pass


def test_originals_are_copied_byte_for_byte_and_may_not_be_written_to(folder, tmp_path):
    shots = job_add.photos(tmp_path, 1)
    new = job_add.add(folder, shots)
    for photo, shot in zip(new.photos, shots, strict=True):
        assert photo.path.read_bytes() == shot.read_bytes()
        assert photo.path.stem == hashlib.sha256(shot.read_bytes()).hexdigest()
        assert photo.path.stat().st_mode & 0o222 == 0
    stamps = {p: p.stat().st_mtime_ns for p in (folder / "originals").iterdir()}
    job_add.add(folder, job_add.photos(tmp_path, 2))
    assert all(p.stat().st_mtime_ns == stamp for p, stamp in stamps.items())
    assert (folder / "job.toml").read_text() == FULL


def _refused(folder, shots, lamps=job_add.LAMPS) -> LightcheckError:
    before = sorted(p.name for p in folder.rglob("*"))
    with job.changing(folder, "job add") as (held, _), pytest.raises(LightcheckError) as refused:
        job.add(held, job.Shots(photos=tuple(shots), lamps=lamps))
    assert sorted(p.name for p in folder.rglob("*")) == before, "a refusal leaves nothing behind"
    return refused.value


def test_photos_that_make_no_pass_are_refused(folder, tmp_path):
    first = job_add.photos(tmp_path, 1)
    job_add.add(folder, first)
    a, b = job_add.photos(tmp_path, 2)
    (tmp_path / "empty.jpg").touch()
    assert "1 photos and 2 lamps" in _refused(folder, [a]).problem
    assert "0 photos" in _refused(folder, [], lamps=()).problem
    assert "is not there" in _refused(folder, [a, tmp_path / "gone.jpg"]).problem
    assert "is empty" in _refused(folder, [a, tmp_path / "empty.jpg"]).problem
    assert "given twice" in _refused(folder, [a, a]).problem
    assert "belongs to pass 1 already" in _refused(folder, [first[1], b]).problem


def test_a_lamp_by_name_stays_what_it_stood_for_then(folder, tmp_path):
    with job.changing(folder, "job add") as (held, _):
        job.add(held, job.Shots(photos=job_add.photos(tmp_path, 1), lamps=("left-stand", "flash")))
    edited(folder, "left,900mm,110mm", "left,700mm,90mm")
    assert job.open_job(folder).get(1).lamps == (("left-stand", "left,900mm,110mm"), ("flash", "flash"))


def test_photos_that_can_not_be_mapped_are_no_pass(folder, tmp_path):
    def refuses(recipe, into):
        raise LightcheckError("No card was found.", "Lay two cards on the wood.")

    with pytest.raises(LightcheckError) as refused:
        job_add.add(folder, job_add.photos(tmp_path, 1), refuses)
    assert refused.value.problem == "No card was found. Pass 1 was not added."
    assert job.open_job(folder).passes == () and list((folder / "originals").iterdir()) == []


def test_a_map_is_made_once_until_something_it_hangs_on_changes(folder, tmp_path):
    quick = job_maps.Shaped()
    job_add.add(folder, job_add.photos(tmp_path, 1), quick)
    for untouched in ('species = "larch"', '"0.3mm over 300mm"', 'bow = "left"'):
        edited(folder, untouched, untouched.replace("larch", "oak").replace("300mm", "400mm"))
        job.bring_up(folder, [1], quick)
    assert quick.calls == 1
    for old, new in (("0.15mm", "0.2mm"), ("800mm,300mm", "600mm"), ("99.4mm", "100.4mm")):
        edited(folder, old, new)
        assert not job.look(job.open_job(folder)).last.current
        before = quick.calls
        assert job.bring_up(folder, [1], quick).last.current
        job.bring_up(folder, [1], quick)
        assert quick.calls == before + 1
    job.bring_up(folder, [1], quick, again=True)
    assert quick.calls == 5


def test_what_a_map_is_made_from_is_the_whole_recipe(folder, tmp_path):
    """A setting that reaches the recipe and not the key would leave stale maps standing."""
    seen = []

    def notes(recipe, into):
        seen.append(recipe)
        job_maps.Shaped()(recipe, into)

    new = job_add.add(folder, job_add.photos(tmp_path, 1), notes)
    recipe, held = seen[0], job.open_job(folder)
    assert [os.path.basename(p) for p in recipe.photos] == ["1-a.jpg", "1-b.jpg"], "names the builder knows"
    assert recipe.lamps == job_add.LAMPS
    of_settings = {"longest_mm", "least_mm", "measured_mm", "card_thickness_mm"}
    for name in of_settings:
        value = getattr(held.settings, name)
        assert getattr(recipe, name) == value
        other = tuple(v + 1 for v in value) if isinstance(value, tuple) else value + 1
        changed = dataclasses.replace(held, settings=dataclasses.replace(held.settings, **{name: other}))
        assert job.key(changed, new) != job.key(held, new)


def test_undo_moves_the_last_pass_aside_whole_and_it_comes_back(folder, tmp_path):
    quick = job_maps.Shaped()
    for number in (1, 2):
        job_add.add(folder, job_add.photos(tmp_path, number), quick)
    with job.changing(folder, "job undo") as (held, _):
        aside = job.undo(held)
    held = job.open_job(folder)
    assert [p.number for p in held.passes] == [1] and held.next_number == 2 and held.told == ()
    assert (aside / "pass.json").is_file() and (aside / "map" / "map.json").is_file()
    assert len(list((folder / "originals").iterdir())) == 4
    assert job.without_pass(held) == (), "its photos are still somebody's"
    with job.changing(folder, "job undo") as (held, _):
        assert job.put_back(held).number == 2
    held = job.open_job(folder)
    assert job.changed_photos(held.get(2)) == () and job.made(held, held.get(2)).current
    assert quick.calls == 2


def test_of_several_undone_passes_the_latest_that_fits_comes_back(folder, tmp_path):
    for number in (1, 2):
        job_add.add(folder, job_add.photos(tmp_path, number))
    with job.changing(folder, "job undo") as (held, _):
        job.undo(held)
    job_add.add(folder, job_add.photos(tmp_path, 3))
    with job.changing(folder, "job undo") as (held, _):
        assert job.undo(held).name == "02-2"
    with job.changing(folder, "job undo") as (held, _):
        back = job.put_back(held)
    assert [p.name for p in back.photos] == ["3-a.jpg", "3-b.jpg"]
    with job.changing(folder, "job undo") as (held, _), pytest.raises(LightcheckError, match="number 2"):
        job.put_back(held)


def test_nothing_to_undo_or_to_put_back_is_said(folder):
    with job.changing(folder, "job undo") as (held, _):
        with pytest.raises(LightcheckError, match="no pass to undo"):
            job.undo(held)
        with pytest.raises(LightcheckError, match="has been undone"):
            job.put_back(held)


def test_two_photos_of_one_name_are_told_apart(folder, tmp_path):
    a = job_maps.photo(tmp_path / "a" / "IMG_1.JPG", tone=1)
    b = job_maps.photo(tmp_path / "b" / "IMG_1.JPG", tone=2)
    names = []

    def notes(recipe, into):
        names.extend(os.path.basename(p) for p in recipe.photos)
        job_maps.Shaped()(recipe, into)

    job_add.add(folder, (a, b), notes)
    assert names == ["1-IMG_1.JPG", "2-IMG_1.JPG"]
