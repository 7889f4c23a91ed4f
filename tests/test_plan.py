"""The working list: tools that fit the wood, grain, limits that hold, hollows left alone, and the order."""

import dataclasses
import math
import re
from types import SimpleNamespace

import numpy as np
import pytest
from laid import CARDS, SHEET
from planned import JACK, LEVEL_MM, SHAVE, SIGMA_MM, SMOOTHER, hump, wood

from lightcheck import marks, plan
from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.plan import Wish, choose, grain, sole
from lightcheck.plan import wood as woods
from lightcheck.plan.product import LEAVE, PLANE, REFUSED


def marked(*texts):
    return marks.Marks(marks=tuple(marks.read_mark(t, CARDS) for t in texts))


def listed(*spots, said=(), base=None, grain="level", **wish):
    wish.setdefault("tools", (SMOOTHER,))
    return plan.make(wood(*spots, base=base, grain=grain), marked(*said), Wish(**wish))


# --- how much -----------------------------------------------------------------------------------------


def test_strokes_are_what_comes_off_less_what_is_left_over_the_shaving():
    (task,) = listed(hump(0, 0, 0.6, 100)).tasks
    assert task.do == PLANE
    assert task.take_mm == pytest.approx(0.6 + LEVEL_MM - 0.3)
    assert task.strokes == pytest.approx(0.4 / 0.05)
    assert (task.long_mm, task.wide_mm) == (pytest.approx(100, abs=6), pytest.approx(100, abs=6))
    assert task.lanes == math.ceil(task.wide_mm / (0.8 * 60))


def test_a_hump_is_never_planed_below_fair_however_deep_the_target_lies():
    """A deep hollow elsewhere draws the cut-only target down by 2 mm; the hump stands 0.5 over fair."""
    stored = wood(hump(0, 0, 0.5, 100))
    low = dataclasses.replace(
        stored,
        come_off_mm=frozen(stored.height_mm + 2.0),
        spots=(dataclasses.replace(stored.spots[0], come_off_mm=2.5),),
    )
    result = plan.make(low, marked("fastener at 0mm,0mm, 0.7mm deep"), Wish(tools=(SMOOTHER,)))
    (task,) = result.tasks
    assert task.take_mm == pytest.approx(0.5)
    assert task.do == PLANE  # 0.5 and what is unsure of it stay clear of the fastener
    assert any("2.00 mm more would have to come off all over" in n for n in result.notes)


def test_what_is_no_more_than_the_longboard_needs_is_left_for_it():
    (task,) = listed(hump(0, 0, 0.19, 100)).tasks
    assert (task.do, task.tool, task.strokes) == (LEAVE, None, 0.0)
    (task,) = listed(hump(0, 0, 0.19, 100), leave_mm=0.0).tasks
    assert task.do == PLANE
    assert task.stop[0] == "stop at fair"


def test_a_spot_that_may_be_nothing_is_felt_for_first():
    (task,) = listed(hump(0, 0, 0.6, 100, chance=0.5)).tasks
    assert any("feel for it first" in s for s in task.stop)


# --- which tool, laid on the map ------------------------------------------------------------------------


def lay(tool, *, base=None, spot=None, skew_deg=0):
    spot = spot or hump(0, 0, 0.6, 100)
    found = choose.Hump(
        x_mm=spot.x_mm, y_mm=spot.y_mm, height_mm=spot.height_mm, turn_rad=0.0,
        feet_mm=(-spot.length_mm / 2, spot.length_mm / 2), wide_mm=spot.width_mm, take_mm=0.4,
    )  # fmt: skip
    return choose.lay(woods.of(wood(spot, base=base)), tool, found, math.radians(skew_deg))


def test_a_plane_longer_than_the_hump_bridges_it_and_a_spokeshave_rides_over():
    """At the foot the plane is held off by the top and its heel: 0.6 x 120 / 170 less half the height."""
    plane = lay(SMOOTHER)
    assert plane.bridges and plane.follows
    assert plane.clear_mm > 0.6 * (120 / 170) - 0.3 - 0.02
    ride = lay(SHAVE)
    assert ride.follows and not ride.bridges


def test_a_sole_too_long_for_a_hollow_sweep_never_reaches_its_bottom():
    """Radius 3 m along: the sagitta of each sole, 2.4 mm of 240; a spokeshave follows."""
    sweep = {"along_x": 1 / 3000}
    plane, shave = lay(SMOOTHER, base=sweep), lay(SHAVE, base=sweep)
    assert not plane.follows
    assert lay(SMOOTHER, base=sweep).off_mm == pytest.approx(3000 - math.sqrt(3000**2 - 120**2), rel=0.1)
    assert shave.follows
    (task,) = listed(hump(0, 0, 0.6, 100), base=sweep, tools=(SMOOTHER, SHAVE)).tasks
    assert task.tool == SHAVE
    (task,) = listed(hump(0, 0, 0.6, 100), base=sweep).tasks
    assert "no sole on the bench gets down" in task.reason


def test_over_a_round_along_the_stroke_a_plane_follows():
    assert lay(SMOOTHER, base={"along_x": -1 / 3000}).follows


def test_a_sweep_across_the_stroke_lets_a_straight_plane_in_and_keeps_a_skewed_one_out():
    """Hollow across only, radius 30 m: straight 0.015 mm off, at 45 degrees the sole lies along it."""
    sweep = {"along_y": 1 / 30000}
    assert lay(SMOOTHER, base=sweep).follows
    skewed = lay(SMOOTHER, base=sweep, skew_deg=45)
    reach = sole.reach_mm(60, 240, math.radians(45))
    assert skewed.off_mm == pytest.approx(reach**2 / 8 / 30000, rel=0.1)
    assert not skewed.follows


def test_a_spokeshave_held_askew_bridges_what_it_rides_over_when_straight():
    small = hump(0, 0, 0.6, 30, 20)
    assert not lay(SHAVE, spot=small).bridges
    assert lay(SHAVE, spot=small, skew_deg=60).clear_mm > lay(SHAVE, spot=small).clear_mm


def test_few_strokes_are_taken_but_not_all_in_one():
    (high,) = listed(hump(0, 0, 1.5, 100), tools=(JACK, SMOOTHER)).tasks
    assert high.tool == JACK
    (low,) = listed(hump(0, 0, 0.35, 100), tools=(JACK, SMOOTHER)).tasks
    assert low.tool == SMOOTHER  # 0.15 mm to take is one stroke of the jack


def test_a_bench_without_a_plane_is_refused():
    board = plan.Tool(name="longboard", kind="longboard", length_mm=900, width_mm=75, shaving_mm=0.02)
    with pytest.raises(LightcheckError, match="no plane or spokeshave"):
        listed(hump(0, 0, 0.6, 100), tools=(board,))


def test_the_flat_that_may_show_on_a_round_is_told():
    """Round of 600 mm, 0.3 mm left: 2 sqrt(2 R h - h^2) = 37.9 mm."""
    (task,) = listed(hump(0, 0, 0.6, 100), base={"along_y": -1 / 600}).tasks
    flat = next(s for s in task.stop if s.startswith("no flat wider"))
    width, radius = map(float, re.findall(r"\d+", flat))
    assert radius == pytest.approx(600, rel=0.01)
    assert width == pytest.approx(37.9, abs=1.0)


# --- grain ----------------------------------------------------------------------------------------------


def test_grain_that_turns_splits_the_spot_where_it_turns():
    long = hump(0, 0, 0.8, 240, 80)
    tasks = listed(
        long, said=("grain from -200mm,0mm to -10mm,0mm", "grain from 200mm,0mm to 10mm,0mm")
    ).tasks
    assert [t.name for t in tasks] == ["1a", "1b"]
    turns = sorted(abs(t.turn_rad) for t in tasks)
    assert turns == [pytest.approx(0.0, abs=1e-6), pytest.approx(math.pi)]
    for task in tasks:
        run = 1 if abs(task.turn_rad) < 1 else -1
        assert np.sign(task.outline_mm[:, 0].mean()) == -run  # each is planed towards the middle
        assert any("where the grain turns" in s for s in task.stop)
        assert task.grain == "as marked"
        assert np.abs(task.outline_mm[:, 0].min() * task.outline_mm[:, 0].max()) < 120 * 10


def test_grain_that_runs_one_way_leaves_the_spot_whole():
    said = ("grain from -200mm,0mm to -10mm,0mm", "grain from 10mm,0mm to 200mm,40mm")
    (task,) = listed(hump(0, 0, 0.8, 240, 80), said=said).tasks
    assert task.part == ""
    assert 0.05 < task.turn_rad < 0.15


@pytest.mark.parametrize(("picture", "turn"), [("level", 0.0), ("upright", math.pi / 2)])
def test_without_marks_the_picture_tells_the_line_of_the_grain(picture, turn):
    (task,) = listed(hump(0, 0, 0.8, 100), grain=picture).tasks
    assert abs(math.sin(task.turn_rad - turn)) < 0.05
    assert task.grain == grain.SEEN


def test_where_the_picture_shows_no_grain_it_is_not_known():
    (task,) = listed(hump(0, 0, 0.8, 100), grain="none").tasks
    assert task.grain == grain.UNKNOWN


# --- what must not be reached -----------------------------------------------------------------------------

DEEP = 0.6 + LEVEL_MM - 0.3 + 2 * SIGMA_MM  # as deep as the cut may go at the top of a hump of 0.6


def verdict(*said, **wish):
    (task,) = listed(hump(0, 0, 0.6, 100), said=said, **wish).tasks
    return task


@pytest.mark.parametrize(
    ("depth_mm", "do"), [(0.1, REFUSED), (DEEP + 0.04, REFUSED), (DEEP + 0.06, PLANE), (3.0, PLANE)]
)
def test_a_fastener_is_never_reached_and_one_shaving_is_kept_over_it(depth_mm, do):
    task = verdict(f"fastener at 0mm,0mm, {depth_mm:.3f}mm deep")
    assert task.do == do
    if do == REFUSED:
        assert "would reach the fastener" in task.reason
        assert task.tool is None
    else:
        assert any("fastener" in a for a in task.avoid)


def test_a_fastener_of_unknown_depth_is_not_planed_over():
    assert "find its depth first" in verdict("fastener at 10mm,5mm").reason
    assert verdict("fastener at 140mm,5mm").do == PLANE


def test_no_lower_than_here():
    assert verdict("no lower at 0mm,0mm").do == REFUSED
    assert "nothing may come off" in verdict("no lower at 0mm,0mm").reason
    assert "only 0.2 mm may" in verdict("no lower at 0mm,0mm, 0.2mm may come off").reason
    assert verdict("no lower at 0mm,0mm, 1mm may come off").do == PLANE


def test_what_is_to_be_left_is_left():
    assert "not to be touched" in verdict("leave within -9mm,-9mm to 9mm,-9mm to 9mm,9mm").reason
    assert verdict("leave at 180mm,0mm").do == PLANE


def test_the_least_thickness_holds():
    """9 mm thick, at least 8.6: 0.4 may come off, and up to 0.44 would."""
    task = verdict(thickness_mm=9.0, least_mm=8.6)
    assert task.do == REFUSED
    assert "least thickness of 8.6 mm" in task.reason
    assert verdict(thickness_mm=9.0, least_mm=8.5).do == PLANE
    with pytest.raises(LightcheckError, match="least thickness alone"):
        verdict(least_mm=8.0)


def test_lines_to_stop_at_are_told_where_the_sole_would_run_over_them():
    across = verdict("stop from 100mm,-150mm to 100mm,150mm")
    assert any("stop at the" in s for s in across.stop)
    beside = verdict("centreline from -240mm,-120mm to 240mm,-120mm")
    assert not any("stop at" in s for s in beside.stop)


# --- hollows ----------------------------------------------------------------------------------------------


def test_hollows_are_never_planed_and_a_small_deep_one_is_filled():
    result = listed(hump(0, 0, -0.5, 60), hump(100, 40, 0.6, 80, number=2))
    assert [t.spot.number for t in result.tasks] == [2]
    (low,) = result.lows
    volume = 0.5 * 60 * 60 * math.pi / (4 * math.log(2)) / 1000  # of a Gaussian, cm3
    assert low.fill_cm3 == pytest.approx(volume, rel=0.2)
    assert low.fill_mm == pytest.approx(0.5)
    assert low.round_mm == pytest.approx(0.0, abs=1e-9)  # the target is as low everywhere


def test_what_would_have_to_come_off_round_a_hollow():
    """A target that dips by 0.4 mm round it, 150 mm wide at half: its volume less what the hollow takes."""
    spot = hump(0, 0, -0.5, 60)
    stored = wood(spot)
    x, y = SHEET.mesh_mm()
    dip = 0.4 * np.exp(-(x**2 + y**2) * 4 * math.log(2) / 150**2)
    stored = SimpleNamespace(
        **{n: getattr(stored, n) for n in ("grid", "height_mm", "longest_mm")},
        come_off_mm=stored.height_mm + LEVEL_MM + dip,
    )
    from lightcheck.plan.lows import low

    found = low(stored, spot, None)
    whole = 0.4 * 150**2 * math.pi / (4 * math.log(2)) / 1000
    inner = whole * (1 - 2 ** -((60 / 75) ** 2))  # of the dip within 60 mm of the middle
    assert found.round_cm3 == pytest.approx(whole - inner, rel=0.1)
    assert found.round_mm == pytest.approx(0.4 * 2 ** -((60 / 75) ** 2), abs=0.02)
    assert found.fill_less


# --- order ------------------------------------------------------------------------------------------------

FIVE = (hump(-190, 0, 0.9, 60), hump(-100, 0, 0.6, 60, number=2), hump(10, 0, 0.7, 60, number=3),
        hump(110, 60, 0.5, 60, number=4), hump(195, 0, 0.8, 60, number=5))  # fmt: skip
STATIONS = ("station 1 from -200mm,-150mm to -200mm,150mm", "station 2 from 200mm,-150mm to 200mm,150mm")


@pytest.mark.parametrize(
    ("wish", "order"),
    [
        ({}, [1, 5, 3, 2, 4]),
        ({"fine_end": "right"}, [5, 1, 3, 4, 2]),
        ({"order": "along", "fine_end": "right"}, [5, 4, 3, 2, 1]),
        ({"order": "highest"}, [1, 5, 3, 2, 4]),
        ({"order": (4, 2)}, [4, 2, 1, 3, 5]),
    ],
)
def test_stations_first_then_the_middle_of_spans_then_along_or_as_told(wish, order):
    tasks = listed(*FIVE, said=STATIONS, **wish).tasks
    assert [t.spot.number for t in tasks] == order
    assert [t.number for t in tasks] == [1, 2, 3, 4, 5]


def test_an_order_with_a_spot_that_is_not_there_is_refused():
    with pytest.raises(LightcheckError, match="no hump 9"):
        listed(*FIVE, order=(1, 9))


def test_distance_from_the_station_and_girth_round_a_barrel():
    """Radius 300 mm: 100 mm out is an arc of 300 asin(1/3)."""
    said = ("station 7 from 40mm,-150mm to 40mm,150mm", "centreline from -240mm,0mm to 240mm,0mm")
    (task,) = listed(hump(0, 100, 0.6, 60), said=said, base={"along_y": -1 / 300}).tasks
    assert task.where.station == "7"
    assert task.where.from_station_mm == pytest.approx(-40, abs=0.1)
    assert task.where.girth_mm == pytest.approx(300 * math.asin(1 / 3), abs=0.1)


def test_what_was_not_said_is_told_once():
    notes = " ".join(listed(hump(0, 0, 0.6, 60)).notes)
    for word in ("No grain", "No station", "fine end", "How thick", "No fastener"):
        assert notes.count(word) == 1


def test_a_fair_board_gives_an_empty_list():
    result = listed()
    assert (result.tasks, result.lows) == ((), ())
