"""Worst: the widest gap under a straightedge anywhere on a sheet, for many sheets at once and fast.

Looked for on every third line and in long steps first; the best few places of each sheet are then laid
again on every line near them, step by step. Heights may be those above the fair surface, so that the
shape of the boat is no gap.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array

from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid
from lightcheck.lay.bridge import widest

_POINTS, _POINTS_MM = 24, 8.0  # under a straightedge at the first look: at least so many, so near
_MOVES = 8  # along its own length, at the first look
_LINES_MM = 8.0  # between lines, at the first look
_BEST = 12  # places of each sheet that are looked at again
_HALF_POINTS = 80  # most of half a straightedge, at the second look


def worst_gap(grid: Grid, sheets: np.ndarray, *, length_mm: float, turn_rad: float = 0.0) -> np.ndarray:
    """(n,) widest daylight between the two resting places of a straightedge, on sheets (n, ny, nx). [mm]

    The straightedge lies at turn_rad (counter-clockwise from +x) wherever it finds whole room on the
    sheet; where the sheet is shorter it hangs over both ends. NaN is no wood: nothing rests on it and no
    gap is told there. 0 for a sheet without a gap. Refuses a length under 4 cells.
    """
    sheets = np.asarray(sheets, np.float32)
    if sheets.ndim != 3 or sheets.shape[1:] != grid.shape:
        raise ValueError("sheets must be (n, ny, nx) on the grid")
    if length_mm < 4 * grid.cell_mm:
        raise LightcheckError(
            f"A straightedge of {length_mm:g} mm is too short for cells of {grid.cell_mm:g} mm.",
            f"Give a span of {4 * grid.cell_mm:g} mm or more.",
        )
    half = int(min(_HALF_POINTS, np.ceil(length_mm / 2 / grid.cell_mm)))
    heights = _lines(grid, sheets, length_mm, half, turn_rad)  # (n, lines, points)
    thin = max(1, min(2 * half // _POINTS, int(_POINTS_MM / (length_mm / 2 / half))))
    apart = max(1, round(_LINES_MM / grid.cell_mm))
    rough, starts, rows = _first_look(heights, half, thin, apart)
    return _again(heights, half, rough, starts, rows)


def _first_look(heights: np.ndarray, half: int, thin: int, apart: int):
    """Gaps (n, lines, starts) on a few lines and moves, with few points."""
    n, lines, points = heights.shape
    last = points - 2 * half - 1
    starts = np.unique(np.r_[0 : last + 1 : max(1, 2 * half // _MOVES), last])
    rows = np.unique(np.r_[0:lines:apart, lines - 1])
    reach = half // thin * thin
    under = np.arange(half - reach, half + reach + 1, thin)
    z = heights[:, rows][:, :, starts[:, None] + under]
    found = widest(z.reshape(-1, len(under))).reshape(n, len(rows), len(starts))
    return found, starts, rows


def _again(heights: np.ndarray, half: int, rough: np.ndarray, starts, rows) -> np.ndarray:
    """The best places of each sheet once more, moved by single steps on single lines, twice over."""
    n, lines, points = heights.shape
    keep = min(_BEST, rough[0].size)
    best = np.argpartition(-rough.reshape(n, -1), keep - 1, axis=1)[:, :keep]
    row, start = rows[best // len(starts)], starts[best % len(starts)]
    sheet = np.repeat(np.arange(n), keep)
    row, start = row.ravel(), start.ravel()
    value = rough.reshape(n, -1)[np.arange(n)[:, None], best].ravel()
    move, across = max(1, 2 * half // _MOVES), max(1, int(np.diff(rows).max()) if len(rows) > 1 else 1)
    while move > 1 or across > 1:
        move, across = max(1, -(-move // 2)), max(1, -(-across // 2))
        tries = [(dr, ds) for dr in (-across, 0, across) for ds in (-move, 0, move)]
        new_row = np.clip(row[:, None] + [dr for dr, _ in tries], 0, lines - 1)
        new_start = np.clip(start[:, None] + [ds for _, ds in tries], 0, points - 2 * half - 1)
        under = np.arange(2 * half + 1)
        z = heights[sheet[:, None, None], new_row[..., None], new_start[..., None] + under]
        found = widest(z.reshape(-1, len(under))).reshape(len(sheet), len(tries))
        pick = found.argmax(axis=1)
        at = np.arange(len(sheet))
        row, start, value = new_row[at, pick], new_start[at, pick], found[at, pick]
        if move == 1 and across == 1:
            break
    return value.reshape(n, keep).max(axis=1).astype(float)


def _lines(grid: Grid, sheets: np.ndarray, length_mm: float, half: int, turn_rad: float) -> np.ndarray:
    """Heights (n, lines, points) along parallel lines, NaN off the wood; half: steps to half a length."""
    step = length_mm / 2 / half
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    wide, tall = np.ptp(grid.x_mm), np.ptp(grid.y_mm)
    count = max(int((abs(c) * wide + abs(s) * tall) / step + 1e-6), 2 * half)
    rows = int((abs(s) * wide + abs(c) * tall) / grid.cell_mm + 1e-6)
    along, left = (np.arange(m + 1) - m / 2 for m in (count, rows))
    along, left = along * step, left[:, None] * grid.cell_mm
    x, y = (grid.x_mm.mean() + c * along - s * left), (grid.y_mm.mean() + s * along + c * left)
    weights, outside = _weights(grid, x, y)
    flat = sheets.reshape(len(sheets), -1).T
    blind = np.isnan(flat)
    values = weights @ np.where(blind, np.float32(0), flat)
    if blind.any():
        values[weights @ blind.astype(np.float32) > 1e-4] = np.nan
    values[outside] = np.nan
    return np.ascontiguousarray(values.T).reshape(len(sheets), rows + 1, count + 1)


def _weights(grid: Grid, x: np.ndarray, y: np.ndarray) -> tuple[csr_array, np.ndarray]:
    """Straight lines between cells as one sparse matrix, and which points are off the sheet."""
    row, column = (v.ravel() for v in grid.index(x, y))
    outside = (row < -1e-6) | (row > grid.ny - 1 + 1e-6) | (column < -1e-6) | (column > grid.nx - 1 + 1e-6)
    row, column = np.clip(row, 0, grid.ny - 1), np.clip(column, 0, grid.nx - 1)
    r0 = np.minimum(row.astype(int), max(grid.ny - 2, 0))
    c0 = np.minimum(column.astype(int), max(grid.nx - 2, 0))
    fr, fc = row - r0, column - c0
    index = r0 * grid.nx + c0
    near = np.stack([index, index + 1, index + grid.nx, index + grid.nx + 1], axis=1)
    share = np.stack([(1 - fr) * (1 - fc), (1 - fr) * fc, fr * (1 - fc), fr * fc], axis=1)
    share[share < 1e-6] = 0.0
    near = np.minimum(near, grid.nx * grid.ny - 1)
    ends = np.arange(0, near.size + 1, 4)
    found = csr_array(
        (share.astype(np.float32).ravel(), near.ravel(), ends), shape=(len(row), grid.nx * grid.ny)
    )
    return found, outside
