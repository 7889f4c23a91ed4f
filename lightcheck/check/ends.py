"""Ends: grey strips at both ends of a patch set against each other.

A phone that evens the light out place by place answers otherwise at one end than at the other. All
strips are of one print, so what the black lines take from the light is the same on each, and only the
phone can make it more or less. What it does to the strips it does to the lamp's own fall-off too, and
that looks like a long, low hump.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lightcheck.card import Sighting, grey, tone
from lightcheck.check.finding import AMBER, Finding, height_of_light
from lightcheck.errors import LightcheckError
from lightcheck.photo import Photo
from lightcheck.photo.slope import LogSlope, hats

LEAST_APART, SURE = 0.03, 2.0  # share of the contrast, and sigmas, from which it is told
PRINTS_APART = 0.01  # of the contrast of two strips of one print: own estimate
FALL_OFF_LOG = 0.5  # light falls off by about a unit of its logarithm; half of it bends: own estimate
_LEAST_LOG = -0.1  # of a patch against paper: bare paper tells nothing
_FACTOR_SIGMA = 0.2  # of a card's factor about 1: own estimate


def ends(photos: tuple[Photo, ...], sightings: tuple[tuple[Sighting, ...], ...]) -> Iterator[Finding]:
    """Local tone mapping, where strips on two cards or more disagree."""
    strips = [
        one
        for photo, seen in zip(photos, sightings, strict=True)
        if photo.kind != "raw"
        for one in grey.find(photo, seen)
    ]
    if len({s.card for s in strips}) < 2:
        return
    try:
        curve = tone.response(tuple(strips))
    except LightcheckError:
        return
    apart, sigma = contrast_apart(strips, curve)
    if apart < max(LEAST_APART, SURE * sigma):
        return
    yield Finding(
        name="local tone mapping", severity=AMBER, sigma_mm=height_of_light(apart * FALL_OFF_LOG),
        what=f"The grey strips disagree by {apart:.0%} of their contrast from one end to the other: the "
        "phone evens out the light place by place, and that bends heights.",
        remedy="Turn HDR and automatic improvement off, or use raw.",
    )  # fmt: skip


def contrast_apart(strips: list[grey.Strip], curve: LogSlope) -> tuple[float, float]:
    """Largest difference of the strips' contrast from card to card, as a share of it, and its sigma.

    Each patch's contrast is what its print takes, the same on every strip, times a factor of its card;
    what the curve may still be off is solved for along with it, or it would take the difference up.
    """
    owners = np.array([s.card for s in strips])
    cards = np.unique(owners)
    contrasts, sigmas = np.array([_contrast(s, curve) for s in strips]), np.array([s.sigma for s in strips])
    usual = np.nanmedian(np.where(np.isfinite(contrasts), contrasts, 0.0), axis=0)
    rows = np.isfinite(contrasts) & (usual < _LEAST_LOG)
    shot, patch = np.nonzero(rows)
    bend = np.array([hats(s.light_log, curve.light_log) - hats(s.paper_log, curve.light_log) for s in strips])
    prints = (patch[:, None] == np.arange(len(usual))).astype(float)
    factors = -usual[patch, None] * (owners[shot, None] == cards)
    matrix = np.hstack([bend[rows], -prints, factors]) / sigmas[rows][:, None]
    room = np.repeat([1 / tone.SLOPE_SIGMA, 1e-3, 1 / _FACTOR_SIGMA], [bend.shape[2], len(usual), len(cards)])
    cov = np.linalg.inv(matrix.T @ matrix + np.diag(room**2))
    target = (usual[patch] - contrasts[rows]) / sigmas[rows]
    factor, own = (v[-len(cards) :] for v in (cov @ (matrix.T @ target), cov))
    high, low = int(np.argmax(factor)), int(np.argmin(factor))
    own = own[:, -len(cards) :]
    square = own[high, high] + own[low, low] - 2 * own[high, low]
    return float(factor[high] - factor[low]), float(np.sqrt(square + 2 * PRINTS_APART**2))


def _contrast(one: grey.Strip, curve: LogSlope) -> np.ndarray:
    """(8,) log of true light of the patches against the paper beside them."""
    parts = np.exp(curve.true_log(np.log(one.parts)))
    return np.log(parts.mean(axis=1)) - curve.true_log(one.paper_log)
