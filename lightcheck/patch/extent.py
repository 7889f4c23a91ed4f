"""Extent: the sheet that the cards span, how fine it is, and what of it is open wood."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from lightcheck import card as cards
from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid
from lightcheck.patch.bundle import Settled, card_frames

CELL_RANGE_MM = (2.0, 8.0)
CARD_RIM_MM = 3.0  # paper edge and its shadow


@dataclass(frozen=True, slots=True, kw_only=True)
class Extent:
    """Where photos are laid.

    times: fine cells along one cell of the grid.  inside, wood: (ny, nx) bool, the hull, and the same less
    what lies under a card.
    """

    grid: Grid
    times: int
    inside: np.ndarray
    wood: np.ndarray

    @property
    def fine(self) -> Grid:
        """The sheet of fine cells."""
        return self.grid.finer(self.times)

    @property
    def fine_wood(self) -> np.ndarray:
        """(fy, fx) bool, the wood in fine cells."""
        size = self.grid.nx * self.times, self.grid.ny * self.times
        return cv2.resize(self.wood.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0


def over_cards(settled: Settled, stretch: tuple, *, most_cells: int) -> Extent:
    """The sheet over the hull of the cards. stretch: true over nominal size of the print.

    most_cells: about so many at most, as long as they are not wider than cells may be.
    """
    outlines = _outlines(settled, stretch)
    hull = cv2.convexHull(np.concatenate(outlines).astype(np.float32)).reshape(-1, 2)
    grid, times = _grid(hull, _pixel_mm(settled), most_cells)
    inside = _filled(grid, [hull])
    wood = inside & ~_filled(grid, [_grown(o) for o in outlines])
    return Extent(grid=grid, times=times, inside=inside, wood=wood)


def over_all(corners: np.ndarray, pixel_mm: float, *, most_cells: int) -> Extent:
    """The sheet over a whole photo without cards. corners: (4, 2) in mm."""
    grid, times = _grid(corners, pixel_mm, most_cells)
    whole = np.ones(grid.shape, bool)
    return Extent(grid=grid, times=times, inside=whole, wood=whole)


def _outlines(settled: Settled, stretch: tuple) -> list[np.ndarray]:
    """(4, 2) corners of each card's paper as seen from above. [mm]"""
    e1, e2, _ = card_frames(settled.base, settled.places)
    outlines = []
    for i, number in enumerate(settled.cards):
        half = np.array(cards.size(number).outline_mm) * stretch / 2
        signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
        outlines.append(settled.places[i, :2] + signs[:, :1] * e1[i, :2] + signs[:, 1:] * e2[i, :2])
    return outlines


def _grown(outline: np.ndarray) -> np.ndarray:
    """An outline with the card's rim added."""
    out = outline - outline.mean(axis=0)
    return outline + out / np.linalg.norm(out, axis=1, keepdims=True) * CARD_RIM_MM * np.sqrt(2)


def _pixel_mm(settled: Settled) -> float:
    """Size of a pixel on the wood in the coarsest shot. [mm]"""
    step = [np.diff(v.project_px(settled.base.points_mm([0, 1], [0, 0])), axis=0) for v in settled.views]
    return 1.0 / min(float(np.linalg.norm(s)) for s in step)


def _grid(corners: np.ndarray, pixel_mm: float, most_cells: int) -> tuple[Grid, int]:
    """A grid over the corners, and how many fine cells go along one cell."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    size = high - low
    cell = np.clip(np.sqrt(size.prod() / most_cells), *CELL_RANGE_MM)
    cell = np.ceil(cell * 2) / 2
    if size.prod() / cell**2 > 4 * most_cells:
        raise LightcheckError(
            f"The patch is {size[0] / 1000:.1f} x {size[1] / 1000:.1f} m: too large for one map.",
            "Map it in stretches of about a metre, each with its own cards.",
        )
    times = int(np.clip(round(cell / pixel_mm), 3, 8))
    return Grid.over((low[0], high[0]), (low[1], high[1]), cell_mm=float(cell)), times


def _filled(grid: Grid, polygons: list[np.ndarray]) -> np.ndarray:
    """(ny, nx) bool: cells whose centres lie in any of the polygons."""
    mask = np.zeros(grid.shape, np.uint8)
    for polygon in polygons:
        rows, columns = grid.index(polygon[:, 0], polygon[:, 1])
        points = np.round(np.stack([columns, rows], axis=1) * 16).astype(np.int32)
        cv2.fillPoly(mask, [points], 1, shift=4)
    return mask > 0
