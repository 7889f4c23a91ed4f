"""Frame: from the working frame to the template's own, which other programs rely on.

Origin midway between the card centres, x from the lowest card number to the highest (one card: its long
side as printed), y square to x and away from the wood. If the lower number lies on the right, this frame
is the mirror of what the phone saw.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.patch import CardPlace
from lightcheck.template.flat import Plane


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """axes: (2, 2) rows x, y of the template's frame in the working one; backwards: x runs to low x."""

    axes: np.ndarray
    cards: tuple[CardPlace, ...]

    @property
    def backwards(self) -> bool:
        """Whether going to higher x goes back along the working frame's edge."""
        return bool(self.axes[0, 0] < 0)

    @property
    def mirrored(self) -> bool:
        """Whether this frame is the mirror of what the phone saw."""
        return bool(np.linalg.det(self.axes) < 0)

    def places(self, working_mm: np.ndarray) -> np.ndarray:
        """(n, 2) places in the template's frame."""
        return working_mm @ self.axes.T

    def order(self, values: np.ndarray, *, along: bool = False) -> np.ndarray:
        """Values by increasing x; lengths along are counted from there."""
        if not self.backwards:
            return values
        return values[-1] - values[::-1] if along else values[::-1]

    def sigma(self, cov_mm2: np.ndarray) -> np.ndarray:
        """(3,) sigma of a place."""
        turn = np.eye(3)
        turn[:2, :2] = self.axes
        return np.sqrt(np.diag(turn @ cov_mm2 @ turn.T))

    def card(self, number: int, plane: Plane, place: np.ndarray) -> CardPlace:
        """A card in the template's frame; place: x, y, turn in the frame of the pose."""
        x, y = self.places(plane.from_pose(place[None, :2]))[0]
        side = self.axes @ (plane.axes @ np.array([np.cos(place[2]), np.sin(place[2])]))
        return CardPlace(
            card=number, x_mm=float(x), y_mm=float(y), turn_rad=float(np.arctan2(side[1], side[0]))
        )


def frame_of(plane: Plane) -> Frame:
    """The template's frame; the origin is that of the working frame."""
    pose = plane.pose
    centres = plane.from_pose(pose.places[:, :2])
    sides = np.stack([np.cos(pose.places[:, 2]), np.sin(pose.places[:, 2])], -1) @ plane.axes.T
    by_number = np.argsort(pose.cards)
    x = centres[by_number[-1]] - centres[by_number[0]]
    if len(pose.cards) == 1:
        # the side that runs along the edge, for a card may be stuck on upright
        x = sides[0] if abs(sides[0, 0]) >= abs(sides[0, 1]) else np.array([-sides[0, 1], sides[0, 0]])
    x = x / np.linalg.norm(x)
    y = np.array([-x[1], x[0]])
    axes = np.stack([x, y if y[1] >= 0 else -y])
    cards = tuple(
        CardPlace(
            card=pose.cards[i],
            x_mm=float(centres[i] @ axes[0]),
            y_mm=float(centres[i] @ axes[1]),
            turn_rad=float(np.arctan2(sides[i] @ axes[1], sides[i] @ axes[0])),
        )
        for i in by_number
    )
    return Frame(axes=axes, cards=cards)
