"""Straightedge: rests on the two highest places under it, moved along a line or over the whole map.

The rule (public summary of a paving specification, see notes on straightedges): it rests on the two
highest spots under it, and the gap is the greatest between them; it is moved along by half its length.
Here it is moved by single steps, so that no gap is stepped over. It stays on wood that was seen as long
as the wood is as long as the straightedge, and hangs over both ends of shorter wood.
"""

from __future__ import annotations

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.lay import wood as _wood
from lightcheck.lay.bridge import gaps
from lightcheck.lay.product import Laid, Over, Stretch, one_spread, over, spread, unseen
from lightcheck.lay.wood import Lines, Wood

_FINEST_MM = 2.0  # steps along the straightedge are not finer
_APART_MM = 8.0  # between the lines of a whole map
_POSITIONS, _MOVE_MM = 24, 6.0  # tried along its own length on a whole map: so many, not nearer
_MAP_DRAWS = 16
_ROCKS = (
    "The wood is highest under the middle of the straightedge: it rocks on one place, no gap between two."
)


def straightedge(on: Wood, start_mm, end_mm, *, length_mm: float) -> Laid:
    """A straightedge on the line from start to end, lying where the daylight under it is widest.

    Refuses a length under 20 mm, and a line along which nothing was measured.
    """
    half, step = _steps(on, np.add(start_mm, end_mm) / 2, _turn(start_mm, end_mm), length_mm)
    lines = _wood.padded(_wood.beside(on, start_mm, end_mm, step_mm=step, offsets_mm=[0.0]), 2 * half + 1)
    z = np.concatenate([lines.points_mm[None, :, :, 2], lines.draws_mm])[:, 0]
    found = [_at(lines, z, i, half) for i in range(half, z.shape[1] - half)]
    worst = np.array([np.fmax.reduce(g, axis=1, initial=0.0) for g, *_ in found])  # (positions, 1 + k)
    where = int(worst[:, 0].argmax())
    return _told(
        lines, found[where], half, (float(worst[where, 0]), one_spread(worst.max(axis=0))), length_mm
    )


def _told(lines: Lines, lying, half: int, worst: tuple[float, float], length_mm: float) -> Laid:
    """The straightedge as it lies where the daylight is widest."""
    daylight, left, right, middle = lying
    along, up = _wood.in_frame(lines, lines.points_mm[None, :, :, 2], middle=middle, columns=slice(None))
    at, wood_mm, seen = along - along[int(lines.seen[0].argmax())], up[0, 0], lines.seen[0]
    reach = slice(middle - half, middle + half + 1)
    gap, tool, sigma = (np.full(len(at), np.nan) for _ in range(3))
    gap[reach], sigma[reach] = daylight[0], spread(daylight)
    p, q = int(left[0]) + middle - half, int(right[0]) + middle - half
    lies = left[0] >= 0
    if lies:
        slope = (wood_mm[q] - wood_mm[p]) / max(along[q] - along[p], 1e-9) if q > p else 0.0
        tool[reach] = wood_mm[p] + slope * (along[reach] - along[p])
    return Laid(
        tool=f"straightedge, {length_mm:g} mm",
        along_mm=frozen(at),
        place_mm=frozen(lines.points_mm[0, :, :2]),
        wood_mm=frozen(np.where(seen, wood_mm, np.nan)),
        tool_mm=frozen(tool),
        daylight_mm=frozen(np.where(seen, tool - wood_mm, np.nan)),
        sigma_mm=frozen(sigma),
        least_mm=frozen(np.full(len(at), np.nan)),
        worst_mm=worst[0],
        worst_sigma_mm=worst[1],
        worst_along_mm=float(at[int(np.nanargmax(gap)) if np.isfinite(gap).any() else middle]),
        touching=tuple(_touching(at, p, q)) if lies else (),
        doubtful=unseen(at, seen, np.arange(len(at))[reach]),
        notes=(_ROCKS,) if lies and p == q else (),
    )


def straightedge_over(on: Wood, *, length_mm: float, turn_rad: float = 0.0) -> Over:
    """The widest daylight that a straightedge lying at turn_rad shows at each place of the map."""
    middle = (float(on.grid.x_mm.mean()), float(on.grid.y_mm.mean()))
    half, step = _steps(on, middle, turn_rad, length_mm)
    apart = max(_APART_MM, on.grid.cell_mm)
    lines = _wood.across_map(on, turn_rad=turn_rad, step_mm=step, apart_mm=apart, least_mm=2 * half * step)
    z = np.concatenate([lines.points_mm[None, :, :, 2], lines.draws_mm[:_MAP_DRAWS]])
    worst = np.full(z.shape, np.nan)
    every = max(1, 2 * half // _POSITIONS, int(_MOVE_MM / step))
    for i in {*range(half, z.shape[2] - half, every), z.shape[2] - half - 1}:
        for row in range(z.shape[1]):
            whole = np.isfinite(z[0, row, i - half : i + half + 1]).sum() > half
            if whole:
                one = lines.part(row, row)
                daylight, *_ = _at(one, z[:, row], i, half)
                part = worst[:, row, i - half : i + half + 1]
                np.fmax(part, np.nan_to_num(daylight), out=part)  # 0 where it only hangs over
    worst[:, ~lines.seen] = np.nan
    value = _wood.back_on_grid(on, lines, worst[0])
    sigma = _wood.back_on_grid(on, lines, np.nan_to_num(worst[1:]).std(axis=0))
    return over(
        on,
        value=value,
        sigma=sigma,
        draws=np.nan_to_num(worst[1:]).max(axis=(1, 2)),
        tool=f"straightedge, {length_mm:g} mm",
        what="widest daylight",
        turn_rad=turn_rad,
    )


def _at(lines: Lines, z: np.ndarray, middle: int, half: int):
    """Daylight (1 + k, 2 half + 1) of a straightedge centred on a column, its two places, the column."""
    columns = slice(middle - half, middle + half + 1)
    along, up = _wood.in_frame(lines, z[:, None], middle=middle, columns=columns)
    daylight, left, right = gaps(up[:, 0])
    rows = np.arange(len(up))
    rise = up[rows, 0, right] - up[rows, 0, left]
    tilt = np.nan_to_num(rise) / np.maximum(along[right] - along[left], 1e-9)
    return daylight / np.hypot(1, tilt)[:, None], left, right, middle


def _steps(on: Wood, place_mm, turn_rad: float, length_mm: float) -> tuple[int, float]:
    """Steps in half a straightedge, and how long one is in plan."""
    if length_mm < 20:
        raise LightcheckError(
            f"A straightedge of {length_mm:g} mm is too short.", "Give one of 20 mm or more, such as 600mm."
        )
    half = int(np.ceil(length_mm / 2 / max(_FINEST_MM, on.grid.cell_mm / 2) - 1e-9))
    return half, length_mm / 2 / half * _wood.plan_share(on.base, place_mm, turn_rad)


def _turn(start_mm, end_mm) -> float:
    return float(np.arctan2(end_mm[1] - start_mm[1], end_mm[0] - start_mm[0]))


def _touching(at: np.ndarray, p: int, q: int):
    for i in sorted({p, q}):
        yield Stretch(from_mm=float(at[i]), to_mm=float(at[i]), what="rests here")
