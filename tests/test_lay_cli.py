"""lightcheck lay on a stored map: outputs, words and refusals."""

import csv
import json

import made_up
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from lightcheck.cli.main import main

BATTEN = ("--batten", "20mm,6mm,oak", "--through", "spot1")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """An invented map, as lightcheck map writes it."""
    return made_up.written(tmp_path_factory.mktemp("lay") / "map")


def run(folder, out, *options):
    return CliRunner().invoke(main, ["lay", str(folder), *options, "-o", str(out)])


def rows(out):
    with (out / "lay.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_along_a_line_every_tool_leaves_numbers_and_a_picture(folder, tmp_path):
    out = tmp_path / "laid"
    result = run(
        folder, out, "--straightedge", "300mm", "--batten", "20mm,6mm,spruce", "--longboard",
        "400mm,70mm,12mm,larch", "--through", "spot1", "--hold", "10mm,530mm", "--weight", "1kg@250mm",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    facts = json.loads((out / "lay.json").read_text())
    assert facts["schema"] == 1 and set(facts["tools"]) == {"straightedge", "batten", "longboard"}
    assert len(facts["map_sha256"]) == 64
    for name, tool in facts["tools"].items():
        assert tool["worst_mm"] > 0 and tool["worst_sigma_mm"] >= 0
        with Image.open(out / f"{name}.png") as picture:
            assert picture.size[0] > 1000
    table = rows(out)
    edge = [r for r in table if r["tool"] == "straightedge" and r["daylight_mm"]]
    inside = [float(r["daylight_mm"]) for r in edge if r["what"] in ("bridges", "touches")]
    assert max(inside) == pytest.approx(facts["tools"]["straightedge"]["worst_mm"], abs=1e-3)
    assert {r["what"] for r in table if r["tool"] == "batten"} & {"doubtful: a free end runs straight here"}
    assert "widest daylight" in result.output and "Sitka" in result.output


def test_over_the_whole_map_the_sheets_are_kept(folder, tmp_path):
    out = tmp_path / "laid"
    result = run(
        folder, out, "--longboard", "400mm,70mm,12mm,larch", "--planking", "6mm,cedar", "--json", "-q"
    )
    assert result.exit_code == 0, result.output
    facts = json.loads(result.output)
    assert 0 < facts["tools"]["longboard"]["cut_share"] < 1
    with np.load(out / "lay.npz") as sheets:
        shape = (len(sheets["y_mm"]), len(sheets["x_mm"]))
        assert sheets["longboard_value_mm"].shape == sheets["planking_sigma_mm"].shape == shape
    what = {r["what"] for r in rows(out) if r["tool"] == "longboard"}
    assert {"cut", "bridged", "untouched"} >= what >= {"cut", "bridged"}
    assert not (out / "straightedge.png").exists()


def test_the_line_may_be_said_in_cards(folder, tmp_path):
    out = tmp_path / "laid"
    result = run(
        folder, out, "--straightedge", "200mm", "--from", "card0:80mm,60mm", "--to", "card1:-80mm,60mm"
    )
    assert result.exit_code == 0, result.output
    first = rows(out)[0]
    assert float(first["x_mm"]) == pytest.approx(-150, abs=2)
    assert float(first["y_mm"]) == pytest.approx(-75, abs=2)


def test_a_batten_runs_on_over_typed_points_and_a_reading(folder, tmp_path):
    typed = run(
        folder, tmp_path / "typed", "--batten", "20mm,6mm,spruce", "--through", "spot2", "--beyond",
        "650mm:-2mm", "--beyond", "700mm:-5mm", "--end-angle", "-4deg",
    )  # fmt: skip
    assert typed.exit_code == 0, typed.output
    reading = tmp_path / "reading"
    reading.mkdir()
    lines = ["along_mm,x_mm,y_mm,daylight_mm,sigma_mm"]
    lines += [f"{i},{i - 100},{-((i / 120) ** 2)},0.5,0.05" for i in range(0, 200, 2)]
    (reading / "daylight.csv").write_text("\n".join(lines) + "\n")
    carried = run(
        folder, tmp_path / "carried", "--batten", "20mm,6mm,spruce", "--through", "spot2",
        "--beyond", f"{reading}/@500mm",
    )  # fmt: skip
    assert carried.exit_code == 0, carried.output
    places = json.loads((tmp_path / "carried" / "lay.json").read_text())["tools"]["batten"]["touching"]
    assert any(t["what"] == "typed point" and t["from_mm"] > 600 for t in places)


@pytest.mark.parametrize(
    ("options", "problem", "remedy"),
    [
        ([], "No tool was named", "--straightedge 600mm"),
        (["--straightedge", "300"], "has no unit", "300mm"),
        (["--straightedge", "300mm", "--from", "card0"], "one end only", "--to card1"),
        (["--straightedge", "300mm", "--through", "card77"], "no card 77", "cards 0, 1, 2, 3"),
        (["--straightedge", "300mm", "--through", "spot9"], "no spot 9", "spots 1, 2"),
        (["--straightedge", "300mm", "--through", "middle"], "not a place", "card3:120mm,-95mm"),
        (["--straightedge", "300mm", "--through", "card0:900mm,0mm"], "not on the map", "card3"),
        (["--straightedge", "300mm", "--through", "spot1", "--from", "card0"], "two different", "--through"),
        (["--straightedge", "300mm", "--turn", "90"], "not a turn", "90deg"),
        (["--longboard", "400mm,70mm"], "does not say all", "length, width, thickness"),
        (["--longboard", "400mm,70mm,12mm,stone"], "not a wood", "white oak"),
        (["--longboard", "70mm,400mm,12mm,oak"], "can not be 70", "length and then its width"),
        (["--longboard", "400mm,70mm,12mm,oak", "--press", "heavy"], "not a weight", "3kg"),
        (["--batten", "20mm,6mm,oak", "--hold", "10mm"], "along a line", "--batten"),
        ([*BATTEN, "--weight", "2kg"], "where the weight", "@300mm"),
        ([*BATTEN, "--beyond", "650mm"], "not a point", "650mm:-3mm"),
        ([*BATTEN, "--beyond", "no/@5mm"], "not the result", "lightcheck daylight"),
        (["--planking", "6mm,oak", "--bonded", "5"], "stiffness of a bed", "0.5N/mm3"),
        (["--planking", "6mm,oak", "--pitch", "5mm"], "can not be laid", "--pitch 150mm"),
    ],
)  # fmt: skip
def test_what_can_not_be_laid_is_two_lines(folder, tmp_path, options, problem, remedy):
    result = run(folder, tmp_path / "laid", *options)
    assert result.exit_code == 1
    told = [line for line in result.output.strip().splitlines() if not line.startswith("Laying")]
    assert len(told) == 2, result.output
    assert problem in told[0] and remedy in told[1]
    assert not (tmp_path / "laid").exists()


def test_an_earlier_result_is_left_alone_unless_told(folder, tmp_path):
    out = tmp_path / "laid"
    out.mkdir()
    (out / "mine.txt").write_text("mine")
    refused = run(folder, out, "--straightedge", "300mm", "--through", "spot1")
    assert refused.exit_code == 1 and "not empty" in refused.output
    forced = run(folder, out, "--straightedge", "300mm", "--through", "spot1", "--force")
    assert forced.exit_code == 0 and (out / "mine.txt").read_text() == "mine"
    assert "is not the result folder" in run(tmp_path, tmp_path / "o", "--straightedge", "300mm").output
