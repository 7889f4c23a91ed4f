"""A strip of known thickness against what a map reads: arithmetic, tape standards, photographs."""

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from laid import CARDS, SHEET
from scoring import FIXTURES, SMALL

from lightcheck import card, fair, humpmap, lamp, patch, photo, relief, shadow, step
from lightcheck import specimen as sp
from lightcheck.errors import LightcheckError

TAPE_MM = 0.178  # vinyl tape, ASTM D3005: 0.007 in
TYPED = "2 layers of 0.178mm at 20mm,-10mm, 120mm x 60mm turned 30deg"


def strip(height_mm: float, *, tilt=0.0) -> np.ndarray:
    """(ny, nx) heights of the strip that is typed, over wood that may rise along x."""
    x, y = SHEET.mesh_mm()
    c, s = np.cos(np.radians(30)), np.sin(np.radians(30))
    along, across = (x - 20) * c + (y + 10) * s, (y + 10) * c - (x - 20) * s
    return np.where((abs(along) < 60) & (abs(across) < 30), height_mm, 0.0) + tilt * (x - 20)


def draws(heights: np.ndarray, sigma_mm: float, n=200) -> np.ndarray:
    """Draws whose strip is off by this much, all of it alike."""
    by = np.random.default_rng(5).standard_normal(n) * sigma_mm
    return heights + by[:, None, None] * (strip(1.0) > 0.5)


def test_what_is_typed():
    spec = step.read(TYPED)
    assert spec.thick_mm == pytest.approx(2 * TAPE_MM)
    assert (spec.x_mm, spec.y_mm, spec.card, spec.long_mm, spec.wide_mm) == (20, -10, None, 120, 60)
    assert np.degrees(spec.turn_rad) == pytest.approx(30)
    from_card = step.read("0.178mm@120mm,-40mm from card 2,150mm x 48mm")
    assert (from_card.card, from_card.thick_mm, from_card.turn_rad) == (2, TAPE_MM, 0.0)


def test_tape_of_seven_thousandths_is_the_standards_and_not_its_misprint():
    """A printed copy of ASTM D3005 says 0.0178 mm (0.007 in): that slip is ten times too thin."""
    assert step.read("0.007in at 0mm,0mm, 100mm x 50mm").thick_mm == pytest.approx(0.1778)
    with pytest.raises(LightcheckError, match="no check"):
        step.read("0.0178mm at 0mm,0mm, 100mm x 50mm")


@pytest.mark.parametrize(
    "typed",
    [
        "0.178mm", "0.178 at 1mm,2mm, 100mm x 50mm", "0.178mm at 1mm,2mm", "at 1mm,2mm, 100mm x 50mm", "",
        "0.178mm at 1mm,2mm, 100mm x 20mm", "9mm at 1mm,2mm, 100mm x 50mm", "0.1mm at 1mm,2mm, 9m x 50mm",
        "x layers of 0.1mm at 1mm,2mm, 100mm x 50mm",
    ],
)  # fmt: skip
def test_what_is_refused(typed):
    with pytest.raises(LightcheckError) as refusal:
        step.read(typed)
    assert refusal.value.remedy


def test_a_strip_read_right_agrees_and_its_doubt_is_that_of_map_and_tape():
    spec, heights = step.read(TYPED), strip(0.36, tilt=0.0005)  # the wood may slope: both sides count
    found = step.against(spec, SHEET, heights, draws(heights, 0.02), cards=CARDS)
    assert found.read_mm == pytest.approx(0.36, abs=0.003)
    assert found.was_mm == pytest.approx(0.356)
    assert found.sigma_mm == pytest.approx(np.hypot(0.02, 0.03 * 0.356), rel=0.15)
    assert found.share == pytest.approx(0.36 / 0.356, abs=0.01)
    assert found.agrees and found.sentence.endswith("which agrees.")
    assert "0.356 mm reads 0.36" in found.sentence


def test_layers_read_in_proportion():
    read = []
    for n in (1, 2, 3):
        spec = replace(step.read(TYPED), thick_mm=n * TAPE_MM)
        heights = strip(0.9 * n * TAPE_MM)
        read.append(step.against(spec, SHEET, heights, draws(heights, 0.01)).share)
    assert read == pytest.approx([0.9] * 3, abs=1e-6)


def test_a_strip_read_low_or_high_is_told_with_what_to_do():
    spec = step.read(TYPED)
    low = step.against(spec, SHEET, strip(0.19), draws(strip(0.19), 0.02))
    assert not low.agrees and low.sigmas > 5
    assert "53 %" in low.sentence and "thin paper" in low.sentence and "lamp's height" in low.sentence
    high = step.against(spec, SHEET, strip(0.5), draws(strip(0.5), 0.02))
    assert not high.agrees and "too large" in high.sentence


def test_a_place_without_heights_is_refused():
    spec, heights = step.read(TYPED), strip(0.36)
    for where in ("500mm,0mm", "230mm,140mm"):
        away = step.read(f"0.356mm at {where}, 120mm x 60mm")
        with pytest.raises(LightcheckError, match="does not lie where"):
            step.against(away, SHEET, heights, draws(heights, 0.02))
    blind = np.where(strip(1.0) > 0.5, np.nan, 0.0)
    with pytest.raises(LightcheckError, match="does not lie where"):
        step.against(spec, SHEET, blind, draws(heights, 0.02))
    with pytest.raises(LightcheckError, match="card 9"):
        step.against(replace(spec, card=9), SHEET, heights, draws(heights, 0.02), cards=CARDS)


def test_a_place_from_a_card_is_the_same_place():
    spec, heights = step.read(TYPED), strip(0.36)
    card = CARDS[1]
    moved = replace(spec, card=card.card, x_mm=spec.x_mm - card.x_mm, y_mm=spec.y_mm - card.y_mm)
    made, stored = (
        SimpleNamespace(
            grid=SHEET, cards=CARDS, height_mm=heights, draws_mm=draws(heights, 0.02),
            fair=SimpleNamespace(height_mm=heights, draws_mm=draws(heights, 0.02)),
            patch=SimpleNamespace(grid=SHEET, cards=CARDS),
        )
        for _ in range(2)
    )  # fmt: skip
    plain = step.against(spec, SHEET, heights, draws(heights, 0.02))
    assert step.of_map(moved, made).read_mm == step.of_stored(moved, stored).read_mm == plain.read_mm


def test_a_photographed_strip_of_tape_reads_what_it_is(tmp_path):
    """One layer under paper that slopes over 8 mm at its edges, an opposed pair."""
    tape = sp.Plateau(x_mm=20, y_mm=10, height_mm=TAPE_MM, long_mm=130, wide_mm=60, turn_rad=0.2, edge_mm=8.0)
    board = replace(sp.random_board(31, humps=0), plateaus=(tape,))
    shots = sp.shoot(board, "pair", tmp_path, seed=4, phone=SMALL)
    asked = humpmap.Recipe(photos=tuple(str(p) for p, _ in shots), lamps=tuple(s for _, s in shots))
    spec = step.read("0.178mm at 20mm,10mm, 130mm x 60mm turned 11deg")
    found = step.of_map(spec, humpmap.make(asked))
    assert found.agrees
    assert 0.85 < found.share < 1.15
    assert found.sigma_mm < 0.04


def test_a_path_traced_strip_beside_coins_reads_what_it_is():
    """Two layers under an opposed pair, coins and their shadows left out; a renderer that shares nothing."""
    folder = FIXTURES / "known-1"
    facts = json.loads((folder / "truth.json").read_text())
    photos = [photo.load(folder / f"{n}.jpg") for n in range(2)]
    sheet = patch.lay_out(photos, [card.find(p) for p in photos])
    lamps = tuple(lamp.place(lamp.read(t), centres_mm={}, eye_mm=np.zeros(3)) for t in facts["lamps"])
    coins = [f"{c['name']} at {c['at_mm'][0]:.0f}mm,{c['at_mm'][1]:.0f}mm" for c in facts["coins"]]
    shadows = shadow.find(tuple(shadow.read(c) for c in coins), sheet, lamps)
    surface = fair.surface(relief.solve(shadow.uncovered(sheet, shadows), lamps), longest_mm=(400.0, 400.0))
    x, y = facts["strip"]["at_mm"]
    spec = step.read(f"2 layers of 0.178mm at {x:.0f}mm,{y:.0f}mm, 130mm x 60mm")
    found = step.against(spec, sheet.grid, surface.height_mm, surface.draws_mm)
    assert found.was_mm == pytest.approx(facts["strip"]["thick_mm"])
    assert found.agrees
    assert 0.85 < found.share < 1.1
