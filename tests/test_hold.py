"""Templates in the map: where they stood, what they hold, and what they say of the lamps' heights."""

from dataclasses import replace

import numpy as np
import pytest
from scoring import score, taken

from lightcheck import fair, lamp
from lightcheck import specimen as sp
from lightcheck.errors import LightcheckError
from lightcheck.humpmap.make import lay_holds
from lightcheck.humpmap.warn import template_warnings
from lightcheck.patch import CardPlace, lay, lay_out
from lightcheck.patch.base import Base
from lightcheck.relief import hang, line
from lightcheck.relief.hold import held
from lightcheck.relief.scene import lay_scene
from lightcheck.template import Daylight, Seat

CARDS = tuple(
    CardPlace(card=n, x_mm=x, y_mm=y, turn_rad=0.0)
    for n, x, y in ((0, -200, -100), (1, 200, -100), (5, 0, 150))
)
BOARD = sp.Board(
    humps=(
        sp.Hump(x_mm=-90.0, y_mm=0.0, height_mm=0.55, long_mm=45.0, short_mm=38.0, turn_rad=0.5),
        sp.Hump(x_mm=80.0, y_mm=-10.0, height_mm=-0.45, long_mm=38.0, short_mm=34.0, turn_rad=1.2),
        sp.Hump(x_mm=110.0, y_mm=90.0, height_mm=0.30, long_mm=32.0, short_mm=30.0),
        sp.Hump(x_mm=-40.0, y_mm=-95.0, height_mm=0.35, long_mm=36.0, short_mm=30.0),
    ),
    seed=6,
)
HUMPS = [(h.x_mm, h.y_mm, h.height_mm) for h in BOARD.humps]


def reading(wood_mm, *, half_mm=190.0, skew_rad=0.03, sigma_mm=0.03, seed=0, seat=None) -> Daylight:
    """A made-up reading of wood_mm(s): a straight template, its cards glued on askew by skew_rad."""
    s = np.arange(-half_mm, half_mm + 0.5)
    wood = wood_mm(s) - 80.0
    edge = np.stack([s, np.full_like(s, wood.max() + 0.2)], axis=1)
    noise = np.random.default_rng(seed).normal(0, sigma_mm / 2, len(s))
    c, k = np.cos(skew_rad), np.sin(skew_rad)
    return Daylight(
        photo="made-up", sha256="0", light="back", held="template", thick_mm=0.0, cards=(),
        along_mm=s + half_mm, edge_mm=edge @ np.array([[c, k], [-k, c]]),
        daylight_mm=np.maximum(edge[:, 1] - wood + noise, 0.0), sigma_mm=np.full(len(s), sigma_mm),
        eye_mm=np.array([0.0, 0.0, 1200.0]), eye_sigma_mm=np.ones(3), mm_per_px=0.2, seat=seat or Seat(),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "origin", "towards"),
    [
        ("d3/@card0-card1", (0, -100), (1, 0)),
        ("d3/@card1-card0,at=50mm", (150, -100), (-1, 0)),
        ("d3@card0-card5", (-100, 25), np.array([200, 250]) / np.hypot(200, 250)),
        ("d3/@x=120mm", (120, 0), (0, 1)),
        ("d3/@y=-70mm,at=2in", (50.8, -70), (1, 0)),
        ("d3/@y=-70mm,turned", (0, -70), (-1, 0)),
    ],
)
def test_a_line_lies_where_it_was_said_to(typed, origin, towards):
    placed = line.place(line.read(typed), CARDS)
    np.testing.assert_allclose(placed.origin_mm, origin, atol=1e-9)
    np.testing.assert_allclose(placed.towards, towards, atol=1e-9)
    np.testing.assert_allclose(
        placed.places_mm(np.array([10.0]))[0], np.add(origin, 10 * np.asarray(towards))
    )


@pytest.mark.parametrize(
    "typed", ["d3/", "@x=1mm", "d3/@", "d3/@x=120", "d3/@card0-card0", "d3/@z=3mm", "d3/@x=1mm,over=2mm"]
)
def test_what_is_no_line_is_refused_with_an_example(typed):
    with pytest.raises(LightcheckError) as refused:
        line.read(typed)
    assert refused.value.remedy


def test_a_card_that_is_not_there_is_named():
    with pytest.raises(LightcheckError, match=r"Card 7 .*there: 0, 1, 5"):
        line.place(line.read("d3/@card0-card7"), CARDS)


@pytest.mark.parametrize("skew_rad", [0.0, 0.05, -0.2])
@pytest.mark.parametrize("radius_mm", [np.inf, 1400.0])
def test_a_reading_gives_the_wood_over_the_base_but_for_lift_and_rock(skew_rad, radius_mm):
    base = Base(along_x=0.0 if np.isinf(radius_mm) else -1 / radius_mm)

    def wood(s):
        return base.height_mm(s, 0 * s) + 0.4 * np.exp(-(((s - 30) / 40) ** 2) / 2)

    placed = line.place(line.read("d/@y=0mm"), CARDS)
    laid = line.hold(reading(wood, skew_rad=skew_rad, sigma_mm=1e-4), placed, base, name="d")
    off = laid.reading_mm - (wood(laid.x_mm) - base.height_mm(laid.x_mm, 0 * laid.x_mm))
    left = off - laid.seat @ np.linalg.lstsq(laid.seat, off, rcond=None)[0]
    assert np.abs(left).max() < 2e-3
    np.testing.assert_allclose(laid.y_mm, 0.0, atol=1e-9)


def test_a_mark_narrows_how_far_it_may_slide():
    placed = line.place(line.read("d/@y=0mm"), CARDS)
    free = line.hold(reading(np.zeros_like), placed, Base(), name="d")
    marked = line.hold(reading(np.zeros_like, seat=Seat(side_sigma_mm=0.5)), placed, Base(), name="d")
    assert free.seat_sigma[2] > 2 and marked.seat_sigma[2] == 0.5


def test_a_short_reading_is_refused():
    placed = line.place(line.read("d/@y=0mm"), CARDS)
    with pytest.raises(LightcheckError, match="too short"):
        line.hold(reading(np.zeros_like, half_mm=15.0), placed, Base(), name="d")


@pytest.fixture(scope="module")
def laid_out():
    """(patch, lamps) of a pair of photos, on coarse cells to be quick."""
    with pytest.MonkeyPatch.context() as patching:
        patching.setattr(lay, "MOST_CELLS", 6000)
        photos, sightings, specs = taken(BOARD, "pair")
        patch = lay_out(list(photos), list(sightings))
    centres = {c.card: patch.base.points_mm(c.x_mm, c.y_mm) for c in patch.cards}
    lamps = tuple(
        lamp.place(lamp.read(s), centres_mm=centres, eye_mm=v.eye_mm)
        for s, v in zip(specs, patch.views, strict=True)
    )
    return patch, lamps


def over(patch, typed: str, **choices):
    """A hold along a line of BOARD."""
    placed = line.place(line.read(typed), patch.cards)

    def wood(s):
        return BOARD.height_mm(*placed.places_mm(s).T)

    return line.hold(reading(wood, **choices), placed, patch.base, name=typed)


def test_equations_of_a_hold_are_met_by_the_true_surface(laid_out):
    patch, lamps = laid_out
    hold = over(patch, "d/@y=0mm", skew_rad=0.0, sigma_mm=1e-3)
    scene = lay_scene(patch, lamps, holds=(hold,))
    x, y = (c[scene.cells.inside] for c in scene.cells.grid.mesh_mm())
    equations = held((hold,), scene.cells)
    truth = BOARD.height_mm(x, y) - patch.base.height_mm(x, y)
    right = equations.reading - equations.rows @ truth
    left = right - equations.seat @ np.linalg.lstsq(equations.seat, right, rcond=None)[0]
    sigma = hold.sigma_mm[equations.place]
    assert np.abs(left * sigma).max() < 0.01


def hump_error(patch, relief) -> float:
    surface = fair.surface(relief, longest_mm=(400.0, 400.0))
    return float(
        np.median(score(patch.grid, surface.height_mm, surface.sigma_mm, BOARD.height_mm, HUMPS).humps)
    )


def test_one_template_mends_a_lamp_entered_a_quarter_too_high(laid_out):
    patch, lamps = laid_out
    wrong = tuple(replace(a, place_mm=a.place_mm * [1, 1, 1.25]) for a in lamps)
    hung, alone = hang(patch, wrong, (over(patch, "d/@y=-4mm"),))
    assert hump_error(patch, alone) > 0.15
    assert hump_error(patch, hung) < 0.12
    assert abs(hung.height_factor - 0.8) < 2.5 * hung.height_factor_sigma
    assert [a.place_mm[2] for a in hung.lamps] < [a.place_mm[2] for a in alone.lamps]
    told = " ".join(template_warnings(hung))
    assert "of the height typed" in told


def test_a_template_leaves_lamps_that_were_read_well_where_they_are(laid_out):
    patch, lamps = laid_out
    hung, alone = hang(patch, lamps, (over(patch, "d/@y=-4mm"),))
    assert abs(hung.height_factor - 1) < 0.1
    assert hump_error(patch, hung) < hump_error(patch, alone) + 0.03
    (found,) = hung.holds
    assert np.sqrt(np.mean(found.left_mm**2)) < 0.05 and found.trust.min() > 0.3


def test_a_template_that_does_not_belong_here_is_told_and_not_followed(laid_out):
    patch, lamps = laid_out
    placed = line.place(line.read("d/@y=0mm"), patch.cards)
    strange = reading(lambda s: 1.5 * np.sign(np.sin(s / 40)))
    hung, alone = hang(patch, lamps, (line.hold(strange, placed, patch.base, name="d"),))
    assert "was not used" in " ".join(template_warnings(hung))
    assert np.nanmedian(np.abs(hung.z_mm - alone.z_mm)) < 0.02


def test_a_template_off_the_patch_is_refused(laid_out):
    patch, _ = laid_out
    spec = line.read("d/@y=900mm")
    with pytest.raises(LightcheckError, match="does not lie on this patch"):
        lay_holds(((spec, reading(np.zeros_like)),), patch)
