"""Gauge: what templates say of the lamps' heights, and the relief that hangs on them.

Photos alone do not tell how high the lamps stood: half the height, half of every hump. Along a
template's line the wood's form is known, so the relief from light alone is set against it there:

    reading  =  factor x relief + lift + rock + slide,    errors of both counted, wave by wave

Left to the solve itself the factor would follow the prior: with one on heights the lamps sink, with one
on heights over the factor they rise wherever the template holds a long wave that light hardly shows.
A tape is read well nearly always and badly now and then, and the prior of the factor says so. Places of
a template that no factor can reconcile with the light lose weight: it stood elsewhere, or a chip lay there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import map_coordinates

from lightcheck.grid import frozen
from lightcheck.lamp import Lamp
from lightcheck.patch import Patch
from lightcheck.relief.hold import Hold
from lightcheck.relief.product import LampFound, Relief
from lightcheck.relief.solve import MOST_HEIGHT_DOUBT, solve
from lightcheck.response import Response

BLUNDER_SIGMA, BLUNDER_SHARE = 0.25, 0.5  # of a height misread, and how often: own estimate
FACTORS = np.exp(np.linspace(np.log(0.4), np.log(2.5), 111))
ROUNDS, ROBUST = 4, 3.0  # of judging the places; sigmas beyond which one loses weight
LEAST_TRUST, NO_TRUST = 0.5, 1e-6  # a template that belongs nowhere is not followed at all
SPECKLE = 0.3  # share of the draws' covariance taken without its cross terms: 64 draws know no more


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauge:
    """Factor of the lamps' heights as typed, its sigma, and the holds with their places judged."""

    factor: float
    sigma: float
    holds: tuple[Hold, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Along:
    """Readings (k,) and the relief from light alone there, (k,) and its covariance (k, k).

    seat: (k, 3 h) in sigmas.  owner, place: (k,) which hold and which of its places.
    """

    reading: np.ndarray
    sigma: np.ndarray
    relief: np.ndarray
    cov: np.ndarray
    seat: np.ndarray
    owner: np.ndarray
    place: np.ndarray


def hang(
    patch: Patch, lamps: tuple[Lamp, ...], holds: tuple[Hold, ...], response: Response | None = None
) -> tuple[Relief, Relief]:
    """(relief hung on the templates, relief from light alone), from three solves."""
    alone = solve(patch, lamps, response=response)
    found = gauge(alone, lamps, holds)
    hung = solve(patch, _raised(lamps, found.factor), holds=found.holds, response=response)
    higher = _raised(lamps, found.factor + found.sigma)
    beside = solve(patch, higher, holds=found.holds, response=response)
    doubt = np.random.default_rng(1).standard_normal((len(hung.draws_mm), 1, 1))
    return replace(
        hung,
        draws_mm=frozen(hung.draws_mm + doubt * (beside.z_mm - hung.z_mm), np.float32),
        lamps=tuple(_with_doubt(lamp, found) for lamp in hung.lamps),
        height_factor=found.factor,
        height_factor_sigma=found.sigma,
    ), alone


def gauge(alone: Relief, lamps: tuple[Lamp, ...], holds: tuple[Hold, ...]) -> Gauge:
    """Factor of the lamps' heights, mean and sigma of its posterior, and which places belong."""
    along, prior = _along(alone, holds), np.log(_prior(lamps))
    trust = np.ones(len(along.reading))
    for _ in range(ROUNDS):
        mean, sigma = _factor(along, trust, prior)
        trust = 1 / (1 + (_off(along, mean, trust) / ROBUST) ** 2)
    for number in range(len(holds)):
        mine = along.owner == number
        if mine.any() and trust[mine].mean() < LEAST_TRUST:
            trust[mine] = NO_TRUST
    mean, sigma = _factor(along, trust, prior)
    judged = []
    for number, hold in enumerate(holds):
        mine, all_ = along.owner == number, np.ones(len(hold.x_mm))
        all_[along.place[mine]] = trust[mine]
        judged.append(replace(hold, trust=frozen(all_)))
    return Gauge(factor=mean, sigma=sigma, holds=tuple(judged))


def _factor(along: _Along, trust: np.ndarray, prior: np.ndarray) -> tuple[float, float]:
    """Mean and sigma of the factor's posterior."""
    logs = prior + [_log_likelihood(along, k, trust) for k in FACTORS]
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    mean = float(weight @ FACTORS)
    return mean, float(np.sqrt(weight @ (FACTORS - mean) ** 2))


def _along(alone: Relief, holds: tuple[Hold, ...]) -> _Along:
    """What is known along the lines, at places that lie on the patch."""
    at = [alone.grid.index(h.x_mm, h.y_mm) for h in holds]
    row, column = (np.concatenate(c) for c in zip(*at, strict=True))
    sheets = np.concatenate([alone.z_mm[None], alone.draws_mm])
    values = np.array([map_coordinates(s, [row, column], order=1, cval=np.nan) for s in sheets])
    sizes = [len(h.x_mm) for h in holds]
    owner = np.repeat(np.arange(len(holds)), sizes)
    seat = np.zeros((len(row), 3 * len(holds)))
    for number, hold in enumerate(holds):
        seat[owner == number, 3 * number : 3 * number + 3] = hold.seat * hold.seat_sigma
    on = np.isfinite(values).all(axis=0)
    spread = values[1:, on] - values[0, on]
    cov = spread.T @ spread / len(spread)
    return _Along(
        reading=np.concatenate([h.reading_mm for h in holds])[on],
        sigma=np.concatenate([h.sigma_mm for h in holds])[on],
        relief=values[0, on],
        cov=(1 - SPECKLE) * cov + SPECKLE * np.diag(np.diag(cov)),
        seat=seat[on],
        owner=owner[on],
        place=np.concatenate([np.arange(n) for n in sizes])[on],
    )


def _cov(along: _Along, trust: np.ndarray) -> np.ndarray:
    """(k, k) of the readings less the relief, but for the seats.

    The same for every factor: draws are wider than the errors, and to let them grow with the factor
    would favour small ones.
    """
    return along.cov + np.diag(along.sigma**2 / trust)


def _off(along: _Along, factor: float, trust: np.ndarray) -> np.ndarray:
    """(k,) in sigmas: readings less the relief, with the templates seated as well as they can be."""
    left = along.reading - factor * along.relief
    cov = _cov(along, trust)
    weighed = np.linalg.solve(cov, along.seat)
    seat = np.linalg.solve(np.eye(along.seat.shape[1]) + along.seat.T @ weighed, weighed.T @ left)
    return (left - along.seat @ seat) / np.sqrt(np.diag(along.cov) + along.sigma**2)


def _log_likelihood(along: _Along, factor: float, trust: np.ndarray) -> float:
    root = np.linalg.cholesky(_cov(along, trust) + along.seat @ along.seat.T)
    white = np.linalg.solve(root, along.reading - factor * along.relief)
    return float(-white @ white / 2 - np.log(np.diag(root)).sum())


def _prior(lamps: tuple[Lamp, ...]) -> np.ndarray:
    """Of FACTORS: read as well as was typed, or now and then badly."""
    shares = [np.sqrt(a.cov_mm2[2, 2]) / a.place_mm[2] for a in lamps if a.kind == "lamp"]
    usual = max(MOST_HEIGHT_DOUBT, float(np.mean(shares)) if shares else 0.0)
    log = np.log(FACTORS)
    bells = [np.exp(-((log / s) ** 2) / 2) / s for s in (usual, max(usual, BLUNDER_SIGMA))]
    return (1 - BLUNDER_SHARE) * bells[0] + BLUNDER_SHARE * bells[1]


def _raised(lamps: tuple[Lamp, ...], factor: float) -> tuple[Lamp, ...]:
    """The same lamps with their heights times a factor."""
    rise = np.array([1.0, 1.0, factor])
    return tuple(replace(a, place_mm=frozen(a.place_mm * rise)) if a.rakes else a for a in lamps)


def _with_doubt(lamp: LampFound, found: Gauge) -> LampFound:
    """A lamp with the doubt of the factor in its height."""
    if lamp.kind not in ("lamp", "far"):
        return lamp
    more = np.array([0.0, 0.0, lamp.place_mm[2] * found.sigma / found.factor])
    return replace(lamp, sigma_mm=frozen(np.hypot(lamp.sigma_mm, more)))
