"""Phone: an invented camera held over a board, and the photo it writes.

camera axes: x right, y down, z away from the lens      camera = turn (board - place)
pixels: x right, y down, (0, 0) the centre of the first
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class Phone:
    """An invented phone.

    fov_rad: across the width.  distance_mm: how high it is held.  vignetting: loss in the corners.
    noise: spread of one pixel at full light and ISO 100, shot noise below it.  curve: "srgb"
    (IEC 61966-2-1) or "odd".  focal_35mm: for the EXIF; None writes the width rule (36 mm film),
    rounded.  f_number, make, model: for the EXIF too.
    """

    width_px: int = 2016
    height_px: int = 1512
    fov_rad: float = math.radians(58)
    distance_mm: float = 750.0
    vignetting: float = 0.25
    noise: float = 0.012
    curve: str = "srgb"
    focal_35mm: int | None = None
    f_number: float = 1.8
    make: str = "Quillhaven"
    model: str = "Quillhaven Bench 2"

    @property
    def focal_px(self) -> float:
        """Focal length. [px]"""
        return self.width_px / 2 / math.tan(self.fov_rad / 2)

    @property
    def written_focal_35mm(self) -> int:
        """What the EXIF says: whole millimetres, as phones round it."""
        return self.focal_35mm or round(36 * self.focal_px / self.width_px)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pose:
    """Where the phone is. place_mm: (3,) its lens.  turn: (3, 3) from board to camera axes."""

    place_mm: np.ndarray
    turn: np.ndarray

    def project(self, phone: Phone, points_mm: np.ndarray) -> np.ndarray:
        """(n, 2) pixels at which points (n, 3) of the board's frame are seen."""
        seen = (np.atleast_2d(points_mm) - self.place_mm) @ self.turn.T
        middle = np.array([phone.width_px - 1, phone.height_px - 1]) / 2
        return phone.focal_px * seen[:, :2] / seen[:, 2:] + middle


def hand_held(phone: Phone, *, seed: int, first: bool = False) -> Pose:
    """A phone held by hand over the middle: 20-40 mm off it, 2-3 degrees out of level.

    first: rolled so that, in the photo, the board's +y at the origin points exactly up.
    """
    rng = np.random.default_rng([seed, 31])
    way, off = rng.uniform(-math.pi, math.pi), rng.uniform(20, 40)
    place = np.array([off * math.cos(way), off * math.sin(way), 0.0])
    place[2] = phone.distance_mm * rng.uniform(0.97, 1.03)
    lean, tilt = rng.uniform(-math.pi, math.pi), math.radians(rng.uniform(1.5, 3.0))
    axis = np.array([math.cos(lean), math.sin(lean), 0.0]) * tilt
    roll = np.array([0.0, 0.0, rng.normal(0, math.radians(2))])
    turn = cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(roll)[0] @ np.diag([1.0, -1.0, -1.0])
    pose = Pose(place_mm=place, turn=turn)
    return _squared_up(pose) if first else pose


def _squared_up(pose: Pose) -> Pose:
    """Rolled about the lens until +y at the origin points up the photo."""
    x, y, z = -pose.turn @ pose.place_mm
    dx, dy, dz = pose.turn[:, 1]
    right, down = dx - x * dz / z, dy - y * dz / z
    c, s = np.array([-down, -right]) / math.hypot(right, down)
    roll = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    return Pose(place_mm=pose.place_mm, turn=roll @ pose.turn)


def looking(pose: Pose) -> tuple[np.ndarray, np.ndarray]:
    """The point of the board's plane in the middle of the photo, and the way to its right."""
    ahead = pose.turn[2]
    return pose.place_mm - ahead * pose.place_mm[2] / ahead[2], pose.turn[0]
