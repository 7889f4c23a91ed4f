"""Work: from a stored map and its marks to the working list."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.marks import Marks, none
from lightcheck.pattern.plane import inside
from lightcheck.plan import choose, grain, limits, order, sole
from lightcheck.plan import wood as woods
from lightcheck.plan.lows import EVERYWHERE, low
from lightcheck.plan.product import LEAVE, PLANE, REFUSED, Plan, Task, Where, Wish
from lightcheck.plan.tool import CUTS
from lightcheck.plan.wood import Wood
from lightcheck.spots import Spot
from lightcheck.stored import StoredMap

LEAST_PART = 0.1  # of a spot; a smaller part that the grain would split off goes with the rest
EVEN = 0.6  # chance below which a spot is looked at before it is planed
ROUND_MM = 4000.0  # a radius above this is no round that a flat would show on
LAP = 0.8  # of the iron's width from one lane to the next


def make(stored: StoredMap, marks: Marks | None = None, wish: Wish | None = None) -> Plan:
    """The working list. Refuses a bench without a plane and a told order of spots not there."""
    marks, wish = marks or none(), wish or Wish()
    if not any(t.kind in CUTS for t in wish.tools):
        raise LightcheckError(
            "There is no plane or spokeshave on the bench.",
            "Give one: --tool 'smoothing plane,240mm,60mm,0.05mm'.",
        )
    if wish.least_mm is not None and wish.thickness_mm is None:
        raise LightcheckError(
            "The least thickness alone does not say how much may come off.",
            "Measure how thick the part is now and give --thickness too.",
        )
    wood = woods.of(stored)
    humps = [(s, order.where(s, marks, wood)) for s in stored.spots if s.kind == "hump"]
    tasks = [t for i in order.rank(humps, wish) for t in _tasks(stored, marks, wish, wood, humps[i])]
    lows = [low(stored, s, order.where(s, marks, wood)) for s in stored.spots if s.kind == "hollow"]
    return Plan(
        wish=wish,
        stored=stored,
        marks=marks,
        tasks=tuple(replace(t, number=i) for i, t in enumerate(tasks, start=1)),
        lows=tuple(lows),
        notes=tuple(_notes(stored, marks, wish, tasks)),
    )


def _tasks(stored: StoredMap, marks: Marks, wish: Wish, wood: Wood, hump: tuple[Spot, Where]) -> list[Task]:
    """One task for a hump, or one for each part between which the grain turns."""
    spot, where = hump
    cells = _cells(stored, spot)
    ways = grain.ways(stored, cells, marks.of("grain"))
    if any(len(w.cells_mm) < LEAST_PART * len(cells) for w in ways):
        ways = (replace(ways[0], cells_mm=cells),)
    tasks = []
    for part, way in zip("abcdef" if len(ways) > 1 else ("",), ways, strict=False):
        task = _task(stored, marks, wish, (spot, where, way), wood)
        if len(ways) > 1:
            other = "b" if part == "a" else "a"
            task = replace(task, stop=(*task.stop, f"stop where the grain turns, at part {other}"))
        tasks.append(replace(task, part=part))
    return tasks


def _cells(stored: StoredMap, spot: Spot) -> np.ndarray:
    """(n, 2) places within the spot's outline, its top at least."""
    x, y = stored.grid.mesh_mm()
    cells = np.column_stack([x.ravel(), y.ravel()])
    within = inside(cells, spot.outline_mm) if len(spot.outline_mm) >= 3 else np.zeros(len(cells), bool)
    return cells[within] if within.any() else np.array([[spot.x_mm, spot.y_mm]])


def _task(stored: StoredMap, marks: Marks, wish: Wish, what: tuple, wood: Wood) -> Task:
    spot, where, way = what
    top, high, come_off = _top(stored, spot, way)
    take = max(min(come_off - wish.leave_mm, high), 0.0)  # below fair it would be a hollow
    stroke = np.array([math.cos(way.turn_rad), math.sin(way.turn_rad)])
    along = (way.cells_mm - top) @ stroke
    across = (way.cells_mm - top) @ np.array([-stroke[1], stroke[0]])
    cell = stored.grid.cell_mm
    task = Task(
        number=0, spot=spot, part="", do=LEAVE, where=where, take_mm=take, leave_mm=wish.leave_mm,
        long_mm=float(np.ptp(along)) + cell, wide_mm=float(np.ptp(across)) + cell, tool=None, skew_rad=0.0,
        acts_mm=0.0, turn_rad=way.turn_rad, grain=way.known, rides=False, strokes=0.0, lanes=0,
        stop=(), avoid=(), reason=f"{come_off:.2f} mm to come off: no more than is left for the longboard",
        outline_mm=_outline(spot, way, cell),
    )  # fmt: skip
    if take <= 0:
        return task
    found = choose.choose(wood, wish.tools, _hump(task, along, top, high))
    task = replace(
        task, tool=found.tool, skew_rad=found.skew_rad, acts_mm=found.acts_mm, rides=not found.bridges
    )
    return _judged(stored, marks, wish, wood, (task, found))


def _top(stored: StoredMap, spot: Spot, way: grain.Way) -> tuple[np.ndarray, float, float]:
    """Highest place of what is planed one way, its height and the wood to come off there."""
    top = np.array([spot.x_mm, spot.y_mm])
    high, off = spot.height_mm, spot.come_off_mm
    if np.linalg.norm(way.cells_mm - top, axis=1).min() > stored.grid.cell_mm:  # the top is in another part
        rows, columns = (np.round(i).astype(int) for i in stored.grid.index(*way.cells_mm.T))
        heights = np.nan_to_num(stored.height_mm[rows, columns], nan=-np.inf)
        best = int(heights.argmax())
        if np.isfinite(heights[best]):
            top, high = way.cells_mm[best], float(heights[best])
            off = float(stored.come_off_mm[rows[best], columns[best]])
    return top, float(high), float(off) if np.isfinite(off) else float(high)


def _hump(task: Task, along: np.ndarray, top: np.ndarray, high: float) -> choose.Hump:
    return choose.Hump(
        x_mm=float(top[0]),
        y_mm=float(top[1]),
        height_mm=high,
        turn_rad=task.turn_rad,
        feet_mm=(float(min(along.min(), 0.0)), float(max(along.max(), 0.0))),
        wide_mm=task.wide_mm,
        take_mm=task.take_mm,
    )


def _judged(stored: StoredMap, marks: Marks, wish: Wish, wood: Wood, what: tuple) -> Task:
    """The task planed, or refused with the reason; what to stop at and what not to touch."""
    task, found = what
    tool = found.tool
    path = limits.cut(
        stored, task.outline_mm, leave_mm=wish.leave_mm, shaving_mm=tool.shaving_mm, wide_mm=tool.width_mm
    )
    reason = limits.refusal(path, marks, wish)
    avoid = (*limits.nearby(task.outline_mm, marks), *_hollows_near(stored, task))
    if reason:
        return replace(task, do=REFUSED, reason=reason, avoid=avoid, tool=None, rides=False)
    return replace(
        task,
        do=PLANE,
        reason=_how(found, task),
        strokes=sole.strokes(task.take_mm, leave_mm=0.0, shaving_mm=tool.shaving_mm),
        lanes=max(1, math.ceil(task.wide_mm / (LAP * tool.width_mm))),
        avoid=avoid,
        stop=(
            *_stops(task, wood, wish),
            *limits.stops(task.outline_mm, marks, task.turn_rad, (tool.length_mm, tool.width_mm)),
        ),
    )


def _how(found: choose.Choice, task: Task) -> str:
    if not found.follows:
        return (
            f"no sole on the bench gets down into this shape: the iron stands {found.off_mm:.2f} mm off. "
            "Take a shorter one, or hold it further askew"
        )
    if not found.bridges:
        return "no sole on the bench bridges it: work the top only, and look after every few strokes"
    return ""


def _stops(task: Task, wood: Wood, wish: Wish) -> tuple[str, ...]:
    """When it is enough."""
    spot = task.spot
    below_mm = max(spot.come_off_mm - spot.height_mm, 0.0)  # from fair down to what the plane could come to
    to_fair = wish.leave_mm <= below_mm
    stop = ["stop at fair"] if to_fair else [f"leave {wish.leave_mm:.2f} mm for the longboard"]
    bend = wood.bend(spot.x_mm, spot.y_mm, task.turn_rad + math.pi / 2)
    if bend < -1 / ROUND_MM and wish.leave_mm > 0:
        flat = sole.flat_for_mm(wish.leave_mm, -1 / bend)
        stop.append(f"no flat wider than {flat:.0f} mm (round of {-1 / bend:.0f} mm)")
    if spot.chance < EVEN:
        stop.append("feel for it first: it may be nothing")
    return tuple(stop)


def _hollows_near(stored: StoredMap, task: Task) -> tuple[str, ...]:
    near = []
    for spot in stored.spots:
        away = np.linalg.norm(task.outline_mm - (spot.x_mm, spot.y_mm), axis=1).min() - spot.width_mm / 2
        if spot.kind == "hollow" and away <= limits.HAZARD_MM:
            near.append(f"low {spot.number}, {max(away, 0):.0f} mm off")
    return tuple(near)


def _outline(spot: Spot, way: grain.Way, cell: float) -> np.ndarray:
    """(n, 2) the spot's outline, or the hull of the part that is planed one way."""
    whole = len(spot.outline_mm) >= 3
    within = inside(way.cells_mm, spot.outline_mm).sum() if whole else 0
    count = np.abs(_area(spot.outline_mm)) / cell**2 if whole else 0
    if whole and within >= 0.9 * count:
        return np.array(spot.outline_mm)
    from scipy.spatial import ConvexHull, QhullError

    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * cell / 2
    points = (way.cells_mm[:, None] + corners).reshape(-1, 2)
    try:
        return points[ConvexHull(points).vertices]
    except QhullError:
        return np.array([spot.x_mm, spot.y_mm]) + corners


def _area(polygon: np.ndarray) -> float:
    x, y = polygon.T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)


def _notes(stored: StoredMap, marks: Marks, wish: Wish, tasks: list[Task]):
    if not marks.of("grain"):
        yield "No grain is marked: try which way is clean. Mark it with lightcheck mark."
    if not marks.of("station") and wish.order == "stations":
        yield "No station is marked: the order is along the map only."
    if not wish.fine_end and wish.order in ("stations", "along"):
        yield "The fine end was not said: the list starts at the left."
    if wish.thickness_mm is None or wish.least_mm is None:
        yield "How thick the wood is, and how thin it may become, was not said and is not looked after."
    if not marks.of("fastener"):
        yield "No fastener is marked: look for them before you plane."
    lowered = stored.come_off_mm - stored.height_mm
    all_over = float(np.nanquantile(lowered, EVERYWHERE)) if np.isfinite(lowered).any() else 0.0
    if all_over > max(wish.leave_mm, stored.least_mm):
        yield (
            f"The lows lie so deep that {all_over:.2f} mm more would have to come off all over to lose them. "
            "This list takes the humps down to fair and no lower: fill the lows, or shim, or plane all of it "
            "down afterwards."
        )
    if any(t.do == REFUSED for t in tasks):
        yield "What is refused has its reason beside it: clear that first, then make the list again."
