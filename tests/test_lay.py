"""Tools laid on surfaces whose answer is known in closed form, and on made-up wood."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter
from scipy.optimize import lsq_linear
from scipy.spatial import ConvexHull

from lightcheck import lay
from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid
from lightcheck.lay.contact import Stick, settle
from lightcheck.patch import Base

GRID = Grid.over((-300.0, 300.0), (-60.0, 60.0), cell_mm=4.0)
X, Y = GRID.mesh_mm()
LINE = ((-300.0, 0.0), (300.0, 0.0))
EI = 1.215e8  # 40 x 15 mm flat, 10 800 MPa: the worked example that the beam rows are given for


def rough(seed: int, *, shape=GRID.shape, wide=6.0, height_mm=0.3) -> np.ndarray:
    z = gaussian_filter(np.random.default_rng(seed).standard_normal(shape), wide)
    return height_mm * z / z.std()


def hull_gap(z: np.ndarray, step: float) -> float:
    """Widest gap under the edge of the upper convex hull that spans the middle, by a general library."""
    t = np.arange(len(z)) * step
    corners = np.sort(ConvexHull(np.column_stack([t, z])).vertices)
    upper = [i for i in corners if z[i] >= np.interp(t[i], t[[0, -1]], z[[0, -1]]) - 1e-9]
    line = np.interp(t, t[upper], z[upper])
    middle = len(z) // 2
    if middle in upper:
        return 0.0
    left, right = max(i for i in upper if i < middle), min(i for i in upper if i > middle)
    return float((line - z)[left : right + 1].max())


# --- straightedge -----------------------------------------------------------------------------------


@pytest.mark.parametrize("length", [229.0, 356.0, 559.0])
def test_over_a_fair_hollow_it_shows_the_sagitta(length):
    """s = R - sqrt(R^2 - L^2/4), any handbook; R = 3000 mm."""
    base = Base(along_x=1 / 3000.0)
    laid = lay.straightedge(lay.plain(GRID, base.height_mm(X, Y), base=base), *LINE, length_mm=length)
    assert laid.worst_mm == pytest.approx(3000 - np.sqrt(3000**2 - length**2 / 4), rel=0.01)


@pytest.mark.parametrize(("length", "gap"), [(150.0, 0.1464), (300.0, 0.5), (600.0, 1.0)])
def test_over_a_sine_it_shows_the_closed_form(length, gap):
    """(H/2)(1 - cos(pi L / wave)), centred on the trough: H = 1, wave 600 mm."""
    wood = lay.plain(GRID, -0.5 * np.cos(2 * np.pi * X / 600))
    assert lay.straightedge(wood, *LINE, length_mm=length).worst_mm == pytest.approx(gap, rel=0.01)
    assert lay.straightedge_over(wood, length_mm=length).worst_mm == pytest.approx(gap, rel=0.01)


def test_on_a_barrel_it_rocks_across_and_lies_along():
    base = Base(along_x=-1 / 1400.0)
    wood = lay.plain(GRID, base.height_mm(X, Y), base=base)
    across = lay.straightedge(wood, *LINE, length_mm=300)
    assert across.worst_mm == pytest.approx(0, abs=1e-6)
    along = lay.straightedge(wood, (200, -60), (200, 60), length_mm=100)
    assert along.worst_mm == pytest.approx(0, abs=1e-6)


def test_on_the_side_of_a_barrel_daylight_is_square_to_the_wood():
    """A hollow of 0.5 mm square to the wood at 300 mm from the crown, where the wood leans 12 degrees."""
    base = Base(along_x=-1 / 1400.0)
    hollow = -0.5 * np.exp(-((Y / 15) ** 2)) / base.normal(X, Y)[..., 2]
    wood = lay.plain(GRID, base.height_mm(X, Y) + hollow, base=base)
    laid = lay.straightedge(wood, (292, -60), (292, 60), length_mm=112)
    assert laid.worst_mm == pytest.approx(0.5, rel=0.01)


def test_it_rests_on_the_two_highest_places():
    z = 0.4 * np.exp(-(((X + 90) / 25) ** 2)) + 0.7 * np.exp(-(((X - 110) / 25) ** 2))
    laid = lay.straightedge(lay.plain(GRID, z), *LINE, length_mm=500)
    places = [laid.place_mm[np.abs(laid.along_mm - s.from_mm).argmin(), 0] for s in laid.touching]
    assert min(places) < -80 and max(places) == pytest.approx(110, abs=6)


def test_a_straightedge_longer_than_the_wood_hangs_over_both_ends():
    wood = lay.plain(GRID, -0.5 * np.cos(2 * np.pi * X / 600))
    laid = lay.straightedge(wood, *LINE, length_mm=900)
    assert laid.worst_mm == pytest.approx(1.0, rel=0.01)


def test_turning_board_and_line_changes_nothing():
    z = rough(3)
    turned = Grid.over((-60.0, 60.0), (-300.0, 300.0), cell_mm=4.0)
    one = lay.straightedge(lay.plain(GRID, z), (-300, 20), (300, 20), length_mm=200)
    other = lay.straightedge(lay.plain(turned, z[::-1].T), (-20, -300), (-20, 300), length_mm=200)
    assert one.worst_mm == pytest.approx(other.worst_mm, rel=1e-6)


def test_sigma_is_the_spread_of_the_draws():
    z, rng = rough(4), np.random.default_rng(0)
    lift = 1 + 0.1 * rng.standard_normal(64)
    wood = lay.Wood(
        grid=GRID, base=Base(), height_mm=z, draws_mm=z * lift[:, None, None],
        fair_mm=np.zeros(GRID.shape), seen=np.ones(GRID.shape, bool),
    )  # fmt: skip
    laid = lay.straightedge(wood, *LINE, length_mm=200)
    assert laid.worst_sigma_mm == pytest.approx(laid.worst_mm * lift.std(ddof=1), rel=0.01)


@pytest.mark.parametrize("length", [152.0, 304.0])
def test_the_worst_anywhere_is_found_fast_as_by_trying_all(length):
    sheets = np.stack([rough(s) + 0.02 * rough(s + 50) for s in range(4)])
    fast = lay.worst_gap(GRID, sheets, length_mm=length)
    m = int(length / 4) + 1
    for sheet, found in zip(sheets, fast, strict=True):
        tried = max(hull_gap(row[i : i + m], 4.0) for row in sheet[::3] for i in range(0, len(row) - m + 1))
        assert found >= tried * 0.995
        assert found <= tried * 1.1  # it may look on lines that were left out here


def test_the_worst_anywhere_at_any_turn():
    grid = Grid.over((-200.0, 200.0), (-200.0, 200.0), cell_mm=4.0)
    x, y = grid.mesh_mm()
    for turn in (0.0, np.pi / 2, np.pi / 4, 3 * np.pi / 4):
        along = x * np.cos(turn) + y * np.sin(turn)
        sheet = -0.5 * np.cos(2 * np.pi * along / 240)
        found = lay.worst_gap(grid, sheet[None], length_mm=120, turn_rad=turn)
        assert found[0] == pytest.approx(0.5, rel=0.02)
        assert lay.worst_gap(grid, sheet[None], length_mm=120, turn_rad=turn + np.pi / 2)[0] < 0.02


def test_unseen_wood_holds_nothing_up_and_shows_no_gap():
    sheet = -0.5 * np.cos(2 * np.pi * X / 300)
    holed = np.where(np.abs(X) < 40, np.nan, sheet)
    whole, blind = lay.worst_gap(GRID, np.stack([sheet, holed]), length_mm=150)
    assert blind < whole
    assert lay.worst_gap(GRID, np.full((1, *GRID.shape), np.nan), length_mm=150)[0] == 0
    assert lay.worst_gap(GRID, np.zeros((1, *GRID.shape)), length_mm=2000)[0] == 0


# --- sticks ---------------------------------------------------------------------------------------


def two_supports(load: np.ndarray, n: int = 301, step: float = 5.0):
    wood = np.full(n, -100.0)
    wood[[0, -1]] = 0.0
    return settle(Stick(stiffness_nmm2=EI, step_mm=step, give_n_mm=1e6), wood, load)


def test_a_beam_on_two_supports_bends_as_the_handbook_says():
    """P L^3 / 48 E I = 5.7870 mm and 5 w L^4 / 384 E I = 5.4253 mm (beam tables)."""
    point, even = np.zeros(301), np.full(301, 0.01 * 5.0)
    point[150] = 10.0
    even[[0, -1]] /= 2
    assert -two_supports(point).place_mm[150] == pytest.approx(5.7870, rel=0.002)
    assert -two_supports(even).place_mm[150] == pytest.approx(5.4253, rel=0.002)
    np.testing.assert_allclose(two_supports(point).push_n[[0, -1]], 5.0, rtol=1e-3)


def test_a_batten_on_an_elastic_bed_gives_the_moment_of_the_book():
    """McGuire, Gallagher and Ziemian, Matrix Structural Analysis, 2nd ed., example 4.15: 547 k in.

    17 springs of 22.5 k/in at 15 in, E 29 000 ksi, I 128.5 in^4, 40 k in the middle, ends pinned. The .238
    in that go with it are those of an endless beam (P beta / 2 k = .2375); finite elements of this beam
    give .2463 in, and so does this solver.
    """
    parts, stiffness = 5, 29000 * 128.5
    n, step = 16 * parts + 1, 15.0 / parts
    bed = np.zeros(n)
    bed[::parts] = 22.5
    load = np.zeros(n)
    load[n // 2] = 40.0
    # Springs here push only: lowering the stick and both its ends by far more than it moves keeps all
    # of them pushed together, as two-sided springs are; what is left is the book's own deflection.
    deep = 10.0
    ends = ((0, -deep), (n - 1, -deep))
    stick = Stick(stiffness_nmm2=stiffness, step_mm=step, give_n_mm=22.5, hold=ends)
    place = settle(stick, np.where(bed > 0, 0.0, np.nan), load + bed * deep).place_mm
    bend = np.diff(place, n=2)[n // 2 - 1] / step**2
    assert stiffness * bend == pytest.approx(547, rel=0.005)
    assert -place[n // 2] - deep == pytest.approx(0.2463, rel=0.002)


def test_contact_is_that_of_a_general_solver():
    """Least bending over wood, both ends held: bounded least squares of scipy, rigid wood."""
    n, step = 61, 10.0
    wood = rough(8, shape=(n,), wide=3.0, height_mm=1.0)
    second = np.diff(np.eye(n), n=2, axis=0)
    low = wood.copy()
    high = np.full(n, np.inf)
    high[[0, -1]] = wood[[0, -1]] + 1e-9
    best = lsq_linear(second, np.zeros(n - 2), bounds=(low, high), method="bvls", tol=1e-12)
    stick = Stick(stiffness_nmm2=1e6, step_mm=step, give_n_mm=1e6, hold=((0, wood[0]), (n - 1, wood[-1])))
    rest = settle(stick, wood, np.zeros(n))
    np.testing.assert_allclose(rest.place_mm, best.x, atol=2e-3)


def test_a_batten_takes_the_natural_spline_through_what_holds_it():
    """Least bending through points is the natural cubic spline (Holladay 1957); here scipy's."""
    wood = lay.plain(GRID, 2 * np.cos(2 * np.pi * X / 600) - 5)
    low = lay.plain(GRID, np.where(np.abs(X) > 290, 0.0, -20.0))
    held = lay.Held(by_hand_mm=(0.0, 600.0), beyond=((700.0, -3.0), (800.0, -9.0)))
    laid = lay.batten(low, *LINE, stick=lay.Batten(stiffness_nmm2=1e7, width_mm=20), held=held)
    spline = CubicSpline([0, 600, 700, 800], [0, 0, -3, -9], bc_type="natural")
    inside = laid.along_mm <= 800
    np.testing.assert_allclose(laid.tool_mm[inside], spline(laid.along_mm[inside]), atol=0.03)
    assert lay.batten(wood, *LINE, stick=lay.Batten(stiffness_nmm2=1e7, width_mm=20)).worst_mm >= 0


def test_the_far_end_takes_the_angle_it_is_given():
    low = lay.plain(GRID, np.where(np.abs(X) > 290, 0.0, -20.0))
    held = lay.Held(by_hand_mm=(0.0, 600.0), beyond=((800.0, -9.0),), end_rad=-0.1)
    laid = lay.batten(low, *LINE, stick=lay.Batten(stiffness_nmm2=1e7, width_mm=20), held=held)
    spline = CubicSpline([0, 600, 800], [0, 0, -9], bc_type=((2, 0.0), (1, -np.tan(0.1))))
    inside = laid.along_mm <= 800
    np.testing.assert_allclose(laid.tool_mm[inside], spline(laid.along_mm[inside]), atol=0.08)
    assert not any(s.from_mm > 590 for s in laid.doubtful)


def test_a_free_end_is_doubtful_back_to_the_next_place_that_holds():
    laid = lay.batten(
        lay.plain(GRID, 1.0 * np.exp(-((X / 30) ** 2)) - (X / 300) ** 2),
        *LINE, stick=lay.Batten(stiffness_nmm2=1e7, width_mm=20),
    )  # fmt: skip
    ends = [(s.from_mm, s.to_mm) for s in laid.doubtful]
    assert ends[0][0] == 0 and ends[-1][1] == pytest.approx(600, abs=4)
    assert ends[0][1] <= 304 and ends[-1][0] >= 296
    down = [s for s in laid.touching if s.what == "held by hand"]
    assert len(down) == 2 and all(s.force_n < 0 for s in down)


def test_a_weight_presses_the_batten_down():
    wood, stick = lay.plain(GRID, 1e-4 * X**2), lay.Batten(stiffness_nmm2=1e7, width_mm=20)
    bare = lay.batten(wood, *LINE, stick=stick)
    weighed = lay.batten(wood, *LINE, stick=stick, held=lay.Held(weights=((300.0, 5.0),)))
    assert bare.worst_mm == pytest.approx(9.0, rel=0.02)  # held at both ends it is straight
    sag = 5.0 * 600**3 / (48 * 1e7)  # P L^3 / 48 E I
    assert bare.worst_mm - weighed.worst_mm == pytest.approx(sag, rel=0.02)


def test_a_template_reading_carries_the_batten_on():
    """A round of R = 4000 mm goes on beyond the wood; the reading is lifted and turned on purpose."""
    wood = lay.plain(GRID, -(X**2) / 8000)
    x = np.arange(0.0, 261.0)
    height = -((x + 240) ** 2) / 8000 + 7.0 + 0.03 * x
    points = lay.run_on(wood, LINE, (x, height), at_mm=540.0)
    chord = -(300.0**2) / 8000
    for along, off in points:
        assert off + chord == pytest.approx(-((along - 300) ** 2) / 8000, abs=0.02)
    laid = lay.batten(
        wood, *LINE, stick=lay.Batten(stiffness_nmm2=1e7, width_mm=20), held=lay.Held(beyond=points)
    )
    assert laid.worst_mm < 0.2


# --- longboard --------------------------------------------------------------------------------------


def board(**changes) -> lay.Board:
    asked = {"length_mm": 400.0, "width_mm": 70.0, "stiffness_nmm2": 1e8, "press_n": 30.0}
    return lay.Board(**asked | changes)


def test_a_stiff_longboard_is_a_straightedge():
    wood = lay.plain(GRID, -0.5 * np.cos(2 * np.pi * X / 300))
    laid = lay.longboard(wood, *LINE, board=board(stiffness_nmm2=1e12, length_mm=304.0))
    assert laid.worst_mm == pytest.approx(1.0, rel=0.02)


def test_a_soft_longboard_sags_between_two_supports_as_a_beam_does():
    """5 w L^4 / 384 E I, less w a^2 L^2 / 16 E I for what hangs over both supports by a (beam tables)."""
    z = np.where(np.abs(X) == 148, 0.0, -5.0)
    laid = lay.longboard(lay.plain(GRID, z), *LINE, board=board(length_mm=312.0, stiffness_nmm2=5e6))
    w, span, over = 30.0 / 312, 296.0, 8.0
    sag = (5 * w * span**4 / 384 - w * over**2 * span**2 / 16) / 5e6
    middle = np.abs(laid.along_mm - 300).argmin()
    assert 5.0 - laid.daylight_mm[middle] == pytest.approx(sag, rel=0.01)


def test_it_cuts_the_humps_and_leaves_the_hollows():
    grid = Grid.over((-300.0, 300.0), (-120.0, 120.0), cell_mm=6.0)
    x, y = grid.mesh_mm()
    z = 0.5 * np.exp(-(((x - 100) / 40) ** 2) - ((y / 40) ** 2))
    z -= 0.5 * np.exp(-(((x + 100) / 40) ** 2) - ((y / 40) ** 2))
    over = lay.longboard_over(lay.plain(grid, z), board=board())
    at = lambda px, py: tuple(round(float(i)) for i in grid.index(px, py))  # noqa: E731
    assert over.value_mm[at(100, 0)] < lay.TOUCH_MM
    assert 0.25 < over.value_mm[at(-100, 0)] < 0.51  # an end of the board dips in a little
    assert over.worst_place_mm[0] == pytest.approx(-100, abs=13)
    assert 0.1 < over.cuts < 0.9
    assert over.pressed[at(100, 0)] > 10 * over.pressed[at(-100, 0)]


# --- planking ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("wave", [100.0, 150.0, 300.0])
def test_bonded_planking_passes_a_wave_as_the_plate_on_a_bed(wave):
    grid = Grid.over((-300.0, 300.0), (-40.0, 40.0), cell_mm=4.0)
    x, _ = grid.mesh_mm()
    plank = lay.Planking(thick_mm=6.0, timber=lay.timber("cedar"), bed_n_mm3=0.5)
    over = lay.planking_over(lay.plain(grid, 0.5 * np.cos(2 * np.pi * x / wave)), planking=plank)
    near = np.abs(grid.x_mm) <= wave / 2
    columns = np.column_stack([np.cos(2 * np.pi * grid.x_mm[near] / wave), np.ones(near.sum())])
    share = np.linalg.lstsq(columns, over.value_mm[grid.ny // 2, near], rcond=None)[0][0] / 0.5
    assert share == pytest.approx(float(lay.transfer(plank, wave)), abs=0.01)


def test_plate_rigidity_is_the_textbook_one():
    """E t^3 / 12 (1 - nu^2), as worked for 8 GPa and 9 mm; here with nu = 0.37."""
    plank = lay.Planking(thick_mm=9.0, timber=lay.timber("8GPa"))
    dx, dy, d1, dxy = plank.rigidities_nmm
    assert dx == dy == pytest.approx(8000 * 729 / 12 / (1 - 0.37**2))
    assert d1 + 2 * dxy == pytest.approx(dx)  # the same in all directions


def test_fastened_planking_spans_a_hollow_and_shows_a_hump():
    grid = Grid.over((-200.0, 200.0), (-200.0, 200.0), cell_mm=8.0)
    x, y = grid.mesh_mm()
    spot = 0.5 * np.exp(-((x - 48) ** 2 + (y - 48) ** 2) / 2 / 25**2)
    shown = {}
    for sign in (1, -1):
        plank = lay.Planking(thick_mm=6.0, timber=lay.timber("cedar"), pitch_mm=(200.0, 200.0))
        over = lay.planking_over(lay.plain(grid, sign * spot), planking=plank)
        shown[sign] = over.value_mm
    top = np.unravel_index(spot.argmax(), spot.shape)
    assert shown[1][top] == pytest.approx(0.5, rel=0.02)
    assert shown[-1].min() > -0.05


# --- wood -------------------------------------------------------------------------------------------


def test_both_tables_of_the_handbook_agree_but_for_sitka():
    """GPa against 10^6 psi of the same row, to the rounding of the tables; Sitka's copies do not agree."""
    for row in lay.SPECIES:
        if row.name == "sitka spruce":
            assert 9.9 < row.gpa < 10.82 and "10.8" in row.note
        else:
            assert row.gpa == pytest.approx(row.mpsi * 6.894757, rel=0.01)


def test_a_stick_is_as_stiff_as_its_section():
    """40 x 15 mm flat of 10 800 MPa: 1.215e8 N mm^2 (beam tables' worked row)."""
    assert lay.bending_nmm2(lay.timber("10.8GPa"), width_mm=40, thick_mm=15) == pytest.approx(1.215e8)
    assert lay.timber("1570000psi").mpa == pytest.approx(10825, rel=1e-3)


@pytest.mark.parametrize(
    ("asked", "problem"),
    [
        (lambda w: lay.straightedge(w, *LINE, length_mm=5), "too short"),
        (lambda w: lay.straightedge(w, (0, 0), (5, 0), length_mm=300), "too short"),
        (lambda w: lay.straightedge(w, (900, 0), (1200, 0), length_mm=300), "Next to nothing"),
        (lambda w: lay.worst_gap(GRID, np.zeros((1, *GRID.shape)), length_mm=8), "too short"),
        (lambda w: lay.timber("plastic"), "not a wood"),
        (lambda w: lay.timber("0GPa"), "can not be a stiffness"),
        (lambda w: board(length_mm=50.0), "can not be 50"),
        (lambda w: board(press_n=0.0), "some press"),
        (lambda w: lay.Batten(stiffness_nmm2=0, width_mm=5), "some stiffness"),
        (lambda w: _batten(w, by_hand_mm=(-50.0,)), "no wood -50 mm"),
        (lambda w: _batten(w, weights=((900.0, 3.0),)), "no wood 900 mm"),
        (lambda w: _batten(w, beyond=((500.0, 0.0),)), "on the wood"),
        (lambda w: lay.run_on(w, LINE, (np.arange(50.0), np.zeros(50)), at_mm=100), "reaches from"),
        (lambda w: lay.Planking(thick_mm=100, timber=lay.timber("oak")), "can not be laid"),
        (lambda w: lay.Planking(thick_mm=6, timber=lay.timber("oak"), grain_rad=0.5), "grain"),
    ],
)
def test_what_can_not_be_laid_is_refused_with_what_to_do(asked, problem):
    with pytest.raises(LightcheckError, match=problem) as refusal:
        asked(lay.plain(GRID, np.zeros(GRID.shape)))
    assert refusal.value.remedy


def _batten(wood, **held):
    stick = lay.Batten(stiffness_nmm2=1e7, width_mm=20)
    return lay.batten(wood, *LINE, stick=stick, held=lay.Held(**held))
