"""Wood: the real surface that tools are laid on, and lines drawn over it.

    P(x, y) = base(x, y) + relief * normal          the base shape bends: on a barrel a straightedge
                                                    across rides on the crown, and along it does not

`map.json` holds the base shape (curvatures along x, along y and the twist at the origin), `map.npz` the
relief z over it, counted along its normal. For a draw, relief = fair surface + the height of that draw:
how sure the fair surface itself is, is not in the draws, so daylight under tools longer than the longest
hump is less sure than told.

A tool is laid in the plane of its line and the wood's normal at the middle of it:

    up ^      n        along: t, the line's direction in the tangent plane
       |      |__ t    up:    n, square to the wood there
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import map_coordinates

from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid, frozen
from lightcheck.patch import Base
from lightcheck.stored import StoredMap


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wood:
    """Heights over the plane z = 0 of the patch frame. [mm]

    height_mm: (ny, nx), NaN outside the map.  draws_mm: (k, ny, nx).  fair_mm: (ny, nx) of the fair
    surface.  seen: (ny, nx) where the height was measured, not only supposed.
    """

    grid: Grid
    base: Base
    height_mm: np.ndarray
    draws_mm: np.ndarray
    fair_mm: np.ndarray
    seen: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lines:
    """Parallel lines over the wood: (r, n) points each `step_mm` along and `apart_mm` across in plan.

    points_mm: (r, n, 3) on the wood, z NaN outside.  draws_mm: (k, r, n) z of the draws.  seen: (r, n).
    turn_rad: the way along.
    """

    points_mm: np.ndarray
    draws_mm: np.ndarray
    seen: np.ndarray
    step_mm: float
    apart_mm: float
    turn_rad: float
    base: Base

    def part(self, first: int, last: int) -> Lines:
        """Some of the lines, from first to last, without their draws."""
        rows = slice(first, last + 1)
        return replace(self, points_mm=self.points_mm[rows], draws_mm=self.draws_mm[:0], seen=self.seen[rows])


def wood(stored: StoredMap, *, draws: int = 64) -> Wood:
    """The surface of a stored map with the first few of its draws."""
    base = Base(**stored.facts.get("base", {}))
    x, y = stored.grid.mesh_mm()
    bottom = base.height_mm(x, y)
    upright = 1 / base.normal(x, y)[..., 2]  # along the normal to along z
    seen = np.isfinite(stored.height_mm) & np.isfinite(stored.z_mm)
    if not seen.any():
        raise LightcheckError("Nothing was measured on this map.", "Make the map again with better photos.")
    draws_mm = np.asarray(stored.draws_mm[:draws], float) + stored.fair_mm
    return Wood(
        grid=stored.grid,
        base=base,
        height_mm=frozen(bottom + stored.z_mm * upright),
        draws_mm=frozen(bottom + np.where(seen, draws_mm, stored.z_mm) * upright),
        fair_mm=frozen(bottom + stored.fair_mm * upright),
        seen=frozen(seen, bool),
    )


def plain(grid: Grid, heights_mm: np.ndarray, *, base: Base | None = None) -> Wood:
    """Wood of given heights over z = 0, seen where they are finite, without draws of its own."""
    heights = np.asarray(heights_mm, float)
    return Wood(
        grid=grid,
        base=base or Base(),
        height_mm=frozen(heights),
        draws_mm=frozen(heights[None]),
        fair_mm=frozen(np.zeros(grid.shape)),
        seen=frozen(np.isfinite(heights), bool),
    )


def across_map(on: Wood, *, turn_rad: float, step_mm: float, apart_mm: float, least_mm: float = 0.0) -> Lines:
    """Lines over the whole map that run at turn_rad and are at least `least_mm` long."""
    grid = on.grid
    along, left = _ways(turn_rad)
    corners = np.array([(x, y) for x in grid.x_mm[[0, -1]] for y in grid.y_mm[[0, -1]]])
    middle = corners.mean(axis=0)
    reach = np.abs((corners - middle) @ along).max() + 1e-9
    wide = np.abs((corners - middle) @ left).max() + 1e-9
    count = max(int(2 * reach / step_mm), int(np.ceil(least_mm / step_mm - 1e-9)))
    s = (np.arange(count + 1) - count / 2) * step_mm
    rows = int(wide / apart_mm)
    c = np.arange(-rows, rows + 1) * apart_mm
    return _lines(on, middle, (s, c), turn_rad, (step_mm, apart_mm))


def beside(on: Wood, start_mm, end_mm, *, step_mm: float, offsets_mm) -> Lines:
    """The line from start to end and others at offsets to its left. Refuses where nothing is seen."""
    start, end = np.asarray(start_mm, float), np.asarray(end_mm, float)
    long = float(np.hypot(*(end - start)))
    if long < 20:
        raise LightcheckError(
            "The line is too short to lay anything on.", "Give two places further apart, such as two cards."
        )
    turn = float(np.arctan2(*(end - start)[::-1]))
    s = np.arange(int(long / step_mm + 1e-6) + 1) * step_mm
    offsets = np.asarray(offsets_mm, float)
    apart = float(offsets[1] - offsets[0]) if len(offsets) > 1 else step_mm
    found = _lines(on, start, (s, offsets), turn, (step_mm, apart))
    seen = np.flatnonzero(found.seen[len(offsets) // 2])
    if len(seen) < 5 or (seen[-1] - seen[0]) * step_mm < 20:
        raise LightcheckError(
            "Next to nothing was measured along this line.", "Give two places with wood between them."
        )
    kept = slice(int(seen[0]), int(seen[-1]) + 1)
    return replace(
        found,
        points_mm=found.points_mm[:, kept],
        draws_mm=found.draws_mm[:, :, kept],
        seen=found.seen[:, kept],
    )


def padded(lines: Lines, least: int) -> Lines:
    """The lines carried on without wood, so that a tool of `least` points has room."""
    short = least - lines.points_mm.shape[1]
    if short <= 0:
        return lines
    before = -(-short // 2)
    n, step = lines.points_mm.shape[1] + 2 * before, lines.points_mm[:, 1:2, :2] - lines.points_mm[:, :1, :2]
    points = np.full((lines.points_mm.shape[0], n, 3), np.nan)
    points[..., :2] = lines.points_mm[:, :1, :2] + (np.arange(n) - before)[None, :, None] * step
    points[:, before : n - before, 2] = lines.points_mm[..., 2]
    wide = ((0, 0), (before, before))
    return replace(
        lines,
        points_mm=points,
        draws_mm=np.pad(lines.draws_mm, ((0, 0), *wide), constant_values=np.nan),
        seen=np.pad(lines.seen, wide),
    )


def in_frame(lines: Lines, z_mm: np.ndarray, *, middle: int, columns: slice) -> tuple[np.ndarray, np.ndarray]:
    """Part of the lines as seen from a tool: (along (n,), heights (..., r, n)) square to the wood. [mm]

    z_mm: (..., r, n) heights over z = 0.  middle: the column where the frame stands on the base, on the
    middle line; along is counted from there.
    """
    row = lines.points_mm.shape[0] // 2
    here = lines.points_mm[row, middle, :2]
    normal = lines.base.normal(*here)
    ahead, _ = tangents(normal, lines.turn_rad)
    foot = float(lines.base.height_mm(*here))
    plan = lines.points_mm[:, columns, :2] - here
    up = plan[..., 0] * normal[0] + plan[..., 1] * normal[1] + (z_mm[..., columns] - foot) * normal[2]
    under = lines.base.height_mm(*lines.points_mm[row, columns, :2].T) - foot
    return plan[row] @ ahead[:2] + under * ahead[2], up


def plan_share(base: Base, place_mm, turn_rad: float) -> float:
    """How long a way of 1 along the wood is in plan: 1 on a flat patch."""
    ahead, _ = tangents(base.normal(*place_mm), turn_rad)
    return float(np.hypot(*ahead[:2]))


def tangents(normal: np.ndarray, turn_rad: float) -> tuple[np.ndarray, np.ndarray]:
    """Unit vectors along (over the plan direction turn_rad) and to the left of it, in the tangent plane."""
    ahead = np.array([np.cos(turn_rad), np.sin(turn_rad), 0.0])
    ahead[2] = -(normal[0] * ahead[0] + normal[1] * ahead[1]) / normal[2]
    ahead /= np.linalg.norm(ahead)
    return ahead, np.cross(normal, ahead)


def back_on_grid(on: Wood, lines: Lines, values: np.ndarray) -> np.ndarray:
    """(ny, nx) sheet of values (r, n) known at the lines; NaN outside."""
    x, y = on.grid.mesh_mm()
    along, left = _ways(lines.turn_rad)
    from_first = np.stack([x, y], axis=-1) - lines.points_mm[0, 0, :2]
    places = np.stack([from_first @ left / lines.apart_mm, from_first @ along / lines.step_mm])
    return _sample(values, places)


def _ways(turn_rad: float) -> tuple[np.ndarray, np.ndarray]:
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    return np.array([c, s]), np.array([-s, c])


def _lines(on: Wood, origin, ticks, turn_rad: float, steps: tuple[float, float]) -> Lines:
    along, left = _ways(turn_rad)
    s, c = ticks
    plan = origin + s[None, :, None] * along + c[:, None, None] * left
    places = np.stack(on.grid.index(plan[..., 0], plan[..., 1]))
    height = _sample(on.height_mm, places)
    draws = np.stack([_sample(d, places) for d in on.draws_mm])
    seen = _sample(on.seen.astype(float), places) > 0.5
    return Lines(
        points_mm=np.concatenate([plan, height[..., None]], axis=-1), draws_mm=draws,
        seen=seen & np.isfinite(height), step_mm=steps[0], apart_mm=steps[1], turn_rad=turn_rad, base=on.base,
    )  # fmt: skip


def _sample(sheet: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Between cells by straight lines; NaN outside and where a neighbour that counts is NaN."""
    shape = np.array(sheet.shape).reshape(2, *[1] * (places.ndim - 1)) - 1
    inside = ((places > -0.5) & (places < shape + 0.5)).all(axis=0)
    held = np.clip(places, 0, shape)
    near = np.round(held)
    held = np.where(np.abs(held - near) < 1e-6, near, held)
    known = np.isfinite(sheet)
    value = map_coordinates(np.where(known, sheet, 0.0), held, order=1, mode="nearest")
    weight = map_coordinates(known.astype(float), held, order=1, mode="nearest")
    return np.where(inside & (weight > 1 - 1e-6), value, np.nan)
