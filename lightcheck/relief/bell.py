"""Bells: what the prior on heights is gathered about.

Lamps that shine along one line hardly tell how high one row of wood lies beside the next, and the place of
a lamp bends whole rows at little cost. A prior that wants heights near zero then pulls down every row that
a hump half fills, and all humps come out low. But humps end. So the prior is on heights less a few bells,
put in one after the other where that makes the rest fairer, each free in height, place and form. Heights
themselves stay free: they are wanted near the bells as they were wanted near zero, and no nearer.

A bell is `h exp(-|u|^2 / 2)` with `u = (p dx + q dy, s dy)`; its form is (h, x, y, log p, q, log s).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from lightcheck.grid import frozen
from lightcheck.relief.cells import Cells
from lightcheck.relief.prior import cost

MOST_BELLS, AT_ONCE = 20, 2
LEAST_MM, LEAST_KEPT_MM = 0.04, 0.015  # heights of a new bell and of one that is kept
LEAST_GAIN = 0.7  # of log prior, times two, for a new bell
LOOKED_FOR_MM = (16.0, 24.0, 36.0, 54.0)  # standard deviations that are tried
NARROWEST_MM, WIDEST_MM = 12.0, 70.0
SIGMA = np.array([1.0, 25.0, 25.0, 0.6, 0.01, 0.6])  # of a form about the first one
FARTHEST = np.array([0.5, 12.0, 12.0, 0.3, 0.005, 0.3])  # a form goes in one step


@dataclass(frozen=True, slots=True, kw_only=True)
class Bells:
    """form, first: (k, 6) of each bell, now and when it was put in. [mm, mm, mm, -, 1/mm, -]"""

    form: np.ndarray
    first: np.ndarray

    @classmethod
    def none(cls) -> Bells:
        """No bells yet."""
        return cls(form=frozen(np.zeros((0, 6))), first=frozen(np.zeros((0, 6))))

    def height_mm(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """(n,) sum of the bells at (n,) places."""
        return sum((_height_mm(form, x, y) for form in self.form), np.zeros(len(x)))

    def by_form(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """(n, 6 k) slopes of the sum by each number of each form."""
        if not len(self.form):
            return np.zeros((len(x), 0))
        return np.concatenate([_by_form(form, x, y) for form in self.form], axis=1)

    def rest_mm(self, z_mm: np.ndarray, cells: Cells) -> np.ndarray:
        """(n,) heights less the bells."""
        return z_mm - self.height_mm(*cells.place_mm)

    @property
    def sigma(self) -> np.ndarray:
        """(6 k,) prior of the changes of form."""
        return np.tile(SIGMA, len(self.form))

    @property
    def expected(self) -> np.ndarray:
        """(6 k,) changes that would bring the bells where the prior has them: no height, as round and
        as wide as they were put in."""
        home = self.first * [0, 1, 1, 1, 0, 1]
        return (home - self.form).ravel()

    def moved(self, change: np.ndarray) -> Bells:
        """The bells after a step's (6 k,) changes, which are linear and so not trusted far."""
        form = self.form + np.clip(change.reshape(-1, 6), -FARTHEST, FARTHEST)
        form[:, [3, 5]] = np.clip(form[:, [3, 5]], -np.log(WIDEST_MM), -np.log(NARROWEST_MM))
        return Bells(form=frozen(form), first=self.first)


def gather(bells: Bells, cells: Cells, z_mm: np.ndarray, area: float) -> Bells:
    """Bells with those dropped that came to nothing, and the next few put in.

    z_mm: (n,) heights so far.  area: of a cell over that of a unit cell.
    """
    kept = np.abs(bells.form[:, 0]) > LEAST_KEPT_MM
    bells = Bells(form=bells.form[kept], first=bells.first[kept])
    rest = bells.rest_mm(z_mm, cells)
    for _ in range(min(AT_ONCE, MOST_BELLS - len(bells.form))):
        tried = (_best(cells, rest, sigma, area) for sigma in LOOKED_FOR_MM)
        gain, form = max(tried, key=lambda found: found[0])
        if gain < LEAST_GAIN or abs(form[0]) < LEAST_MM:
            break
        bells = Bells(form=np.vstack([bells.form, form]), first=np.vstack([bells.first, form]))
        rest = rest - _height_mm(form, *cells.place_mm)
    return bells


def _best(cells: Cells, rest: np.ndarray, sigma_mm: float, area: float) -> tuple[float, np.ndarray]:
    """(gain, form) of the round bell of one width that stands out most by a matched filter."""
    wide, inside = sigma_mm / cells.grid.cell_mm, cells.inside.astype(float)
    blurred = ndimage.gaussian_filter(cells.spread(rest, 0.0), wide, mode="constant", truncate=3)
    seen = ndimage.gaussian_filter(inside, wide / np.sqrt(2), mode="constant", truncate=3)
    height = 2 * blurred / np.maximum(seen, 0.3)
    stands_out = np.abs(height) * np.sqrt(seen) * inside
    at = np.unravel_index(stands_out.argmax(), stands_out.shape)
    sharp = -np.log(sigma_mm)
    x, y = (c[at] for c in cells.grid.mesh_mm())
    form = np.array([height[at], x, y, sharp, 0.0, sharp])
    less = rest - _height_mm(form, *cells.place_mm)
    return area * float(np.sum(cost(rest) - cost(less))), form


def _within(form: np.ndarray, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n,) u and v of places within a bell."""
    _, x0, y0, log_p, q, log_s = form
    dx, dy = x - x0, y - y0
    return np.exp(log_p) * dx + q * dy, np.exp(log_s) * dy


def _height_mm(form: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """(n,) heights of one bell."""
    u, v = _within(form, x, y)
    return form[0] * np.exp(-(u * u + v * v) / 2)


def _by_form(form: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """(n, 6) slopes of one bell's heights by each number of its form."""
    height, x0, y0, log_p, q, log_s = form
    p, s, dx, dy = np.exp(log_p), np.exp(log_s), x - x0, y - y0
    u, v = _within(form, x, y)
    one = np.exp(-(u * u + v * v) / 2)
    z = height * one
    slopes = [one, z * u * p, z * (u * q + v * s), -z * u * p * dx, -z * u * dy, -z * v * v]
    return np.stack(slopes, axis=1)
