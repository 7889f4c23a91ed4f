"""View: where the phone stood for one shot and how it maps the wood to pixels."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A pinhole camera: camera = rotation @ place + offset, x right, y down, z into the scene.

    focal_px: in pixels.  bend: radial term, pixels scale by 1 + bend * (r / focal)**2.
    """

    rotation: np.ndarray
    offset_mm: np.ndarray
    focal_px: float
    bend: float
    size_px: tuple[int, int]

    @property
    def centre_px(self) -> np.ndarray:
        """Middle of the picture; (0, 0) is the centre of the first pixel. [px]"""
        return (np.array(self.size_px) - 1) / 2

    @property
    def eye_mm(self) -> np.ndarray:
        """Place of the lens. [mm]"""
        return -self.rotation.T @ self.offset_mm

    def project_px(self, places_mm: np.ndarray) -> np.ndarray:
        """(..., 2) pixels of (..., 3) places."""
        places = np.ascontiguousarray(places_mm, float)
        if not places.size:
            return np.zeros((*places.shape[:-1], 2))
        pose = np.c_[self.rotation, self.offset_mm]
        plane = cv2.perspectiveTransform(places.reshape(-1, 1, 3), pose).reshape(*places.shape[:-1], 2)
        stretch = np.einsum("...i,...i", plane, plane)[..., None]
        plane *= self.focal_px * (1 + self.bend * stretch)
        plane += self.centre_px
        return plane

    def moved(self, turn: np.ndarray, shift_mm: np.ndarray) -> View:
        """The same phone in axes where place_new = turn @ (place_old - shift)."""
        return View(
            rotation=self.rotation @ turn.T,
            offset_mm=self.offset_mm + self.rotation @ shift_mm,
            focal_px=self.focal_px,
            bend=self.bend,
            size_px=self.size_px,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SquareOn:
    """A view without cards: the photo is taken as square on, at a given scale."""

    scale_mm_px: float
    size_px: tuple[int, int]

    @property
    def centre_px(self) -> np.ndarray:
        """Middle of the picture, where the origin is. [px]"""
        return (np.array(self.size_px) - 1) / 2

    def project_px(self, places_mm: np.ndarray) -> np.ndarray:
        """(..., 2) pixels of (..., 3) places; height does not matter."""
        return np.asarray(places_mm)[..., :2] * (1, -1) / self.scale_mm_px + self.centre_px
