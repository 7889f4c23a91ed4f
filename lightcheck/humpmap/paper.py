"""Paper on the wood besides the cards: grey strips below them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lightcheck.card import Sighting, grey, size, strip
from lightcheck.grid import frozen
from lightcheck.patch import Patch
from lightcheck.photo import Photo

RIM_MM = 4.0  # paper edge, its shadow, and a strip that curls a little


def bare_of_strips(
    patch: Patch, photos: tuple[Photo, ...], sightings: tuple[tuple[Sighting, ...], ...]
) -> Patch:
    """The patch with the wood under strips left out, as under the cards themselves."""
    numbers = {s.card for photo, seen in zip(photos, sightings, strict=True) for s in grey.find(photo, seen)}
    if not numbers:
        return patch
    x, y = patch.grid.mesh_mm()
    wood = np.array(patch.wood)
    for place in (p for p in patch.cards if p.card in numbers):
        c, s = np.cos(place.turn_rad), np.sin(place.turn_rad)
        along = (x - place.x_mm) * c + (y - place.y_mm) * s
        up = (y - place.y_mm) * c - (x - place.x_mm) * s
        wide, high = size(place.card).outline_mm
        beside = np.abs(along) > wide / 2 + RIM_MM
        wood &= beside | (up > 0) | (up < -high / 2 - strip.PAPER_MM - RIM_MM)
    return replace(patch, wood=frozen(wood, bool))
