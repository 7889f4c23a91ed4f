"""What can not be mapped is refused here, with what to do about it."""

from __future__ import annotations

import numpy as np

from lightcheck import card, lamp
from lightcheck.errors import LightcheckError
from lightcheck.humpmap.product import Recipe
from lightcheck.lamp import Lamp, LampSpec
from lightcheck.patch import Patch
from lightcheck.photo import Photo

LEAST_CONTRAST = 0.0045  # of light, peak: below this a hump cannot be told from grain and gain
USUAL_WIDTH_MM = 100.0  # of the hump that the lamp's height is judged by
MOST_LEAST_MM = 10.0  # a hump higher than this needs no map
LEAST_SEEN = 0.1  # share of the wood
SAME_WOOD = 0.2  # likeness of the grain below which two photos show different wood


def specs(recipe: Recipe) -> tuple[LampSpec, ...]:
    """Lamps as typed, understood; one for each photo, and one of them raking."""
    if len(recipe.lamps) != len(recipe.photos):
        raise LightcheckError(
            f"There are {len(recipe.photos)} photos and {len(recipe.lamps)} lamps.",
            "Give one --lamp for each photo, in the photos' order: --lamp left,900mm,110mm; "
            "flash or off where the lamp was not raking.",
        )
    if min(recipe.longest_mm) < 50 or not 0 < recipe.least_mm <= MOST_LEAST_MM:
        raise LightcheckError(
            "The longest hump must be 50 mm or more, the least height above nothing and at most "
            f"{MOST_LEAST_MM:g} mm.",
            "Use for example --longest 400mm --least 0.1mm.",
        )
    specs = tuple(lamp.read(text) for text in recipe.lamps)
    if not any(s.kind in ("lamp", "far") for s in specs):
        raise LightcheckError(
            "No photo has a raking lamp.", "Take at least one with the lamp low beside the wood."
        )
    return specs


def refuse_twice(photos: tuple[Photo, ...]) -> None:
    """One photo under two lamps tells nothing, and would be mapped all the same."""
    first: dict[str, str] = {}
    for one in photos:
        if one.sha256 in first:
            raise LightcheckError(
                f"{one.name} is the same photo as {first[one.sha256]}.",
                "Give each photo once, one for each place of the lamp.",
            )
        first[one.sha256] = one.name


def refuse_scale(one: Photo) -> None:
    """Cards in sight tell more than a typed scale; photos held by hand do not lie on each other without."""
    try:
        seen = card.find(one)
    except LightcheckError:
        return
    if len(seen) >= 3:
        raise LightcheckError(
            f"{one.name} shows {len(seen)} cards, and --scale is for photos without cards.",
            "Leave --scale out: the cards tell scale, place and pose. Cover the cards if they are not meant.",
        )


def refuse_high(lamps: tuple[Lamp, ...], recipe: Recipe) -> None:
    """A lamp so high that the least height makes no contrast tells nothing."""
    steepest = np.arctan(np.pi * recipe.least_mm / USUAL_WIDTH_MM / LEAST_CONTRAST)
    raking = [a for a in lamps if a.rakes]
    lowest = min(raking, key=lambda a: a.elevation_rad)
    if lowest.elevation_rad > steepest:
        out = float(np.hypot(*lowest.place_mm[:2]))
        raise LightcheckError(
            f"The lamp stands {np.degrees(lowest.elevation_rad):.0f} degrees high: too high to show "
            f"{recipe.least_mm:.2g} mm.",
            f"Bring it below {np.degrees(steepest):.0f} degrees, "
            f"best 5 to 8: at {out:.0f} mm that is {out * np.tan(np.radians(6.5)):.0f} mm above the wood.",
        )


def refuse_blind(patch: Patch) -> None:
    """Nothing can be read where every shot is clipped or black, or where the wood differs."""
    usable = np.isfinite(patch.log_light) & patch.wood
    enough = usable.sum(axis=0) >= min(2, len(usable))
    if enough.sum() < LEAST_SEEN * patch.wood.sum():
        worst = patch.names[int(np.argmin(usable.sum(axis=(1, 2))))]
        raise LightcheckError(
            f"The wood between the cards is clipped to white or black, most of all in {worst}.",
            "Tap on the brightest wood and pull the exposure down, then take that photo again.",
        )
    strange = [n for n, k in zip(patch.names, patch.likeness, strict=True) if k < SAME_WOOD]
    if strange:
        raise LightcheckError(
            f"The grain in {strange[0]} is not that of {patch.names[0]}.",
            "Use photos of one patch only; blurred or very dark ones must be taken again.",
        )
