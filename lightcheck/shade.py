"""Shading: how much light a lamp lays on the wood, and how that changes with height and slope.

    N = n - t        normal of the relief, t the slope of z as a vector in the tangent plane
    S = lamp - P - z n
    log light = log(N . S) - log|N| - 3 log|S|          Lambert's cosine and the inverse square

With c = n.s the lamp's height over the tangent plane of a cell, this is to first order
`(-s_t . grad z - z) / c + 3 c z / |s|^2` beside its value for z = 0; the full form is kept, so that
the solve can linearise about the relief that it has found so far.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.grid import Grid, frozen
from lightcheck.patch import Base

_GRAZING = 1e-3  # cosine below which a cell is in its own shadow


@dataclass(frozen=True, slots=True, kw_only=True)
class Facing:
    """The base under each cell: place, normal, and the two vectors that turn dz/dx, dz/dy into t.

    All (ny, nx, 3).
    """

    place_mm: np.ndarray
    normal: np.ndarray
    dual_x: np.ndarray
    dual_y: np.ndarray

    @classmethod
    def of(cls, base: Base, grid: Grid) -> Facing:
        """Frame of every cell of a grid; on a flat base the unit axes."""
        x, y = grid.mesh_mm()
        sx, sy = base.slope(x, y)
        zero, one = np.zeros_like(sx), np.ones_like(sx)
        along, up = np.stack([one, zero, sx], -1), np.stack([zero, one, sy], -1)
        e, f, g = 1 + sx**2, sx * sy, 1 + sy**2
        area = (e * g - f * f)[..., None]
        return cls(
            place_mm=frozen(base.points_mm(x, y)),
            normal=frozen(base.normal(x, y)),
            dual_x=frozen((g[..., None] * along - f[..., None] * up) / area),
            dual_y=frozen((e[..., None] * up - f[..., None] * along) / area),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """Log light on every cell and its slopes; NaN where the cell faces away from the lamp.

    log: (ny, nx).  by_z: per mm.  by_dzdx, by_dzdy: per unit slope.  by_lamp: (ny, nx, 3) per mm.
    """

    log: np.ndarray
    by_z: np.ndarray
    by_dzdx: np.ndarray
    by_dzdy: np.ndarray
    by_lamp: np.ndarray


def light_on(facing: Facing, lamp_mm: np.ndarray, z_mm, dzdx, dzdy) -> Light:
    """Light of a small lamp at `lamp_mm` (3,) on the relief z with the given slopes, (ny, nx) each."""
    z_mm, dzdx, dzdy = (np.asarray(a)[..., None] for a in (z_mm, dzdx, dzdy))
    tilt = dzdx * facing.dual_x + dzdy * facing.dual_y
    normal = facing.normal - tilt
    reach = np.asarray(lamp_mm) - facing.place_mm - z_mm * facing.normal
    far2 = (reach**2).sum(-1)
    faced = (normal * reach).sum(-1)
    faced = np.where(faced > _GRAZING * np.sqrt(far2), faced, np.nan)
    steep = 1 + (tilt**2).sum(-1)
    up = (facing.normal * reach).sum(-1)
    by_slope = [
        -(dual * reach).sum(-1) / faced - (tilt * dual).sum(-1) / steep
        for dual in (facing.dual_x, facing.dual_y)
    ]
    return Light(
        log=np.log(faced) - 0.5 * np.log(steep) - 1.5 * np.log(far2),
        by_z=-1 / faced + 3 * up / far2,
        by_dzdx=by_slope[0],
        by_dzdy=by_slope[1],
        by_lamp=normal / faced[..., None] - 3 * reach / far2[..., None],
    )


def cast_shadow(z_mm: np.ndarray, facing: Facing, lamp_mm: np.ndarray, *, cell_mm: float) -> np.ndarray:
    """(ny, nx) bool: cells from which the relief itself hides the lamp.

    Walks from each cell towards the lamp, a cell at a time, as far as a shadow of the highest hump
    can reach, and looks whether the wood stands above the line of sight.
    """
    ny, nx = z_mm.shape
    total = facing.place_mm[..., 2] + z_mm
    reach = lamp_mm - np.stack([facing.place_mm[..., 0], facing.place_mm[..., 1], total], -1)
    run = np.hypot(reach[..., 0], reach[..., 1])
    rows, columns = np.indices((ny, nx), float)
    hidden = np.zeros((ny, nx), bool)
    lowest = float(np.nanmin(facing.normal[..., 2] * 0 + (reach[..., 2] / run)))
    steps = int(np.clip(np.ptp(z_mm) / max(lowest, 0.01) / cell_mm, 0, 40))
    for step in range(2, steps + 1):
        far = step * cell_mm
        i = np.clip(np.rint(rows + step * reach[..., 1] / run), 0, ny - 1).astype(int)
        j = np.clip(np.rint(columns + step * reach[..., 0] / run), 0, nx - 1).astype(int)
        sight = total + reach[..., 2] / run * far
        hidden |= (total[i, j] > sight + 1e-6) & (run > far)
    return hidden
