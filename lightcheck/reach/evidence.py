"""Evidence: what all shots together say about one hump, when everything else that changes light is free.

How little can be told is worked out like the map itself: noise, the wood's tone, the lamp's place, the
phone's evenness, a bending of its curve and the fair surface all speak against a hump, and what is left
of its contrast decides.
"""

from __future__ import annotations

import numpy as np
from numpy.polynomial.legendre import legval

from lightcheck import constants as const
from lightcheck.grid import Grid
from lightcheck.patch import Base
from lightcheck.reach.contrast import hump
from lightcheck.shade import Facing, light_on

# What the map's own solve allows for; a test keeps the two alike.
UNIT_CELL_MM = 8.0
DATA_SIGMA = 0.02  # of log light in a unit cell, model errors shared over many cells included
TONE_SCATTER = 0.3  # of the wood's own tone in a unit cell
GAIN_SIGMA = (3.0, 0.005, 0.003, 0.002)  # smooth log gain of a shot, by degree
VIGNETTING_SIGMA, AMBIENT_SIGMA, RESPONSE_SIGMA = 0.3, 0.05, 0.07

# What a plane leaves behind looks like relief too. On made-up boards with tracks 0.02 mm deep three lamps
# found 22 of 36 humps at the limit without this, and called 46 other places humps.
TRACKS_SIGMA_MM = 0.01

QUADRATIC_MM = 1.0  # the fair surface takes up any quadratic, over the half size of the patch

# Of a hump this wide against the shorter side of the patch the fair surface and the solve take up half
# (made-up boards of 600 x 420 mm: 0.95 kept at 0.36, 0.5 at 0.67, for two, three and four lamps).
HALF_KEPT, KEPT_POWER = 0.69, 4
_MOST_CELLS, _FINEST_MM = 9000, 3.0


class Evidence:
    """What all shots together say about one hump, when everything else that changes light is free."""

    def __init__(self, places: np.ndarray, patch: tuple[float, float], noise: float) -> None:
        """Lay lamps at (s, 3) over a flat patch; noise of log light in a unit cell, beside what is usual."""
        noise = np.hypot(noise, DATA_SIGMA)
        cell = max(_FINEST_MM, float(np.sqrt(patch[0] * patch[1] / _MOST_CELLS)))
        half = np.array(patch) / 2
        self.half_kept_mm = HALF_KEPT * min(patch)
        self.cell_mm, area = cell, (cell / UNIT_CELL_MM) ** 2
        grid = Grid.over((-half[0], half[0]), (-half[1], half[1]), cell_mm=cell)
        self.x, self.y = grid.mesh_mm()
        level, facing = np.zeros(grid.shape), Facing.of(Base(), grid)
        self.lights = [light_on(facing, p, level, level, level) for p in places]
        # rows as in the solve: each cell's tone is the mean over its shots, known only so well
        self.own = np.sqrt(area) / noise
        total, tone = len(places) * area / noise**2, area / TONE_SCATTER**2
        self.shared = np.sqrt(total * tone / (total + tone))
        columns, sigma = self._nuisances(places, half)
        self.columns = np.stack([self._rows(c) for c in columns], axis=1)
        square = self.columns.T @ self.columns + np.diag(1 / np.array(sigma) ** 2)
        self.inverse = np.linalg.inv(square)

    def sigma_mm(self, width_mm: float, at: np.ndarray) -> float:
        """Give or take of the height of one round hump, nothing else standing off the fair surface."""
        rows = self._rows(self._seen(*hump(self.x - at[0], self.y - at[1], width_mm)))
        shared = self.columns.T @ rows
        kept = 1 / (1 + (width_mm / self.half_kept_mm) ** KEPT_POWER)
        sigma = 1 / np.sqrt(rows @ rows - shared @ self.inverse @ shared)
        return float(np.hypot(sigma, TRACKS_SIGMA_MM) / kept)

    def _seen(self, z: np.ndarray, by_x: np.ndarray, by_y: np.ndarray) -> np.ndarray:
        """(s, ny, nx) change of log light by a relief."""
        return np.array([t.by_z * z + t.by_dzdx * by_x + t.by_dzdy * by_y for t in self.lights])

    def _rows(self, column: np.ndarray) -> np.ndarray:
        flat = np.nan_to_num(column.reshape(len(self.lights), -1))
        mean = flat.mean(axis=0)
        return np.r_[(self.own * (flat - mean)).ravel(), self.shared * mean]

    def _nuisances(self, places: np.ndarray, half: np.ndarray) -> tuple[list, list]:
        logs = np.array([light.log for light in self.lights])
        away = (self.x**2 + self.y**2) / (half**2).sum()
        across = self.x / half[0], self.y / half[1]
        columns = [np.tile(away**p, (len(places), 1, 1)) for p in (1, 2)]
        sigma = [VIGNETTING_SIGMA] * 2
        lamps = places[:, 2] < 0.5 * np.hypot(places[:, 0], places[:, 1])
        middle = np.median(logs[lamps]) if lamps.any() else np.median(logs)
        columns += [np.where(lamps[:, None, None], np.exp(middle - logs), 0.0), (logs - middle)]
        sigma += [AMBIENT_SIGMA, RESPONSE_SIGMA]
        x, y = across
        for bowl in ((x**2, 2 * x / half[0], 0 * y), (y**2, 0 * x, 2 * y / half[1])):
            columns.append(self._seen(*bowl))
        columns.append(self._seen(x * y, y / half[0], x / half[1]))
        sigma += [QUADRATIC_MM] * 3
        for shot, place in enumerate(places):
            for degree, shape in _polynomials(across, len(GAIN_SIGMA) - 1):
                columns.append(self._one(shot, shape))
                sigma.append(GAIN_SIGMA[degree])
            for axis, doubt in zip(_axes(place), _doubts_mm(place), strict=True):
                columns.append(self._one(shot, self.lights[shot].by_lamp @ axis))
                sigma.append(doubt)
        return columns, sigma

    def _one(self, shot: int, shape: np.ndarray) -> np.ndarray:
        column = np.zeros((len(self.lights), *self.x.shape))
        column[shot] = shape
        return column


def _polynomials(across, most: int):
    x, y = across
    for degree in range(most + 1):
        for i in range(degree + 1):
            yield degree, legval(x, [0] * i + [1]) * legval(y, [0] * (degree - i) + [1])


def _axes(place: np.ndarray) -> np.ndarray:
    """Unit vectors out along the wood, beside that and up."""
    out = max(float(np.hypot(place[0], place[1])), 1e-9)
    along = np.array([place[0] / out, place[1] / out, 0.0]) if out > 1 else np.array([1.0, 0, 0])
    return np.array([along, [-along[1], along[0], 0.0], [0.0, 0.0, 1.0]])


def _doubts_mm(place: np.ndarray) -> tuple[float, float, float]:
    """How well a tape and a side word place a lamp."""
    beside = float(np.hypot(place[0], place[1])) * const.SIDE_WORD_SIGMA_RAD
    return const.TAPE_OUT_SIGMA_MM, max(beside, const.TAPE_OUT_SIGMA_MM), const.TAPE_UP_SIGMA_MM
