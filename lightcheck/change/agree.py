"""Agree: the one small turn and shift that most squares of wood agree on, and how sure it is.

    offset of a square at p = t + w (-(p - m)_y, (p - m)_x)        m: middle, t: shift, w: turn

Pairs of squares far apart are tried in turn (random sample consensus, Fischler and Bolles 1981), then
all that agree with the best pair are fitted together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

PAIRS = 800
LEAST_APART_MM = 60.0  # between the two squares of a pair
ROUNDS = 4
WHOLE_MM = 0.15  # shared by all offsets: scale of the cards and shape of the wood are not that sure


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """shift_mm: (2,) t.  turn_rad: w.  agree: (n,) bool.  covariance: (3, 3) of t and w."""

    shift_mm: np.ndarray
    turn_rad: float
    agree: np.ndarray
    covariance: np.ndarray

    @property
    def count(self) -> int:
        """How many agree."""
        return int(self.agree.sum())


def most(at_mm: np.ndarray, offset_mm: np.ndarray, *, middle_mm, within_mm: float) -> Agreement | None:
    """What most squares agree on to within so much; None where no two do.

    at_mm, offset_mm: (n, 2) middles of the squares and where each was found, less where it should be,
    NaN where it was not.
    """
    arm = at_mm - np.asarray(middle_mm)
    first, second = _pairs(arm, np.isfinite(offset_mm).all(axis=1))
    if not len(first):
        return None
    span = arm[second] - arm[first]
    apart = offset_mm[second] - offset_mm[first]
    turn = (span[:, 0] * apart[:, 1] - span[:, 1] * apart[:, 0]) / (span**2).sum(axis=1)
    shift = (offset_mm[first] + offset_mm[second] - turn[:, None] * _square_to(arm[first] + arm[second])) / 2
    off = offset_mm[None] - shift[:, None] - turn[:, None, None] * _square_to(arm)[None]
    agree = np.hypot(off[..., 0], off[..., 1]) <= within_mm
    best = agree[int(np.argmax(agree.sum(axis=1)))]
    return _fitted(arm, offset_mm, best, within_mm)


def _pairs(arm: np.ndarray, known: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    first, second = np.triu_indices(int(known.sum()), 1)
    first, second = (np.flatnonzero(known)[i] for i in (first, second))
    far = np.hypot(*(arm[first] - arm[second]).T) >= LEAST_APART_MM
    first, second = first[far], second[far]
    if len(first) > PAIRS:
        chosen = np.random.default_rng(17).choice(len(first), PAIRS, replace=False)
        first, second = first[chosen], second[chosen]
    return first, second


def _square_to(arm: np.ndarray) -> np.ndarray:
    """(n, 2) arms turned by a quarter."""
    return np.stack([-arm[..., 1], arm[..., 0]], axis=-1)


def _fitted(arm: np.ndarray, offset_mm: np.ndarray, agree: np.ndarray, within_mm: float) -> Agreement | None:
    """Least squares over those that agree, a few times over."""
    level, quarter = np.ones(len(arm)), _square_to(arm)
    terms = np.stack(
        [np.stack([level, 0 * level], 1), np.stack([0 * level, level], 1), quarter], axis=2
    )  # (n, 2, 3)
    for _ in range(ROUNDS):
        if agree.sum() < 2:
            return None
        some = terms[agree].reshape(-1, 3)
        fit, *_ = np.linalg.lstsq(some, offset_mm[agree].ravel(), rcond=None)
        off = offset_mm - terms @ fit
        agree = np.hypot(*off.T) <= within_mm
    if agree.sum() < 2:
        return None
    some, left = terms[agree].reshape(-1, 3), off[agree].ravel()
    scatter = (left**2).sum() / max(len(left) - 3, 1)
    covariance = np.linalg.pinv(some.T @ some) * scatter
    covariance[:2, :2] += np.eye(2) * WHOLE_MM**2
    return Agreement(shift_mm=fit[:2], turn_rad=float(fit[2]), agree=agree, covariance=covariance)
