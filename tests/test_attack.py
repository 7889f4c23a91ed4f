"""Folders and numbers that can not be true: refused in two lines, with nothing left behind."""

import json
import shutil
from pathlib import Path

import made_up
import numpy as np
import pytest
from click.testing import CliRunner

from lightcheck import job, stations, stored, units
from lightcheck.cli.main import main
from lightcheck.errors import LightcheckError
from lightcheck.report.folder import check_folder

WORDS = {
    "photo": "a.jpg", "sha256": "", "light": "back", "held": "", "thick_mm": 6, "cards": [], "flags": [],
    "seat": [], "eye_mm": [0, 0, 900], "eye_sigma_mm": [1, 1, 1], "mm_per_px": 0.2, "others": [],
}  # fmt: skip


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The files of an invented map."""
    path = made_up.written(tmp_path_factory.mktemp("attack") / "map")
    return {n: (path / n).read_bytes() for n in ("map.json", "map.npz", "draws.npz", "wood.png")}


@pytest.fixture
def folder(whole, tmp_path):
    path = tmp_path / "map"
    path.mkdir()
    for name, content in whole.items():
        (path / name).write_bytes(content)
    return path


def refused(arguments, tmp_path):
    """The two lines of a refusal that left no output."""
    result = CliRunner().invoke(main, [*map(str, arguments), "-o", str(tmp_path / "out"), "-q"])
    assert result.exit_code == 1 and isinstance(result.exception, SystemExit), result.exception
    lines = result.stderr.splitlines()
    assert len(lines) == 2 and all(lines)
    assert not (tmp_path / "out").exists() and not list(tmp_path.glob(".*"))
    return lines


def change(folder, edit):
    facts = json.loads((folder / "map.json").read_text())
    edit(facts)
    (folder / "map.json").write_text(json.dumps(facts))


@pytest.mark.parametrize(
    "spot",
    [
        {"height_mm": None}, {"height_mm": float("inf")}, {"width_mm": float("nan")}, {"x_mm": 1e7},
        {"place": 4}, {"kind": "banana"}, {"outline_mm": [[float("nan")] * 2] * 5},
        {"outline_mm": [[1e308, 1e308]] * 4}, {"outline_mm": "round"},
    ],
)  # fmt: skip
def test_a_spot_that_can_not_be_true_is_refused(folder, tmp_path, spot):
    change(folder, lambda facts: facts["spots"][0].update(spot))
    assert "incomplete or damaged" in refused(["plan", folder], tmp_path)[0]


@pytest.mark.parametrize(
    ("part", "value"),
    [
        ("spots", {"a": 1}), ("spots", [1]), ("base", 3), ("base", {"along_x": "much"}), ("shots", None),
        ("shots", ["0.jpg"]), ("schema", float("inf")),
    ],
)  # fmt: skip
def test_facts_of_another_make_are_refused(folder, tmp_path, part, value):
    change(folder, lambda facts: facts.update({part: value}))
    assert "map.json" in refused(["lay", folder, "--straightedge", "300mm"], tmp_path)[0]


@pytest.mark.parametrize(
    "sheet",
    [
        {"cell_mm": 0}, {"cell_mm": -2.0}, {"cell_mm": float("nan")}, {"cell_mm": "wide"}, {"cell_mm": 1e9},
        {"x0_mm": None}, {"x0_mm": 1e12},
    ],
)  # fmt: skip
def test_a_sheet_that_can_not_be_true_is_refused(folder, tmp_path, sheet):
    change(folder, lambda facts: facts["grid"].update(sheet))
    assert "incomplete or damaged" in refused(["plan", folder], tmp_path)[0]


@pytest.mark.parametrize("longest", [[], [1, 2, 3], [0, 0], [float("nan")] * 2])
def test_a_longest_hump_that_can_not_be_true_is_refused(folder, longest):
    change(folder, lambda facts: facts["recipe"].update(longest_mm=longest))
    with pytest.raises(LightcheckError, match="incomplete or damaged"):
        stored.read(folder)


@pytest.mark.parametrize("value", [np.inf, 1e30, 1j])
def test_heights_that_can_not_be_true_are_refused(folder, tmp_path, value):
    with np.load(folder / "map.npz") as kept:
        sheets = {**kept, "height_mm": kept["height_mm"] * 0 + value}
    np.savez(folder / "map.npz", **sheets)
    assert "map.npz is missing or damaged" in refused(["plan", folder], tmp_path)[0]


def test_arrays_that_are_damaged_in_any_way_are_refused(folder, tmp_path):
    whole, rng, said = (folder / "map.npz").read_bytes(), np.random.default_rng(3), 0
    for _ in range(60):
        broken = bytearray(whole)
        for at in rng.integers(len(broken), size=30):
            broken[at] ^= 255
        (folder / "map.npz").write_bytes(bytes(broken))
        try:
            stored.read(folder)
        except LightcheckError:
            said += 1
    assert said >= 55
    with (folder / "map.npz").open("wb") as file:
        np.save(file, np.zeros(3))
    refused(["plan", folder], tmp_path)


def test_facts_nested_without_end_are_refused(folder, tmp_path):
    (folder / "map.json").write_bytes(b"[" * 100_000)
    assert "can not be read" in refused(["plan", folder], tmp_path)[0]


def test_a_map_without_draws_is_refused(folder, tmp_path):
    with np.load(folder / "draws.npz") as kept:
        none = {**kept, "draws_mm": kept["draws_mm"][:0]}
    np.savez(folder / "draws.npz", **none)
    assert "do not belong together" in refused(["lay", folder, "--straightedge", "300mm"], tmp_path)[0]


@pytest.mark.parametrize("outline", [[], [[0, 0]], [[0, 0], [10, 10]]])
def test_a_spot_without_outline_is_planned_by_its_length_and_width(folder, tmp_path, outline):
    change(folder, lambda facts: [s.update(outline_mm=outline) for s in facts["spots"]])
    for spot in stored.read(folder).spots:
        x, y = spot.outline_mm.T
        area = abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2
        assert area == pytest.approx(np.pi / 4 * spot.length_mm * spot.width_mm, rel=0.01)
    result = CliRunner().invoke(main, ["plan", str(folder), "--full-size", "-o", str(tmp_path / "plan")])
    assert result.exit_code == 0, result.output
    assert json.loads((tmp_path / "plan" / "plan.json").read_text())["tasks"]


def test_a_length_beyond_any_boat_is_a_slip():
    with pytest.raises(LightcheckError, match="longer than any boat"):
        units.length_mm("999999999999999m")
    assert units.length_mm("30m") == 30_000.0


def test_places_closer_than_a_reading_can_tell_are_refused_at_once():
    with pytest.raises(LightcheckError, match="closer than a reading"):
        stations.table([], places_mm={}, every_mm=0.0001)


@pytest.mark.parametrize("change", [{"touching": [1]}, {"touching": {"a": 1}}])
def test_a_reading_that_can_not_be_true_is_refused(tmp_path, change):
    folder = tmp_path / "day"
    folder.mkdir()
    (folder / "daylight.json").write_text(json.dumps({"schema": 1, "stand_off": None, **WORDS, **change}))
    (folder / "daylight.csv").write_text(
        "along_mm,x_mm,y_mm,daylight_mm,sigma_mm\n0,0,0,0,0.1\n9,9,0,0,0.1\n"
    )
    assert "incomplete" in refused(["stations", f"{folder}@3"], tmp_path)[0]


def test_a_reading_nested_without_end_is_refused(tmp_path):
    (tmp_path / "day").mkdir()
    (tmp_path / "day" / "daylight.json").write_bytes(b"[" * 100_000)
    assert "can not be read" in refused(["stations", tmp_path / "day"], tmp_path)[0]


@pytest.mark.parametrize("name", ["pass.json", "map/made-from.json", "map/gaps.json"])
def test_a_pass_nested_without_end_is_not_believed(tmp_path, name):
    held = tmp_path / "job"
    shutil.copytree(Path(__file__).parents[1] / "fixtures" / "job-1", held)

    def believed():
        return [r.one.number for r in job.look(job.open_job(held)).rows if r.current and r.gaps]

    assert believed() == [1, 2, 3]
    (held / "passes" / "03" / name).write_bytes(b"[" * 100_000)
    assert believed() == [1, 2]


def test_two_stations_can_not_stand_at_one_place():
    read = [(stations.Where(station=s, side="", folder="day"), None) for s in "34"]
    with pytest.raises(LightcheckError, match="and so does another"):
        stations.table(read, places_mm={"3": 9.0, "4": 9.0})


def test_settings_of_a_job_are_no_marks(folder, tmp_path):
    (tmp_path / "job.toml").write_text('schema = 1\npart = "panel"\n')
    assert "no file of marks" in refused(["plan", folder, "--marks", tmp_path / "job.toml"], tmp_path)[0]


def test_nothing_is_written_among_the_kept_photos_of_a_job(tmp_path):
    kept = tmp_path / "job" / "originals"
    kept.mkdir(parents=True)
    (tmp_path / "job" / "job.toml").touch()
    for out in (kept, kept / "plan" / "one"):
        with pytest.raises(LightcheckError, match="keeps its photos"):
            check_folder(out, files=("report.html",), force=True)
    assert not list(kept.iterdir())


@pytest.mark.parametrize("command", [["cards"], ["lamp"], ["pattern", "t.csv", "--station", "3"]])
def test_a_name_too_long_for_a_disk_is_refused(command):
    result = CliRunner().invoke(main, [*command, "-o", "a" * 300 + ".pdf"])
    assert result.exit_code == 1 and "too long for a disk" in result.stderr


def test_marks_below_a_file_are_refused(folder, tmp_path):
    (tmp_path / "mine").write_text("mine")
    result = CliRunner().invoke(
        main, ["mark", str(folder), "fastener at 1mm,1mm", "-o", str(tmp_path / "mine" / "marks.toml")]
    )
    assert result.exit_code == 1 and "its folder is not there" in result.stderr
    assert (tmp_path / "mine").read_text() == "mine"
