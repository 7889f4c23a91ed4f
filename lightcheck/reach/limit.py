"""Limit: the least height that can be told, as a curve over width."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.grid import frozen
from lightcheck.reach.contrast import shadow_height_mm
from lightcheck.reach.evidence import Evidence

# A patch has room for some hundred humps, so 2 or 3 sigmas come up by chance. Made-up boards under a
# pair: nothing false over 3 sigmas, and chances in the list pass 0.9 between 4 and 6.
SURE = 4.0
WIDTHS_MM = (30.0, 40.0, 60.0, 80.0, 100.0, 150.0, 200.0, 300.0, 400.0, 500.0, 600.0)
LISTED_MM = 60.0  # at the foot, twice the width at half height: narrower marks are a plane's tracks
_PLACES = ((0.0, 0.0), (-0.25, 0.0), (0.25, 0.0), (0.0, -0.25), (0.0, 0.25))  # of the patch's size


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """Detection limit of the lamps that were used.

    width_mm: (n,) of a round hump at its foot.  least_mm: (n,) height that stands out by 4 sigma at the
    middle.  worst_mm: the same at the worst of places half-way to the edges.  shadow_mm: (n,) height from
    which such a hump hides its own back from the lowest light on the patch; inf without a raking lamp.
    """

    width_mm: np.ndarray
    least_mm: np.ndarray
    worst_mm: np.ndarray
    shadow_mm: np.ndarray

    def least_at(self, width_mm: float) -> float:
        """Least height for one width, between those worked out; inf beyond them. [mm]"""
        if not self.width_mm[0] <= width_mm <= self.width_mm[-1]:
            return float("inf")
        logs = np.interp(np.log(width_mm), np.log(self.width_mm), np.log(self.least_mm))
        return float(np.exp(logs))


def limits(places_mm, *, patch_mm: tuple[float, float], noise: float = 0.0, widths_mm=WIDTHS_MM) -> Reach:
    """Detection limit for lamps at these places.

    places_mm: (s, 3), one per shot, the phone's own light included.  patch_mm: size along x and y.
    noise: scatter of log light in a unit cell beyond what is always allowed for.
    """
    places = np.atleast_2d(np.asarray(places_mm, float))
    sheet = Evidence(places, patch_mm, noise)
    widths = np.array([w for w in widths_mm if 4 * sheet.cell_mm <= w <= min(patch_mm)])
    spots = np.array(_PLACES) * patch_mm
    sigma = np.array([[sheet.sigma_mm(w, at) for at in spots] for w in widths])
    corners = np.array([[x, y] for x in (-0.5, 0.5) for y in (-0.5, 0.5)]) * patch_mm
    away = np.hypot(*(places[:, None, :2] - corners).transpose(2, 0, 1)).max(axis=1)
    lowest = float(np.arctan2(places[:, 2], away).min())
    return Reach(
        width_mm=frozen(widths),
        least_mm=frozen(SURE * sigma[:, 0]),
        worst_mm=frozen(SURE * sigma.max(axis=1)),
        shadow_mm=frozen(shadow_height_mm(width_mm=widths, elevation_rad=lowest)),
    )
