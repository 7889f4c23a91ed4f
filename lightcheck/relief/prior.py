"""The prior on heights: most of a surface is fair, and what is not is not all alike.

A heavy tail, `FAIRNESS w^2 log(1 + z^2 / w^2)` in a unit cell, does not mind one high hump more than one
half as high. Plain quadratic smoothing loses 10-25 % of every height. The solve takes it as a weight
that is renewed every step; w starts wide and narrows.
"""

from __future__ import annotations

import numpy as np

FAIRNESS = 120.0  # weight of the height of a unit cell near zero, 1/mm^2
FAIRNESS_ONE = 40.0  # the same for one photo, which has no bells: more would hold down what little it shows
FAR_OFF = 2e-3  # its least: under distant light nothing else holds the patch from tilting away, 1/mm^2
NARROW_MM, WIDE_MM, NARROWING = 0.01, 0.3, 0.75


def weight(z_mm: np.ndarray, step: int, *, shots: int) -> np.ndarray:
    """Weight of the square of each height in a step of the solve. [1/mm^2]"""
    width = max(NARROW_MM, WIDE_MM * NARROWING**step)
    fairness = FAIRNESS if shots > 1 else FAIRNESS_ONE
    return np.maximum(fairness * width**2 / (z_mm**2 + width**2), FAR_OFF)


def cost(z_mm: np.ndarray) -> np.ndarray:
    """Twice the negative log prior of each height in a unit cell, when the prior is narrow."""
    return FAIRNESS * NARROW_MM**2 * np.log1p((z_mm / NARROW_MM) ** 2)
