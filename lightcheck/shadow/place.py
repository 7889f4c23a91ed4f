"""From shadows to the lamp: its place where two of them cross, and how far the tape is from them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.lamp import Lamp
from lightcheck.shadow.fit import Shadow

CLEAR = 3.0  # sigmas from which a difference is worth a word
WORST_MISFIT = 4.0  # sigmas by which a shadow may miss the lamp that all of them point at
LEAST_CROSSING_RAD = np.radians(3.0)  # two shadows that point more alike than this do not cross well
_REACH_MM = (100.0, 20_000.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class LampSeen:
    """Where two or more shadows of one photo put the lamp: place_mm (3,), cov_mm2 (3, 3).

    misfit: worst part of any shadow's direction over its sigma.
    """

    photo: str
    place_mm: np.ndarray
    cov_mm2: np.ndarray
    misfit: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossCheck:
    """A shadow against a place that came from elsewhere.

    bearing_off_rad, elevation_off_rad: shadow less the other, seen from the thing.
    sigmas: how far apart they are, in their joint sigma (root of the squared distance over 2).
    scale: factor on every height if the shadow's elevation is right and the other's wrong.
    sentence: for the reader.  clear: whether it is worth a word.
    """

    photo: str
    bearing_off_rad: float
    elevation_off_rad: float
    sigmas: float
    scale: float
    clear: bool
    sentence: str


def lamp_place(shadows: tuple[Shadow, ...]) -> LampSeen:
    """The lamp of one photo from two or more shadows. Refuses shadows that point almost alike."""
    if len(shadows) < 2 or len({s.photo for s in shadows}) > 1:
        raise LightcheckError(
            "One lamp's place needs two shadows in one photo.",
            "Lay two coins on the wood, as far apart as the patch allows, across the light.",
        )
    flat = [s.towards for s in shadows]
    crossing = max(np.arccos(np.clip(a @ b, -1, 1)) for a in flat for b in flat)
    if crossing < LEAST_CROSSING_RAD:
        raise LightcheckError(
            "The shadows point almost the same way, so they do not say how far away the lamp is.",
            "Lay the two things farther apart, across the light.",
        )
    starts = [s.top_mm + s.towards * 900.0 for s in shadows]
    fit = least_squares(
        lambda at: np.concatenate([_misfit(s, at) for s in shadows]), np.mean(starts, axis=0), x_scale=100.0
    )
    reach, worst = float(np.linalg.norm(fit.x - shadows[0].top_mm)), float(np.abs(fit.fun).max())
    if not _REACH_MM[0] < reach < _REACH_MM[1] or worst > WORST_MISFIT:
        raise LightcheckError(
            "The shadows do not meet in one lamp.", "Check the names of the things and the places you gave."
        )
    return LampSeen(
        photo=shadows[0].photo,
        place_mm=frozen(fit.x),
        cov_mm2=frozen(np.linalg.inv(fit.jac.T @ fit.jac)),
        misfit=worst,
    )


def cross_check(shadow: Shadow, place_mm, cov_mm2, *, source: str = "the tape") -> CrossCheck:
    """Set a shadow against a lamp's place (3,) with its covariance (3, 3), from a tape or from the solve."""
    place = np.asarray(place_mm, float)
    bearing, elevation = _seen_from(shadow, place)
    off = np.array([_wrapped(shadow.bearing_rad - bearing), shadow.elevation_rad - elevation])
    slope = np.array([
        [_wrapped(a - bearing), b - elevation]
        for a, b in (_seen_from(shadow, place + step) for step in np.eye(3))
    ]).T  # fmt: skip
    joint = shadow.cov_rad2 + slope @ np.asarray(cov_mm2) @ slope.T
    sigmas = float(np.sqrt(off @ np.linalg.solve(joint, off) / 2))
    return CrossCheck(
        photo=shadow.photo,
        bearing_off_rad=float(off[0]),
        elevation_off_rad=float(off[1]),
        sigmas=sigmas,
        scale=float(np.tan(shadow.elevation_rad) / np.tan(max(elevation, 1e-3))),
        clear=sigmas > CLEAR,
        sentence=_sentence(shadow, bearing, elevation, source, sigmas),
    )


def combined(lamp: Lamp, shadows: tuple[Shadow, ...]) -> Lamp:
    """The lamp as typed, its place and covariance mended by the shadows that it cast in one photo.

    Least squares of the tape and of each shadow's direction, each over its own sigma. Returned as it was
    where there is no shadow, and where tape and shadows disagree: then neither mends the other.
    """
    checks = [cross_check(s, lamp.place_mm, lamp.cov_mm2) for s in shadows]
    if not lamp.rakes or not checks or any(c.clear for c in checks):
        return lamp
    root = np.linalg.cholesky(np.linalg.inv(lamp.cov_mm2)).T

    def misfit(at: np.ndarray) -> np.ndarray:
        return np.concatenate([root @ (at - lamp.place_mm), *(_misfit(s, at) for s in shadows)])

    fit = least_squares(misfit, lamp.place_mm, x_scale=np.sqrt(np.diag(lamp.cov_mm2)))
    cov = np.linalg.inv(fit.jac.T @ fit.jac)
    return replace(lamp, place_mm=frozen(fit.x), cov_mm2=frozen((cov + cov.T) / 2))


def _sentence(shadow: Shadow, bearing: float, elevation: float, source: str, sigmas: float) -> str:
    here, doubt = np.degrees(shadow.elevation_rad), np.degrees(np.sqrt(shadow.cov_rad2[1, 1]))
    said = (
        f"{shadow.photo}: the shadow of {shadow.thing.name} puts the light {here:.1f} degrees above the wood "
        f"there, give or take {doubt:.1f}, bearing {np.degrees(shadow.bearing_rad) % 360:.0f}; {source} says "
        f"{np.degrees(elevation):.1f}, bearing {np.degrees(bearing) % 360:.0f}."
    )
    if sigmas <= CLEAR:
        return said + (" They agree." if sigmas <= 2 else " The difference may be chance.")
    aside = abs(_wrapped(shadow.bearing_rad - bearing))
    if aside > np.radians(60):
        return said + " The lamp stood on another side than was typed."
    share = np.tan(shadow.elevation_rad) / np.tan(max(elevation, 1e-3)) - 1
    if abs(share) < 0.05:
        return said + " The bearing is wrong: measure the lamp's place again."
    small = "small" if share > 0 else "large"
    return said + (
        f" If the shadow is right, every height is about {abs(100 * share / (1 + share)):.0f} % too {small}: "
        "measure the lamp's height again."
    )


def _misfit(shadow: Shadow, at: np.ndarray) -> np.ndarray:
    """(2,) of the direction to a place, whitened by the shadow's covariance."""
    bearing, elevation = _seen_from(shadow, at)
    off = np.array([_wrapped(bearing - shadow.bearing_rad), elevation - shadow.elevation_rad])
    return np.linalg.solve(np.linalg.cholesky(shadow.cov_rad2), off)


def _seen_from(shadow: Shadow, at: np.ndarray) -> tuple[float, float]:
    """Bearing and elevation of a place over the tangent plane at the thing."""
    x, y, z = shadow.axes @ (at - shadow.top_mm)
    return float(np.arctan2(y, x)), float(np.arctan2(z, np.hypot(x, y)))


def _wrapped(angle: float) -> float:
    return float(np.angle(np.exp(1j * angle)))
