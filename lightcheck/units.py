"""Millimetres inside, fractions of an inch for people; lengths as people type them.

This is the only module that knows inches. A typed length needs a unit: a bare number is refused
with an example, because 12 may be inches on one bench and millimetres on the next.
"""

from __future__ import annotations

import re
from fractions import Fraction

from lightcheck.errors import LightcheckError

MM_PER_INCH = 25.4  # exact since 1959 (international yard and pound agreement)
LONGEST_MM = 1e6  # a kilometre: a typing slip, not a length on a bench; common practice, no source
FINEST = 64  # the smallest fraction on a shop rule

_UNITS_MM = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    '"': MM_PER_INCH,
    "ft": 12 * MM_PER_INCH,
    "'": 12 * MM_PER_INCH,
    "thou": MM_PER_INCH / 1000,
}
_LENGTH = re.compile(r"""^\s*(?P<sign>[-+]?)(?P<number>[0-9./ -]*?[0-9.])\s*(?P<unit>[a-z"']*)\s*$""")


def length_mm(text: str) -> float:
    """Read a typed length ("900mm", "3/8in", "1-1/2in", "15 thou"). [mm]

    Refuses a bare number, an unknown unit, anything that is not a number, and a kilometre or more.
    """
    match = _LENGTH.match(text.lower()) if len(text) < 60 else None
    if not match:
        raise LightcheckError(
            f"'{text[:60]}' is not a length.",
            "Type a number with its unit, such as 900mm or 3/8in.",
        )
    unit = match["unit"]
    if not unit:
        raise LightcheckError(f"'{text}' has no unit.", f"Say which: {text.strip()}mm or {text.strip()}in.")
    if unit not in _UNITS_MM:
        raise LightcheckError(f"'{unit}' is not a unit that is known here.", "Use mm, cm, m, in, ft or thou.")
    value = _number(match["number"], text) * _UNITS_MM[unit]
    if value >= LONGEST_MM:
        raise LightcheckError(
            f"'{text[:60]}' is longer than any boat.", "Look at the number and its unit again."
        )
    return -value if match["sign"] == "-" else value


def _number(text: str, typed: str) -> float:
    """Decimal, fraction or mixed number (1-1/2 or 1 1/2)."""
    parts = [p for p in re.split(r"[ -]+", text) if p]
    try:
        if len(parts) == 2 and "/" in parts[1] and "/" not in parts[0]:
            return float(Fraction(parts[0]) + Fraction(parts[1]))
        if len(parts) == 1:
            return float(Fraction(parts[0]))
    except (ValueError, ZeroDivisionError):
        pass
    raise LightcheckError(
        f"'{typed[:60]}' is not a length.", "Type a number with its unit, such as 900mm or 3/8in."
    )


def inch_fraction(value_mm: float, *, sigma_mm: float = 0.0) -> str:
    """Size of a length as a fraction of an inch, no finer than its sigma ("1/64 in", "1-3/8 in").

    Under half of a 64th it reads "<1/64 in", never 0; likewise "<1/16 in" where sigma is so wide
    that a 16th is the finest honest step.
    """
    step = FINEST
    while step > 2 and MM_PER_INCH / step < sigma_mm:
        step //= 2
    inches = Fraction(round(abs(value_mm) / MM_PER_INCH * step), step)
    if inches == 0:
        return f"<1/{step} in"
    whole, rest = divmod(inches, 1)
    if rest == 0:
        return f"{whole} in"
    return f"{whole}-{rest} in" if whole else f"{rest} in"


def height_words(height_mm: float, *, sigma_mm: float) -> str:
    """A height as the list prints it: "high by 0.42 mm, about 1/64 in, give or take 0.05"."""
    side = "high" if height_mm >= 0 else "low"
    inches = inch_fraction(height_mm, sigma_mm=sigma_mm)
    inches = inches if inches.startswith("<") else f"about {inches}"
    return f"{side} by {abs(height_mm):.2f} mm, {inches}, give or take {max(sigma_mm, 0.01):.2f}"
