"""Cells in the solve: which they are, and slopes and bends as sparse matrices over them.

Only cells inside the hull of the cards take part. A slope is a central difference where both
neighbours are inside, else one-sided; a bend is a second difference, left out where a neighbour is
missing, so that nothing is assumed beyond the edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from lightcheck.grid import Grid


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """inside: (ny, nx) bool.  place_mm: (n,) x and (n,) y.  by_x, by_y: (n, n) slopes per mm.

    bend_root: (3 n, n) second differences along, across and mixed; bend: (n, n) their square.
    """

    grid: Grid
    inside: np.ndarray
    place_mm: tuple[np.ndarray, np.ndarray]
    by_x: sparse.csr_array
    by_y: sparse.csr_array
    bend: sparse.csc_array
    bend_root: sparse.csr_array

    @classmethod
    def of(cls, grid: Grid, inside: np.ndarray) -> Cells:
        """Number the cells inside and build the matrices."""
        number = np.full(np.array(inside.shape) + 2, -1)
        number[1:-1, 1:-1][inside] = np.arange(inside.sum())
        here = number[1:-1, 1:-1][inside]
        step = {
            (i, j): number[1 + i : number.shape[0] - 1 + i, 1 + j : number.shape[1] - 1 + j][inside]
            for i in (-1, 0, 1)
            for j in (-1, 0, 1)
        }
        size, h = len(here), grid.cell_mm
        second = sparse.vstack(
            [
                _second(here, step[0, -1], step[0, 1], size, h),
                _second(here, step[-1, 0], step[1, 0], size, h),
                np.sqrt(2.0) * _cross(here, step, size, h),
            ]
        ).tocsr()
        return cls(
            grid=grid,
            inside=inside,
            place_mm=tuple(c[inside] for c in grid.mesh_mm()),
            by_x=_slope(here, step[0, -1], step[0, 1], size, h),
            by_y=_slope(here, step[-1, 0], step[1, 0], size, h),
            bend=(second.T @ second).tocsc(),
            bend_root=second,
        )

    @property
    def count(self) -> int:
        """Number of cells in the solve."""
        return self.by_x.shape[0]

    def spread(self, values: np.ndarray, fill: float = np.nan) -> np.ndarray:
        """(..., ny, nx) sheet of (..., n) values."""
        sheet = np.full((*values.shape[:-1], *self.inside.shape), fill)
        sheet[..., self.inside] = values
        return sheet


def _slope(here, before, after, size: int, h: float) -> sparse.csr_array:
    low, high = np.where(before >= 0, before, here), np.where(after >= 0, after, here)
    span = ((before >= 0).astype(float) + (after >= 0)) * h
    weight = np.where(span > 0, 1 / np.maximum(span, h), 0.0)
    rows = np.concatenate([here, here])
    return sparse.csr_array((np.r_[weight, -weight], (rows, np.r_[high, low])), shape=(size, size))


def _second(here, before, after, size: int, h: float) -> sparse.csr_array:
    ok = (before >= 0) & (after >= 0)
    rows = np.tile(here[ok], 3)
    columns = np.r_[before[ok], here[ok], after[ok]]
    values = np.repeat([1.0, -2.0, 1.0], ok.sum()) / h**2
    return sparse.csr_array((values, (rows, columns)), shape=(size, size))


def _cross(here, step, size: int, h: float) -> sparse.csr_array:
    corners = [step[1, 1], step[-1, -1], step[1, -1], step[-1, 1]]
    ok = np.all([c >= 0 for c in corners], axis=0)
    rows = np.tile(here[ok], 4)
    values = np.repeat([1.0, 1.0, -1.0, -1.0], ok.sum()) / (4 * h**2)
    return sparse.csr_array((values, (rows, np.concatenate([c[ok] for c in corners]))), shape=(size, size))
