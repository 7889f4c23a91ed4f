"""Batten: the curve of least bending through pins, worked out as a cubic spline.

Between two pins a thin batten is a cubic, and its bend (second derivative) runs straight from pin to
pin. With g the places of the pins and b the bends there, b = M g, so that the energy of bending is

    E = integral b(s)^2 ds = g' M' T M g          (T: integrals of the hat functions; exact)

A pin with some play is a spring: the batten is the g that makes sum w (g - pin)^2 + stiffness E least.
That is at once a smoothing spline and a beam on springs.

ends  "free"        no bend at the last pins: a batten cut off there (natural spline)
      "carried on"  the batten runs on past the last pins and keeps bending as it did (the spline has no
                    joint at the last pin but one). What springs back is then the change of bend,
                    E3 = integral b'(s)^2 ds, so that a round section keeps its radius to the end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.grid import frozen

FREE, CARRIED_ON = "free", "carried on"
_SOFTEST = 1e-9  # stiffness, at pins one apart, at which a batten touches every pin it is held to


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batten:
    """A sprung batten. at: (n,) increasing.  pin: (n, k) where it lies at the pins.  bend: (n, k)."""

    at: np.ndarray
    pin: np.ndarray
    bend: np.ndarray

    def place(self, at, derivative: int = 0) -> np.ndarray:
        """(m, k) place of the batten, or its 1st or 2nd derivative; beyond the ends it runs straight."""
        at = np.atleast_1d(np.asarray(at, float))
        if derivative:
            return self._derivative(np.clip(at, self.at[0], self.at[-1]), derivative)
        inside = np.clip(at, self.at[0], self.at[-1])
        left, step, a, b = self._between(inside)
        g, m = self.pin, self.bend
        cubic = ((a**3 - a) * m[left] + (b**3 - b) * m[left + 1]) * step**2 / 6
        return a * g[left] + b * g[left + 1] + cubic + (at - inside)[:, None] * self._derivative(inside, 1)

    @property
    def energy(self) -> float:
        """Integral of the squared bend over the batten."""
        step = np.diff(self.at)[:, None]
        b0, b1 = self.bend[:-1], self.bend[1:]
        return float((step * (b0**2 + b0 * b1 + b1**2) / 3).sum())

    def _derivative(self, at: np.ndarray, derivative: int) -> np.ndarray:
        left, step, a, b = self._between(at)
        m = self.bend
        if derivative == 2:
            return a * m[left] + b * m[left + 1]
        slope = (self.pin[left + 1] - self.pin[left]) / step
        return slope + step * ((3 * b**2 - 1) * m[left + 1] - (3 * a**2 - 1) * m[left]) / 6

    def _between(self, at: np.ndarray):
        """Index of the pin to the left, and step and the two shares as columns."""
        left = np.clip(np.searchsorted(self.at, at, side="right") - 1, 0, len(self.at) - 2)
        step = (self.at[left + 1] - self.at[left])[:, None]
        b = (at - self.at[left])[:, None] / step
        return left, step, 1 - b, b


def spring(at, pins, *, stiffness: float = 0.0, hold=None, ends: str = CARRIED_ON) -> Batten:
    """Lay a batten to pins.

    at : (n,) increasing.  pins : (n,) or (n, k).
    stiffness : of the batten against the springs; 0 lays it through every pin that is held.
    hold : (n,) strength of each pin's spring; 1 where not given, 0 for a pin that is let go.
    """
    at, pins = np.asarray(at, float), np.asarray(pins, float).reshape(len(at), -1)
    unit = float(np.diff(at).mean())  # so that the sums are well scaled whatever the length
    bends = _bend_matrix(at / unit, ends)
    hold = np.ones(len(at)) if hold is None else np.asarray(hold, float)
    if stiffness > 0 or (hold == 0).any():
        order = 3 if ends == FREE else 5
        soft = max(stiffness / unit**order, _SOFTEST * hold.max())
        energy = bends.T @ _mass(at / unit, ends) @ bends
        pins = np.linalg.solve(np.diag(hold) + soft * energy, hold[:, None] * pins)
    return Batten(at=frozen(at), pin=frozen(pins), bend=frozen(bends @ pins / unit**2))


def along_mm(points_mm) -> np.ndarray:
    """(n,) way along the straight lines from point to point, from 0. [mm]"""
    steps = np.linalg.norm(np.diff(np.asarray(points_mm, float), axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _bend_matrix(at: np.ndarray, ends: str) -> np.ndarray:
    """M (n, n) in bend = M pin."""
    n, h = len(at), np.diff(at)
    if n == 2:
        return np.zeros((2, 2))
    left, right = np.zeros((n, n)), np.zeros((n, n))
    inner = np.arange(1, n - 1)
    left[inner, inner - 1], left[inner, inner], left[inner, inner + 1] = (
        h[:-1] / 6,
        (h[:-1] + h[1:]) / 3,
        h[1:] / 6,
    )
    right[inner, inner - 1], right[inner, inner + 1] = 1 / h[:-1], 1 / h[1:]
    right[inner, inner] = -1 / h[:-1] - 1 / h[1:]
    for end, step in ((0, 1), (n - 1, -1)):
        left[end, end] = 1.0
        if ends == CARRIED_ON:
            first, second = abs(at[end + step] - at[end]), abs(at[end + step] - at[end + 2 * step])
            share = first / second if n > 3 else 0.0  # of three pins: one bend throughout
            left[end, end + step] -= 1 + share
            left[end, end + 2 * step] += share
    return np.linalg.solve(left, right)


def _mass(at: np.ndarray, ends: str) -> np.ndarray:
    """T for the energy of bending, or the like of it for the change of bend."""
    n, h = len(at), np.diff(at)
    total = np.zeros((n, n))
    for i, step in enumerate(h):
        piece = step / 6 * np.array([[2, 1], [1, 2]]) if ends == FREE else np.array([[1, -1], [-1, 1]]) / step
        total[i : i + 2, i : i + 2] += piece
    return total
