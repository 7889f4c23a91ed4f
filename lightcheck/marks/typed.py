"""Typed: a mark as people say it.

fastener at 40mm,-20mm from card 2, 3mm deep
grain from -100mm,0mm to 100mm,10mm
no lower at 0mm,0mm, over 60mm, 1mm may come off
station 3 from 0mm,-150mm to 0mm,150mm
crease from -200mm,20mm to 0mm,25mm to 90mm,40mm, dies out
flat within -50mm,0mm to 50mm,0mm to 50mm,60mm to -50mm,60mm
bevel within ... , along 10deg
"""

from __future__ import annotations

import math
import re

from lightcheck.errors import LightcheckError
from lightcheck.marks.product import KINDS, OVER_MM, Mark
from lightcheck.units import length_mm

_LENGTH = r"""[-+]?[0-9./ -]*[0-9.]\s*[a-z"']*"""
_POINT = rf"(?:{_LENGTH},\s*{_LENGTH}?(?:\s+from\s+card\s+\d{{1,2}})?)"
_WHOLE = re.compile(
    rf"(?P<kind>{'|'.join(KINDS)})(?:\s+(?P<name>(?!(?:at|from|within)\s)[^,]{{1,40}}?))?"
    rf"\s+(?:at|from|within)\s+(?P<points>{_POINT}(?:\s+to\s+{_POINT})*)(?P<rest>(?:,[^,]+)*)"
)
_EXAMPLE = (
    "Type it like 'fastener at 40mm,-20mm from card 2, 3mm deep' or "
    "'crease from -200mm,20mm to 90mm,40mm, dies out'."
)


def read_mark(text: str, cards=()) -> Mark:
    """Understand one typed mark. Refuses an unknown kind, a bare number and a card that is not there."""
    said = " ".join(text.strip().lower().split())
    match = _WHOLE.fullmatch(said) if len(said) < 1000 else None
    if not match:
        first = re.match(rf"(?:{'|'.join(KINDS)})\b", said)
        if not first:
            raise LightcheckError(f"'{text[:60]}' is no mark known here.", f"Marks are: {', '.join(KINDS)}.")
        raise LightcheckError(f"'{text[:80]}' does not say where.", _EXAMPLE)
    points = [read_place(p, cards) for p in re.split(r"\s+to\s+", match["points"])]
    # a station keeps the name it was given, capitals too
    start = text.lower().find(match["name"]) if match["name"] else -1
    name = text[start : start + len(match["name"])] if start >= 0 else (match["name"] or "")
    return Mark(kind=match["kind"], at_mm=points, name=name.strip(), **_extras(match["rest"]))


def read_place(text: str, cards=()) -> tuple[float, float]:
    """x, y of a typed place, from the map's middle or from a card's middle. [mm]"""
    match = re.fullmatch(rf"\s*({_LENGTH}),\s*({_LENGTH}?)(?:\s+from\s+card\s+(\d{{1,2}}))?\s*", text.lower())
    if not match:
        raise LightcheckError(f"'{text[:60]}' is not a place.", "Type it like 40mm,-20mm from card 2.")
    x, y = length_mm(match[1]), length_mm(match[2])
    if match[3] is None:
        return x, y
    card = next((c for c in cards if c.card == int(match[3])), None)
    if card is None:
        seen = ", ".join(str(c.card) for c in cards) or "none"
        raise LightcheckError(f"Card {match[3]} is not on this map.", f"Cards there: {seen}.")
    return x + card.x_mm, y + card.y_mm


def _extras(rest: str) -> dict:
    """What is said after the places."""
    found: dict = {"over_mm": OVER_MM}
    for part in (p.strip() for p in rest.split(",") if p.strip()):
        if part in ("dies out", "dies into round"):
            found["dies_out"] = True
        elif match := re.fullmatch(rf"({_LENGTH})\s+(?:deep|down|may come off)", part):
            found["depth_mm"] = length_mm(match[1])
        elif match := re.fullmatch(rf"over\s+({_LENGTH})", part):
            found["over_mm"] = length_mm(match[1])
        elif match := re.fullmatch(r"along\s+([-+]?\d{1,3})\s*deg", part):
            found["along_rad"] = math.radians(int(match[1])) % math.pi
        else:
            raise LightcheckError(
                f"'{part[:60]}' is not understood.",
                "After the places may stand: 3mm deep; 1mm may come off; over 60mm; along 10deg; dies out.",
            )
    if found.get("depth_mm", 0) < 0 or found["over_mm"] <= 0:
        raise LightcheckError(f"'{rest[2:60]}' is below nothing.", "Depths and widths are 0mm or more.")
    return found
