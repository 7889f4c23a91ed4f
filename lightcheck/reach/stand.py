"""Stand: where to put the lamp."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.reach.contrast import contrast, shadow_height_mm
from lightcheck.reach.evidence import Evidence
from lightcheck.reach.limit import SURE

OUT_PER_PATCH = 1.5  # then near and far end are lit 8 to 1, which a phone takes in one photo
WIDEST_SPAN = 27.0  # light of the near end over the far end: beyond, one of them is burnt out or black
ELEVATION_RANGE_RAD = (np.radians(3.0), np.radians(12.0))  # of a raking lamp, from the middle
BEST_RAD = np.radians(7.5)  # no higher than this where there is a choice
LOWEST_UP_MM = 40.0  # a bulb and its shade lie no lower
EASY = 1.5  # times the detection limit, to be seen with ease
DEPTH_SHARE = 1.5  # length of a usual patch over its depth
NARROWEST_MM = 15.0  # nothing narrower is a hump


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """Where to put the lamp, on one side and then the other, for a hump of see_mm across across_mm.

    out_mm, up_mm: as in a lamp spec, from the middle of the patch.  lowest_mm, highest_mm: range of up
    in which the hump is told.  least_mm: detection limit with the lamp at up_mm.
    elevation_rad, contrast: (3,) at the near end, the middle and the far end.  span: light of the near
    end over the far end.  shadow_mm: height from which a hump of this width hides its own back at the
    far end.
    """

    see_mm: float
    across_mm: float
    patch_mm: float
    out_mm: float
    up_mm: float
    lowest_mm: float
    highest_mm: float
    least_mm: float
    elevation_rad: np.ndarray
    contrast: np.ndarray
    span: float
    shadow_mm: float

    @property
    def set_mm(self) -> tuple[int, int]:
        """Out and up as a tape is set: to 10 and 5 mm, no lower than will do."""
        return 10 * round(self.out_mm / 10), 5 * max(int(np.ceil(self.lowest_mm / 5)), round(self.up_mm / 5))


def stand(*, see_mm: float, across_mm: float, patch_mm: float, out_mm: float | None = None) -> Stand:
    """Height and distance for an opposed pair that shows a hump with ease, as high as that allows.

    A higher lamp lights more evenly and hides less; a lower one shows more. out_mm: fixed distance, from
    the middle of the patch. Refuses what no lamp of 3 degrees or more shows, and a lamp over the patch.
    """
    out = OUT_PER_PATCH * patch_mm if out_mm is None else out_mm
    _refuse_odd(see_mm, across_mm, patch_mm, out)
    low, high = (out * np.tan(e) for e in ELEVATION_RANGE_RAD)
    low = max(low, LOWEST_UP_MM)
    ups = np.geomspace(low, max(high, low + 1), 7)
    limits = np.array([_least_mm(out, up, patch_mm, across_mm) for up in ups])
    if see_mm < limits[0]:
        raise LightcheckError(
            f"No lamp over this patch shows {see_mm:g} mm across {across_mm:.0f} mm: the least height "
            f"that can be told at that width is {limits[0]:.2g} mm.",
            "Look for a higher or a narrower hump, or lay a batten or a template on the wood instead.",
        )
    up = min(float(np.interp(see_mm / EASY, limits, ups)), max(out * np.tan(BEST_RAD), low))
    places = np.array([out - patch_mm / 2, out, out + patch_mm / 2])
    shown = [contrast(height_mm=see_mm, width_mm=across_mm, lamp_mm=(-d, 0.0, up)) for d in places]
    elevation = np.arctan2(up, places)
    return Stand(
        see_mm=see_mm,
        across_mm=across_mm,
        patch_mm=patch_mm,
        out_mm=float(out),
        up_mm=up,
        lowest_mm=float(low),
        highest_mm=float(np.interp(see_mm, limits, ups)),
        least_mm=float(np.interp(up, ups, limits)),
        elevation_rad=frozen(elevation),
        contrast=frozen(shown),
        span=float((np.hypot(places[2], up) / np.hypot(places[0], up)) ** 3),
        shadow_mm=float(shadow_height_mm(width_mm=across_mm, elevation_rad=elevation[2])),
    )


def _refuse_odd(see_mm: float, across_mm: float, patch_mm: float, out_mm: float) -> None:
    if not NARROWEST_MM <= across_mm <= patch_mm / DEPTH_SHARE:
        raise LightcheckError(
            f"A hump {across_mm:.0f} mm across does not fit what can be mapped on {patch_mm:.0f} mm.",
            f"Give --across from {NARROWEST_MM:.0f}mm to {patch_mm / DEPTH_SHARE:.0f}mm, or more --patch.",
        )
    if see_mm > across_mm / 10:
        raise LightcheckError(
            f"{see_mm:g} mm across {across_mm:.0f} mm is a step, not a hump: no lamp is needed to find it.",
            "Give the least height that you want to see, such as --see 0.1mm --across 60mm.",
        )
    nearest = out_mm - patch_mm / 2
    if nearest <= 0 or ((out_mm + patch_mm / 2) / nearest) ** 3 > WIDEST_SPAN:
        raise LightcheckError(
            f"At {out_mm:.0f} mm from the middle the lamp is too near to a patch of {patch_mm:.0f} mm: "
            "the near end burns out while the far end is black.",
            f"Set it {patch_mm:.0f} mm away or more, best {OUT_PER_PATCH * patch_mm:.0f} mm.",
        )


def _least_mm(out: float, up: float, patch: float, width: float) -> float:
    """Detection limit of an opposed pair on a patch of usual shape. [mm]"""
    places = [[-out, 0, up], [out, 0, up]]
    sheet = Evidence(np.array(places, float), (patch, patch / DEPTH_SHARE), 0.0)
    return SURE * sheet.sigma_mm(max(width, 4 * sheet.cell_mm), np.zeros(2))
