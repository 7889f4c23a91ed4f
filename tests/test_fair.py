"""The fair surface against the spline filter's table and against surfaces that are fair already."""

import numpy as np
import pytest
from laid import SHEET, bump, relief_of

from lightcheck import fair
from lightcheck.grid import Grid
from lightcheck.relief.cells import Cells

LONGEST = (400.0, 400.0)
ROW = {0.25: 0.00389, 0.5: 0.05882, 0.8: 0.29058, 1: 0.5, 1.25: 0.70942, 2: 0.94118, 4: 0.99611}
X, Y = SHEET.mesh_mm()
QUADRATICS = {
    "level": 0 * X + 0.7,
    "tilted": 0.01 * X - 0.02 * Y + 3,
    "barrel": -(Y**2) / 2800,
    "saddle and twist": X**2 / 9000 - Y**2 / 5000 + X * Y / 7000 + 0.002 * X - 4,
}
each_quadratic = pytest.mark.parametrize("shape", QUADRATICS.values(), ids=QUADRATICS.keys())


# --- the core against ISO 16610-22 ----------------------------------------------------------------


def passed(wave_mm: float, order: int, *, cutoff_mm: float = 200.0) -> float:
    """Share of a long sine that is left in the fair line, away from the ends."""
    x = np.arange(-700.0, 701.0)
    wave = np.stack([np.sin(2 * np.pi * x / wave_mm), np.cos(2 * np.pi * x / wave_mm)], axis=1)
    line = fair.fair_profile(wave[:, 1], step_mm=1.0, cutoff_mm=cutoff_mm, order=order)
    middle = abs(x) <= 300
    return float(np.linalg.lstsq(wave[middle], line[middle], rcond=None)[0][1])


@pytest.mark.parametrize(("share", "left"), ROW.items())
def test_second_order_is_the_spline_filter(share, left):
    """ISO 16610-22, beta 0, step 0.005 of the cut-off: 1 / (1 + (cutoff / wave)^4) (from memory)."""
    assert passed(share * 200.0, 2) == pytest.approx(left, abs=0.004 if share == 4 else 5e-4)


@pytest.mark.parametrize("cutoff_mm", [120.0, 200.0])
def test_third_order_halves_a_sine_at_the_cut_off(cutoff_mm):
    assert passed(cutoff_mm, 3, cutoff_mm=cutoff_mm) == pytest.approx(0.5, abs=1e-3)
    assert passed(2 * cutoff_mm, 3, cutoff_mm=cutoff_mm) > 0.97  # 64/65
    assert passed(0.5 * cutoff_mm, 3, cutoff_mm=cutoff_mm) < 0.02  # 1/65


@pytest.mark.parametrize("order", [2, 3])
def test_a_fair_line_passes_to_its_ends(order):
    x = np.linspace(-1, 1, 301)
    line = 3 - 2 * x + (4 * x**2 if order == 3 else 0)
    passed_on = fair.fair_profile(line, step_mm=2.0, cutoff_mm=300, order=order)
    np.testing.assert_allclose(passed_on, line, atol=1e-5)


def test_heights_of_a_wave_on_the_sheet_are_halved_at_twice_the_longest_hump():
    """Plane wave along x, 300 mm long, with --longest 150mm: half of it stays in the fair surface."""
    grid = Grid(x0_mm=-600.0, y0_mm=-60.0, cell_mm=4.0, nx=301, ny=31)
    x, _ = grid.mesh_mm()
    wave = np.cos(2 * np.pi * x / 300)
    made = fair.surface(relief_of(0.004 * wave, grid=grid, number=2), longest_mm=(150.0, 150.0))
    middle = abs(x) < 300  # heights far under the knee, so the robust weights stay level
    left = float((made.height_mm * wave)[middle].sum() / (0.004 * wave**2)[middle].sum())
    assert left == pytest.approx(0.5, abs=0.03)


# --- what is fair already shows nothing -----------------------------------------------------------


def rounded_hull() -> np.ndarray:
    """Inside: a board with cut corners and a round end."""
    return (abs(X) / 240 + abs(Y) / 150 < 1.6) & (np.hypot(X - 120, Y) < 170) | (X < 60) & (abs(Y) < 120)


def with_holes() -> np.ndarray:
    """Seen: all but a card, a dark streak and single cells."""
    holes = (abs(X + 90) < 30) & (abs(Y - 40) < 20) | (abs(X - 60) < 9) & (Y < 20)
    return ~holes & (np.random.default_rng(3).random(X.shape) > 0.05)


@each_quadratic
def test_a_quadratic_surface_shows_nothing_to_its_very_edge(shape):
    made = fair.surface(relief_of(shape), longest_mm=LONGEST)
    assert np.isfinite(made.height_mm).all()
    assert abs(made.height_mm).max() < 1e-3
    assert abs(made.draws_mm).max() < 1e-3
    assert made.come_off_mm.max() < 1e-3
    assert (made.sigma_mm == fair.FLOOR_MM).all()


@each_quadratic
def test_nor_with_holes_or_a_ragged_edge(shape):
    z = np.where(rounded_hull(), shape, np.nan)
    made = fair.surface(relief_of(z, seen=with_holes()), longest_mm=(600.0, 200.0))
    assert np.array_equal(np.isfinite(made.height_mm), rounded_hull() & with_holes())
    assert np.array_equal(np.isfinite(made.fair_mm), rounded_hull())
    assert np.nanmax(abs(made.height_mm)) < 1e-3
    assert np.nanmax(made.come_off_mm) < 1e-3


def test_a_quadratic_surface_on_a_coarse_and_large_sheet():
    grid = Grid.over((-700.0, 700.0), (-400.0, 400.0), cell_mm=4.0)
    x, y = grid.mesh_mm()
    z = np.where(x + y < 800, -(y**2) / 2400 + x * y / 4000, np.nan)
    made = fair.surface(relief_of(z, grid=grid, number=2), longest_mm=LONGEST)
    assert np.nanmax(abs(made.height_mm)) < 1e-3


# --- a hump on it ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "shape", [QUADRATICS["level"], QUADRATICS["saddle and twist"]], ids=["level", "bowed"]
)
@pytest.mark.parametrize(("top", "at", "wide"), [(0.5, (-40, 20), 40.0), (-0.3, (90, -50), 30.0)])
def test_a_hump_keeps_its_height_and_the_wood_round_it_stays(shape, top, at, wide):
    hump = bump(*at, top, wide)
    made = fair.surface(relief_of(shape + hump, seen=with_holes()), longest_mm=LONGEST)
    near = made.height_mm[np.unravel_index(np.argmax(abs(hump) * with_holes()), hump.shape)]
    assert near == pytest.approx(abs(hump[with_holes()]).max() * np.sign(top), rel=0.05)
    away = abs(hump) < 0.005
    assert np.nanmax(abs(made.height_mm[away])) < 0.03


def test_a_hump_half_over_the_edge_does_not_pull():
    made = fair.surface(relief_of(QUADRATICS["barrel"] + bump(225, 60, 0.4, 35)), longest_mm=LONGEST)
    row, column = (round(float(i)) for i in SHEET.index(225, 60))
    assert made.height_mm[row, column] == pytest.approx(0.4, rel=0.1)
    assert np.nanmax(abs(made.height_mm[X < 80])) < 0.03


# --- the cut-only target --------------------------------------------------------------------------

ROUGH = bump(-120, 40, 0.5, 40) + bump(60, -60, -0.4, 35) + bump(150, 80, 0.3, 25) + bump(-60, -90, -0.2, 50)


def test_the_target_is_nowhere_above_the_wood():
    z = QUADRATICS["saddle and twist"] + ROUGH
    made = fair.surface(relief_of(z, seen=with_holes()), longest_mm=LONGEST)
    assert (made.target_mm <= z + 1e-6).all()
    seen = with_holes()
    assert (made.come_off_mm[seen] >= 0).all()
    np.testing.assert_allclose((z - made.target_mm)[seen], made.come_off_mm[seen], atol=1e-6)


def test_the_target_is_as_high_as_it_can_be():
    """It touches the wood, a hump must come off by about its height, and a fair board by nothing."""
    lone = fair.surface(relief_of(bump(0, 0, 0.5, 35)), longest_mm=LONGEST)
    assert lone.come_off_mm.min() == pytest.approx(0, abs=0.01)
    assert lone.come_off_mm.max() == pytest.approx(0.5, rel=0.12)
    assert np.median(lone.come_off_mm) < 0.05


def test_a_hollow_costs_wood_all_round_it():
    """Planes only take off: the wood round a hollow must come down to it, that in it by nothing."""
    hollow = bump(0, 0, -0.5, 30)
    made = fair.surface(relief_of(hollow), longest_mm=LONGEST)
    middle = np.unravel_index(np.argmin(hollow), hollow.shape)
    assert made.come_off_mm[middle] < 0.06
    ring = (np.hypot(X, Y) > 75) & (np.hypot(X, Y) < 95)
    assert made.come_off_mm[ring].mean() > 0.2


def test_the_target_is_fair_itself():
    made = fair.surface(relief_of(QUADRATICS["barrel"] + ROUGH), longest_mm=LONGEST)
    again = fair.surface(relief_of(made.target_mm), longest_mm=LONGEST)
    assert np.quantile(abs(again.height_mm), 0.95) < 0.05


# --- draws ----------------------------------------------------------------------------------------


def test_sigma_is_the_spread_of_the_draws_over_their_own_fair_surfaces():
    relief = relief_of(QUADRATICS["barrel"] + ROUGH, noise_mm=0.04, number=64)
    made = fair.surface(relief, longest_mm=LONGEST)
    assert np.median(made.sigma_mm) == pytest.approx(0.04, rel=0.25)
    np.testing.assert_allclose(
        made.sigma_mm, np.sqrt(((made.draws_mm - made.height_mm) ** 2).mean(axis=0)), rtol=1e-3, atol=0.005
    )


def test_a_quadratic_error_in_the_draws_is_no_doubt_in_the_heights():
    """Draws that differ only in barrel and wind all show the same heights."""
    z = ROUGH + QUADRATICS["barrel"]
    relief = relief_of(z, number=6)
    rng = np.random.default_rng(2)
    bent = np.array([z + a * (X / 240) ** 2 + b * X * Y / 36000 for a, b in rng.normal(0, 0.5, (6, 2))])
    made = fair.surface(
        type(relief)(**{f: getattr(relief, f) for f in relief.__slots__} | {"draws_mm": bent}),
        longest_mm=LONGEST,
    )
    assert made.sigma_mm.max() < 0.006


# --- slope operators of the solve -----------------------------------------------------------------


@pytest.mark.parametrize("along", ["x", "y"])
def test_sq_and_sdq_of_a_sine(along):
    """ISO 25178-2: Sq = A / sqrt 2, Sdq = sqrt 2 pi A / wave; A 0.1 mm, wave 300 mm."""
    grid = Grid(x0_mm=2.0, y0_mm=2.0, cell_mm=4.0, nx=150, ny=150)  # two whole waves each way
    cells = Cells.of(grid, np.ones(grid.shape, bool))
    s = dict(zip("xy", grid.mesh_mm(), strict=True))[along]
    z = (0.1 * np.sin(2 * np.pi * s / 300)).ravel()
    sdq = np.sqrt(((cells.by_x @ z) ** 2 + (cells.by_y @ z) ** 2).mean())
    assert np.sqrt((z**2).mean()) == pytest.approx(0.0707107, rel=1e-6)
    assert sdq == pytest.approx(4.442883 * 0.1 / 300, rel=0.004)
    other = {"x": cells.by_y, "y": cells.by_x}[along]
    assert abs(other @ z).max() < 1e-12


def test_sdq_of_crossed_sines_and_bends_of_a_quadratic():
    """sin sin, both 300 mm: Sdq sqrt 2 pi A / wave. Second differences of a quadratic are exact."""
    grid = Grid(x0_mm=2.0, y0_mm=2.0, cell_mm=4.0, nx=150, ny=150)
    cells = Cells.of(grid, np.ones(grid.shape, bool))
    x, y = grid.mesh_mm()
    z = (0.1 * np.sin(2 * np.pi * x / 300) * np.sin(2 * np.pi * y / 300)).ravel()
    sdq = np.sqrt(((cells.by_x @ z) ** 2 + (cells.by_y @ z) ** 2).mean())
    assert sdq == pytest.approx(4.442883 * 0.1 / 300, rel=0.004)
    assert np.sqrt((z**2).mean()) == pytest.approx(0.05, rel=1e-6)
    quadratic = (x**2 / 3000 + y**2 / 5000 + x * y / 4000).ravel()
    along, across, mixed = (cells.bend_root @ quadratic).reshape(3, *grid.shape)
    inner = (slice(1, -1), slice(1, -1))
    np.testing.assert_allclose(along[inner], 2 / 3000, rtol=1e-6)
    np.testing.assert_allclose(across[inner], 2 / 5000, rtol=1e-6)
    np.testing.assert_allclose(mixed[inner], np.sqrt(2) / 4000, rtol=1e-6)
    assert not mixed[0].any()  # nothing is assumed beyond the edge
