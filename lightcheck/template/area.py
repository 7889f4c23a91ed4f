"""Area: daylight square to the edge, from the light that comes through it.

            template  |  daylight  |  wood
    light  ___dark____|            |____dark___      share = (light - dark) / (bright - dark)
                      |~~~~~~~~~~~~|                 daylight = sum of the share across it
                       ^ edge                        edge = middle of the light less half of it

The sum does not care how far the lens smeared the light, as long as none is lost, so that a strip of half
a pixel is measured as truly as one of twenty. Dark is read on each side of the strip for itself (room
light, glow), and goes from the one to the other in a straight line between them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d, median_filter

from lightcheck.template.curve import Curve
from lightcheck.template.flat import Plane, sample

STATION_MM = 0.5
REACH_PX = 6.0  # to each side of an edge, within which the lens smears it
DARK_PX = 8.0  # width of the place where dark is read
FINE = 4  # samples to a pixel
DARK_ALONG_MM = 3.0  # dark levels are smoothed by this along the edge
WIDE_PX = 9.0  # from here on the middle of the strip shows the light behind, not smeared


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """Profiles square to the edge at n stations, m samples each.

    across_mm: (m,) from the edge towards the wood.  light: (n, m), NaN beyond the picture.
    width_mm: (n,) rough width of the strip, 0 where none was seen, NaN where it did not end.
    """

    x_mm: np.ndarray
    along_mm: np.ndarray
    edge_mm: np.ndarray
    down: np.ndarray
    across_mm: np.ndarray
    light: np.ndarray
    width_mm: np.ndarray
    mm_per_px: float

    @property
    def reach_mm(self) -> float:
        """How far an edge is smeared. [mm]"""
        return REACH_PX * self.mm_per_px

    def places_mm(self) -> np.ndarray:
        """(n, m, 2) where the samples lie on the plane."""
        return self.edge_mm[:, None] + self.down[:, None] * self.across_mm[None, :, None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sum:
    """What the sums give at n stations.

    width_mm: daylight before any correction.  edge_mm: of the true edge from the curve, towards the wood.
    dark: (n, 2) levels of template and wood.  share: (n, m).  dark_sigma: (n,) of a level, as a share.
    """

    width_mm: np.ndarray
    edge_mm: np.ndarray
    dark: np.ndarray
    share: np.ndarray
    dark_sigma: np.ndarray


def cut(picture: np.ndarray, plane: Plane, curve: Curve, *, deepest_mm: float) -> Cut:
    """Sample the photo square to the edge; deepest_mm: how far to look for the wood."""
    pitch = plane.mm_per_px
    rim = (REACH_PX + DARK_PX + 1) * pitch
    x, along = curve.stations(STATION_MM)
    across = np.arange(-rim, deepest_mm + rim, pitch / FINE)
    edge, down = curve.points(x), curve.down(x)
    light = sample(picture, plane, edge[:, None] + down[:, None] * across[None, :, None])
    return Cut(
        x_mm=x, along_mm=along, edge_mm=edge, down=down, across_mm=across, light=light,
        width_mm=np.zeros(len(x)), mm_per_px=pitch,
    )  # fmt: skip


def rough_width(cut: Cut, bright: np.ndarray, dark: float) -> np.ndarray:
    """(n,) from the edge to where the light ends: 0 where there is none, NaN where it does not end.

    bright: (n,) light behind at each station.  dark: typical level of the template.
    """
    pitch, m = cut.mm_per_px, len(cut.across_mm)
    share = (cut.light - dark) / (bright[:, None] - dark)
    lit = gaussian_filter1d(np.nan_to_num(share, nan=1.0), FINE / 2, axis=1) > 0.3
    near = np.abs(cut.across_mm) < 2.5 * pitch
    seen = lit[:, near].any(axis=1)
    start = np.argmax(lit & (cut.across_mm > -2.5 * pitch), axis=1)
    calm = round(4 * FINE)  # dark for so long is the wood, not a shadow in the light
    ends = ~lit
    run = np.cumsum(np.pad(ends, ((0, 0), (0, calm)), constant_values=True), axis=1)
    all_dark = (run[:, calm:] - run[:, :-calm]) == calm
    after = all_dark & (np.arange(m)[None] > start[:, None])
    last = np.where(after.any(axis=1), np.argmax(after, axis=1), m - 1)
    width = np.where(last < m - 2, cut.across_mm[last] + pitch / FINE, np.nan)
    return np.where(seen, np.maximum(width, 0), 0.0)


def dark_levels(cut: Cut) -> tuple[np.ndarray, np.ndarray]:
    """(n, 2) light of template and of wood beside the strip, and (n,) how unsteady they are."""
    reach, band = cut.reach_mm, DARK_PX * cut.mm_per_px
    width = np.nan_to_num(cut.width_mm)[:, None]
    u = cut.across_mm[None]
    sides = [(u < -reach) & (u > -reach - band), (u > width + reach) & (u < width + reach + band)]
    levels, spread = [], []
    for side in sides:
        inside = np.where(side, cut.light, np.nan)
        with np.errstate(all="ignore"):
            level = _median(inside)
        levels.append(_along(level))
        spread.append(np.abs(level - levels[-1]))
    unsteady = gaussian_filter1d(np.hypot(*np.nan_to_num(spread)), 10, mode="nearest")
    return np.stack(levels, -1), unsteady


def _median(rows: np.ndarray) -> np.ndarray:
    """Median of each row without its NaN; NaN where it has no others."""
    result = np.full(len(rows), np.nan)
    some = np.isfinite(rows).any(axis=1)
    result[some] = np.nanmedian(rows[some], axis=1)
    return result


def _along(level: np.ndarray) -> np.ndarray:
    """Levels steadied along the edge; NaN stays."""
    seen = np.isfinite(level)
    if not seen.any():
        return level
    filled = np.interp(np.arange(len(level)), np.flatnonzero(seen), level[seen])
    steps = DARK_ALONG_MM / STATION_MM
    steady = gaussian_filter1d(median_filter(filled, 5, mode="nearest"), steps, mode="nearest")
    return np.where(seen, steady, np.nan)


def sums(cut: Cut, bright: np.ndarray) -> Sum:
    """Sum the share of light across the strip. bright: (n, m) light behind, at every sample."""
    dark, unsteady = dark_levels(cut)
    reach, u = cut.reach_mm, cut.across_mm[None]
    width = np.nan_to_num(cut.width_mm)[:, None]
    way = np.clip((u + reach) / (width + 2 * reach), 0, 1)
    below = dark[:, :1] * (1 - way) + dark[:, 1:] * way
    share = (cut.light - below) / (bright - below)
    within = (u >= -reach) & (u <= width + reach)
    share = np.where(within, share, 0.0)
    step = cut.mm_per_px / FINE
    total = share.sum(axis=1) * step
    with np.errstate(all="ignore"):
        middle = (share * u).sum(axis=1) * step / total
        upper = np.where(u < middle[:, None], share, 0.0).sum(axis=1) * step
    total = np.where(np.isnan(cut.width_mm), np.nan, total)
    scale = np.nanmedian(bright, axis=1)
    return Sum(width_mm=total, edge_mm=middle - upper, dark=dark, share=share, dark_sigma=unsteady / scale)
