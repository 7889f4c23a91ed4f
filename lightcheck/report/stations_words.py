"""Stations words: what is left to come off at one place, as it is printed and as it is shown."""

from __future__ import annotations

import numpy as np

from lightcheck.units import inch_fraction


def left_words(left_mm: float, sigma_mm: float, *, seated: bool = True, sides: bool = False) -> str:
    """What is left in mm and a fraction of an inch: "2.40 mm, 3/32 in, give or take 0.05".

    sides: it is what port has more than starboard.
    """
    if not np.isfinite(left_mm):
        return "not seen"
    said = remark(left_mm, sigma_mm, seated=seated, sides=sides)
    lift = "" if seated else ", the lifts may differ" if sides else " + lift"
    return (
        f"{in_mm(left_mm)} mm, {in_inches(left_mm, sigma_mm)}, give or take {max(sigma_mm, 0.01):.2f}{lift}"
        + (f" ({said})" if said else "")
    )


def in_mm(left_mm: float) -> str:
    """Two decimals; what rounds to nothing has no sign."""
    return f"{round(left_mm, 2) + 0.0:.2f}"


def in_inches(left_mm: float, sigma_mm: float) -> str:
    """A fraction of an inch with its sign, no finer than its sigma."""
    inches = inch_fraction(left_mm, sigma_mm=sigma_mm)
    return f"-{inches}" if left_mm < 0 and not inches.startswith("<") else inches


def remark(left_mm: float, sigma_mm: float, *, seated: bool, sides: bool = False) -> str:
    """What a figure means where it is sure (beyond twice its sigma): low already, or which side has more."""
    if abs(left_mm) <= 2 * sigma_mm or not seated:
        return ""  # an unknown lift may turn it round
    if sides:
        return "more to port" if left_mm > 0 else "more to starboard"
    return "low already" if left_mm < 0 else ""
