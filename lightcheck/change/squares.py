"""Squares: which squares of wood agree on the place, each looked up by itself.

Wood that stayed finds its own grain where the rest says it is; planed wood finds it anywhere. How many
would agree by accident is counted where the wood is laid wrongly on purpose.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from lightcheck.change.grain import Grain

SIDE_MM, LEAST_SIDE_MM = 32.0, 16.0
LEAST_ACROSS = 7  # squares that should fit across a narrow patch
LEAST_SEEN = 0.6  # of a square and of where it is looked up


@dataclass(frozen=True, slots=True, kw_only=True)
class Squares:
    """at_mm: (n, 2) middles in BEFORE.  offset_mm: (n, 2) where each lies, less where it should; NaN where
    likeness still grows at the end of the reach, so that it lies beyond or nowhere.

    likeness: (n,) of the grain there.
    """

    at_mm: np.ndarray
    offset_mm: np.ndarray
    likeness: np.ndarray


def laid(after: Grain, before: Grain, turn_rad: float, shift_mm) -> tuple[np.ndarray, np.ndarray]:
    """AFTER's detail and seen cells on BEFORE's sheet."""
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    step = before.grid.cell_mm / after.grid.cell_mm
    row, column = after.grid.index(
        c * before.grid.x0_mm - s * before.grid.y0_mm + shift_mm[0],
        s * before.grid.x0_mm + c * before.grid.y0_mm + shift_mm[1],
    )
    affine = np.array([[c * step, -s * step, column], [s * step, c * step, row]])
    size = (before.grid.nx, before.grid.ny)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    detail = cv2.warpAffine(after.detail, affine, size, flags=flags, borderValue=0.0)
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    seen = cv2.warpAffine(after.seen.astype(np.uint8), affine, size, flags=flags, borderValue=0) > 0
    return detail * seen, seen


def look_up(before: Grain, moved: tuple[np.ndarray, np.ndarray], *, reach_mm: float) -> Squares:
    """Look every square of BEFORE up in AFTER's wood as laid, up to reach_mm off."""
    detail, seen = moved
    cell = before.grid.cell_mm
    side_mm = np.clip(min(before.grid.shape) * cell / LEAST_ACROSS, LEAST_SIDE_MM, SIDE_MM)
    side, reach = round(side_mm / cell), int(np.ceil(reach_mm / cell))
    rows, columns = (np.arange(reach, n - side - reach + 1, side) for n in before.grid.shape)
    found = []
    for row, column in ((r, c) for r in rows for c in columns):
        square = (slice(row, row + side), slice(column, column + side))
        about = (slice(row - reach, row + side + reach), slice(column - reach, column + side + reach))
        if min(before.seen[square].mean(), seen[about].mean()) < LEAST_SEEN:
            continue
        alike = cv2.matchTemplate(detail[about], before.detail[square], cv2.TM_CCOEFF_NORMED)
        found.append((row, column, *_peak(alike, reach)))
    table = np.array(found).reshape(-1, 5)
    middle = table[:, 1::-1] + (side - 1) / 2
    return Squares(
        at_mm=middle * cell + (before.grid.x0_mm, before.grid.y0_mm),
        offset_mm=table[:, 2:4] * cell,
        likeness=table[:, 4],
    )


def _peak(alike: np.ndarray, reach: int) -> tuple[float, float, float]:
    """(x, y, height) of the highest point, in cells from the middle, to a fraction of a cell."""
    row, column = np.unravel_index(int(np.argmax(alike)), alike.shape)
    height = float(alike[row, column])
    if row in (0, 2 * reach) or column in (0, 2 * reach):
        return np.nan, np.nan, height
    x, y = _vertex(alike[row], column), _vertex(alike[:, column], row)
    return column - reach + x, row - reach + y, height


def _vertex(line: np.ndarray, at: int) -> float:
    """Of the parabola through the highest point and its two neighbours."""
    if not 0 < at < len(line) - 1:
        return 0.0
    low, mid, high = (float(v) for v in line[at - 1 : at + 2])
    bend = low - 2 * mid + high
    return float(np.clip((low - high) / (2 * bend), -0.5, 0.5)) if bend < 0 else 0.0
