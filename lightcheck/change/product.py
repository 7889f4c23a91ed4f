"""What a comparison comes to: where the second map lies on the first, and what changed."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from lightcheck.grid import Grid, frozen
from lightcheck.patch import CardPlace


class State(StrEnum):
    """What became of a spot; UNSEEN where the other map has no reading."""

    GONE = "gone"
    CUT_TOO_FAR = "cut too far"
    DOWN = "down"
    UP = "up"
    NEW = "new"
    SAME = "same"
    UNSEEN = ""


class Hung(StrEnum):
    """What a registration hangs on."""

    WOOD = "wood that stayed"
    CARDS = "cards left on"
    MIRRORED = "cards at mirrored places"


@dataclass(frozen=True, slots=True, kw_only=True)
class Registration:
    """Where the wood of BEFORE lies in AFTER: place there = turn(place in BEFORE) + shift.

    shift_mm: (2,) place of BEFORE's origin in AFTER's frame (in its mirror image where mirrored).
    turn_rad: counter-clockwise.  sigma_mm: of a place, rms over the patch.  sigma_turn_rad: of the turn.
    chance: that the place is the right one at all.  hung: what it hangs on.
    squares, agreeing: squares of wood compared, and those that agree on the place.  by_accident: most
    squares that agree where the wood is certainly laid wrongly.  at_mm: (n, 2) middles of the agreeing ones.
    covariance: (3, 3) of shift along x and y at the patch's middle and turn.  middle_mm: (2,) that middle.
    cards: numbers of the cards that count.
    """

    shift_mm: np.ndarray
    turn_rad: float
    sigma_mm: float
    sigma_turn_rad: float
    chance: float
    hung: Hung
    squares: int
    agreeing: int
    by_accident: int
    at_mm: np.ndarray
    covariance: np.ndarray
    middle_mm: np.ndarray
    cards: tuple[int, ...]

    def to_after_mm(self, x_mm, y_mm) -> tuple[np.ndarray, np.ndarray]:
        """Places of BEFORE in the frame of AFTER. [mm]"""
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        x, y = np.asarray(x_mm), np.asarray(y_mm)
        return c * x - s * y + self.shift_mm[0], s * x + c * y + self.shift_mm[1]

    def to_before_mm(self, x_mm, y_mm) -> tuple[np.ndarray, np.ndarray]:
        """Places of AFTER in the frame of BEFORE. [mm]"""
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        x, y = np.asarray(x_mm) - self.shift_mm[0], np.asarray(y_mm) - self.shift_mm[1]
        return c * x + s * y, -s * x + c * y


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotChange:
    """One spot in both maps.

    spot: its number in BEFORE; new ones count on from there.  x_mm, y_mm: in the frame of BEFORE.
    before_mm, after_mm: signed heights there, NaN where not seen.  change_mm: after less before.
    sigma_mm: of the change.  noise: whether the change lies inside twice that.  place: in words.
    after_spot: its number in AFTER's own list, if it is there.
    """

    spot: int
    kind: str
    x_mm: float
    y_mm: float
    before_mm: float
    after_mm: float
    change_mm: float
    sigma_mm: float
    state: State
    noise: bool
    place: str
    after_spot: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One pass against the next, on the grid of BEFORE.

    names: of the two folders.  cards: those of BEFORE, and those of AFTER as they lie on BEFORE's grid.
    before_mm, after_mm, change_mm: (ny, nx), NaN where not seen; after_mm is levelled on the wood that
    stayed.  sigma_mm: (ny, nx) of the change.  level_mm: (ny, nx) what was added to AFTER's heights for
    that.  stayed: share of the compared wood that did not change.  least_mm: least height that counts.
    """

    names: tuple[str, str]
    cards: tuple[tuple[CardPlace, ...], tuple[CardPlace, ...]]
    registration: Registration
    mirror: bool
    grid: Grid
    before_mm: np.ndarray
    after_mm: np.ndarray
    change_mm: np.ndarray
    sigma_mm: np.ndarray
    level_mm: np.ndarray
    stayed: float
    least_mm: float
    spots: tuple[SpotChange, ...]
    warnings: tuple[str, ...]


def place(shift_mm, turn_rad: float, **facts) -> Registration:
    """A Registration with its arrays frozen."""
    arrays = ("at_mm", "covariance", "middle_mm")
    facts = {k: frozen(v) if k in arrays else v for k, v in facts.items()}
    return Registration(shift_mm=frozen(shift_mm), turn_rad=float(turn_rad), **facts)
