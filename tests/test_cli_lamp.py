"""lightcheck lamp as a builder types it."""

import json

import numpy as np
import pytest
from click.testing import CliRunner
from laid import SHEET, relief_of
from PIL import Image

from lightcheck import reach
from lightcheck.cli.main import main
from lightcheck.report import lamp as sheet


def run(*typed):
    return CliRunner().invoke(main, ["lamp", *(str(t) for t in typed)])


def refused(*typed) -> str:
    result = run(*typed)
    assert result.exit_code == 1 and result.stdout == "" and "Traceback" not in result.output
    lines = result.stderr.splitlines()
    assert len(lines) == 2 and all(lines)
    return " / ".join(lines)


def test_the_answer_can_be_typed_into_map(tmp_path):
    result = run("--see", "0.1mm", "--across", "60mm", "--patch", "600mm", "-o", tmp_path / "lamp.png")
    assert result.exit_code == 0, result.output
    assert "--lamp left,900mm,120mm --lamp right,900mm,120mm" in result.stdout
    assert "In its own shadow" in result.stdout and "shadow" not in result.stderr
    with Image.open(tmp_path / "lamp.png") as sketch:
        assert sketch.format == "PNG" and sketch.width == 1400
        grey = np.asarray(sketch.convert("L"), float)
    assert grey.min() < 40 and grey.mean() > 200  # dark pen on white paper
    rim = np.r_[grey[0], grey[-1], grey[:, 0], grey[:, -1]]
    assert rim.min() > 250  # no word runs off the sheet
    assert list(tmp_path.iterdir()) == [tmp_path / "lamp.png"]


def test_json_holds_what_the_words_say():
    told = json.loads(run("--see", "0.1mm", "--across", "60mm", "--json", "--out", "1m").stdout)
    assert told["schema"] == 1 and told["out_mm"] == 1000.0
    stand = reach.stand(see_mm=0.1, across_mm=60.0, patch_mm=600.0, out_mm=1000.0)
    assert told["up_mm"] == pytest.approx(stand.up_mm, abs=0.06)
    assert told["contrast"]["middle"] == pytest.approx(stand.contrast[1], abs=1e-5)
    assert told["elevation_deg"]["far"] == pytest.approx(np.degrees(stand.elevation_rad[2]), abs=0.01)
    assert told["lit_over_crown_mm"] is None


def test_round_wood_is_told_how_far_light_goes_over_it():
    words = run("--round", "800mm").stdout.splitlines()[-1]
    reached = reach.lit_over_crown_mm(
        radius_mm=800, out_mm=900, up_mm=reach.stand(see_mm=0.1, across_mm=60.0, patch_mm=600.0).up_mm
    )
    assert f"{reached:.0f} mm beyond the crown" in words


def test_refusals_are_two_lines(tmp_path):
    assert "has no unit" in refused("--see", "0.1")
    assert "No lamp over this patch" in refused("--see", "0.01mm")
    assert "too near" in refused("--out", "300mm")
    assert "is a step" in refused("--see", "10mm")
    assert "folder" in refused("-o", tmp_path)
    assert "no name for a PNG" in refused("-o", tmp_path / "lamp.txt")
    assert "its folder is not there" in refused("-o", tmp_path / "no" / "lamp.png")
    there = tmp_path / "lamp.png"
    there.write_bytes(b"mine")
    assert "is there already" in refused("-o", there)
    assert there.read_bytes() == b"mine"
    assert run("-o", there, "--force", "-q").stderr == ""
    assert there.read_bytes()[:4] == b"\x89PNG"


def test_the_curve_of_a_map_is_drawn_and_put_in_words():
    noise = relief_of(np.zeros(SHEET.shape)).noise
    curve = reach.limits([[-900, 0, 110], [900, 0, 110]], patch_mm=(480, 300), noise=noise)
    blank = sheet.reach_png(curve, least_mm=0.1)
    dotted = sheet.reach_png(curve, spots=((80.0, 0.4), (900.0, -9.0)), least_mm=0.1)
    assert blank[:4] == dotted[:4] == b"\x89PNG" and blank != dotted
    words = sheet.limit_words(curve, 0.1)
    assert f"{curve.least_at(100.0):.2g} mm" in words and "everywhere" in words
    assert "can not be told" in sheet.limit_words(curve, 0.01)
    one = reach.limits([[-900, 0, 110]], patch_mm=(480, 300))
    assert sheet.reach_png(one, least_mm=0.1)[:4] == b"\x89PNG"
