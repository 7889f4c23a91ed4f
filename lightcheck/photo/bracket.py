"""Bracket: the response of a phone from two or more exposures of one unmoved scene.

With h the curve from decoded to true light, both as logarithms, a place seen in two exposures tells

    h(light in one) - h(light in the other) = log(exposure of one / exposure of the other)

whatever its true light is. h is the integral of a slope that is straight between knots and near 1; all
pairs are solved together by least squares. The exposures are what the phone wrote, rounded as it writes
them: their sigma is a scale common to all and goes into that of the slope.

The same idea, for single coded values and without a sigma, is Debevec and Malik, SIGGRAPH 1997.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.photo.product import Photo
from lightcheck.photo.slope import LogSlope, hats, left_out

KNOT_LOG = 0.5  # from knot to knot of the slope
SLOPE_SIGMA, BEND_SIGMA = 0.5, 0.25  # of the slope about 1, and of its change at a knot: own estimate
EXPOSURE_SIGMA = 0.02  # of the logarithm of an exposure as written (1/33 for 1/32 s): own estimate
_LEAST_RATIO = 1.3  # exposures nearer than this tell little more than noise
_BLOCK_PX = 16  # places are means of blocks so large
_EVEN = 0.1  # and kept where they are so even, as a share of their mean
_LEAST_BLOCKS, _LEAST_SPAN = 60, 0.7
_NOISE = 0.01  # of the logarithm of the light of a block: own estimate
_ROUNDS = 8


def response(photos: tuple[Photo, ...], *, exposures: tuple[float, ...] | None = None) -> LogSlope:
    """The slope of the response over the light that the scene spans.

    exposures: relative, where they are known better than the phone wrote them. Refuses fewer than two
    photos, photos that do not fit over each other, exposures that are not known or too much alike, and
    a scene that spans too little light.
    """
    given = _exposures(photos, exposures)
    rows = [_pair(photos[i], photos[j], np.log(given[i] / given[j])) for i, j in _pairs(given)]
    first, second, ratio = (np.concatenate(column) for column in zip(*rows, strict=True))
    every = np.concatenate([first, second])
    if len(first) < _LEAST_BLOCKS or np.ptp(every) < _LEAST_SPAN:
        raise LightcheckError(
            "The bracket shows too little: few even places, or all of much the same light.",
            "Photograph wood under the raking lamp, where it is bright on one side and dark on the other.",
        )
    knots = np.linspace(every.min(), every.max(), max(3, int(np.ceil(np.ptp(every) / KNOT_LOG)) + 1))
    return _solved(knots, hats(first, knots) - hats(second, knots), ratio)


def _exposures(photos: tuple[Photo, ...], exposures) -> tuple[float, ...]:
    if len(photos) < 2:
        raise LightcheckError(
            "A bracket needs two or more photos.", "Take the same picture twice with other exposures."
        )
    if len({p.size_px for p in photos}) > 1:
        raise LightcheckError(
            "The photos of the bracket are not of one size.",
            "Clamp the phone, leave everything as it is, and change the exposure only.",
        )
    given = exposures or tuple(p.facts.gain for p in photos)
    unknown = next((p.name for p, e in zip(photos, given, strict=True) if not e or e <= 0), None)
    if unknown:
        raise LightcheckError(
            f"{unknown} does not say its exposure.",
            "Send the photos as files, so that the phone's notes stay.",
        )
    if np.ptp(np.log(given)) < np.log(_LEAST_RATIO):
        raise LightcheckError(
            "The exposures of the bracket are too much alike.",
            "Take one at half the light or less: two clicks darker on the phone.",
        )
    return given


def _pairs(exposures: tuple[float, ...]) -> list[tuple[int, int]]:
    """Pairs of photos whose exposures differ enough."""
    return [
        (i, j)
        for i, j in combinations(range(len(exposures)), 2)
        if abs(np.log(exposures[i] / exposures[j])) > np.log(_LEAST_RATIO)
    ]


def _pair(one: Photo, other: Photo, ratio: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Log light in two photos of the blocks that are even and whole in both, and the log ratio for each."""
    (a, even_a), (b, even_b) = _blocks(one), _blocks(other)
    kept = even_a & even_b
    return np.log(a[kept]), np.log(b[kept]), np.full(int(kept.sum()), ratio)


def _blocks(photo: Photo) -> tuple[np.ndarray, np.ndarray]:
    """Mean light of square blocks, and which of them are even and have lost nothing."""
    high, wide = (n // _BLOCK_PX * _BLOCK_PX for n in photo.light.shape)

    def cut(values: np.ndarray) -> np.ndarray:
        shape = (high // _BLOCK_PX, _BLOCK_PX, wide // _BLOCK_PX, _BLOCK_PX)
        return values[:high, :wide].reshape(shape).swapaxes(1, 2).reshape(shape[0], shape[2], -1)

    light = cut(photo.light).astype(float)
    mean = light.mean(axis=-1)
    even = (light.std(axis=-1) < _EVEN * mean) & ~cut(photo.spoilt).any(axis=-1) & (mean > 0)
    return mean, even


def _solved(knots: np.ndarray, basis: np.ndarray, ratio: np.ndarray) -> LogSlope:
    """Least squares with the priors; places that do not fit (something moved) count for less."""
    count = len(knots)
    bend = np.diff(np.eye(count), 2, axis=0)
    prior = np.eye(count) / SLOPE_SIGMA**2 + bend.T @ bend / BEND_SIGMA**2
    pull = np.full(count, SLOPE_SIGMA**-2.0)
    slope = np.full(count, 1 / np.median(basis.sum(axis=1) / ratio))  # one slope, for most places
    for _ in range(_ROUNDS):
        off = basis @ slope - ratio
        spread = max(1.4826 * float(np.median(np.abs(off))), 0.1 * _NOISE)
        weight = 1 / (1 + (off / (3 * spread)) ** 2) ** 2
        heavy = basis * (weight / _NOISE**2)[:, None]
        slope = np.linalg.solve(heavy.T @ basis + prior, heavy.T @ ratio + pull)
    cov = np.linalg.inv((basis * (weight / max(spread, _NOISE) ** 2)[:, None]).T @ basis + prior)
    scale = np.sqrt(2) * EXPOSURE_SIGMA / np.abs(ratio).max()  # of every slope alike
    sigma = np.sqrt(np.diag(cov) + (scale * slope) ** 2 + left_out(slope) ** 2)
    return LogSlope(light_log=frozen(knots), slope=frozen(slope), sigma=frozen(sigma))
