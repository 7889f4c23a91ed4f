"""Contact: a springy stick on the wood, solved as an obstacle problem.

    energy(y) = EI/2 sum (second differences of y)^2 / step^3  -  load y        the stick and its load
              + give/2 sum max(0, wood - y)^2                                   wood it presses into
              + grip/2 sum (y - held)^2 + turn/2 (end slope - its angle)^2      where a hand holds it

One-sided: wood pushes and never pulls. Wood gives a little under a stick, which makes the sum smooth
enough for Newton's method with a line search (convex, so it ends at the only solution); a textbook active
set on rigid wood was tried elsewhere in this project and ran in circles.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solveh_banded

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen

GIVE_N_MM3 = 25.0  # pressure that dents wood by 1 mm, some 500 MPa across 20 mm of it: own estimate
_GRIP = 1e3  # how much stiffer a hand's grip is than the wood under a step of stick
_LOOSE_N_MM = 1e-4  # a spring to the ground so weak that it only keeps a stick from tipping for ever
_MOST_STEPS = 200


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stick:
    """stiffness_nmm2: EI.  step_mm: between its points.  give_n_mm: of the wood under one point.

    hold: (index, height, ...) pairs where it is held to a height.  end_slope: of its last step, or None.
    """

    stiffness_nmm2: float
    step_mm: float
    give_n_mm: float
    hold: tuple[tuple[int, float], ...] = ()
    end_slope: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contact:
    """place_mm: (n,) of the stick.  push_n: (n,) the wood's push.  grip_n: of the holds at held_at, + up."""

    place_mm: np.ndarray
    push_n: np.ndarray
    held_at: tuple[int, ...]
    grip_n: tuple[float, ...]


def settle(stick: Stick, wood_mm: np.ndarray, load_n: np.ndarray) -> Contact:
    """Let a stick come to rest. wood_mm: (n,) heights, NaN where there is none.  load_n: (n,) downward.

    Refuses where nothing holds it up.
    """
    n = len(wood_mm)
    wood = np.where(np.isnan(wood_mm), -np.inf, wood_mm)
    if not np.isfinite(wood).any() and not stick.hold:
        raise LightcheckError("There is no wood under the tool.", "Lay it where the wood was measured.")
    held, target = np.zeros(n), np.zeros(n)
    for i, height in stick.hold:
        held[i], target[i] = _GRIP * stick.give_n_mm, height
    bands = _bending(n) * (stick.stiffness_nmm2 / stick.step_mm**3)
    bands[2] += held + _LOOSE_N_MM / n
    pull = held * target - load_n
    if stick.end_slope is not None:
        turn = _GRIP * stick.give_n_mm
        bands[2, -2:] += turn
        bands[1, -1] -= turn
        pull[-2:] += turn * stick.end_slope * stick.step_mm * np.array([-1.0, 1.0])
    place = _newton(bands, pull, wood, stick.give_n_mm)
    push = stick.give_n_mm * np.maximum(wood - place, 0.0)
    grip = tuple(float(held[i] * (target[i] - place[i])) for i, _ in stick.hold)
    return Contact(
        place_mm=frozen(place), push_n=frozen(push), held_at=tuple(i for i, _ in stick.hold), grip_n=grip
    )


def _newton(bands: np.ndarray, pull: np.ndarray, wood: np.ndarray, give: float) -> np.ndarray:
    """Least energy: (K + give on what touches) y = pull + give wood, until the same places touch."""
    finite = np.isfinite(wood)
    ground = np.where(finite, wood, 0.0)
    touch = finite.copy()
    place = _solve(bands, pull, ground, give * touch)
    for _ in range(_MOST_STEPS):
        new = finite & (place < wood)
        if (new == touch).all():
            break
        touch = new
        ahead = _solve(bands, pull, ground, give * touch) - place
        place = place + _far(bands, pull, (wood, give), place, ahead) * ahead
    return place


def _solve(bands, pull, ground, springs) -> np.ndarray:
    full = bands.copy()
    full[2] += springs
    return solveh_banded(full, pull + springs * ground, check_finite=False)


def _far(bands, pull, bed, place, ahead) -> float:
    """How far along a step the energy still falls: a whole step, or where its slope turns."""
    wood, give = bed
    fixed = ahead @ (_times(bands, place) - pull)
    bent = ahead @ _times(bands, ahead)

    def slope(share: float) -> float:
        dent = np.maximum(wood - place - share * ahead, 0.0)
        return fixed + share * bent - give * (ahead @ dent)

    return share_of_step(slope)


def share_of_step(slope) -> float:
    """Where along a step, from 0 to 1, its energy stops falling. slope(share) -> slope of the energy."""
    if slope(1.0) <= 0:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (middle, high) if slope(middle) < 0 else (low, middle)
    return (low + high) / 2


def _times(bands: np.ndarray, y: np.ndarray) -> np.ndarray:
    product = bands[2] * y
    for off in (1, 2):
        product[off:] += bands[2 - off, off:] * y[:-off]
        product[:-off] += bands[2 - off, off:] * y[off:]
    return product


def _bending(n: int) -> np.ndarray:
    """Upper bands (3, n) of D'D, D the second differences of a free stick."""
    bands = np.zeros((3, n))
    bands[2, :-2] += 1
    bands[2, 1:-1] += 4
    bands[2, 2:] += 1
    bands[1, 1:-1] -= 2
    bands[1, 2:] -= 2
    bands[0, 2:] += 1
    return bands
