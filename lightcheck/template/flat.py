"""Flat: the photo laid on the plane of the template, so that the wood lies below its edge.

The frame here is our own working frame: origin at the mean of the card centres, y away from the wood,
x to the right when the wood is below. It is right-handed; the frame of the product may be its mirror.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from lightcheck.card import size
from lightcheck.template.pose import Pose, on_plane

REACH_MM = 900.0  # of the picture about the cards that is looked at
MOST_CELLS = 30e6
OUTSIDE = -1.0  # what lies beyond the picture


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """The template's plane: working frame to the frame of the pose, and to pixels.

    origin_mm: (2,) and axes: (2, 2), rows x and y, in the frame of the pose.
    """

    pose: Pose
    origin_mm: np.ndarray
    axes: np.ndarray

    def turned(self, quarters: int) -> Plane:
        """The same plane with its axes turned counter-clockwise by quarter turns."""
        c, s = round(np.cos(quarters * np.pi / 2)), round(np.sin(quarters * np.pi / 2))
        return Plane(pose=self.pose, origin_mm=self.origin_mm, axes=np.array([[c, s], [-s, c]]) @ self.axes)

    def to_px(self, places_mm: np.ndarray) -> np.ndarray:
        """(..., 2) pixels of (..., 2) places on the plane."""
        flat = np.asarray(places_mm) @ self.axes + self.origin_mm
        return self.pose.view.project_px(np.concatenate([flat, np.zeros((*flat.shape[:-1], 1))], -1))

    def from_pose(self, places_mm: np.ndarray) -> np.ndarray:
        """(..., 2) places here of places in the frame of the pose."""
        return (np.asarray(places_mm) - self.origin_mm) @ self.axes.T

    @property
    def eye_mm(self) -> np.ndarray:
        """(3,) the phone; z towards it from the face with the cards."""
        eye = self.pose.view.eye_mm
        return np.r_[self.from_pose(eye[:2]), abs(eye[2])]

    @property
    def eye_cov_mm2(self) -> np.ndarray:
        """(3, 3) covariance of the phone's place."""
        turn = np.eye(3)
        turn[:2, :2] = self.axes
        return turn @ self.pose.eye_cov_mm2 @ turn.T

    def card_outlines_mm(self) -> list[np.ndarray]:
        """(4, 2) corners of each card's paper."""
        corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        outlines = []
        for card, (x, y, turn) in zip(self.pose.cards, self.pose.places, strict=True):
            c, s = np.cos(turn), np.sin(turn)
            half = corners * np.array(size(card).outline_mm) / 2
            outlines.append(self.from_pose(half @ np.array([[c, s], [-s, c]]) + (x, y)))
        return outlines

    @property
    def mm_per_px(self) -> float:
        """Millimetres on the template per pixel, about the cards."""
        step = self.to_px(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
        return float(1 / np.sqrt(abs(np.linalg.det(step[1:] - step[0]))))


@dataclass(frozen=True, slots=True, kw_only=True)
class Flat:
    """light: (ny, nx) or (ny, nx, 3) float32 on the plane, row 0 the lowest y, OUTSIDE beyond the picture."""

    plane: Plane
    light: np.ndarray
    x_mm: np.ndarray
    y_mm: np.ndarray

    def turned(self, quarters: int) -> Flat:
        """The same picture with the axes turned counter-clockwise, so that another side lies below."""
        x, y, light = self.x_mm, self.y_mm, self.light
        for _ in range(quarters % 4):
            # new x = old y, new y = -old x: rows become columns
            light, x, y = light.swapaxes(0, 1)[::-1], y, -x[::-1]
        return Flat(plane=self.plane.turned(quarters), light=light, x_mm=x, y_mm=y)


def plane_of(pose: Pose, *, along: np.ndarray) -> Plane:
    """The plane with x along a direction given in the frame of the pose."""
    x = along / np.linalg.norm(along)
    return Plane(
        pose=pose,
        origin_mm=pose.places[:, :2].mean(axis=0),
        axes=np.array([x, [-x[1], x[0]]]),
    )


def lay(picture: np.ndarray, plane: Plane, *, least_pitch: float = 0.0) -> Flat:
    """Lay a picture, of light or of colours, on the plane, at its own pitch or a coarser one."""
    high, wide = picture.shape[:2]
    rim = np.array([[u, v] for u in np.linspace(0, wide - 1, 9) for v in np.linspace(0, high - 1, 9)])
    places = plane.from_pose(on_plane(plane.pose.view, rim))
    low = np.maximum(places.min(axis=0), -REACH_MM)
    high_ = np.minimum(places.max(axis=0), REACH_MM)
    pitch = max(plane.mm_per_px, least_pitch, np.sqrt(np.prod(high_ - low) / MOST_CELLS))
    x, y = (np.arange(a, b, pitch) for a, b in zip(low, high_, strict=True))
    return Flat(plane=plane, light=_warped(picture, plane, x, y), x_mm=x, y_mm=y)


def _warped(light: np.ndarray, plane: Plane, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Light at every place of a sheet; block by block, for the places take much room."""
    rows = []
    for block in np.array_split(y, max(1, len(x) * len(y) // 2_000_000)):
        px = plane.to_px(np.stack(np.meshgrid(x, block), -1)).astype(np.float32)
        rows.append(cv2.remap(light, px, None, cv2.INTER_LINEAR, borderValue=(OUTSIDE,) * 4))
    return np.concatenate(rows)


def sample(picture: np.ndarray, plane: Plane, places_mm: np.ndarray) -> np.ndarray:
    """Picture values at (n, m, 2) places on the plane; NaN beyond the picture."""
    px = plane.to_px(places_mm).astype(np.float32)
    values = cv2.remap(picture, px, None, cv2.INTER_LINEAR, borderValue=(OUTSIDE,) * 4)
    beyond = (px < 0).any(-1) | (px > np.array(picture.shape[1::-1]) - 1).any(-1)
    return np.where(beyond if values.ndim == 2 else beyond[..., None], np.nan, values)
