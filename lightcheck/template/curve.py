"""Curve: the template's edge as one smooth line y(x), carried across stretches without light.

A cubic spline on close knots whose third differences are held small: it accepts every parabola, follows
the edge to some 30 mm, and bridges a touching stretch with the curvature found on both sides of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BSpline
from scipy.linalg import solveh_banded

KNOT_MM = 8.0
STIFF = 0.3  # of the third differences against the points on one knot span
LEAST_POINTS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """The edge from x_mm[0] to x_mm[1]."""

    spline: BSpline
    x_mm: tuple[float, float]

    def points(self, x_mm: np.ndarray) -> np.ndarray:
        """(n, 2) places on the edge."""
        return np.stack([x_mm, self.spline(x_mm)], -1)

    def down(self, x_mm: np.ndarray) -> np.ndarray:
        """(n, 2) unit vectors square to the edge, towards the wood."""
        slope = self.spline(x_mm, 1)
        return np.stack([slope, -np.ones_like(slope)], -1) / np.hypot(slope, 1)[:, None]

    def stations(self, step_mm: float) -> tuple[np.ndarray, np.ndarray]:
        """x of places an equal step apart along the edge, and how far along they are. [mm]"""
        x = np.linspace(*self.x_mm, max(2, int((self.x_mm[1] - self.x_mm[0]) / 0.1)))
        along = np.r_[0, np.cumsum(np.hypot(np.diff(x), np.diff(self.spline(x))))]
        at = np.arange(0, along[-1] + 1e-9, step_mm)
        return np.interp(at, along, x), at


def fit(x: np.ndarray, y: np.ndarray, weight: np.ndarray, *, reach_mm: tuple[float, float]) -> Curve:
    """The smooth curve through points, robustly; reach_mm: from where to where it must be known."""
    knots = np.arange(reach_mm[0] - 4 * KNOT_MM, reach_mm[1] + 4.5 * KNOT_MM, KNOT_MM)
    design = BSpline.design_matrix(x, knots, 3)
    count = design.shape[1]
    third = np.diff(np.eye(count), 3, axis=0)
    density = weight.sum() / count
    robust = np.ones(len(x))
    for _ in range(6):
        weighted = design.multiply((weight * robust)[:, None]).tocsr()
        normal = (design.T @ weighted).toarray() + STIFF * density * third.T @ third
        band = np.array([np.r_[np.diag(normal, k), np.zeros(k)] for k in range(4)])
        band[0] += 1e-9 * density
        spline = BSpline(knots, solveh_banded(band, weighted.T @ y, lower=True), 3)
        left = y - spline(x)
        scatter = 1.4826 * np.median(np.abs(left[weight > 0])) + 1e-3
        robust = 1 / (1 + (left / (3 * scatter)) ** 2)
    return Curve(spline=spline, x_mm=reach_mm)
