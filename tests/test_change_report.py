"""The compare command and its files: the contract other programs rely on, and the pictures."""

import csv
import io
import json
import re
from html.parser import HTMLParser

import made_passes as made
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from lightcheck import change, stored
from lightcheck.change.mirror import mirror
from lightcheck.cli.main import main
from lightcheck.report import change as report
from lightcheck.report import change_plot
from lightcheck.report.plots import limit_mm

BEFORE = ((-150.0, 60.0, 0.6), (60.0, -80.0, 0.4), (140.0, 70.0, -0.3), (-40.0, 20.0, 0.5))
AFTER = ((-150.0, 60.0, 0.21), (60.0, -80.0, -0.12), (140.0, 70.0, -0.3), (-40.0, 20.0, 0.5))
NEW = (-150.0, -60.0, -0.3)
COVERED = ((0, -40.0, 22.0, 0.0), *made.card_moves(1)[1:])


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    """Result folders of two passes; in the second a card lies over spot 4."""
    place = tmp_path_factory.mktemp("job")
    wood = made.wood()
    old = made.stored(made.Board(bells=BEFORE, wood=wood), seed=1, folder="one")
    board = made.Board(bells=(*AFTER, NEW), wood=wood, cards=COVERED)
    new = made.stored(board, turn_deg=4.0, shift_mm=(7.0, -5.0), seed=2, folder="two")
    return made.save(old, place / "pass-1"), made.save(new, place / "pass-2")


@pytest.fixture(scope="module")
def result(folders):
    return change.compare(*(stored.read(f) for f in folders))


@pytest.fixture(scope="module")
def written(result, tmp_path_factory):
    folder = tmp_path_factory.mktemp("out") / "change"
    report.write(result, folder)
    return folder


def run(*args):
    return CliRunner().invoke(main, ["compare", *map(str, args)])


def test_the_command_writes_its_folder_and_tells(folders, tmp_path):
    got = run(*folders, "-o", tmp_path / "out")
    assert got.exit_code == 0, got.output
    assert {p.name for p in (tmp_path / "out").iterdir()} == set(report.FILES)
    assert "cut too far" in got.stdout
    assert "squares of wood agree" in got.stderr
    assert "pass-1" in got.stderr


def test_csv_holds_the_columns_in_the_frame_of_before(written, result):
    rows = list(csv.DictReader((written / "change.csv").read_text(encoding="utf-8").splitlines()))
    wanted = ["spot", "kind", "x_mm", "y_mm", "before_mm", "after_mm", "change_mm", "sigma_mm", "state"]
    assert list(rows[0])[: len(wanted)] == wanted
    assert [r["state"] for r in rows] == ["down", "cut too far", "same", "", "new"]
    assert [r["noise"] for r in rows] == ["no", "no", "yes", "", "no"]
    assert [r["kind"] for r in rows] == ["hump", "hump", "hollow", "hump", "hollow"]
    for row in rows:
        if row["state"]:
            difference = float(row["after_mm"]) - float(row["before_mm"])
            assert float(row["change_mm"]) == pytest.approx(difference, abs=2e-4)
    assert (rows[3]["after_mm"], rows[3]["change_mm"], rows[3]["sigma_mm"]) == ("", "", "")
    assert float(rows[4]["x_mm"]) == pytest.approx(NEW[0], abs=1.0)
    assert float(rows[4]["y_mm"]) == pytest.approx(NEW[1], abs=1.0)


def test_json_says_where_the_wood_lies_and_how_sure(written, result):
    told = json.loads((written / "change.json").read_text(encoding="utf-8"))
    assert told["schema"] == 1
    assert told["registration"]["turn_deg"] == pytest.approx(4.0, abs=0.1)
    assert told["registration"]["hangs_on"] == "wood that stayed"
    assert told["registration"]["agreeing"] > told["registration"]["by_accident"]
    assert told["spots"][3]["after_mm"] is None
    assert told["spots"][3]["noise"] is None
    assert 0.5 < told["unchanged_share"] < 1
    assert "/" not in told["before"] + told["after"]  # folders are nobody's business


def test_arrays_are_on_the_sheet_of_before(written, result):
    with np.load(written / "change.npz") as arrays:
        np.testing.assert_array_equal(arrays["x_mm"], result.grid.x_mm)
        difference = arrays["after_mm"] - arrays["before_mm"]
        np.testing.assert_allclose(arrays["change_mm"], difference, atol=1e-5)
        assert (arrays["sigma_mm"][np.isfinite(arrays["change_mm"])] > 0).all()


def test_the_page_is_whole_and_fetches_nothing(written):
    text = (written / "change.html").read_text(encoding="utf-8")
    HTMLParser().feed(text)
    assert not re.findall(r"(?:src|href)=\"(?!data:)", text)
    assert "1 cut too far" in text
    assert "inside the noise" in text
    assert "not seen both times" in text
    assert text.count('class="number"') == 5


def test_one_colour_scale_for_all_three(result):
    from matplotlib.figure import Figure

    limits = set()
    real = Figure.colorbar

    def spy(figure, picture, **more):
        limits.update(i.get_clim() for axes in more["ax"] for i in axes.get_images())
        return real(figure, picture, **more)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Figure, "colorbar", spy)
        change_plot.change_png(result)
    highest = max(limit_mm(s) for s in (result.before_mm, result.after_mm, result.change_mm))
    assert limits == {(-highest, highest)}


def test_the_picture_shows_noise_and_survives_grey_printing(written):
    grey = np.asarray(Image.open(written / "change.png").convert("L"), float)
    assert grey.shape[1] > 1500
    assert grey.std() > 20


def test_written_twice_it_is_the_same(result, written, tmp_path):
    report.write(result, tmp_path / "again")
    for name in ("change.csv", "change.json", "change.html", "change.png"):
        assert (tmp_path / "again" / name).read_bytes() == (written / name).read_bytes()


def test_a_strip_of_all_passes(folders):
    maps = [stored.read(f) for f in folders]
    drawn = change.curve([*maps, *maps], tolerance_mm=0.2)
    picture = Image.open(io.BytesIO(report.strip_png([*maps, *maps], drawn)))
    assert picture.width > picture.height > 300
    one = report.strip_png(maps[:1], change.curve(maps[:1]))
    assert Image.open(io.BytesIO(one)).width == picture.width


def test_mirror_and_least_are_passed_on(folders, tmp_path):
    got = run(*folders, "-o", tmp_path / "a", "--least", "0.25mm", "--json")
    told = json.loads(got.stdout)
    assert told["least_mm"] == 0.25
    assert told["spots"][0]["state"] == "gone"
    got = run(*folders, "-o", tmp_path / "b", "--mirror")
    assert got.exit_code == 1
    assert "mirror" in got.stderr
    assert not (tmp_path / "b").exists()


def test_sides_are_told_apart_from_passes(folders, tmp_path):
    one = stored.read(folders[0])
    page = report.write(change.compare(one, mirror(one), mirror=True), tmp_path / "sides")
    text = page.read_text(encoding="utf-8")
    assert "same on both sides" in text
    assert "What became of it" not in text


@pytest.mark.parametrize(
    ("arguments", "problem"),
    [
        (("pass-1", "nowhere"), "not the result folder of a map"),
        (("pass-1", "pass-2", "--least", "0.2"), "has no unit"),
        (("pass-1", "pass-2", "--least", "0mm"), "too small"),
    ],
)
def test_refusals_are_two_lines_and_leave_nothing(folders, tmp_path, arguments, problem):
    place = folders[0].parent
    args = [place / a if a.startswith(("pass", "nowhere")) else a for a in arguments]
    got = run(*args, "-o", tmp_path / "out")
    assert got.exit_code == 1
    assert problem in got.stderr
    assert len(got.stderr.strip().splitlines()) == 2
    assert not (tmp_path / "out").exists()


def test_a_folder_in_use_is_refused_before_anything_is_read(folders, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "notes.txt").write_text("mine")
    got = run(folders[0], tmp_path / "nowhere", "-o", tmp_path / "out")
    assert got.exit_code == 1
    assert "not empty" in got.stderr


def test_a_damaged_map_is_refused(folders, tmp_path):
    import shutil

    shutil.copytree(folders[1], tmp_path / "pass-2")
    (tmp_path / "pass-2" / "draws.npz").write_bytes(b"PK")
    got = run(folders[0], tmp_path / "pass-2", "-o", tmp_path / "out")
    assert got.exit_code == 1
    assert "missing or damaged" in got.stderr
    assert not (tmp_path / "out").exists()
