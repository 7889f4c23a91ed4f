"""The whole walk as a builder types it: photos in, result folder out, on path-traced photos."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from lightcheck.cli.main import main

SCENE = Path(__file__).parent.parent / "fixtures" / "three-1"


@pytest.fixture(scope="module")
def truth() -> dict:
    return json.loads((SCENE / "truth.json").read_text())


@pytest.fixture(scope="module")
def walked(tmp_path_factory, truth):
    folder = tmp_path_factory.mktemp("walk") / "map-1"
    typed = ["map", *(str(SCENE / f"{i}.jpg") for i in range(3)), "-o", str(folder), "--json"]
    for lamp in truth["lamps"]:
        typed += ["--lamp", lamp]
    return CliRunner().invoke(main, typed), folder


def test_it_ends_well_and_prints_one_object(walked):
    result, _ = walked
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["schema"] == 1


def test_the_folder_holds_what_other_programs_rely_on(walked):
    _, folder = walked
    stored = np.load(folder / "map.npz")
    shape = stored["y_mm"].size, stored["x_mm"].size
    assert stored["height_mm"].shape == stored["sigma_mm"].shape == shape
    assert np.all(np.diff(stored["x_mm"]) > 0) and np.all(np.diff(stored["y_mm"]) > 0)
    assert {"map.json", "spots.csv", "map.png", "wood.png", "report.html"} <= {
        p.name for p in folder.iterdir()
    }


def test_cards_lie_where_they_were_painted(walked, truth):
    _, folder = walked
    found = {c["card"]: c for c in json.loads((folder / "map.json").read_text())["cards"]}
    for card in truth["cards"]:
        away = np.hypot(
            found[card["card"]]["x_mm"] - card["x_mm"], found[card["card"]]["y_mm"] - card["y_mm"]
        )
        assert away < 0.3


def test_the_highest_humps_head_the_list(walked, truth):
    _, folder = walked
    with (folder / "spots.csv").open(newline="") as file:
        spots = list(csv.DictReader(file))
    for hump in (h for h in truth["humps"] if abs(h["height_mm"]) > 0.4):
        near = [
            s
            for s in spots
            if np.hypot(float(s["x_mm"]) - hump["x_mm"], float(s["y_mm"]) - hump["y_mm"]) < 30
        ]
        assert len(near) == 1 and float(near[0]["chance"]) > 0.9
        assert float(near[0]["height_mm"]) * hump["height_mm"] > 0


def test_a_second_map_needs_force(walked, truth):
    _, folder = walked
    typed = ["map", str(SCENE / "0.jpg"), "--lamp", truth["lamps"][0], "-o", str(folder)]
    result = CliRunner().invoke(main, typed)
    assert result.exit_code == 1
    assert len(result.stderr.strip().splitlines()) == 2 and "--force" in result.stderr
