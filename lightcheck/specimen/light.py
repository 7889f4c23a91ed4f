"""Light: a lamp, the phone's flash or the dark room, and what falls on a board.

            S = lamp - wood          light = intensity * lobe * (N . S) / |S|^3
       lamp *                        lobe  = (cosine to the lamp's aim) ^ exponent
             \\   ^ N                Lambert's cosine and the inverse square, textbook
              \\  |
      ---------\\-+-------- wood

Light is counted in units of what a lamp of intensity 1e6 throws on wood square to it at 1 m.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from lightcheck.specimen.board import Board, surface

GLINT_EXPONENT = 20.0  # of the broad glint of a satin finish, own choice
_SHADOW_STEP_MM = 1.0
_SHADOW_SLACK_MM = 0.004


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """What lights one photo.

    kind: "lamp", "flash" (beside the lens; its place follows the phone) or "off".
    place_mm: the lamp in the board's frame.  aim_mm: the point it is turned towards.
    lobe: exponent of the fall-off to the side (1: a matt disc, 0: the same all round).
    intensity: mm^2 of light, see above.  ambient: stray light of the room, in the same units.
    tint: linear red, green, blue after the phone's white balance.
    """

    kind: str = "lamp"
    place_mm: tuple[float, float, float] | None = None
    aim_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    lobe: float = 1.0
    intensity: float = 1e6
    ambient: float = 0.0
    tint: tuple[float, float, float] = (1.0, 0.97, 0.90)

    def __post_init__(self) -> None:
        """Refuse what could not be lit."""
        if self.kind not in ("lamp", "flash", "off"):
            raise ValueError(f"unknown kind of light: {self.kind!r}")
        if self.kind == "lamp" and self.place_mm is None:
            raise ValueError("a lamp needs a place")

    def beside(self, eye_mm: np.ndarray, aim_mm: np.ndarray, right: np.ndarray) -> Light:
        """The same light where the phone holds it: a flash sits 12 mm to the right of the lens."""
        if self.kind != "flash":
            return self
        place = tuple(float(v) for v in eye_mm + 12 * right)
        return replace(self, place_mm=place, aim_mm=tuple(float(v) for v in aim_mm))


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Points of the wood: x, y, z [mm] and slopes there, arrays of one shape."""

    x: np.ndarray
    y: np.ndarray
    z: np.ndarray
    slope_x: np.ndarray
    slope_y: np.ndarray


def ground(board: Board, x_mm: np.ndarray, y_mm: np.ndarray) -> Ground:
    """The true surface of the board at these places."""
    x, y = np.broadcast_arrays(np.asarray(x_mm, float), np.asarray(y_mm, float))
    z, slope_x, slope_y = surface(board, x, y)
    return Ground(x=x, y=y, z=z, slope_x=slope_x, slope_y=slope_y)


def light_on(board: Board, light: Light, x_mm: np.ndarray, y_mm: np.ndarray) -> np.ndarray:
    """Light falling on the wood at (x, y), shadows included. [units above]"""
    at = ground(board, x_mm, y_mm)
    return direct(light, at) * unshaded(board, light, at) + light.ambient


def direct(light: Light, at: Ground) -> np.ndarray:
    """Light straight from the lamp, 0 where the wood is turned away. A flash must have a place."""
    if light.kind == "off":
        return np.zeros(at.x.shape)
    facing, distance, _ = _towards(light.place_mm, at)
    return light.intensity * _lobe(light, at, distance) * np.maximum(facing, 0) / distance**2


def unshaded(board: Board, light: Light, at: Ground) -> np.ndarray:
    """1 where the straight way to the lamp is free of wood, 0 where it is not.

    Nothing is cast unless some wood is turned away from the lamp, so that is looked at first.
    """
    free = np.ones(at.x.shape, np.float32)
    if light.kind != "lamp" or (_towards(light.place_mm, at)[0] > 0).all():
        return free
    lamp_x, lamp_y, lamp_z = light.place_mm
    half = np.array([board.width_mm, board.depth_mm]) / 2
    xs, ys = (np.arange(-h, h + 1) for h in half)  # heights every millimetre
    heights = board.surface_mm(*np.meshgrid(xs, ys)).astype(np.float32)
    x, y, z = (np.atleast_2d(v).astype(np.float32) for v in (at.x, at.y, at.z))
    run = np.maximum(np.hypot(lamp_x - x, lamp_y - y), 1e-6)
    for walked in np.arange(_SHADOW_STEP_MM, 2 * np.hypot(*half), _SHADOW_STEP_MM):
        part = np.minimum(np.float32(walked) / run, 1)
        column = (x + (lamp_x - x) * part + half[0]).astype(np.float32)
        row = (y + (lamp_y - y) * part + half[1]).astype(np.float32)
        wood = cv2.remap(heights, column, row, cv2.INTER_LINEAR, borderValue=-1e6)
        ray = z + (lamp_z - z) * part + _SHADOW_SLACK_MM
        free[(wood > ray).reshape(free.shape)] = 0
        if ray.min() > heights.max():
            break
    return free


def glint(board: Board, light: Light, at: Ground, eye_mm: np.ndarray) -> np.ndarray:
    """Light sent to the eye by the finish, in the units of albedo times light.

    Blinn-Phong lobe with its usual normalisation (n + 8) / 8 (from memory).
    """
    if light.kind == "off" or not board.gloss:
        return np.zeros(at.x.shape)
    facing, distance, to_lamp = _towards(light.place_mm, at)
    to_eye = _towards(tuple(eye_mm), at)[2]
    half = [a + b for a, b in zip(to_lamp, to_eye, strict=True)]
    length = np.sqrt(sum(h**2 for h in half))
    cosine = np.maximum(_upon(at, half) / length, 0)
    falling = light.intensity * _lobe(light, at, distance) * np.maximum(facing, 0) / distance**2
    return board.gloss * falling * (GLINT_EXPONENT + 8) / 8 * cosine**GLINT_EXPONENT


def _upon(at: Ground, vector: list[np.ndarray]) -> np.ndarray:
    """Component of a vector along the normal of the wood."""
    steep = np.sqrt(1 + at.slope_x**2 + at.slope_y**2)
    return (vector[2] - at.slope_x * vector[0] - at.slope_y * vector[1]) / steep


def _towards(place: tuple[float, float, float], at: Ground) -> tuple:
    """Cosine to the normal, distance [mm] and unit vector from the wood to a place."""
    vector = [place[0] - at.x, place[1] - at.y, place[2] - at.z]
    distance = np.sqrt(sum(v**2 for v in vector))
    unit = [v / distance for v in vector]
    return _upon(at, unit), distance, unit


def _lobe(light: Light, at: Ground, distance: np.ndarray) -> np.ndarray:
    """How much of its strongest beam the lamp sends towards each point (0-1)."""
    if light.lobe == 0:
        return np.ones(at.x.shape)
    axis = np.subtract(light.aim_mm, light.place_mm)
    axis = axis / np.linalg.norm(axis)
    parts = (at.x - light.place_mm[0], at.y - light.place_mm[1], at.z - light.place_mm[2])
    cosine = sum(a * p for a, p in zip(axis, parts, strict=True)) / distance
    return np.maximum(cosine, 0) ** light.lobe
