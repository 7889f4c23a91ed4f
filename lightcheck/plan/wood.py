"""Wood: the shape of a stored map at any place, carried on past its edge, for laying soles on."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from lightcheck.grid import Grid
from lightcheck.patch import Base
from lightcheck.stored import StoredMap

BEND_MM = 60.0  # over which the curvature of the fair shape is taken


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wood:
    """Sheets without gaps (ny, nx): fair surface over the base, height above it."""

    grid: Grid
    base: Base
    fair_mm: np.ndarray
    height_mm: np.ndarray

    def fair_at(self, places_mm: np.ndarray) -> np.ndarray:
        """(n,) z of the fair shape, base and all, at places (n, 2). [mm]"""
        return self.base.height_mm(*places_mm.T) + self._at(self.fair_mm, places_mm, "nearest")

    def height_at(self, places_mm: np.ndarray) -> np.ndarray:
        """(n,) height above fair; past the map's edge the wood is taken for fair. [mm]"""
        return self._at(self.height_mm, places_mm, "constant")

    def _at(self, sheet: np.ndarray, places_mm: np.ndarray, beyond: str) -> np.ndarray:
        rows, columns = self.grid.index(*places_mm.T)
        return ndimage.map_coordinates(sheet, [rows, columns], order=1, mode=beyond, cval=0.0)

    def bend(self, x_mm: float, y_mm: float, turn_rad: float) -> float:
        """Curvature of the fair shape in this direction, - over a round. [1/mm]"""
        step = BEND_MM * np.array([math.cos(turn_rad), math.sin(turn_rad)])
        z = self.fair_at(np.array([[x_mm, y_mm]]) + np.array([-1.0, 0.0, 1.0])[:, None] * step)
        return float((z[0] - 2 * z[1] + z[2]) / BEND_MM**2)

    def girth_mm(self, start: np.ndarray, end: np.ndarray) -> float:
        """Way over the wood between two places. [mm]"""
        count = max(2, round(float(np.linalg.norm(end - start)) / 5) + 1)
        places = start + np.linspace(0, 1, count)[:, None] * (end - start)
        steps = np.diff(np.column_stack([places, self.fair_at(places)]), axis=0)
        return float(np.linalg.norm(steps, axis=1).sum())


def of(stored: StoredMap) -> Wood:
    """The wood of a stored map; a map written without its base is taken for flat."""
    base = stored.facts.get("base") or {}
    return Wood(
        grid=stored.grid,
        base=Base(**{k: float(base.get(k, 0.0)) for k in ("along_x", "along_y", "twist")}),
        fair_mm=_whole(stored.fair_mm),
        height_mm=_whole(stored.height_mm),
    )


def _whole(sheet: np.ndarray) -> np.ndarray:
    known = np.isfinite(sheet)
    if not known.any():
        return np.zeros(sheet.shape)
    nearest = ndimage.distance_transform_edt(~known, return_distances=False, return_indices=True)
    return np.asarray(sheet)[tuple(nearest)]
