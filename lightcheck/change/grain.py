"""Grain: the detail of the wood, the same under any lamp, on a sheet fit for matching.

Detail is what is finer than a few millimetres, divided by its own strength round about, so that a pale
plank counts as much as a dark one. Knots, seams and pricks stand out, but only so far: one long seam
must not outvote the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from lightcheck import card
from lightcheck.grid import Grid
from lightcheck.stored import StoredMap

BROAD_MM = 6.0  # broader light and dark is left out: some of it is the lamp's
STRENGTH_MM = 25.0  # over which the strength of the detail is evened out
MOST = 4.0  # of its own strength, that any detail counts for
CARD_RIM_MM = 4.0  # paper edge, its shadow and the blur across it
MOST_CELLS = 400_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Grain:
    """detail: (ny, nx) float32, 0 where there is no wood to see.  seen: (ny, nx) bool."""

    grid: Grid
    detail: np.ndarray
    seen: np.ndarray


def grain(stored: StoredMap, *, cell_mm: float, blur_mm: float) -> Grain:
    """Detail of a map's wood in cells of about cell_mm, blurred by blur_mm."""
    wood, grid = stored.wood, stored.wood_grid
    seen = wood > 0
    for place in stored.cards:
        seen = seen & ~_under(place, grid)
    wood, seen, grid = _coarser(wood, seen, grid, cell_mm)
    sound = seen.astype(np.float32)
    fine = _mean(wood, sound, blur_mm / grid.cell_mm)
    detail = fine - _mean(wood, sound, np.hypot(BROAD_MM, blur_mm) / grid.cell_mm)
    strength = np.sqrt(_mean(detail**2, sound, STRENGTH_MM / grid.cell_mm)) + 1e-6
    detail = np.clip(detail / strength, -MOST, MOST) * sound
    return Grain(grid=grid, detail=detail.astype(np.float32), seen=seen)


def match_cell_mm(stored: StoredMap, least_mm: float) -> float:
    """A cell of at least so much that keeps the sheet small enough."""
    grid = stored.grid
    area = grid.nx * grid.ny * grid.cell_mm**2
    return float(max(least_mm, stored.wood_grid.cell_mm, np.sqrt(area / MOST_CELLS)))


def _under(place, grid: Grid) -> np.ndarray:
    """(ny, nx) bool: cells under a card and its rim."""
    half = np.array(card.size(place.card).outline_mm) / 2 + CARD_RIM_MM
    c, s = np.cos(place.turn_rad), np.sin(place.turn_rad)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half @ np.array([[c, s], [-s, c]])
    rows, columns = grid.index(corners[:, 0] + place.x_mm, corners[:, 1] + place.y_mm)
    mask = np.zeros(grid.shape, np.uint8)
    cv2.fillPoly(mask, [np.round(np.stack([columns, rows], axis=1) * 16).astype(np.int32)], 1, shift=4)
    return mask > 0


def _coarser(wood: np.ndarray, seen: np.ndarray, grid: Grid, cell_mm: float):
    """Means over whole numbers of cells, of what is seen."""
    times = max(1, round(cell_mm / grid.cell_mm))
    ny, nx = grid.ny // times, grid.nx // times
    size = (nx, ny)
    cut = (slice(0, ny * times), slice(0, nx * times))
    sound = seen[cut].astype(np.float32)
    share = cv2.resize(sound, size, interpolation=cv2.INTER_AREA)
    total = cv2.resize(wood[cut].astype(np.float32) * sound, size, interpolation=cv2.INTER_AREA)
    shift = (times - 1) / 2 * grid.cell_mm
    coarse = Grid(
        x0_mm=grid.x0_mm + shift, y0_mm=grid.y0_mm + shift, cell_mm=grid.cell_mm * times, nx=nx, ny=ny
    )
    return total / np.maximum(share, 1e-3), share > 0.6, coarse


def _mean(sheet: np.ndarray, sound: np.ndarray, blur: float) -> np.ndarray:
    """Gaussian mean over what is seen."""
    total = cv2.GaussianBlur(sheet * sound, (0, 0), max(blur, 0.3))
    weight = cv2.GaussianBlur(sound, (0, 0), max(blur, 0.3))
    return total / np.maximum(weight, 1e-3)
