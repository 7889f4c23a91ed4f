"""Level: AFTER's heights on BEFORE's sheet, levelled on the wood that stayed, and the draws with them.

Heights are above each map's own fair surface, and planing a hump moves that surface a little. So the
quadratic that most of the wood has in common is taken off the difference, robustly: planed wood stands
off from it and hardly pulls. The same fit is taken off every draw, which leaves in sigma only what the
levelling can not know.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from lightcheck.change.product import Registration
from lightcheck.grid import Grid
from lightcheck.stored import StoredMap

WIDE_MM, KNEE_MM, ROUNDS = 0.3, 0.03, 14  # as in fair: from a wide start to a narrow end
ELSEWHERE = 0.3  # weight of wood whose grain was not found again, against 1
NEAR_MM = 24.0  # of the middle of an agreeing square
MOST_STAYED = 12  # squares from which it counts where they lie
FLOOR_MM = 0.007  # of a change: sqrt(2) times that of a height


@dataclass(frozen=True, slots=True, kw_only=True)
class Levelled:
    """Sheets on BEFORE's grid, NaN where either map has nothing.

    after_mm, change_mm, sigma_mm: (ny, nx).  level_mm: (ny, nx) what was added to AFTER's heights.
    """

    after_mm: np.ndarray
    change_mm: np.ndarray
    sigma_mm: np.ndarray
    level_mm: np.ndarray


def levelled(before: StoredMap, after: StoredMap, lie: Registration) -> Levelled:
    """AFTER laid on BEFORE and levelled."""
    laid = on_sheet(after.height_mm, after.grid, before.grid, lie)
    rough = laid - before.height_mm
    known = np.isfinite(rough)
    terms = _quadratic(before.grid)
    if not known.any():
        nothing = np.full(rough.shape, np.nan)
        return Levelled(after_mm=laid, change_mm=rough, sigma_mm=nothing, level_mm=np.zeros(rough.shape))
    weight = _robust(terms[known], rough[known], _stayed(before.grid, lie)[known])
    draws = _draw_changes(before, after, lie)
    fits = _fit(terms[known], np.stack([rough[known], *(d[known] for d in draws)], axis=1), weight)
    level = -(terms @ fits[:, 0])
    change = rough + level
    spread = np.zeros(rough.shape)
    for draw, fit in zip(draws, fits[:, 1:].T, strict=True):
        spread += (draw - terms @ fit - change) ** 2
    slope = _slope(laid, before.grid.cell_mm)
    variance = spread / max(len(draws), 1) + (slope * lie.sigma_mm) ** 2 / 2
    sigma = np.where(known, np.maximum(np.sqrt(variance), FLOOR_MM), np.nan)
    return Levelled(after_mm=laid + level, change_mm=change, sigma_mm=sigma, level_mm=level)


def _slope(sheet: np.ndarray, cell_mm: float) -> np.ndarray:
    """(ny, nx) steepness, over the cells that are there: 0 where no two neighbours are."""
    steep = np.zeros(sheet.shape)
    for axis in (0, 1):
        rise = np.abs(np.diff(sheet, axis=axis)) / cell_mm
        ends = [(1, 1) if a == axis else (0, 0) for a in (0, 1)]
        sides = np.pad(rise, ends, constant_values=np.nan)
        near = [np.nan_to_num(np.delete(sides, end, axis=axis)) for end in (-1, 0)]
        steep += np.maximum(*near) ** 2
    return np.sqrt(steep)


def on_sheet(sheet: np.ndarray, own: Grid, onto: Grid, lie: Registration) -> np.ndarray:
    """A sheet of AFTER on BEFORE's grid, NaN where it has nothing."""
    return _remap(sheet, *_index(own, onto, lie))


def _index(own: Grid, onto: Grid, lie: Registration) -> tuple[np.ndarray, np.ndarray]:
    rows, columns = own.index(*lie.to_after_mm(*onto.mesh_mm()))
    # what lies on the very rim but for rounding is not lost
    for where, count in ((rows, own.ny), (columns, own.nx)):
        np.copyto(where, np.clip(where, 0, count - 1), where=np.abs(where - (count - 1) / 2) < count / 2)
    return rows.astype(np.float32), columns.astype(np.float32)


def _remap(sheet: np.ndarray, rows: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """Bilinear between cells that are seen; by the nearest cell beside unseen ones."""
    source = np.asarray(sheet, np.float32)
    edge = {"borderMode": cv2.BORDER_CONSTANT, "borderValue": np.nan}
    near = cv2.remap(source, columns, rows, cv2.INTER_NEAREST, **edge)
    smooth = cv2.remap(source, columns, rows, cv2.INTER_LINEAR, **edge)
    return np.where(np.isfinite(smooth), smooth, near).astype(float)


def _draw_changes(before: StoredMap, after: StoredMap, lie: Registration) -> list[np.ndarray]:
    """Change of each pair of draws. The two passes share no errors, so any pairing will do."""
    at = _index(after.grid, before.grid, lie)
    return [
        _remap(new, *at) - old.astype(float)
        for old, new in zip(before.draws_mm, after.draws_mm, strict=False)
    ]


def _quadratic(grid: Grid) -> np.ndarray:
    """(ny, nx, 6) terms of a quadratic surface, each about as large as 1."""
    x, y = grid.mesh_mm()
    x = (x - x.mean()) / max(np.abs(x - x.mean()).max(), 1e-9)
    y = (y - y.mean()) / max(np.abs(y - y.mean()).max(), 1e-9)
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def _stayed(grid: Grid, lie: Registration) -> np.ndarray:
    """(ny, nx) weight before the heights have their say: 1 where the grain was found again."""
    if len(lie.at_mm) < MOST_STAYED:
        return np.ones(grid.shape)
    mask = np.full(grid.shape, ELSEWHERE)
    rows, columns = grid.index(lie.at_mm[:, 0], lie.at_mm[:, 1])
    half = round(NEAR_MM / grid.cell_mm)
    for row, column in zip(np.round(rows).astype(int), np.round(columns).astype(int), strict=True):
        mask[max(row - half, 0) : row + half + 1, max(column - half, 0) : column + half + 1] = 1.0
    return mask


def _robust(terms: np.ndarray, known: np.ndarray, first: np.ndarray) -> np.ndarray:
    """(n,) weights under which what changed does not pull."""
    weight = first
    for step in range(ROUNDS):
        off = known - terms @ _fit(terms, known[:, None], weight)[:, 0]
        width = max(KNEE_MM, WIDE_MM * 0.75**step)
        weight = first / (1 + (off / width) ** 2) ** 2
    return weight


def _fit(terms: np.ndarray, known: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """(6, k) weighted least squares, for (n, k) known; NaN in a draw counts as no change."""
    known = np.nan_to_num(known)
    pulled = terms * weight[:, None]
    return np.linalg.solve(pulled.T @ terms + 1e-6 * np.eye(terms.shape[1]), pulled.T @ known)
