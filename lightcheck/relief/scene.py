"""The solve's view of a patch: cells in a row, shots in a row, and what each shot measured.

The solve runs first on cells twice as wide and then, from there, on the patch's own. Weights are per
area, so both mean the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.grid import Grid
from lightcheck.lamp import Lamp
from lightcheck.patch import Patch
from lightcheck.relief.cells import Cells
from lightcheck.relief.hold import Held, Hold, held
from lightcheck.shade import Facing

UNIT_CELL_MM = 8.0  # weights below are for cells of this size


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """n cells inside the hull, s shots.

    facing: of the n cells.  measured: (s, n) log light about its median `level`, NaN where none.
    usable: (s, n) bool.  off_axis: (s, n).  across: (2, n) place over the half size, -1 to 1.
    eyes_mm: each shot's lens, None where nothing tells.  area: cell area over that of a unit cell.
    """

    cells: Cells
    facing: Facing
    measured: np.ndarray
    level: float
    usable: np.ndarray
    off_axis: np.ndarray
    across: np.ndarray
    lamps: tuple[Lamp, ...]
    eyes_mm: tuple[np.ndarray | None, ...]
    holds: tuple[Hold, ...]
    held: Held
    area: float

    @property
    def rakes(self) -> np.ndarray:
        """(s,) bool, shots lit by a lamp rather than by the phone."""
        return np.array([lamp.rakes for lamp in self.lamps])


def lay_scene(patch: Patch, lamps: tuple[Lamp, ...], *, holds=(), times: int = 1, hidden=None) -> Scene:
    """Gather a patch for the solve, on cells `times` as wide; `hidden` (s, ny, nx) is not used."""
    log_light = np.where(patch.wood, patch.log_light, np.nan)
    if hidden is not None:
        log_light = np.where(hidden, np.nan, log_light)
    inside, off_axis, grid = patch.inside, patch.off_axis, patch.grid
    if times > 1:
        grid = coarser(patch.grid, times)
        log_light, off_axis = (_blocks(a, grid, times) for a in (log_light, off_axis))
        inside = _blocks(patch.inside.astype(float), grid, times) > 0.5
    cells = Cells.of(grid, inside)
    whole = Facing.of(patch.base, grid)
    facing = Facing(
        place_mm=whole.place_mm[inside],
        normal=whole.normal[inside],
        dual_x=whole.dual_x[inside],
        dual_y=whole.dual_y[inside],
    )
    measured = log_light[:, inside]
    level = float(np.nanmedian(measured))
    x, y = cells.place_mm
    return Scene(
        cells=cells,
        facing=facing,
        measured=measured - level,
        level=level,
        usable=np.isfinite(measured),
        off_axis=off_axis[:, inside],
        across=np.stack([x / np.abs(x).max(), y / np.abs(y).max()]),
        lamps=lamps,
        eyes_mm=tuple(getattr(view, "eye_mm", None) for view in patch.views) or (None,) * len(lamps),
        holds=tuple(holds),
        held=held(tuple(holds), cells),
        area=(grid.cell_mm / UNIT_CELL_MM) ** 2,
    )


def coarser(grid: Grid, times: int) -> Grid:
    """The sheet of cells `times` as wide."""
    shift = (times - 1) * grid.cell_mm / 2
    return Grid(
        x0_mm=grid.x0_mm + shift,
        y0_mm=grid.y0_mm + shift,
        cell_mm=grid.cell_mm * times,
        nx=grid.nx // times,
        ny=grid.ny // times,
    )


def _blocks(sheet: np.ndarray, grid: Grid, times: int) -> np.ndarray:
    """Means over blocks of cells, NaN where more than half of a block is."""
    cut = sheet[..., : grid.ny * times, : grid.nx * times]
    cut = cut.reshape(*sheet.shape[:-2], grid.ny, times, grid.nx, times)
    known = np.isfinite(cut)
    count = known.sum(axis=(-3, -1))
    total = np.where(known, cut, 0.0).sum(axis=(-3, -1))
    return np.where(count * 2 >= times * times, total / np.maximum(count, 1), np.nan)
