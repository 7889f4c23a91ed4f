"""Place: where on the wood something lies, as a builder says it: from a card or a spot of the list.

card3               the middle of card 3
card3:120mm,-95mm   120 mm to the right of it and 95 mm below it, as the first photo shows
spot2               the highest or lowest point of spot 2
"""

from __future__ import annotations

import re

from lightcheck.errors import LightcheckError
from lightcheck.stored import StoredMap
from lightcheck.units import length_mm

_EXAMPLE = "Type it like card3, card3:120mm,-95mm (right of it, above it) or spot2."


def place_mm(text: str, stored: StoredMap) -> tuple[float, float]:
    """x, y in the patch frame. Refuses a card or spot that is not on the map. [mm]"""
    match = re.fullmatch(r"\s*(card|spot)\s*(\d{1,4})\s*(?::\s*([^,]+),([^,]+))?\s*", text.lower())
    if not match:
        raise LightcheckError(f"'{text[:60]}' is not a place.", _EXAMPLE)
    kind, number = match[1], int(match[2])
    places = {
        "card": {c.card: (c.x_mm, c.y_mm) for c in stored.cards},
        "spot": {s.number: (s.x_mm, s.y_mm) for s in stored.spots},
    }[kind]
    if number not in places:
        there = ", ".join(str(n) for n in sorted(places)) or "none"
        raise LightcheckError(
            f"There is no {kind} {number} on this map.", f"These are on it: {kind}s {there}."
        )
    x, y = places[number]
    right, above = (length_mm(part) if part else 0.0 for part in match.groups()[2:])
    return x + right, y + above


def across_mm(place: tuple[float, float], turn_rad: float, stored: StoredMap):
    """Start and end of the line through a place at turn_rad, as far as the map goes. [mm]"""
    import numpy as np

    grid = stored.grid
    way = np.array([np.cos(turn_rad), np.sin(turn_rad)])
    low = np.array([grid.x_mm[0], grid.y_mm[0]])
    high = np.array([grid.x_mm[-1], grid.y_mm[-1]])
    at = np.asarray(place, float)
    if ((at < low) | (at > high)).any():
        raise LightcheckError("That place is not on the map.", _EXAMPLE)
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = np.stack([(low - at) / way, (high - at) / way])
    ends[:, np.abs(way) < 1e-12] = [[-np.inf], [np.inf]]
    return tuple(at + way * np.sort(ends, axis=0)[0].max()), tuple(at + way * np.sort(ends, axis=0)[1].min())
