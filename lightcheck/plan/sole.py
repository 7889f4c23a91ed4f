"""Sole: the plane arithmetic of a rectangle laid at a skew, and of shavings.

              stroke ->            over a surface curved one way the sole acts as long as it reaches,
         ____________                    L |cos skew| + w |sin skew|
        /           /              over a narrow spot as long as the chord through its middle,
       /     o     /  w                  the shorter of L / |cos skew| and w / |sin skew|
      /___________/
            L
So a plane held askew acts short over a narrow spot, and a spokeshave acts long.
Common practice, no source: this is arithmetic, and no validation.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from lightcheck.errors import LightcheckError
from lightcheck.plan.tool import Tool

MOST_SKEW_RAD = math.pi / 2


def reach_mm(length_mm: float, width_mm: float, skew_rad: float) -> float:
    """How far a sole reaches along the stroke, over a surface curved one way. [mm]"""
    return length_mm * abs(math.cos(skew_rad)) + width_mm * abs(math.sin(skew_rad))


def chord_mm(length_mm: float, width_mm: float, skew_rad: float) -> float:
    """Wood under a sole along the stroke through its middle: what counts over a narrow spot. [mm]"""
    c, s = abs(math.cos(skew_rad)), abs(math.sin(skew_rad))
    ends = length_mm / c if c > 1e-12 else math.inf
    sides = width_mm / s if s > 1e-12 else math.inf
    return min(ends, sides)


def skew_to_reach(length_mm: float, width_mm: float, acts_mm: float) -> float:
    """The least skew at which a sole reaches so far over a surface curved one way. [rad]"""
    longest, lean = math.hypot(length_mm, width_mm), math.atan2(width_mm, length_mm)
    if acts_mm <= longest:
        away = math.acos(acts_mm / longest)
        for skew in (lean - away, lean + away):
            if -1e-12 <= skew <= MOST_SKEW_RAD + 1e-12:
                return max(skew, 0.0)
    raise _never(length_mm, width_mm, acts_mm)


def skew_to_chord(length_mm: float, width_mm: float, acts_mm: float) -> float:
    """The least skew at which the chord of a sole is so long. [rad]"""
    found = []
    if length_mm <= acts_mm:
        found.append(math.acos(length_mm / acts_mm))
    if width_mm <= acts_mm:
        found.append(math.asin(width_mm / acts_mm))
    fits = [s for s in found if abs(chord_mm(length_mm, width_mm, s) - acts_mm) < 1e-9 * acts_mm]
    if not fits:
        raise _never(length_mm, width_mm, acts_mm)
    return min(fits)


def _never(length_mm: float, width_mm: float, acts_mm: float) -> LightcheckError:
    return LightcheckError(
        f"A sole of {length_mm:g} x {width_mm:g} mm never acts as {acts_mm:g} mm.",
        "Take a tool with another sole.",
    )


def strokes(come_off_mm: float, *, leave_mm: float, shaving_mm: float) -> float:
    """Strokes over one place: wood to come off less what is to be left, over the shaving. Not rounded."""
    return max(come_off_mm - leave_mm, 0.0) / shaving_mm


def flat_low_mm(flat_mm: float, radius_mm: float) -> float:
    """How much lower than the round the middle of a flat planed on it is: the sagitta. [mm]"""
    if flat_mm >= 2 * radius_mm:
        return radius_mm
    return radius_mm - math.sqrt(radius_mm**2 - flat_mm**2 / 4)


def flat_for_mm(low_mm: float, radius_mm: float) -> float:
    """How wide a flat may grow before its middle is so low. [mm]"""
    return 2 * math.sqrt(max(2 * radius_mm * low_mm - low_mm**2, 0.0))


def under(tool: Tool, *, turn_rad: float) -> np.ndarray:
    """(n, 2) places under a sole about its middle, its length turned so far from +x. [mm]"""
    along = np.linspace(-0.5, 0.5, 2 * max(2, min(9, round(tool.length_mm / 30))) + 1) * tool.length_mm
    across = np.linspace(-0.5, 0.5, 5) * tool.width_mm
    a, b = (m.ravel() for m in np.meshgrid(along, across))
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    return np.stack([a * c - b * s, a * s + b * c], axis=1)


def rest_mm(places_mm: np.ndarray, z_mm: np.ndarray) -> float:
    """Height of a stiff flat sole at its middle (0, 0), pressed down there on wood of heights z. [mm]

    The lowest plane at the middle that is nowhere below the wood is the wood's concave hull there.
    """
    below = [[0.0, 0.0, float(z_mm.min()) - 100.0]]
    try:
        hull = ConvexHull(np.concatenate([np.column_stack([places_mm, z_mm]), below]))
    except QhullError:
        return float(z_mm.max())
    up = hull.equations[hull.equations[:, 2] > 1e-9]
    return float((-up[:, 3] / up[:, 2]).min())
