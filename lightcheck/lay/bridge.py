r"""Bridge: the two places that a straightedge rests on, for many straightedges at once.

    z ^   p___________q       Of all lines that no place of the wood stands above, the straightedge lies
      | _/ \    __   / \_     on the one that is lowest at its own middle: it touches one place on each
      |     \__/  \_/         side of the middle (the edge of the upper convex hull that spans it). Where
      +-------- | ------> t   the middle itself is the highest it touches there alone, and rocks.

The line is found by turning it: with a slope m, the highest of z - m t left and right of the middle are
the two places; the slope between them is the next m. This is Newton's method, and a few turns suffice.
"""

from __future__ import annotations

import numpy as np

_MOST_TURNS = 40


def rests(z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Columns (N,), (N,) of the two places that straightedges on z (N, 2 h + 1) rest on.

    z: heights at even steps, NaN where there is no wood. -1 on a side without any.
    """
    filled = np.where(np.isnan(z), -np.inf, z)
    half = z.shape[1] // 2
    t = np.arange(-half, half + 1).astype(z.dtype)
    left, right = np.full(len(z), -1), np.full(len(z), -1)
    both = np.isfinite(filled[:, : half + 1]).any(axis=1) & np.isfinite(filled[:, half:]).any(axis=1)
    todo, slope = np.flatnonzero(both), np.zeros(int(both.sum()), z.dtype)
    for turn in range(_MOST_TURNS):
        part = filled[todo] - slope[:, None] * t
        p, q = part[:, : half + 1].argmax(axis=1), half + part[:, half:].argmax(axis=1)
        same = (p == left[todo]) & (q == right[todo]) | (p == q)
        left[todo], right[todo] = p, q
        rise = filled[todo, q] - filled[todo, p]
        slope = np.divide(rise, q - p, out=np.zeros_like(rise), where=q > p)
        if turn and same.all():
            break
        todo, slope = todo[~same], slope[~same]
    return left, right


def gaps(z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Daylight (N, n) under straightedges on z (N, n), NaN where not between its two places; and these."""
    left, right = rests(z)
    at = np.arange(z.shape[1])
    rows = np.arange(len(z))
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = (z[rows, right] - z[rows, left]) / np.maximum(right - left, 1)
        line = z[rows, left][:, None] + slope[:, None] * (at - left[:, None])
    between = (at >= left[:, None]) & (at <= right[:, None]) & (left >= 0)[:, None]
    return np.where(between, line - z, np.nan), left, right


def widest(z: np.ndarray) -> np.ndarray:
    """(N,) widest daylight between the two places; 0 where a straightedge rocks or has no wood."""
    if not len(z):
        return np.zeros(0, z.dtype)
    daylight, _, _ = gaps(z)
    return np.fmax.reduce(daylight, axis=1, initial=0.0)
