"""Lamps: whether the light comes from where it was typed, from there alone, and low enough.

For a lamp at L the light on the base with normal n at P goes as

    E = n . (L - P) / |L - P|^3            Lambert's cosine and the inverse square

Between the near and the far end of a usual patch E falls to a quarter: a lamp typed on the wrong side
is told by the paper alone. Light that does not fall off so is not this lamp's: evenly spread it is the
room's (ambient), rising towards another side it is a second lamp's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from lightcheck.check.lit import Lit, middle
from lightcheck.lamp import Lamp
from lightcheck.patch import Base

PAPER_SIGMA, WOOD_SIGMA = 0.15, 0.06  # of the log: paper cockles (half a degree is 7 %), humps average out
LOBE_SIGMA = 0.08  # of a lamp aimed a little aside, log light across half the patch: own estimate
_MOST_AMBIENT = 4.0
_OTHER_BEARINGS = np.radians(np.arange(0, 360, 30))
_OTHER_ELEVATIONS = np.radians((10.0, 35.0))
_OTHER_OUT_MM = 900.0
_SCAN = np.radians(np.arange(0, 360, 15))


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """Light that is not the lamp's, over the lamp's own at the origin, in one photo.

    ambient and its sigma: of the room, the same for all photos of a set.  second: a second lamp's, from
    bearing_rad; gain: how much better (chi square) the set is explained with it.
    """

    ambient: float
    sigma: float
    second: float
    bearing_rad: float
    gain: float


def log_light(base: Base, place_mm: np.ndarray, at_mm: np.ndarray) -> np.ndarray:
    """(k,) log E less that at the origin; NaN in the base's own shadow. at_mm: (k, 2)."""
    spots = np.concatenate([[[0.0, 0.0]], at_mm])
    reach = place_mm - base.points_mm(spots[:, 0], spots[:, 1])
    faced = (base.normal(spots[:, 0], spots[:, 1]) * reach).sum(-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        log = np.log(np.where(faced > 0, faced, np.nan)) - 1.5 * np.log((reach**2).sum(-1))
    return log[1:] - log[0]


def bearing(base: Base, lamp: Lamp, lit: Lit, shot: int) -> tuple[float, float, float]:
    """Bearing that the paper speaks for, and the misfit (rms of the log) there and as typed."""
    level, at = lit.paper_log[shot], lit.half_mm
    out, up = np.hypot(*lamp.place_mm[:2]), lamp.place_mm[2]
    typed = np.arctan2(lamp.place_mm[1], lamp.place_mm[0])

    def misfit(rad: float) -> float:
        off = level - log_light(base, np.array([out * np.cos(rad), out * np.sin(rad), up]), at)
        off = off[np.isfinite(off)]
        return float(np.std(off)) if len(off) >= 4 else np.inf

    tries = [misfit(typed + turn) for turn in _SCAN]
    best = int(np.argmin(tries))
    return float(np.angle(np.exp(1j * (typed + _SCAN[best])))), tries[best], tries[0]


def shares(base: Base, lamps: tuple[Lamp, ...], lit: Lit) -> list[Share | None]:
    """What is not the lamp's, photo by photo; None for photos without a raking lamp."""
    return _Fit(base, lamps, lit).others()


def from_side(base: Base, paper_log: np.ndarray, at_mm: np.ndarray) -> tuple[float, float]:
    """Bearing of the lamp that best explains the paper in one photo, and the rms that it takes away.

    paper_log: (h,) of a photo of the room alone, at (h, 2) places.
    """
    known = np.isfinite(paper_log)
    if known.sum() < 4:
        return 0.0, 0.0
    level = paper_log[known] - paper_log[known].mean()
    best = (float(np.std(level)), 0.0)
    for rad in _SCAN:
        for up in _OTHER_ELEVATIONS:
            place = _OTHER_OUT_MM * np.array([np.cos(rad), np.sin(rad), np.tan(up)])
            off = level - log_light(base, place, at_mm[known])
            best = min(best, (float(np.std(off)), float(rad)))
    return best[1], float(np.std(level)) - best[0]


class _Fit:
    """Gain, lamp place, lobe and ambient of every photo at once; the wood's own tone is eliminated.

    Unknowns of a photo: log gain, place (3, in its own sigmas), lobe (2), ambient.
    """

    def __init__(self, base: Base, lamps: tuple[Lamp, ...], lit: Lit) -> None:
        self.base, self.lamps = base, lamps
        self.paper, self.wood = lit.paper_log, lit.wood
        self.at = np.concatenate([lit.half_mm, lit.tile_mm])
        self.across = self.at / np.abs(self.at).max(axis=0)
        self.roots = [np.linalg.cholesky(lamp.cov_mm2 + 1e-6 * np.eye(3)) for lamp in lamps]
        first = np.zeros((len(lamps), 7))
        first[:, 6] = 0.05
        low = np.full_like(first, -np.inf)
        low[:, 6] = 0.0
        high = np.where(np.isfinite(low), _MOST_AMBIENT, np.inf)
        first[:, 0] = np.nan_to_num(middle(self.paper, axis=1))
        self.found = least_squares(
            self.residuals, first.ravel(), bounds=(low.ravel(), high.ravel()), loss="soft_l1", max_nfev=25
        )
        self.unknowns = self.found.x.reshape(-1, 7)
        curvature = self.found.jac.T @ self.found.jac
        self.sigma = np.sqrt(np.diag(np.linalg.pinv(curvature))).reshape(-1, 7)

    def own(self, shot: int, unknown: np.ndarray) -> np.ndarray:
        """(k,) light of the lamp over that at the origin."""
        place = self.lamps[shot].place_mm + self.roots[shot] @ unknown[1:4]
        return np.exp(log_light(self.base, place, self.at) + self.across @ unknown[4:6])

    def model(self, unknowns: np.ndarray) -> np.ndarray:
        """(n, k) log light."""
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.array([u[0] + np.log(self.own(i, u) + u[6]) for i, u in enumerate(unknowns)])

    def residuals(self, flat: np.ndarray) -> np.ndarray:
        """All misfits and priors over their sigmas."""
        unknowns = flat.reshape(-1, 7)
        left = self._misfit(unknowns)
        priors = np.c_[unknowns[:, 1:4], unknowns[:, 4:6] / LOBE_SIGMA, unknowns[:, 6:] / 3.0]
        return np.r_[left.ravel(), priors.ravel()]

    def _misfit(self, unknowns: np.ndarray) -> np.ndarray:
        model, halves = self.model(unknowns), self.paper.shape[1]
        paper = np.nan_to_num((self.paper - model[:, :halves]) / PAPER_SIGMA)
        off = (self.wood - model[:, halves:]) / WOOD_SIGMA
        known = np.isfinite(off)
        count = np.maximum(known.sum(axis=0), 1)
        mean = np.where(known, off, 0.0).sum(axis=0) / count
        return np.c_[paper, np.where(known & (count > 1), off - mean, 0.0)]

    def room(self) -> tuple[float, float]:
        """Ambient of the set and its sigma: the room is the same in every photo with a raking lamp."""
        raking = [i for i, lamp in enumerate(self.lamps) if lamp.rakes]
        weight = 1 / np.square(self.sigma[raking, 6])
        mean = float((weight * self.unknowns[raking, 6]).sum() / weight.sum())
        return mean, float(1 / np.sqrt(weight.sum()))

    def others(self) -> list[Share | None]:
        """Ambient of each photo, and the second lamp, the same in all, that explains best what is left."""
        raking = [i for i, lamp in enumerate(self.lamps) if lamp.rakes]
        parts = {i: self._parts(i) for i in raking}
        best, bearing_rad, found = 0.0, 0.0, dict.fromkeys(raking, (0.0, 0.0))
        for rad in _OTHER_BEARINGS:
            for up in _OTHER_ELEVATIONS:
                tries = {i: self._gain(*parts[i][:3], self._other(*parts[i][3:], rad, up)) for i in raking}
                gain = sum(g for g, _ in tries.values())
                if gain > best:
                    best, found, bearing_rad = gain, tries, rad
        ambient, sigma = self.room()
        return [
            Share(ambient=ambient, sigma=sigma, second=found[i][1], bearing_rad=float(bearing_rad), gain=best)
            if i in found
            else None
            for i in range(len(self.lamps))
        ]

    def _parts(self, shot: int) -> tuple:
        """Columns that may move anyway, weights, what is left, total light, which places are usable."""
        unknown = self.unknowns[shot]
        own = self.own(shot, unknown)
        total = own + unknown[6]
        left = self._misfit(self.unknowns)[shot]
        weight = np.r_[
            np.full(self.paper.shape[1], 1 / PAPER_SIGMA), np.full(self.wood.shape[1], 1 / WOOD_SIGMA)
        ]
        usable = np.isfinite(total) & (left != 0)
        columns = np.c_[np.ones_like(total), 1 / total, self.across * (own / total)[:, None]][usable]
        return columns, weight[usable], left[usable], total, usable

    def _other(self, total: np.ndarray, usable: np.ndarray, rad: float, up: float) -> np.ndarray:
        """How the log light rises with a second lamp's."""
        place = _OTHER_OUT_MM * np.array([np.cos(rad), np.sin(rad), np.tan(up)])
        return (np.nan_to_num(np.exp(log_light(self.base, place, self.at))) / total)[usable]

    @staticmethod
    def _gain(
        columns: np.ndarray, weight: np.ndarray, left: np.ndarray, other: np.ndarray
    ) -> tuple[float, float]:
        """Fall of chi square by a second lamp, and its strength; (0, 0) where it would take light away."""
        prior = np.diag([1e-3, 1e-3, 1 / LOBE_SIGMA**2, 1 / LOBE_SIGMA**2, 0.0])
        both = np.c_[columns, other] * weight[:, None]
        costs = []
        for use in (slice(0, 4), slice(0, 5)):
            a, p = both[:, use], prior[use, use]
            found = np.linalg.lstsq(a.T @ a + p, a.T @ left, rcond=None)[0]
            costs.append(((left - a @ found) ** 2).sum() + found @ p @ found)
        return (float(costs[0] - costs[1]), float(found[4])) if found[4] > 0 else (0.0, 0.0)
