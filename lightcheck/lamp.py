"""Lamp: where the light stood for each shot, and how sure that is.

left,900mm,110mm          a side (as the first photo shows it), OUT along the wood, UP over it
135deg,900mm,110mm        a bearing, counter-clockwise from the first photo's right
0:870mm,1:1120mm,2:990mm  tape from the bulb straight to the centres of three or more cards
135deg,far,8deg           a light far away: bearing and elevation
flash   off               the phone's own light; the lamp switched off

          lamp *
             /|
    reach  /  | UP
         /    |
---o---+------+-------- tangent plane at the origin
   origin  OUT
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from lightcheck import constants as const
from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.units import length_mm

SIDES_RAD = {"right": 0.0, "top": np.pi / 2, "left": np.pi, "bottom": -np.pi / 2}
FAR_MM = 100_000.0  # from here light falls off by under 2 % across a patch of 600 mm
FLASH_OFFSET_SIGMA_MM = 20.0  # lens to flash, and the phone's own height over flat wood: own estimate
_EXAMPLE = "Type it like left,900mm,110mm: side, distance along the wood, height above it."


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """One shot's light.

    kind: "lamp", "far", "flash" or "off".  place_mm: (3,) in the patch frame.
    cov_mm2: (3, 3) covariance of that place.  spec: as it was typed.
    """

    kind: str
    spec: str
    place_mm: np.ndarray
    cov_mm2: np.ndarray

    @property
    def rakes(self) -> bool:
        """Whether this light can show humps at all."""
        return self.kind in ("lamp", "far")

    @property
    def elevation_rad(self) -> float:
        """Elevation above the tangent plane, seen from the origin."""
        return float(np.arctan2(self.place_mm[2], np.hypot(*self.place_mm[:2])))


@dataclass(frozen=True, slots=True, kw_only=True)
class LampSpec:
    """What was typed, understood but not yet placed: places need the patch."""

    kind: str
    text: str
    bearing_rad: float = 0.0
    bearing_sigma_rad: float = 0.0
    out_mm: float = 0.0
    up_mm: float = 0.0
    elevation_rad: float = 0.0
    reaches_mm: tuple[tuple[int, float], ...] = ()


def read(text: str) -> LampSpec:
    """Understand one `--lamp` value. Refuses what is no lamp, and a lamp below the surface."""
    text = text.strip()
    lower = text.lower()
    if lower in ("flash", "off"):
        return LampSpec(kind=lower, text=text)
    parts = [p.strip() for p in lower.split(",")]
    if all(re.fullmatch(r"\d{1,3}:.+", p) for p in parts):
        return _read_reaches(parts, text)
    if len(parts) != 3:
        raise LightcheckError(f"'{text[:60]}' is not a lamp.", _EXAMPLE)
    bearing, sigma = _bearing(parts[0])
    if parts[1] == "far":
        return _read_far(parts[2], bearing, sigma, text)
    out, up = length_mm(parts[1]), length_mm(parts[2])
    if up <= 0:
        raise LightcheckError(
            f"The lamp '{text}' is below the surface.",
            "Give its height above the wood, measured square to it, as the third value.",
        )
    if out <= 0 or out > 30_000 or up > 30_000:
        raise LightcheckError(f"The lamp '{text}' can not stand there.", _EXAMPLE)
    return LampSpec(
        kind="lamp", text=text, bearing_rad=bearing, bearing_sigma_rad=sigma, out_mm=out, up_mm=up
    )


def _bearing(text: str) -> tuple[float, float]:
    """Angle and its sigma. [rad]"""
    if text in SIDES_RAD:
        return SIDES_RAD[text], const.SIDE_WORD_SIGMA_RAD
    return np.radians(_degrees(text)), const.BEARING_SIGMA_RAD


def _degrees(text: str) -> float:
    match = re.fullmatch(r"([-+]?\d{1,4}(?:\.\d{1,6})?)\s*deg", text)
    if not match:
        raise LightcheckError(
            f"'{text[:40]}' is neither a side nor an angle.",
            "Use left, right, top, bottom (as the first photo shows it) or degrees such as 135deg.",
        )
    return float(match[1])


def _read_far(text: str, bearing: float, sigma: float, typed: str) -> LampSpec:
    elevation = np.radians(_degrees(text))
    if not 0 < elevation < np.pi / 2:
        raise LightcheckError(
            f"The light '{typed}' is not above the surface.",
            "Give its elevation between 0 and 90 degrees, such as 135deg,far,8deg.",
        )
    return LampSpec(
        kind="far",
        text=typed,
        bearing_rad=bearing,
        bearing_sigma_rad=sigma,
        elevation_rad=elevation,
    )


def _read_reaches(parts: list[str], typed: str) -> LampSpec:
    pairs = [p.split(":", 1) for p in parts]
    reaches = tuple((int(n), length_mm(r)) for n, r in pairs)
    if len({n for n, _ in reaches}) < 3:
        raise LightcheckError(
            f"'{typed[:60]}' has fewer than three cards.",
            "Measure from the bulb to the centres of three or more cards: 0:870mm,1:1120mm,2:990mm.",
        )
    if min(r for _, r in reaches) <= 0:
        raise LightcheckError(f"'{typed[:60]}' has a reach of zero.", "Measure again from bulb to card.")
    return LampSpec(kind="lamp", text=typed, reaches_mm=reaches)


def place(spec: LampSpec, *, centres_mm: dict[int, np.ndarray], eye_mm: np.ndarray) -> Lamp:
    """Put a lamp into the patch frame.

    centres_mm: card number to (3,) place of its centre.  eye_mm: (3,) the phone's lens, for the flash.
    """
    if spec.kind == "off":
        return _lamp(spec, np.array([0.0, 0.0, 1.0]), np.eye(3))
    if spec.kind == "flash":
        return _lamp(spec, np.asarray(eye_mm, float), np.eye(3) * FLASH_OFFSET_SIGMA_MM**2)
    if spec.reaches_mm:
        return _by_reaches(spec, centres_mm)
    along = np.array([np.cos(spec.bearing_rad), np.sin(spec.bearing_rad), 0.0])
    beside, up = np.array([-along[1], along[0], 0.0]), np.array([0.0, 0.0, 1.0])
    if spec.kind == "far":
        cosine, sine = np.cos(spec.elevation_rad), np.sin(spec.elevation_rad)
        place_mm = FAR_MM * (cosine * along + sine * up)
        axes = np.stack([beside * cosine, cosine * up - sine * along], axis=1) * FAR_MM
        sigmas = np.array([spec.bearing_sigma_rad, const.FAR_ELEVATION_SIGMA_RAD])
        return _lamp(spec, place_mm, (axes * sigmas**2) @ axes.T + np.eye(3))
    axes = np.stack([along, beside, up], axis=1)
    sigmas = [const.TAPE_OUT_SIGMA_MM, spec.out_mm * spec.bearing_sigma_rad, const.TAPE_UP_SIGMA_MM]
    return _lamp(spec, spec.out_mm * along + spec.up_mm * up, (axes * np.square(sigmas)) @ axes.T)


def _lamp(spec: LampSpec, place_mm: np.ndarray, cov_mm2: np.ndarray) -> Lamp:
    return Lamp(kind=spec.kind, spec=spec.text, place_mm=frozen(place_mm), cov_mm2=frozen(cov_mm2))


def _by_reaches(spec: LampSpec, centres_mm: dict[int, np.ndarray]) -> Lamp:
    """The place above the wood that fits the tape; its covariance from the tape's own sigma.

    Cards near one plane say little of a low lamp's height (6 mm of tape are 30 mm of height), so that
    lamps are set low to rake is put in as one more, weak reading: of the elevation's logarithm, so that
    a higher lamp that the tape knows well is not pulled down.
    """
    missing = [n for n, _ in spec.reaches_mm if n not in centres_mm]
    if missing:
        raise LightcheckError(
            f"The tape was read to card {missing[0]}, which is not in the photos.",
            f"Cards seen: {', '.join(map(str, sorted(centres_mm)))}. Measure to three of those.",
        )
    centres = np.array([centres_mm[n] for n, _ in spec.reaches_mm])
    reaches = np.array([r for _, r in spec.reaches_mm])

    def misfit(at: np.ndarray) -> np.ndarray:
        tape = (np.linalg.norm(centres - at, axis=1) - reaches) / const.TAPE_REACH_SIGMA_MM
        elevation = np.arctan2(at[2], np.hypot(at[0], at[1]))
        return np.r_[tape, np.log(elevation / const.RAKING_RAD) / const.RAKING_SPREAD]

    starts = [
        [reaches.mean() * np.cos(t), reaches.mean() * np.sin(t), 0.15 * reaches.mean()]
        for t in np.arange(8) * np.pi / 4
    ]
    bounds = ([-np.inf, -np.inf, 1.0], np.inf)
    best = min((least_squares(misfit, s, bounds=bounds) for s in starts), key=lambda f: f.cost)
    if best.cost > 12 * len(reaches):
        raise LightcheckError(
            f"The tape readings '{spec.text[:60]}' do not meet in one place.",
            "Check that each goes from the same bulb to the centre of the numbered card.",
        )
    curvature = best.jac.T @ best.jac + np.eye(3) / 400.0**2
    return _lamp(spec, best.x, np.linalg.inv(curvature))
