"""lightcheck mark and lightcheck plan: files whole or not at all, refusals in two lines, cautions once."""

import csv
import json
import re

import made_up
import pytest
from click.testing import CliRunner

from lightcheck import report
from lightcheck.cli.main import main
from lightcheck.report import plan as files
from lightcheck.report.plan_words import CAUTIONS


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    at = tmp_path_factory.mktemp("made") / "map"
    report.write(made_up.hump_map(), at)
    return at


def run(*words):
    return CliRunner().invoke(main, [str(w) for w in words], catch_exceptions=False)


def refused(*words):
    """Problem and remedy of a command that is refused."""
    result = run(*words)
    assert result.exit_code == 1
    assert result.stdout == ""
    lines = result.stderr.strip().splitlines()
    assert len(lines) == 2
    return lines[0]


@pytest.fixture(scope="module")
def marked(folder, tmp_path_factory):
    path = tmp_path_factory.mktemp("marks") / "marks.toml"
    said = (
        "fastener at 120mm,-50mm, 0.2mm deep", "grain from -200mm,0mm to 0mm,10mm",
        "station 3 from -150mm,-170mm to -150mm,170mm", "centreline from -290mm,-110mm to 290mm,-110mm",
    )  # fmt: skip
    assert run("mark", folder, *said, "-o", path).exit_code == 0
    return path


@pytest.fixture(scope="module")
def planned(folder, marked, tmp_path_factory):
    out = tmp_path_factory.mktemp("planned") / "plan"
    result = run(
        "plan", folder, "--marks", marked, "-o", out, "--bow", "left", "--part", "Wrenlet <panel>",
        "--pass", "2", "--date", "2031-02-03", "--full-size", "--json",
    )  # fmt: skip
    assert result.exit_code == 0
    return out, json.loads(result.stdout)


def test_the_folder_holds_what_was_promised(planned):
    out, printed = planned
    assert {p.name for p in out.iterdir()} == set(files.FILES)
    assert json.loads((out / "plan.json").read_text()) == printed
    assert (printed["schema"], printed["pass"], printed["fine_end"]) == (1, "2", "left")
    assert len(printed["map"]["map_json_sha256"]) == 64
    for name in (files.BENCH, files.FULL):
        assert (out / name).read_bytes().startswith(b"%PDF")


def test_the_table_says_the_same_as_the_json(planned):
    out, printed = planned
    rows = list(csv.DictReader((out / "plan.csv").read_text().splitlines()))
    assert [r["order"] for r in rows] == ["1", "2", "3", "", ""]
    assert [r["do"] for r in rows] == ["plane", "refused", "leave", "do not plane", "do not plane"]
    for row, task in zip(rows, printed["tasks"], strict=False):
        assert int(row["spot"]) == task["spot"]
        assert float(row["take_mm"]) == task["take_mm"]
        assert float(row["from_station_mm"]) == task["from_station_mm"]
    first = printed["tasks"][0]
    tool = next(t for t in printed["tools"] if t["name"] == first["tool"])
    assert first["strokes"] == -(-first["take_mm"] // tool["shaving_mm"])
    assert "reach the fastener" in rows[1]["reason"]
    assert float(rows[3]["fill_cm3"]) > 0


def test_the_page_says_each_caution_once_and_fetches_nothing(planned):
    text = (planned[0] / files.PAGE).read_text()
    plain = text.replace("&#39;", "'")
    for caution in CAUTIONS:
        assert plain.count(caution) == 1
    assert "Wrenlet &lt;panel&gt;" in text
    assert not re.search(r"""(?:src|href)=["'](?!data:|#)""", text)
    assert "strong enough" in text and "designer" in text


def test_a_list_on_stdout(folder, tmp_path):
    result = run("plan", folder, "-o", tmp_path / "plan", "--tool", "jack plane,355mm,50mm,0.1mm")
    assert result.exit_code == 0
    assert "6 strokes with the jack plane" in result.stdout  # 0.88 less 0.3, at 0.1
    assert "Do not plane. To lose it" in result.stdout
    assert "No grain is marked" in result.stderr


def test_marks_can_be_added_to_and_a_file_is_not_replaced_unasked(folder, marked, tmp_path):
    path = tmp_path / "marks.toml"
    path.write_bytes(marked.read_bytes())
    assert "is there already" in refused("mark", folder, "leave at 0mm,0mm", "-o", path)
    assert path.read_bytes() == marked.read_bytes()
    result = run("mark", folder, "leave at 10mm,10mm from card 2", "-o", path, "--add")
    assert result.exit_code == 0
    assert path.read_text().count("[[mark]]") == 5


def test_marks_drawn_on_the_maps_own_picture(folder, tmp_path):
    from PIL import Image, ImageDraw

    picture = Image.open(folder / "wood.png").convert("RGB")
    scale = picture.width / 584.0  # of 146 cells of 4 mm
    middle = picture.width / 2, picture.height / 2
    pen = ImageDraw.Draw(picture)
    x, y = middle[0] + 50 * scale, middle[1] - 30 * scale
    pen.ellipse((x - 5, y - 5, x + 5, y + 5), fill="red")
    picture.save(tmp_path / "mine.png")
    out = tmp_path / "marks.toml"
    result = run(
        "mark", folder, "--drawn", tmp_path / "mine.png", "--colour", "red = fastener, 3mm deep", "-o", out
    )
    assert result.exit_code == 0, result.stderr
    assert "fastener 3 mm down: 50mm,30mm" in result.stdout


def test_what_can_not_be_marked_is_refused(folder, tmp_path):
    out = tmp_path / "marks.toml"
    assert "No mark was given" in refused("mark", folder, "-o", out)
    assert "belong together" in refused("mark", folder, "--drawn", "x.png", "-o", out)
    assert "no mark known" in refused("mark", folder, "nail at 0mm,0mm", "-o", out)
    assert "not the result folder" in refused("mark", tmp_path, "leave at 0mm,0mm", "-o", out)
    assert "can not be written" in refused(
        "mark", folder, "leave at 0mm,0mm", "-o", tmp_path / "no" / "m.toml"
    )
    assert "is a folder" in refused("mark", folder, "leave at 0mm,0mm", "-o", tmp_path)
    assert not list(tmp_path.iterdir())


def test_what_can_not_be_planned_is_refused_and_leaves_nothing(folder, tmp_path):
    out = tmp_path / "plan"
    assert "no order of work" in refused("plan", folder, "-o", out, "--order", "best")
    assert "no hump 3" in refused("plan", folder, "-o", out, "--order", "3,1")
    assert "is not a tool" in refused("plan", folder, "-o", out, "--tool", "jack")
    assert "can not be read" in refused("plan", folder, "-o", out, "--marks", tmp_path / "m.toml")
    assert "least thickness alone" in refused("plan", folder, "-o", out, "--least-thickness", "8mm")
    assert "too small" in refused("plan", folder, "-o", out, "--leave", "-1mm")
    assert "not the result folder" in refused("plan", tmp_path, "-o", out)
    assert not list(tmp_path.iterdir())
    out.mkdir()
    (out / "mine.txt").write_text("keep")
    assert "is not empty" in refused("plan", folder, "-o", out)
    assert [p.name for p in out.iterdir()] == ["mine.txt"]


def test_without_spots_the_list_is_empty_and_whole(tmp_path):
    report.write(made_up.hump_map(spots=False), tmp_path / "map")
    result = run("plan", tmp_path / "map", "-o", tmp_path / "plan")
    assert result.exit_code == 0
    assert "No hump or hollow" in result.stdout
    assert (tmp_path / "plan" / "plan.csv").read_text().count("\n") == 1
