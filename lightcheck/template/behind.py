"""Behind: how bright the light behind is at every place of the strip.

Where the daylight is wide its middle shows the light itself; narrower places borrow it from there, and
from the open background beside the template, through one smooth surface. Open background carries a
little more glow than a strip, so that it may differ from the strips by a constant of a few per cent.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from lightcheck.template.area import WIDE_PX, Cut
from lightcheck.template.flat import Flat

SPAN_MM = 300.0  # unit of place in the surface
PRIOR = (1.0, 0.4, 0.3, 0.3, 0.3, 0.03)  # level, x, y, x^2, x y, open background: shares of the level
POINT_SIGMA = 0.02  # of the level at one place, texture of the background
FULL_COUNT = 150.0  # points err together: more than so many count no more
OPEN_REACH_MM = 60.0  # open background counts less the further it lies from the strip
OPEN_PX = 10  # away from anything dark
UNEVEN, RAGGED = 0.35, 0.05  # share by which it may change along the strip, and be off the surface


@dataclass(frozen=True, slots=True, kw_only=True)
class Behind:
    """The surface. factors: (6,) of its terms.  cov: (6, 6).  ragged: rms of what is off it, a share.

    wide: whether some strip was wide enough to show the light itself.  steepest: most it changes along
    the strip, a share.
    """

    level: float
    factors: np.ndarray
    cov: np.ndarray
    ragged: float
    wide: bool
    steepest: float

    def at(self, places_mm: np.ndarray) -> np.ndarray:
        """(...,) light behind at (..., 2) places."""
        return self.level * (_terms(places_mm, 0.0) @ self.factors)

    def sigma(self, places_mm: np.ndarray) -> np.ndarray:
        """(...,) sigma of it as a share."""
        terms = _terms(places_mm, 0.0)
        spread = np.sqrt(np.einsum("...i,ij,...j->...", terms, self.cov, terms))
        return np.hypot(spread, 0.3 * self.ragged)

    @property
    def uneven(self) -> bool:
        """Whether it changes too much, or too raggedly, to be carried along the strip."""
        return self.steepest > UNEVEN or self.ragged > RAGGED


def _terms(places_mm: np.ndarray, outside: float) -> np.ndarray:
    x, y = np.moveaxis(np.asarray(places_mm) / SPAN_MM, -1, 0)
    return np.stack([np.ones_like(x), x, y, x * x, x * y, np.full_like(x, outside)], -1)


def open_background(flat: Flat, *, bright: float) -> np.ndarray:
    """(k, 3) x, y, light of open background, thinned out."""
    lit = (flat.light > 0.6 * bright).astype(np.uint8)
    lit = cv2.erode(lit, np.ones((2 * OPEN_PX + 1, 2 * OPEN_PX + 1), np.uint8), borderValue=0)
    rows, columns = np.nonzero(lit[::8, ::8])
    light = flat.light[::8, ::8][rows, columns]
    return np.stack([flat.x_mm[::8][columns], flat.y_mm[::8][rows], light], -1)


def in_strip(cut: Cut) -> np.ndarray:
    """(k, 3) x, y, light from the middle of strips that are wide enough."""
    rim = WIDE_PX / 2 * cut.mm_per_px
    u, width = cut.across_mm[None], np.nan_to_num(cut.width_mm)[:, None]
    middle = (u > rim) & (u < width - rim) & np.isfinite(cut.light)
    middle |= (np.abs(u - width / 2) <= cut.mm_per_px / 4) & (width > 2 * rim) & np.isfinite(cut.light)
    at = np.nonzero(middle)
    return np.c_[cut.places_mm()[at], cut.light[at]][:: max(1, len(at[0]) // 20000)]


def surface(strip: np.ndarray, beside: np.ndarray, cut: Cut) -> Behind:
    """Fit the surface to (k, 3) places in the strip and (l, 3) beside it."""
    wide = len(strip) > 20
    level = float(np.median(strip[:, 2] if wide else beside[:, 2]))
    near = _near(beside, cut)
    weight = np.r_[_share(np.ones(len(strip))), _share(near) * (0.5 if wide else 1.0)]
    terms = np.r_[_terms(strip[:, :2], 0.0), _terms(beside[:, :2], 1.0)]
    value = np.r_[strip[:, 2], beside[:, 2]] / level
    prior = np.diag(1 / np.square(PRIOR))
    mean = np.eye(6)[0]
    robust = np.ones(len(value))
    for _ in range(6):
        normal = terms.T @ (terms * (weight * robust)[:, None]) / POINT_SIGMA**2 + prior
        factors = np.linalg.solve(normal, terms.T @ (weight * robust * value) / POINT_SIGMA**2 + prior @ mean)
        off = value - terms @ factors
        robust = 1 / (1 + (off / (3 * POINT_SIGMA)) ** 2)
    line = level * (_terms(cut.edge_mm, 0.0) @ factors)
    return Behind(
        level=level,
        factors=factors,
        cov=np.linalg.inv(normal),
        ragged=float(np.sqrt(np.average(off[: len(strip)] ** 2))) if wide else POINT_SIGMA,
        wide=wide,
        steepest=float((line.max() - line.min()) / line.max()),
    )


def _near(beside: np.ndarray, cut: Cut) -> np.ndarray:
    """Weight of open background by its distance from the strip."""
    if not len(beside):
        return np.zeros(0)
    x = np.clip(beside[:, 0], cut.edge_mm[0, 0], cut.edge_mm[-1, 0])
    y = np.interp(x, cut.edge_mm[:, 0], cut.edge_mm[:, 1])
    away = np.hypot(beside[:, 0] - x, beside[:, 1] - y)
    return 1 / (1 + (away / OPEN_REACH_MM) ** 2) ** 2


def _share(weight: np.ndarray) -> np.ndarray:
    """Weights whose sum is no more than what so many independent points are worth."""
    return weight * min(1.0, FULL_COUNT / max(weight.sum(), 1e-9))
