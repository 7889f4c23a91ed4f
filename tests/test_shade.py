"""Light on the wood against closed forms: Lambert, inverse square, raking contrast, shadows."""

import numpy as np
import pytest

from lightcheck.grid import Grid
from lightcheck.patch import Base
from lightcheck.shade import Facing, cast_shadow, light_on

FAR_MM = 1e9
WAVE_SHEET = Grid(x0_mm=-150.0, y0_mm=-6.0, cell_mm=1.0, nx=301, ny=13)
POINT = Facing.of(Base(), Grid(x0_mm=0.0, y0_mm=0.0, cell_mm=1.0, nx=1, ny=1))


def lamp_at(elevation_deg: float, *, bearing_deg: float = 180.0, reach_mm: float = FAR_MM) -> np.ndarray:
    e, b = np.radians([elevation_deg, bearing_deg])
    return reach_mm * np.array([np.cos(e) * np.cos(b), np.cos(e) * np.sin(b), np.sin(e)])


def at_origin(lamp_mm, dzdx: float = 0.0, dzdy: float = 0.0) -> float:
    """Light at the origin of a flat base."""
    one = np.ones((1, 1))
    return float(np.exp(light_on(POINT, np.array(lamp_mm), 0 * one, dzdx * one, dzdy * one).log[0, 0]))


# --- Lambert and the inverse square (any textbook) ------------------------------------------------


def test_light_falls_with_the_square_of_the_distance():
    at = {d: at_origin((0, 0, d)) for d in (1000.0, 1100.0, 2000.0)}
    assert at[2000] / at[1000] == pytest.approx(0.25, rel=1e-12)
    assert at[1100] / at[1000] == pytest.approx(0.8264, abs=5e-5)


def test_light_of_a_low_lamp_falls_with_the_cube():
    """Lamp 0.3 m up, 2 m and 3 m away: 3.3133 by h / r^3, where the bare square says 2.25."""
    assert at_origin((-2000, 0, 300)) / at_origin((-3000, 0, 300)) == pytest.approx(3.3133, abs=5e-5)


def test_light_goes_with_the_sine_to_the_tilted_wood():
    """Turn the wood 20 degrees towards a lamp at 30 and it is lit as by one at 50 degrees."""
    level = at_origin(lamp_at(30))
    for turn_deg in (20, -20):  # rising to the right faces the lamp on the left
        tilted = at_origin(lamp_at(30), dzdx=np.tan(np.radians(turn_deg)))
        lit = np.sin(np.radians(30 + turn_deg)) / np.sin(np.radians(30))
        assert tilted / level == pytest.approx(lit, rel=1e-6)


@pytest.mark.parametrize(
    ("elevation_deg", "contrast"),
    [(2, 0.1200), (5, 0.0479), (10, 0.0238), (15, 0.0156), (20, 0.0115), (30, 0.0073)],
)
def test_a_wave_shows_the_contrast_of_the_table(elevation_deg, contrast):
    """Peak to peak, amplitude 0.1 mm, length 300 mm: I ~ sin e (1 + slope cot e) to first order."""
    k = 2 * np.pi / 300
    x, _ = WAVE_SHEET.mesh_mm()
    z, slope = 0.1 * np.sin(k * x), 0.1 * k * np.cos(k * x)
    facing, lamp = Facing.of(Base(), WAVE_SHEET), lamp_at(elevation_deg)
    light = np.exp(light_on(facing, lamp, z, slope, 0 * z).log) / at_origin(lamp)
    assert np.ptp(light) == pytest.approx(contrast, abs=6e-5)  # the table's last figure
    assert x[0, np.argmax(light[0])] == 0.0  # brightest where it rises away from the lamp
    assert abs(x[0, np.argmin(light[0])]) == 150.0


def test_a_wave_along_the_light_shows_nothing():
    _, y = WAVE_SHEET.mesh_mm()
    k = 2 * np.pi / 300
    z, slope = 0.1 * np.sin(k * y), 0.1 * k * np.cos(k * y)
    light = np.exp(light_on(Facing.of(Base(), WAVE_SHEET), lamp_at(5), z, 0 * z, slope).log)
    assert np.ptp(light) / light.mean() < 1e-5


@pytest.mark.parametrize(("slope_deg", "dark"), [(-6, True), (-4, False), (6, False)])
def test_wood_turned_away_from_the_lamp_is_not_a_number(slope_deg, dark):
    """Falling off steeper than the lamp is high: no light, and no slope of it."""
    one = np.ones((1, 1))
    light = light_on(POINT, lamp_at(5), 0 * one, np.tan(np.radians(slope_deg)) * one, 0 * one)
    for part in (light.log, light.by_z, light.by_dzdx, light.by_dzdy):
        assert bool(np.isnan(part[0, 0])) == dark


# --- the slopes of the light ----------------------------------------------------------------------

BASES = {
    "flat": Base(),
    "barrel": Base(along_y=-1 / 1400),
    "hollow in wind": Base(along_x=1 / 2500, along_y=-1 / 1400, twist=1 / 9000),
}


@pytest.mark.parametrize("base", BASES.values(), ids=BASES.keys())
@pytest.mark.parametrize("lamp", [(-880.0, 70.0, 115.0), (300.0, 760.0, 140.0), (20.0, -10.0, 750.0)])
def test_slopes_agree_with_small_steps(base, lamp):
    """Central differences of the log light itself, along z, both slopes and the lamp's place."""
    grid = Grid(x0_mm=-200.0, y0_mm=-110.0, cell_mm=20.0, nx=21, ny=12)
    facing, lamp = Facing.of(base, grid), np.array(lamp)
    rng = np.random.default_rng(1)
    at = [rng.normal(0, s, grid.shape) for s in (0.3, 0.008, 0.008)]
    light = light_on(facing, lamp, *at)
    assert np.isfinite(light.log).mean() > 0.9
    for i, slope in enumerate((light.by_z, light.by_dzdx, light.by_dzdy)):
        step = (1e-3, 1e-5, 1e-5)[i]
        low, high = ([*at[:i], at[i] + s * step, *at[i + 1 :]] for s in (-1, 1))
        stepped = (light_on(facing, lamp, *high).log - light_on(facing, lamp, *low).log) / (2 * step)
        np.testing.assert_allclose(slope, stepped, rtol=1e-4, atol=1e-6)
    for axis in range(3):
        step = np.eye(3)[axis] * 1e-2
        up, down = (light_on(facing, lamp + s * step, *at).log for s in (1, -1))
        np.testing.assert_allclose(light.by_lamp[..., axis], (up - down) / 2e-2, rtol=1e-4, atol=1e-8)


def test_first_order_form_on_flat_wood():
    """d.grad z - z + 3 H^2 z / r^2 = H (log light less that of z = 0), d from the lamp's foot."""
    lamp = np.array([-900.0, 150.0, 110.0])
    grid = Grid(x0_mm=-200.0, y0_mm=-110.0, cell_mm=20.0, nx=21, ny=12)
    x, y = grid.mesh_mm()
    facing, zero = Facing.of(Base(), grid), np.zeros(grid.shape)
    z, gx, gy = (np.random.default_rng(2).normal(0, s, grid.shape) for s in (1e-3, 1e-5, 1e-5))
    change = light_on(facing, lamp, z, gx, gy).log - light_on(facing, lamp, zero, zero, zero).log
    dx, dy, r2 = x - lamp[0], y - lamp[1], (x - lamp[0]) ** 2 + (y - lamp[1]) ** 2 + lamp[2] ** 2
    written_out = dx * gx + dy * gy - z + 3 * lamp[2] ** 2 * z / r2
    np.testing.assert_allclose(lamp[2] * change, written_out, atol=2e-5)


def test_crown_of_a_barrel_and_its_flanks():
    """On a barrel the wood's own turn counts: lamp along y, each place lit by its own elevation."""
    base, grid = Base(along_y=-1 / 1400), Grid(x0_mm=0.0, y0_mm=-150.0, cell_mm=50.0, nx=1, ny=7)
    facing, zero = Facing.of(base, grid), np.zeros(grid.shape)
    light = np.exp(light_on(facing, lamp_at(30, bearing_deg=90), zero, zero, zero).log) * FAR_MM**2
    turned = np.arcsin(grid.y_mm / 1400)  # leaning towards +y by this much
    np.testing.assert_allclose(light[:, 0], np.sin(np.radians(30) + turned), rtol=1e-4)


# --- cast shadows ---------------------------------------------------------------------------------


@pytest.mark.parametrize("elevation_deg", [3, 5, 10, 20])
@pytest.mark.parametrize("bearing_deg", [180, 0, 90])
def test_a_shadow_is_as_long_as_the_height_times_the_cotangent(elevation_deg, bearing_deg):
    """A wall 1 mm high and 4 mm thick: shadow H cot e (5.67 mm at 10 degrees)."""
    cell = 0.5 if elevation_deg > 5 else 1.0
    grid = Grid(x0_mm=-60 * cell, y0_mm=-60 * cell, cell_mm=cell, nx=121, ny=121)
    x, y = grid.mesh_mm()
    across = {180: x, 0: -x, 90: -y}[bearing_deg]
    z = np.where(abs(across) <= 2, 1.0, 0.0)
    lamp = lamp_at(elevation_deg, bearing_deg=bearing_deg)
    hidden = cast_shadow(z, Facing.of(Base(), grid), lamp, cell_mm=cell)
    long = across[hidden].max() - 2
    cotangent = 1 / np.tan(np.radians(elevation_deg))
    assert long == pytest.approx(cotangent, abs=1.01 * cell)
    assert not hidden[across < 2].any()


def test_a_gentle_hump_casts_no_shadow():
    grid = Grid(x0_mm=-100.0, y0_mm=-40.0, cell_mm=4.0, nx=51, ny=21)
    x, y = grid.mesh_mm()
    hump = 0.6 * np.exp(-(x**2 + y**2) / 2 / 30**2)  # steepest flank 0.012, lamp at 0.087
    assert not cast_shadow(hump, Facing.of(Base(), grid), lamp_at(5), cell_mm=4.0).any()


# --- photometric stereo ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("slant_deg", "in_plane", "upright"),
    [
        (30, 2.000, 0.333), (45, 1.000, 0.500), (54.7356, 0.750, 0.750), (60, 0.667, 1.000),
        (70, 0.566, 2.14), (75, 0.536, 3.73), (80, 0.516, 8.29), (85, 0.504, 32.9),
    ],
)  # fmt: skip
def test_variances_of_four_lights_by_slant(slant_deg, in_plane, upright):
    """Covariance of a scaled normal is sigma^2 (L'L)^-1 (Drbohlav and Chantler 2005, from memory).

    Light from `light_on`, noise on it, plain least squares over it: the mean must be the normal of the
    wood, the scatter that of the table.
    """
    slope, sigma, draws = np.array([0.012, -0.02]), 1e-3, 40_000
    lamps = [lamp_at(90 - slant_deg, bearing_deg=b) for b in (0, 90, 180, 270)]
    light = np.array([at_origin(lamp, *slope) * FAR_MM**2 for lamp in lamps])
    noisy = light[:, None] + sigma * np.random.default_rng(4).standard_normal((4, draws))
    normals, *_ = np.linalg.lstsq(np.array(lamps) / FAR_MM, noisy, rcond=None)
    true = np.array([-slope[0], -slope[1], 1.0]) / np.sqrt(1 + slope @ slope)
    expected = np.array([in_plane, in_plane, upright])
    np.testing.assert_allclose(normals.mean(axis=1), true, atol=5 * sigma * np.sqrt(expected.max() / draws))
    np.testing.assert_allclose(normals.var(axis=1) / sigma**2, expected, rtol=0.03)
