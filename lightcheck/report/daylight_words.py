"""Daylight words: what one reading says, in the order in which a builder asks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightcheck.units import inch_fraction

if TYPE_CHECKING:
    from lightcheck.template import Daylight

LIFT = (
    "Unfinished wood carries a template high: how high it stands on the wood is not in these numbers "
    "unless marks hold it (--seat)."
)


def lines(result: Daylight) -> list[str]:
    """The reading on stdout: largest daylight, where it touches, how far off its shape the wood is."""
    said = [largest_words(result)]
    said += [f"touches at {t.along_mm:.0f} mm ({t.from_mm:.0f} to {t.to_mm:.0f})" for t in result.touching]
    if not result.touching:
        said.append("touches nowhere that was seen")
    return said + off_lines(result)


def largest_words(result: Daylight) -> str:
    """The widest daylight and where it is."""
    at = result.largest
    if at is None:
        return "no daylight was seen"
    width, sigma = float(result.daylight_mm[at]), float(result.sigma_mm[at])
    return (
        f"largest daylight {width_words(width, sigma)}, at {result.along_mm[at]:.0f} mm of "
        f"{result.along_mm[-1]:.0f} along the edge"
    )


def width_words(width_mm: float, sigma_mm: float) -> str:
    """A width in mm and as a fraction: "1.24 mm, 3/64 in, give or take 0.05"."""
    inches = inch_fraction(width_mm, sigma_mm=sigma_mm)
    return f"{width_mm:.2f} mm, {inches}, give or take {max(sigma_mm, 0.01):.2f}"


def off_lines(result: Daylight) -> list[str]:
    """How far the wood stands off its designed shape, or nothing without an outline."""
    off = result.stand_off
    if off is None or not np.isfinite(off.off_mm).any():
        return []
    values, sigma = (off.shape_mm, off.shape_sigma_mm) if off.unknown else (off.off_mm, off.sigma_mm)
    high, low = int(np.nanargmax(values)), int(np.nanargmin(values))
    about = f", less an unknown {' and '.join(off.unknown)}" if off.unknown else ""
    place = f"station {off.station}" if off.station else "designed shape"
    return [
        f"{place}{about}: highest {_signed(values[high], sigma[high])} at {result.along_mm[high]:.0f} mm, "
        f"lowest {_signed(values[low], sigma[low])} at {result.along_mm[low]:.0f} mm"
    ]


def _signed(value: float, sigma: float) -> str:
    side = "proud" if value >= 0 else "inside"
    return f"{width_words(abs(float(value)), float(sigma))} {side}"


def notes(result: Daylight) -> list[str]:
    """What should be trusted less, one sentence each."""
    whole = (float(result.along_mm[0]), float(result.along_mm[-1]))
    said: dict[str, list[str]] = {}
    for flag in result.flags:
        everywhere = flag.from_mm <= whole[0] + 1 and flag.to_mm >= whole[1] - 1
        span = [] if everywhere else [f"{flag.from_mm:.0f} to {flag.to_mm:.0f} mm"]
        said[flag.what] = said.get(flag.what, []) + span
    found = []
    for what, spans in said.items():
        at = f" ({', '.join(spans[:4])}{', and more' if len(spans) > 4 else ''})" if spans else ""
        found.append(f"{what[0].upper()}{what[1:]}{at}.")
    off = result.stand_off
    if off is not None and "lift" in off.unknown:
        found.append(LIFT)
    return found
