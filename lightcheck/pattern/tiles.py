"""Tiles: how a pattern is shared out over sheets of paper.

    +-------------------+        a window is what one sheet shows; neighbouring windows share a band
    |   :           :   |        of 2 x LAP, and the joint runs down its middle (:)
    |...:...........:...|
    |   :  own part :   |        marks stand on the joints, whole on both sheets
    +-------------------+

The grid is shifted so that no joint runs through a card, where that can be, and few sheets are used.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.card.print import EDGE_MM, PAPERS_MM
from lightcheck.errors import LightcheckError
from lightcheck.pattern.plane import along, closed, inside
from lightcheck.pattern.product import Pattern

LAP_MM = 6.0
LEFT_MM, FOOT_MM = 10.0, 17.0  # for the rulers and words of a sheet
_CLEAR_MM = 5.0  # of a card from a joint and its marks
_SHIFT_MM = 6.0  # between one try of the grid and the next
_DOT_MM = 6.0  # of the points that stand for the sheet when tiles are counted


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """One sheet of paper: its number from 1, and its column and row in the grid, from the lower left."""

    number: int
    column: int
    row: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Tiles:
    """The grid. paper_mm: (wide, high).  pitch_mm: of the joints.  origin_mm: lower left joint of 0, 0.

    whole: numbers of the cards that no joint cuts.
    """

    paper: str
    paper_mm: tuple[float, float]
    pitch_mm: tuple[float, float]
    origin_mm: tuple[float, float]
    tiles: tuple[Tile, ...]
    whole: tuple[int, ...]

    def corner_mm(self, tile: Tile) -> np.ndarray:
        """(2,) lower left corner of a tile's own part. [mm]"""
        return np.array(self.origin_mm) + np.array([tile.column, tile.row]) * self.pitch_mm

    def at(self, column: int, row: int) -> Tile | None:
        """The tile there, None where the grid has none."""
        return next((t for t in self.tiles if (t.column, t.row) == (column, row)), None)


def share_out(pattern: Pattern, paper: str) -> Tiles:
    """The best of all shifts of the grid, upright and lying. paper: "a4" or "letter"."""
    if paper not in PAPERS_MM:
        raise LightcheckError(f"'{paper}' is not a paper known here.", "Use a4 or letter.")
    dots = _dots(pattern.sheet_mm)
    best = None
    for paper_mm in (PAPERS_MM[paper], PAPERS_MM[paper][::-1]):
        pitch = np.array(paper_mm) - 2 * EDGE_MM - (LEFT_MM, FOOT_MM) - 2 * LAP_MM
        low = dots.min(axis=0) - 1
        for shift_x in np.arange(0, pitch[0], _SHIFT_MM):
            for shift_y in np.arange(0, pitch[1], _SHIFT_MM):
                origin = low - (shift_x, shift_y)
                column, row = np.floor((dots - origin) / pitch).astype(int).T
                cells = np.unique(column * 1000 + row)
                whole = _whole(pattern, origin, pitch)
                score = (len(whole), -len(cells), -shift_x - shift_y)
                if best is None or score > best[0]:
                    best = score, paper_mm, pitch, origin, cells, whole
    _, paper_mm, pitch, origin, cells, whole = best
    order = sorted(
        (divmod(int(c), 1000) for c in cells), key=lambda c: (-c[1], c[0])
    )  # as one reads: from the top left
    return Tiles(
        paper=paper,
        paper_mm=tuple(paper_mm),
        pitch_mm=tuple(pitch.tolist()),
        origin_mm=tuple(origin.tolist()),
        tiles=tuple(Tile(number=i, column=c, row=r) for i, (c, r) in enumerate(order, start=1)),
        whole=whole,
    )


def _dots(sheet: np.ndarray) -> np.ndarray:
    """Points all over the sheet and along its outline."""
    low, high = sheet.min(axis=0), sheet.max(axis=0)
    x, y = np.meshgrid(np.arange(low[0], high[0], _DOT_MM), np.arange(low[1], high[1], _DOT_MM))
    grid = np.column_stack([x.ravel(), y.ravel()])
    ring = closed(sheet)
    way = along(ring)
    at = np.arange(0, way[-1], _DOT_MM)
    rim = np.column_stack([np.interp(at, way, ring[:, 0]), np.interp(at, way, ring[:, 1])])
    return np.concatenate([grid[inside(grid, sheet)], rim])


def _whole(pattern: Pattern, origin: np.ndarray, pitch: np.ndarray) -> tuple[int, ...]:
    """Cards that no joint or mark touches."""
    whole = []
    for spot in pattern.cards:
        middle = np.floor((np.array([spot.x_mm, spot.y_mm]) - origin) / pitch)
        corner = origin + middle * pitch
        low, high = corner + _CLEAR_MM, corner + pitch - _CLEAR_MM
        inner = (spot.outline_mm >= low) & (spot.outline_mm <= high)
        if inner.all():
            whole.append(spot.card)
    return tuple(whole)
