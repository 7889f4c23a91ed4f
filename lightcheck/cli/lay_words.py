"""Words of lightcheck lay: sizes with a wood, weights, stiffness of a bed and turns, as they are typed."""

from __future__ import annotations

import math

from lightcheck.errors import LightcheckError
from lightcheck.units import length_mm


def sizes(text: str, count: int, example: str):
    """Lengths and a wood, with commas between."""
    from lightcheck import lay

    parts = text.split(",")
    if len(parts) != count + 1:
        raise LightcheckError(f"'{text[:60]}' does not say all of it.", example)
    sizes = tuple(length_mm(p) for p in parts[:count])
    if min(sizes) <= 0:
        raise LightcheckError(f"'{text[:60]}' has a length that is nothing.", example)
    return sizes, lay.timber(parts[count])


def newtons(text: str) -> float:
    """A press or weight as people say it: 3kg, 6lb, 30N. [N]"""
    units = {"kg": 9.80665, "lb": 4.4482216, "n": 1.0, "g": 0.00980665}  # standard gravity; 1959 pound
    wanted = text.strip().lower()
    for unit in sorted(units, key=len, reverse=True):
        if wanted.endswith(unit):
            try:
                value = float(wanted[: -len(unit)])
            except ValueError:
                break
            if 0 < value < 1e5:
                return value * units[unit]
            break
    raise LightcheckError(f"'{text[:40]}' is not a weight or a press.", "Type it like 3kg, 6lb or 30N.")


def weight(text: str) -> tuple[float, float]:
    """Where it stands and how heavy it is: 2kg@300mm. [mm, N]"""
    weight, at, place = text.partition("@")
    if not at:
        raise LightcheckError(
            f"'{text[:40]}' does not say where the weight is.", "Type it like --weight 2kg@300mm."
        )
    return length_mm(place), newtons(weight)


def bed(text: str | None) -> float | None:
    """Stiffness of what planking is bonded on: 0.5N/mm3; None where it is only fastened. [N/mm3]"""
    if text is None:
        return None
    number = text.strip().lower().removesuffix("n/mm3")
    try:
        value = float(number)
    except ValueError:
        value = math.nan
    if number == text.strip().lower() or not 1e-4 <= value <= 1e5:
        raise LightcheckError(
            f"'{text[:40]}' is not the stiffness of a bed.", "Type it like --bonded 0.5N/mm3."
        )
    return value


def radians(text: str) -> float:
    """A turn or lean in degrees: 90deg. [rad]"""
    wanted = text.strip().lower().removesuffix("deg").strip()
    try:
        turn = float(wanted)
    except ValueError:
        turn = math.nan
    if not text.strip().lower().endswith("deg") or not -360 <= turn <= 360:
        raise LightcheckError(f"'{text[:40]}' is not a turn.", "Type it like --turn 90deg.")
    return math.radians(turn)
