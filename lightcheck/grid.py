"""The millimetre sheet that everything is laid on.

row 0 is the lowest y          y_mm
column 0 is the lowest x        ^   row ny-1  o  o  o  o
a cell's number is its centre   |   row 0     o  o  o  o
                                +---------------------> x_mm
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


def frozen(array, dtype=float) -> np.ndarray:
    """A read-only copy, so that a product cannot be changed behind its owner's back."""
    copy = np.array(array, dtype=dtype)
    copy.setflags(write=False)
    return copy


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A regular sheet of square cells; (x0_mm, y0_mm) is the centre of the cell at row 0, column 0."""

    x0_mm: float
    y0_mm: float
    cell_mm: float
    nx: int
    ny: int

    @classmethod
    def over(cls, x_range_mm: tuple[float, float], y_range_mm: tuple[float, float], *, cell_mm: float):
        """The smallest sheet that covers both ranges, its centres on whole multiples of the cell."""
        (x0, x1), (y0, y1) = (
            (int(np.floor(low / cell_mm)), int(np.ceil(high / cell_mm)))
            for low, high in (x_range_mm, y_range_mm)
        )
        return cls(x0_mm=x0 * cell_mm, y0_mm=y0 * cell_mm, cell_mm=cell_mm, nx=x1 - x0 + 1, ny=y1 - y0 + 1)

    @property
    def shape(self) -> tuple[int, int]:
        """(ny, nx), the shape of every array on this sheet."""
        return self.ny, self.nx

    @property
    def x_mm(self) -> np.ndarray:
        """(nx,) centres of the columns, increasing. [mm]"""
        return self.x0_mm + self.cell_mm * np.arange(self.nx)

    @property
    def y_mm(self) -> np.ndarray:
        """(ny,) centres of the rows, increasing. [mm]"""
        return self.y0_mm + self.cell_mm * np.arange(self.ny)

    def mesh_mm(self) -> tuple[np.ndarray, np.ndarray]:
        """Two (ny, nx) arrays: x and y of every cell. [mm]"""
        return np.meshgrid(self.x_mm, self.y_mm)

    def index(self, x_mm, y_mm) -> tuple[np.ndarray, np.ndarray]:
        """Fractional (row, column) of places. [cells]"""
        return (
            (np.asarray(y_mm) - self.y0_mm) / self.cell_mm,
            (np.asarray(x_mm) - self.x0_mm) / self.cell_mm,
        )

    def finer(self, times: int) -> Grid:
        """The sheet that splits each cell into times x times cells."""
        cell = self.cell_mm / times
        shift = (self.cell_mm - cell) / 2
        return Grid(
            x0_mm=self.x0_mm - shift,
            y0_mm=self.y0_mm - shift,
            cell_mm=cell,
            nx=self.nx * times,
            ny=self.ny * times,
        )
