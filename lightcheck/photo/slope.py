"""Slope: how a phone's coded light answers to light, as the slope between their logarithms.

slope(light) = d log(true light) / d log(decoded light)       1 for a phone that keeps to its curve
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogSlope:
    """The measured response of one phone.

    light_log: (n,) increasing, natural logarithm of the decoded light.  slope: (n,) at these.
    sigma: (n,) of the slope, its share common to all included.  Beyond its ends nothing was measured.
    """

    light_log: np.ndarray
    slope: np.ndarray
    sigma: np.ndarray

    def true_log(self, light_log) -> np.ndarray:
        """Logarithm of the true light, up to a constant; carried on with the slope of the ends."""
        at = np.asarray(light_log, float)
        lows, slopes = self.light_log, self.slope
        steps = np.diff(lows) * (slopes[1:] + slopes[:-1]) / 2
        whole = np.concatenate([[0.0], np.cumsum(steps)])
        i = np.clip(np.searchsorted(lows, at, side="right") - 1, 0, len(lows) - 2)
        inside = np.clip(at, lows[0], lows[-1])
        share = (inside - lows[i]) / (lows[i + 1] - lows[i])
        within = (inside - lows[i]) * (slopes[i] + share * (slopes[i + 1] - slopes[i]) / 2)
        ends = np.where(at < lows[0], slopes[0], slopes[-1])
        return whole[i] + within + (at - inside) * ends


def hats(at, knots: np.ndarray) -> np.ndarray:
    """(..., knots) integrals from the first knot to `at` of hat functions on the knots.

    What `LogSlope.true_log` is made of: its value is these times the slopes.
    """
    ones = np.eye(len(knots))
    return np.stack([LogSlope(light_log=knots, slope=one, sigma=one).true_log(at) for one in ones], axis=-1)


def left_out(slope: np.ndarray) -> np.ndarray:
    """What straight pieces can not follow, as a sigma at each knot: an eighth of the bend there, twice that
    at the ends. slope: (n,), three or more.
    """
    bend = np.abs(np.diff(slope, 2)) / 8
    return np.concatenate([[2 * bend[0]], bend, [2 * bend[-1]]])
