"""Tone: the response of a phone from the grey strips in its photos.

With h the curve from decoded to true light, both as logarithms, each patch gives one equation:

    h(patch) - h(paper) = log of the patch's light against paper, as printed

h is the integral of a slope that is straight between knots and near 1. Where the camera still sees the
lines, h is taken of the dark and the pale parts of a patch one by one.

A screen of lines, each black share a of its spacing p, is met by light twice: once going in through the
ink, once coming out, spread sideways in the paper in between (a Gaussian of sigma w; f_k = k / p):

    light / paper = (1 - c a)^2 + c^2 sum_k 2 (sin(pi k a) / (pi k))^2 exp(-2 (pi f_k w)^2)
    c = 1 - sqrt(black),     a = as drawn + 2 e / p

the two-way model of light in halftones, worked out for lines (for w >> p it is the square law of Yule
and Nielsen, J. TAGA 1951, n = 2; for w << p the area law of Murray and Davies, 1936; both from memory).
The edge's growth e, w and the black are solved together with the slope, and what they leave open is in
its sigma.
"""

from __future__ import annotations

import numpy as np

from lightcheck.card.grey import Strip
from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.photo.slope import LogSlope, hats, left_out

KNOT_LOG = 0.55  # from knot to knot of the slope
SLOPE_SIGMA, BEND_SIGMA = 0.25, 0.25  # of the slope about 1, and of its change at a knot: own estimate
EDGE_MM, EDGE_SIGMA_MM = 0.015, 0.015  # a line's edge spreads in printing: own estimate
SPREAD_MM, SPREAD_SIGMA_LOG = 0.07, 0.6  # of light in paper: own estimate
BLACK, BLACK_SIGMA_LOG = 0.05, 0.5  # of toner against paper: own estimate
_PRINT = np.array([EDGE_MM, np.log(SPREAD_MM), np.log(BLACK)])
_PRINT_SIGMA = np.array([EDGE_SIGMA_MM, SPREAD_SIGMA_LOG, BLACK_SIGMA_LOG])
_WAVES = 12  # of a line screen's square wave
PRINT_SIGMA = 0.004  # of the black share, from patch to patch: own estimate
_LEAST_STEPS = 5


def response(strips: tuple[Strip, ...]) -> LogSlope:
    """The slope of the response over the light that the strips span.

    All strips must be of one phone with one setting. Refuses where fewer than five patches were read.
    """
    from scipy.optimize import least_squares

    parts, paper, sigma, drawn, pitch = _steps(strips)
    knots = _knots(np.log(parts.mean(axis=1)), np.log(paper))
    basis = hats(np.log(parts), knots) - hats(np.log(paper), knots)[:, None]

    def misfit(unknown: np.ndarray) -> np.ndarray:
        edge, slope = unknown[0], unknown[3:]
        expected, by_area = _printed(drawn, pitch, edge, *np.exp(unknown[1:3]))
        off = np.log(np.exp(basis @ slope).mean(axis=1)) - expected
        return np.concatenate(
            [
                off / np.hypot(sigma, PRINT_SIGMA * by_area),
                (unknown[:3] - _PRINT) / _PRINT_SIGMA,
                (slope - 1) / SLOPE_SIGMA,
                np.diff(slope, 2) / BEND_SIGMA,
            ]
        )

    first = np.concatenate([_PRINT, np.ones(len(knots))])
    found = least_squares(misfit, first)
    cov = np.linalg.inv(found.jac.T @ found.jac)
    loose = max(1.0, float((found.fun[: len(paper)] ** 2).mean()))  # where the strips contradict themselves
    return LogSlope(
        light_log=frozen(knots),
        slope=frozen(found.x[3:]),
        sigma=frozen(np.sqrt(np.diag(cov)[3:] * loose + left_out(found.x[3:]) ** 2)),
    )


def _steps(strips: tuple[Strip, ...]) -> tuple[np.ndarray, ...]:
    """Parts (n, 16), paper, sigma, black share as drawn, spacing of lines (n,) of all patches read."""
    columns = [(s.parts, s.paper, s.sigma, s.coverage, s.pitch_mm) for s in strips]
    count = 0
    if columns:
        whole = tuple(np.concatenate(c) for c in zip(*columns, strict=True))
        kept = np.isfinite(whole[2]) & (whole[3] > 0)
        count = int(kept.sum())
    if count < _LEAST_STEPS:
        raise LightcheckError(
            f"Only {count} patches of grey strips could be read; a response needs {_LEAST_STEPS}.",
            "Keep the strips whole in the picture, sharp, neither burnt out nor in deep shadow.",
        )
    return tuple(w[kept] for w in whole)


def _knots(light_log: np.ndarray, paper_log: np.ndarray) -> np.ndarray:
    low, high = light_log.min(), paper_log.max()
    return np.linspace(low, high, max(3, int(np.ceil((high - low) / KNOT_LOG)) + 1))


def _printed(drawn: np.ndarray, pitch_mm: np.ndarray, edge_mm: float, spread_mm: float, black: float):
    """Log of a patch's light against paper, and how much it moves for each share of black area."""
    area = np.where(drawn < 1, np.clip(drawn + 2 * edge_mm / pitch_mm, 0, 0.995), 1.0)
    k = np.arange(1, _WAVES + 1)[:, None]
    lines = 2 * (np.sin(np.pi * k * area) / (np.pi * k)) ** 2
    passed = np.exp(-2 * (np.pi * k * spread_mm / pitch_mm) ** 2)
    taken = 1 - np.sqrt(black)  # by the ink, once on the way in
    light = (1 - taken * area) ** 2 + taken**2 * (lines * passed).sum(axis=0)
    return np.log(light), np.where(drawn < 1, 2 * taken * (1 - taken * area) / light, 0.0)
