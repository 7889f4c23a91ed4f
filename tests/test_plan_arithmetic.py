"""The plane's arithmetic against worked examples of the trade, geometry and a general solver."""

import math

import numpy as np
import pytest
from matplotlib.path import Path as Outline
from scipy.optimize import brentq, linprog

from lightcheck.errors import LightcheckError
from lightcheck.plan import sole
from lightcheck.plan.tool import BENCH, Tool, completed, read_tool

INCH = 25.4


# --- strokes --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shaving_in", "strokes"), [(0.002, 62.5), (0.0005, 250.0), (1 / 64, 8.0)]
)  # 1/8 in of wood; two trade writers count 62, 250 and 8
def test_strokes_to_take_an_eighth_of_an_inch(shaving_in, strokes):
    got = sole.strokes(INCH / 8, leave_mm=0.0, shaving_mm=shaving_in * INCH)
    assert got == pytest.approx(strokes, rel=1e-12)


def test_what_is_left_for_the_longboard_is_not_planed():
    assert sole.strokes(1.0, leave_mm=0.3, shaving_mm=0.1) == pytest.approx(7.0)
    assert sole.strokes(0.2, leave_mm=0.3, shaving_mm=0.1) == 0.0


# --- a sole at a skew: common practice, no source; arithmetic, not validation -----------------------


def test_a_nine_inch_sole_skewed_until_it_acts_as_six():
    """9 x 2 in: over a narrow spot at asin(2 / 6) once the sides cut it short; over a round further on."""
    narrow = sole.skew_to_chord(9.0, 2.0, 6.0)
    assert math.degrees(narrow) == pytest.approx(19.4712, abs=1e-4)
    over_round = sole.skew_to_reach(9.0, 2.0, 6.0)
    found = brentq(lambda a: 9 * math.cos(a) + 2 * math.sin(a) - 6, math.radians(20), math.radians(90))
    assert over_round == pytest.approx(found, abs=1e-9)


def test_a_spokeshave_skewed_until_it_acts_as_two_inches():
    """3/4 in of sole, 2-1/2 in wide: at acos(3/8) over a narrow spot; a spokeshave acts long."""
    narrow = sole.skew_to_chord(0.75, 2.5, 2.0)
    assert math.degrees(narrow) == pytest.approx(67.9757, abs=1e-4)
    over_round = sole.skew_to_reach(0.75, 2.5, 2.0)
    found = brentq(lambda a: 0.75 * math.cos(a) + 2.5 * math.sin(a) - 2, 0.0, math.radians(70))
    assert over_round == pytest.approx(found, abs=1e-9)


def test_a_sole_never_acts_longer_than_it_is_across_its_corners():
    for way in (sole.skew_to_reach, sole.skew_to_chord):
        with pytest.raises(LightcheckError, match="never acts as"):
            way(9.0, 2.0, 9.5)
    with pytest.raises(LightcheckError, match="never acts as"):
        sole.skew_to_chord(9.0, 2.0, 1.9)


@pytest.mark.parametrize("skew_deg", [0, 7, 23, 45, 68, 90, -30, 150])
def test_reach_and_chord_are_those_of_the_rectangle(skew_deg):
    """Against corners turned one by one, and against steps through the rectangle's outline."""
    long, wide, skew = 240.0, 60.0, math.radians(skew_deg)
    c, s = math.cos(skew), math.sin(skew)
    corners = [(a * c - b * s, a * s + b * c) for a, b in ((120, 30), (120, -30), (-120, -30), (-120, 30))]
    along = [x for x, _ in corners]
    assert sole.reach_mm(long, wide, skew) == pytest.approx(max(along) - min(along))
    steps = np.arange(-200, 200, 0.05)
    under = Outline(corners).contains_points(np.column_stack([steps, 0 * steps]))
    assert sole.chord_mm(long, wide, skew) == pytest.approx(under.sum() * 0.05, abs=0.15)


# --- flats on a round -------------------------------------------------------------------------------


def test_a_flat_of_forty_on_a_round_of_six_hundred():
    assert sole.flat_low_mm(40.0, 600.0) == pytest.approx(0.33, abs=0.005)
    assert sole.flat_for_mm(sole.flat_low_mm(40.0, 600.0), 600.0) == pytest.approx(40.0)


@pytest.mark.parametrize(
    ("flat_mm", "low_mm"), [(229.0, 2.186), (356.0, 5.285), (559.0, 13.048), (914.0, 35.01)]
)  # exact sagitta on a radius of 3000 mm, any handbook
def test_sagitta(flat_mm, low_mm):
    assert sole.flat_low_mm(flat_mm, 3000.0) == pytest.approx(low_mm, abs=1e-3 if low_mm < 20 else 6e-3)


# --- a stiff sole on uneven wood ----------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(5))
def test_a_sole_rests_where_a_linear_program_puts_it(seed):
    """Lowest height of a plane at the middle that is nowhere below the wood."""
    rng = np.random.default_rng(seed)
    tool = Tool(name="plane", kind="plane", length_mm=240.0, width_mm=60.0, shaving_mm=0.1)
    under = sole.under(tool, turn_rad=rng.uniform(0, np.pi))
    z = rng.normal(size=len(under)) * 0.3 + 0.01 * under[:, 0]
    plane = linprog(
        [1, 0, 0], A_ub=-np.column_stack([np.ones(len(z)), under]), b_ub=-z, bounds=[(None, None)] * 3
    )
    assert sole.rest_mm(under, z) == pytest.approx(plane.fun, abs=1e-7)


def test_a_sole_stands_off_a_hollow_sweep_by_the_sagitta():
    tool = Tool(name="plane", kind="plane", length_mm=229.0, width_mm=60.0, shaving_mm=0.1)
    under = sole.under(tool, turn_rad=0.0)
    z = 3000 - np.sqrt(3000**2 - under[:, 0] ** 2)
    assert sole.rest_mm(under, z) == pytest.approx(2.186, abs=1e-3)
    assert sole.rest_mm(under, -z) == pytest.approx(0.0, abs=1e-9)
    assert sole.rest_mm(under, 0 * z + 0.7) == pytest.approx(0.7)


# --- tools ------------------------------------------------------------------------------------------


def test_a_tool_as_it_is_typed():
    assert read_tool("jack plane,355mm,50mm,0.1mm") == Tool(
        name="jack plane", kind="plane", length_mm=355.0, width_mm=50.0, shaving_mm=0.1
    )
    assert read_tool("flat spokeshave, 3/4in, 2in, 4 thou").length_mm == pytest.approx(19.05)
    assert read_tool("flat spokeshave, 3/4in").kind == "spokeshave"


def test_what_is_not_said_of_a_tool_comes_from_the_ordinary_bench():
    jack = next(t for t in BENCH if t.name == "jack plane")
    assert completed("Jack plane", "plane", shaving_mm=0.2).length_mm == jack.length_mm
    assert completed("grandfather's", "spokeshave").length_mm < 30


@pytest.mark.parametrize(
    ("typed", "problem"),
    [
        ("jack plane", "is not a tool"),
        (",355mm", "is not a tool"),
        ("jack,355mm,60mm,0.1mm,9mm", "is not a tool"),
        ("jack,355,60mm,0.1mm", "has no unit"),
        ("jack,355mm,60mm,5mm", "can not take a shaving"),
        ("jack,9000mm,60mm,0.1mm", "can not be"),
    ],
)
def test_what_is_no_tool_is_refused(typed, problem):
    with pytest.raises(LightcheckError, match=problem) as refusal:
        read_tool(typed)
    assert refusal.value.remedy
