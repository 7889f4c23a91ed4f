"""Where to put the lamp and what it shows: closed forms, the handbook's table of contrasts, the solve."""

from dataclasses import replace

import numpy as np
import pytest

from lightcheck import reach
from lightcheck import specimen as sp
from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid
from lightcheck.patch import Base
from lightcheck.reach import evidence
from lightcheck.relief import nuisance, scene, system
from lightcheck.shade import Facing, light_on

PAIR = [[-900, 0, 110], [900, 0, 110]]
FAR_MM = 1e6


def far(elevation_deg: float) -> np.ndarray:
    e = np.radians(elevation_deg)
    return FAR_MM * np.array([-np.cos(e), 0.0, np.sin(e)])


# --- contrast -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("elevation", "cot", "table"),
    [(2, 28.636, 0.1200), (5, 11.430, 0.0479), (10, 5.671, 0.0238), (20, 2.7475, 0.0115), (45, 1.0, 0.0042)],
)
def test_contrast_is_the_tabled_one_of_lambert(elevation, cot, table):
    """Amplitude 0.1 mm over a wave of 300 mm: peak to peak 4 pi a / w cot e, textbook, tabled to 4 places.

    A hump of twice the amplitude as high has the flanks of such a wave.
    """
    assert 1 / np.tan(np.radians(elevation)) == pytest.approx(cot, rel=1e-4)
    both = 2 * reach.contrast(height_mm=0.2, width_mm=300.0, lamp_mm=far(elevation))
    assert both == pytest.approx(table, abs=6e-5 + 0.002 * table)


def test_contrast_agrees_with_light_that_shares_no_code():
    hump = sp.Hump(x_mm=0, y_mm=0, height_mm=0.3, long_mm=20, short_mm=20)
    board = replace(sp.random_board(1, humps=0, tracks_mm=0.0), humps=(hump,))
    light = sp.Light(place_mm=(-900.0, 0.0, 110.0), lobe=0.0)
    x = np.linspace(-80, 80, 401)
    level = replace(board, humps=())
    share = sp.light_on(board, light, x, 0 * x) / sp.light_on(level, light, x, 0 * x)
    steepest = 0.3 / 20 * np.exp(-0.5)  # of a bell; a round hump of width w has pi h / w
    mine = reach.contrast(height_mm=0.3, width_mm=np.pi * 0.3 / steepest, lamp_mm=(-900.0, 0.0, 110.0))
    assert mine == pytest.approx(np.ptp(share) / 2, rel=0.03)


def test_a_square_edge_hides_height_times_cotangent():
    for elevation, cot in ((5, 11.430), (10, 5.671), (30, 1.732)):
        dark = reach.hidden_mm(height_mm=1.0, width_mm=0.0, elevation_rad=np.radians(elevation))
        assert dark == pytest.approx(cot, abs=5e-4)


def test_a_hump_hides_its_back_only_where_it_is_steeper_than_the_light():
    low = np.radians(5)
    limit = float(reach.shadow_height_mm(width_mm=60.0, elevation_rad=low))
    assert limit == pytest.approx(60 * np.tan(low) / np.pi)
    assert reach.hidden_mm(height_mm=0.99 * limit, width_mm=60.0, elevation_rad=low) == 0.0
    assert 0 < reach.hidden_mm(height_mm=1.3 * limit, width_mm=60.0, elevation_rad=low) < 30
    # so steep that it is nearly an edge: the tip of its shadow lies h cot e from the crest
    dark = reach.hidden_mm(height_mm=5.0, width_mm=4.0, elevation_rad=low)
    assert dark == pytest.approx(5 / np.tan(low), rel=0.05)


def test_light_over_a_barrel_ends_where_the_tangent_leaves_for_the_lamp():
    radius, out, up = 800.0, 900.0, 110.0
    over = reach.lit_over_crown_mm(radius_mm=radius, out_mm=out, up_mm=up) / radius
    at, normal = radius * np.array([np.sin(over), np.cos(over)]), np.array([np.sin(over), np.cos(over)])
    assert normal @ (np.array([-out, radius + up]) - at) == pytest.approx(0.0, abs=1e-6)
    assert reach.lit_over_crown_mm(radius_mm=radius, out_mm=1e9, up_mm=1e9 * np.tan(0.1)) == pytest.approx(
        80.0, rel=1e-3
    )  # far light 0.1 rad over the crown's tangent reaches 0.1 rad beyond it


# --- the least that can be told --------------------------------------------------------------------


def test_the_limit_allows_for_what_the_solve_allows_for():
    assert scene.UNIT_CELL_MM == evidence.UNIT_CELL_MM
    assert system.DATA_SIGMA == evidence.DATA_SIGMA
    assert system.TONE_SCATTER == evidence.TONE_SCATTER
    for name in ("GAIN_SIGMA", "VIGNETTING_SIGMA", "AMBIENT_SIGMA", "RESPONSE_SIGMA"):
        assert getattr(nuisance, name) == getattr(evidence, name)


def test_with_nothing_else_in_doubt_the_limit_is_that_of_least_squares():
    """Two opposed lamps, every nuisance free of a small hump: sigma = noise / root of the sum of squares."""
    sheet = evidence.Evidence(np.array(PAIR, float), (600.0, 400.0), 0.0)
    grid = Grid.over((-300, 300), (-200, 200), cell_mm=sheet.cell_mm)
    x, y = grid.mesh_mm()
    r = np.maximum(np.hypot(x, y), 1e-9)
    z = np.where(r < 25, 0.5 + 0.5 * np.cos(2 * np.pi * r / 50), 0.0)
    by_x, by_y = (np.where(r < 25, -np.pi / 50 * np.sin(2 * np.pi * r / 50) * v / r, 0.0) for v in (x, y))
    flat, facing = np.zeros(grid.shape), Facing.of(Base(), grid)
    lit = [light_on(facing, p, 0.01 * z, 0.01 * by_x, 0.01 * by_y).log for p in np.array(PAIR, float)]
    rest = [light_on(facing, p, flat, flat, flat).log for p in np.array(PAIR, float)]
    change = (np.array(lit) - rest) / 0.01
    total = ((change - change.mean(0)) ** 2).sum() * (sheet.cell_mm / 8) ** 2
    least = np.hypot(0.02 / np.sqrt(total), evidence.TRACKS_SIGMA_MM)
    assert least < sheet.sigma_mm(50.0, np.zeros(2)) < 1.15 * least


def test_lower_and_more_lamps_show_less_height_and_one_alone_hardly_any():
    def at_60(places):
        return reach.limits(places, patch_mm=(600, 420)).least_at(60.0)

    assert at_60([[-900, 0, 70], [900, 0, 70]]) < at_60(PAIR) < at_60([[-900, 0, 200], [900, 0, 200]])
    assert at_60([*PAIR, [0, 900, 110], [0, -900, 110]]) < at_60(PAIR)
    assert at_60(PAIR[:1]) > 5 * at_60(PAIR)
    assert reach.limits(PAIR, patch_mm=(600, 420), noise=0.1).least_at(60.0) > 1.5 * at_60(PAIR)


def test_wide_humps_are_lost_in_the_fair_surface_and_the_curve_says_where_it_ends():
    curve = reach.limits(PAIR, patch_mm=(600, 420))
    assert curve.width_mm[-1] <= 420
    assert curve.least_at(400.0) > 3 * curve.least_at(60.0)
    assert curve.least_at(500.0) == np.inf == curve.least_at(5.0)
    assert (curve.worst_mm >= curve.least_mm).all()
    assert not curve.least_mm.flags.writeable
    steep = np.tan(np.arctan2(110, np.hypot(1200, 210)))
    assert curve.shadow_mm == pytest.approx(curve.width_mm * steep / np.pi, rel=1e-6)


# --- where to put it --------------------------------------------------------------------------------


def test_the_usual_answer():
    stand = reach.stand(see_mm=0.1, across_mm=60.0, patch_mm=600.0)
    assert stand.out_mm == 900 and stand.lowest_mm <= stand.up_mm <= stand.highest_mm
    assert 5 <= np.degrees(stand.elevation_rad[1]) <= 8
    assert stand.elevation_rad == pytest.approx(np.arctan2(stand.up_mm, [600, 900, 1200]))
    assert stand.contrast == pytest.approx(np.pi * 0.1 / 60 / np.tan(stand.elevation_rad), rel=0.03)
    assert stand.span == pytest.approx((np.hypot(1200, stand.up_mm) / np.hypot(600, stand.up_mm)) ** 3)
    assert stand.least_mm < 0.1 / 1.4
    assert stand.set_mm == (900, 120)


def test_a_lower_hump_asks_for_a_lower_lamp():
    ups = [reach.stand(see_mm=h, across_mm=60.0, patch_mm=600.0).up_mm for h in (0.06, 0.08, 0.1, 0.3)]
    assert ups == sorted(ups) and ups[0] < 0.6 * ups[-1]
    near = reach.stand(see_mm=0.1, across_mm=60.0, patch_mm=600.0, out_mm=700.0)
    assert near.out_mm == 700 and near.up_mm < reach.stand(see_mm=0.1, across_mm=60.0, patch_mm=600.0).up_mm


@pytest.mark.parametrize(
    ("asked", "problem"),
    [
        ({"see_mm": 0.01}, "No lamp over this patch shows 0.01 mm"),
        ({"see_mm": 10.0}, "is a step"),
        ({"across_mm": 5.0}, "does not fit"),
        ({"across_mm": 500.0}, "does not fit"),
        ({"out_mm": 300.0}, "too near"),
        ({"out_mm": 500.0}, "too near"),
    ],
)
def test_refusals(asked, problem):
    with pytest.raises(LightcheckError, match=problem) as refusal:
        reach.stand(**{"see_mm": 0.1, "across_mm": 60.0, "patch_mm": 600.0} | asked)
    assert refusal.value.remedy
