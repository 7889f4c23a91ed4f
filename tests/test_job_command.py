"""lightcheck job as a builder types it, and the page over all passes. The map step is a quick one."""

import hashlib
import json
import os
import re
import shutil
from pathlib import Path

import job_add
import job_maps
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from lightcheck import job, stored
from lightcheck.cli import job as command
from lightcheck.cli.main import main
from lightcheck.errors import LightcheckError
from lightcheck.report import job as report
from lightcheck.report import job_words

KEPT = Path(__file__).parent.parent / "fixtures" / "job-1"
RULE = ("--tolerance", "0.3mm over 300mm")


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Waiting for the disk and the real map are left out."""
    step = job_maps.Shaped()
    monkeypatch.setattr(os, "fsync", lambda _: None)
    monkeypatch.setattr(command, "make_map", step)
    return step


def run(*words, ok=True):
    result = CliRunner().invoke(main, ["job", *map(str, words)])
    assert result.exit_code == (0 if ok else 1), result.output
    assert "Traceback" not in result.output
    if not ok:
        said = [
            x
            for x in result.stderr.splitlines()
            if not x.startswith(("Note: ", "Making ", "Pass 1: 2 photos"))
        ]
        assert len(said) == 2, "what is wrong, what to do"
    return result


def add(folder, tmp_path, number, *more, ok=True):
    lamps = [w for lamp in job_add.LAMPS for w in ("--lamp", lamp)]
    return run("add", folder, *job_add.photos(tmp_path, number), *lamps, *more, ok=ok)


@pytest.fixture
def folder(tmp_path):
    run("new", tmp_path / "job", "--part", "bottom panel", "--bow", "left", *RULE)
    return tmp_path / "job"


def test_three_passes_from_plane_to_planking(folder, tmp_path):
    outs = [add(folder, tmp_path, n, "--note", f"pass {n}").stdout for n in (1, 2, 3)]
    states = [re.search(r"After pass \d: ([a-z ]+)\.", out).group(1) for out in outs]
    assert states == ["plane", "ready for the longboard", "ready for planking"]
    listed = run("show", folder).stdout
    assert "bottom panel, bow to the left" in listed
    for n, top in ((1, "+1.20"), (2, "+0.50"), (3, "+0.20")):
        (line,) = (x for x in listed.splitlines() if x.startswith(f"   {n}  "))
        assert top in line and f"(pass {n})" in line
    assert "no standard's" in listed and "stop here" in listed


def test_a_list_computes_nothing(folder, tmp_path, quick, monkeypatch):
    add(folder, tmp_path, 1)
    monkeypatch.setattr("lightcheck.stored.read", None)
    monkeypatch.setattr("lightcheck.job.laid.lay", None)
    assert "plane" in run("show", folder).stdout
    assert quick.calls == 1


def test_a_pass_added_for_later_is_mapped_when_it_is_asked_for(folder, tmp_path, quick):
    assert "No map yet" in add(folder, tmp_path, 1, "--later").stdout
    assert "no map yet" in run("show", folder).stdout and quick.calls == 0
    assert "Highest +1.20 mm" in run("show", folder, "--pass", 1).stdout
    run("show", folder, "--pass", 1)
    assert quick.calls == 1
    run("show", folder, "--pass", 1, "--again")
    assert quick.calls == 2


def test_lamps_by_name_and_lamps_that_are_none(folder, tmp_path):
    path = folder / "job.toml"
    path.write_text(path.read_text().replace('# left-stand = "left,', 'left-stand = "left,'))
    shots = job_add.photos(tmp_path, 1)
    told = run("add", folder, *shots, "--lamp", "left-stand", "--lamp", "right-stand", ok=False).stderr
    assert "right-stand" in told and "Lamps named in job.toml: left-stand" in told
    assert job.open_job(folder).passes == ()
    out = run("add", folder, *shots, "--lamp", "left-stand", "--lamp", "right,1m,90mm").stdout
    assert "lamp left-stand, which stood for left,900mm,110mm" in out
    told = run("add", folder, *job_add.photos(tmp_path, 2), "--lamp", "left-stand", ok=False).stderr
    assert "2 photos and 1 lamps" in told and "name of a lamp" in told


def test_a_refused_map_shows_its_marked_up_photo_beside_the_job(folder, tmp_path, monkeypatch):
    def refuses(recipe, into):
        raise LightcheckError("No card was found.", "Lay two.", picture=np.zeros((20, 30, 3), np.uint8))

    monkeypatch.setattr(command, "make_map", refuses)
    told = add(folder, tmp_path, 1, ok=False).stderr
    assert "Pass 1 was not added." in told and "job-trouble.png" in told
    assert (tmp_path / "job-trouble.png").is_file()
    assert "No pass yet" in run("show", folder).stdout


def test_undo_and_put_back(folder, tmp_path):
    add(folder, tmp_path, 1)
    told = run("undo", folder)
    assert "--put-back" in told.stderr and Path(told.stdout.strip()).is_dir()
    assert "No pass yet" in run("show", folder).stdout
    run("undo", folder, "--put-back")
    assert "   1  " in run("show", folder).stdout
    assert "been undone" in run("undo", folder, "--put-back", ok=False).stderr


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("show", "nowhere"), "not the folder of a job"),
        (("add", "nowhere", "a.jpg", "--lamp", "left,1m,90mm"), "not the folder of a job"),
        (("undo", "nowhere"), "not the folder of a job"),
        (("compare", "nowhere", "-o", "out"), "not the folder of a job"),
        (("new", "there", "--tolerance", "0.3 over 300"), "tolerances"),
    ],
)
def test_what_is_no_job_is_refused(words, told, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert told in run(*words, ok=False).stderr
    assert list(tmp_path.iterdir()) == []


def test_what_is_missing_is_told_before_the_list(folder, tmp_path):
    add(folder, tmp_path, 1)
    job.open_job(folder).get(1).photos[0].path.unlink()
    listed = run("show", folder, "--check")
    assert "1-a.jpg is not there any more" in listed.stderr and "not what was added" in listed.stderr
    assert "plane" in listed.stdout
    told = run("show", folder, "--pass", 1, "--again", ok=False).stderr
    assert "can not be mapped" in told


def test_one_object_for_other_programs(folder, tmp_path):
    add(folder, tmp_path, 1)
    told = json.loads(run("show", folder, "--json").stdout)
    (one,) = told["passes"]
    assert told["schema"] == 1 and told["tolerances"] == [{"height_mm": 0.3, "over_mm": 300.0}]
    assert one["readiness"]["state"] == "plane"
    assert sum(one["readiness"]["chances"].values()) == pytest.approx(1)
    assert one["map"]["worst_hump_mm"] == pytest.approx(1.2, abs=1e-3)
    shot = job_add.photos(tmp_path, 1)[0]
    assert one["photos"][0]["sha256"] == hashlib.sha256(shot.read_bytes()).hexdigest()
    alone = json.loads(run("show", folder, "--pass", 1, "--json").stdout)
    assert alone == {"schema": 1, **one}


def test_the_page_over_all_passes(folder, tmp_path, quick):
    add(folder, tmp_path, 1)
    add(folder, tmp_path, 2, "--later")
    run("show", folder, "-o", tmp_path / "page")
    assert quick.calls == 2, "a page makes the maps that are wanting"
    assert sorted(p.name for p in (tmp_path / "page").iterdir()) == sorted(report.FILES)
    page = (tmp_path / "page" / report.PAGE).read_text()
    assert "After pass 2: ready for the longboard." in page
    assert "common practice, no source" in page and "designer, class rules or a surveyor" in page
    assert not re.search(r"""(src|href)=["'](?!data:)""", page), "nothing fetched from outside"
    for name in ("strip.png", "gaps.png"):
        with Image.open(tmp_path / "page" / name) as picture:
            assert min(picture.size) > 300 and np.asarray(picture.convert("L")).std() > 5
    assert "is not empty" in run("show", folder, "-o", tmp_path / "page", ok=False).stderr


def test_a_page_says_what_typed_words_say_and_no_more(folder, tmp_path):
    path = folder / "job.toml"
    path.write_text(path.read_text().replace('"bottom panel"', '"<b>bottom</b> & panel"'))
    view = job.look(job.open_job(folder))
    page = report.write(view, tmp_path / "page").read_text()
    assert "&lt;b&gt;bottom&lt;/b&gt; &amp; panel" in page and "<b>bottom" not in page
    assert "No pass yet." in page and "No tolerance" not in page


# Compared passes.


def test_compare_wants_two_passes(folder, tmp_path):
    add(folder, tmp_path, 1)
    assert "Two passes are needed" in run("compare", folder, "-o", tmp_path / "c", ok=False).stderr
    add(folder, tmp_path, 2)
    assert "There is no pass 5" in run("compare", folder, 1, 5, "-o", tmp_path / "c", ok=False).stderr
    assert "Two passes are needed" in run("compare", folder, 1, "-o", tmp_path / "c", ok=False).stderr
    assert not (tmp_path / "c").exists()


def test_compare_lays_the_last_two_maps_on_each_other(folder, tmp_path, monkeypatch):
    """One hump planed down to 35 %, one left; the map of pass 3 lies 9 mm off and turned by 3 degrees."""
    import made_passes

    look = made_passes.wood()
    board = made_passes.Board(bells=((-100, 20, 0.8), (120, -40, 0.5)), wood=look)
    planed = made_passes.Board(bells=((-100, 20, 0.28), (120, -40, 0.5)), wood=look)
    maps = {
        "02": made_passes.stored(board, folder="a"),
        "03": made_passes.stored(planed, turn_deg=3.0, shift_mm=(9.0, -2.0), folder="b", seed=2),
    }
    for n in (1, 2, 3):
        add(folder, tmp_path, n, "--later")
    monkeypatch.setattr(
        command, "make_map", lambda recipe, into: job_maps.write_map(into, job_maps.heights(1))
    )
    for n in (2, 3):
        run("show", folder, "--pass", n)
    monkeypatch.setattr(stored, "read", lambda p: maps[Path(p).parent.name])
    run("compare", folder, "-o", tmp_path / "c")
    told = json.loads((tmp_path / "c" / "change.json").read_text())
    assert (told["before"], told["after"]) == ("pass 2", "pass 3")
    assert np.hypot(*told["registration"]["shift_mm"]) == pytest.approx(np.hypot(9, 2), abs=1.0)
    down, same = sorted(told["spots"], key=lambda s: s["x_mm"])
    assert (down["state"], same["state"]) == ("down", "same")
    assert down["change_mm"] == pytest.approx(-0.52, abs=0.06)


# The working list, with job.toml filled in.


def test_the_working_list_takes_tools_part_and_pass_from_the_job(tmp_path):
    run("plan", KEPT, "-o", tmp_path / "list")
    told = (tmp_path / "list" / "plan.json").read_text()
    assert "block plane" in told and "jack plane" not in told, "only the tool that stands in job.toml"
    page = (tmp_path / "list" / "plan.html").read_text()
    assert "bottom panel of the Wrenlet" in page and "2031-03-08" in page


@pytest.mark.parametrize(("name", "kind"), [("block, small", "plane"), ("round-bottom", "spokeshave")])
def test_a_tool_reaches_the_list_as_what_it_is(name, kind):
    from lightcheck import plan
    from lightcheck.cli.job_plan import typed

    tool = plan.Tool(name=name, kind=kind, length_mm=150.5, width_mm=50.0, shaving_mm=0.05)
    back = plan.read_tool(typed(tool))
    assert (back.kind, back.length_mm, back.width_mm, back.shaving_mm) == (kind, 150.5, 50.0, 0.05)


def test_a_list_wants_a_pass(folder, tmp_path):
    assert "no pass yet" in run("plan", folder, "-o", tmp_path / "list", ok=False).stderr


# The kept job of schema 1: it must open for ever. Never write it anew; add another beside it.


def test_a_job_of_schema_1_opens_with_all_that_is_in_it(tmp_path):
    held = job.open_job(KEPT)
    assert held.told == () and held.damaged == ()
    assert [p.number for p in held.passes] == [1, 2, 3]
    assert [p.note for p in held.passes] == ["as planed to the battens", "", "after the smoothing plane"]
    assert held.passes[0].lamps[0] == ("left-stand", "left,900mm,110mm")
    assert held.settings.planking_mm == 6.0 and held.settings.stations == (("3", 900.0), ("4", 1350.0))
    for one in held.passes:
        assert job.changed_photos(one) == ()
        kept = stored.read(one.map_folder)
        assert np.nanmax(kept.height_mm) == pytest.approx(job.made(held, one).worst_hump_mm, abs=1e-4)
    view = job.look(held)
    assert [row.made.worst_hump_mm for row in view.rows] == [0.9, 0.405, 0.183]
    assert [row.current for row in view.rows] == [True] * 3
    assert [row.readiness.state for row in view.rows] == [
        "plane", "ready for the longboard", "ready for the longboard",
    ]  # fmt: skip
    assert view.last.readiness.within[0].worst_mm == pytest.approx(0.30, abs=0.01)


def test_a_job_of_schema_1_can_be_worked_on(tmp_path):
    shutil.copytree(KEPT, tmp_path / "job")
    add(tmp_path / "job", tmp_path, 9)
    run("undo", tmp_path / "job")
    run("undo", tmp_path / "job")
    assert "Pass 3 is back" in run("undo", tmp_path / "job", "--put-back").stderr
    names = [p.name for p in job.open_job(tmp_path / "job").get(3).photos]
    assert names == [p.name for p in job.open_job(KEPT).get(3).photos]
    assert job_words.lines(job.look(job.open_job(tmp_path / "job")))[0].startswith("bottom panel")


def test_the_kept_job_is_small():
    assert sum(p.stat().st_size for p in KEPT.rglob("*") if p.is_file()) < 600_000
