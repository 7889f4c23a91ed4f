"""Grain: which way to plane each part of a spot, and where that turns."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from lightcheck.marks import Mark
from lightcheck.pattern.plane import distance
from lightcheck.stored import StoredMap

MARKED, SEEN, UNKNOWN = "as marked", "try which way is clean", "not known"
REVERSES_RAD = math.radians(90)
CLEAR_GRAIN = 0.25  # of 1, how much one direction must stand out in the picture of the wood
AROUND_MM = 40.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A part of a spot that is planed one way. cells: (n, 2) places in it.  turn_rad: of the stroke."""

    cells_mm: np.ndarray
    turn_rad: float
    known: str


def ways(stored: StoredMap, cells_mm: np.ndarray, arrows: tuple[Mark, ...]) -> tuple[Way, ...]:
    """The spot in parts of one way each, the largest first; one part where nothing turns.

    cells_mm: (n, 2) places in the spot.  The nearest arrow tells; without arrows the picture of the wood
    tells the line of the grain, but never which way along it is clean.
    """
    if not arrows:
        turn = seen_turn(stored, cells_mm.mean(axis=0))
        known = UNKNOWN if turn is None else SEEN
        return (Way(cells_mm=cells_mm, turn_rad=0.0 if turn is None else turn, known=known),)
    turns = np.array([math.atan2(*(m.at_mm[-1] - m.at_mm[0])[::-1]) for m in arrows])
    away = np.stack([distance(cells_mm, m.at_mm) for m in arrows])
    near = turns[away.argmin(axis=0)]
    start = near[0] if len(near) == 1 else turns[np.bincount(away.argmin(axis=0)).argmax()]
    against = np.cos(near - start) < math.cos(REVERSES_RAD) - 1e-9
    parts = [(cells_mm[m], near[m]) for m in (~against, against) if m.any()]
    parts.sort(key=lambda p: -len(p[0]))
    return tuple(Way(cells_mm=c, turn_rad=_mean(t), known=MARKED) for c, t in parts)


def _mean(turns: np.ndarray) -> float:
    return float(math.atan2(np.sin(turns).mean(), np.cos(turns).mean()))


def seen_turn(stored: StoredMap, at_mm: np.ndarray) -> float | None:
    """Line of the grain in the picture of the wood round a place, within a quarter turn of +x.

    None where none stands out.
    """
    grid = stored.wood_grid
    row, column = (round(float(i)) for i in grid.index(*at_mm))
    reach = max(4, round(AROUND_MM / grid.cell_mm))
    part = stored.wood[max(row - reach, 0) : row + reach + 1, max(column - reach, 0) : column + reach + 1]
    if part.size == 0 or min(part.shape) < 8 or not (part > 0).any():
        return None
    seen = ndimage.binary_erosion(part > 0, iterations=3)
    light = part.astype(float)
    gx, gy = (ndimage.gaussian_filter(light, 1.0, order=o) for o in ((0, 1), (1, 0)))
    xx, yy, xy = (float((a * b)[seen].sum()) for a, b in ((gx, gx), (gy, gy), (gx, gy)))
    if xx + yy < 1e-9:
        return None
    stands_out = math.hypot(xx - yy, 2 * xy) / (xx + yy)
    if stands_out < CLEAR_GRAIN:
        return None
    steepest = 0.5 * math.atan2(2 * xy, xx - yy)
    return (steepest + math.pi) % math.pi - math.pi / 2
