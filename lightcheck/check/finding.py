"""Finding: one thing that is right or wrong with the photos, how bad it is, and what to do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

GREEN, AMBER, RED = "green", "amber", "red"  # good, map with care, take again
SEVERITIES = (RED, AMBER, GREEN)
_HUMP_MM = 100.0  # width of the hump that a wrong light is turned into a height by
_USUAL_RAD = np.radians(7.0)  # how high a raking lamp stands where it was not told


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One finding.

    name: short and lasting, such as "clipped".  severity: "red" (no map, or a poor one: take the photo
    again), "amber" (a map with more doubt), "green" (as it should be).  what: a sentence.
    sigma_mm: doubt it adds to the height of a hump 100 mm wide, or None where that can not be told.
    remedy: what to do; empty on green.  photo: name of the file, or None where it is about the set.
    """

    name: str
    severity: str
    what: str
    sigma_mm: float | None = None
    remedy: str = ""
    photo: str | None = None


def height_of_light(share: float, *, elevation_rad: float | None = None) -> float:
    """Height of a hump 100 mm wide that a false contrast of this share would feign. [mm]

    Peak contrast of a raised cosine h high and w wide: (pi h / w) cot(elevation), first order.
    """
    rad = _USUAL_RAD if elevation_rad is None else elevation_rad
    return float(share * _HUMP_MM * np.tan(rad) / np.pi)


def doubt_mm(findings: Iterable[Finding]) -> float:
    """Doubt that all findings together add to every height; each kind counts once, at its worst. [mm]

    Root of the sum of squares: the faults are independent of each other.
    """
    worst: dict[str, float] = {}
    for one in findings:
        worst[one.name] = max(worst.get(one.name, 0.0), one.sigma_mm or 0.0)
    return float(np.sqrt(sum(s**2 for s in worst.values())))


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Red first, then amber, then green; otherwise as they came."""
    return tuple(sorted(findings, key=lambda f: SEVERITIES.index(f.severity)))
