"""Seat: which marks hold a template in its place, and so what of its place is known.

tick     its centreline tick stands on the wood's centreline      side
square   it stands square to the centreline, by square or level   rock
height   it sits on finished wood, or on a height mark            lift
line     its face stands on the station line                      the station itself
"""

from __future__ import annotations

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.template.product import UNKNOWN, Seat

# how well a pencil mark is met by hand: own estimates
SIDE_MM, LIFT_MM, ROCK_RAD = 0.5, 0.3, 0.002
MARKS = ("tick", "square", "height", "line")


def seat(marks: tuple[str, ...]) -> Seat:
    """The seat that these marks make. Refuses a mark that is not known."""
    for mark in marks:
        if mark not in MARKS:
            raise LightcheckError(
                f"'{mark[:40]}' is not a mark that can seat a template.",
                f"Name those that were used: --seat {','.join(MARKS)}.",
            )
    return Seat(
        marks=tuple(dict.fromkeys(marks)),
        lift_sigma_mm=LIFT_MM if "height" in marks else UNKNOWN,
        side_sigma_mm=SIDE_MM if "tick" in marks else UNKNOWN,
        rock_sigma_rad=ROCK_RAD if "square" in marks else UNKNOWN,
    )


def effect(places_mm: np.ndarray, up: np.ndarray) -> np.ndarray:
    """(n, 3) what 1 mm of lift, 1 mm of side shift and 1 rad of rock add at places, measured along `up`.

    Lift is along the mean of `up`, side square to it, rock about the middle of the places.
    """
    lift = up.mean(axis=0) / np.linalg.norm(up.mean(axis=0))
    side = np.array([lift[1], -lift[0]])
    away = places_mm - places_mm.mean(axis=0)
    turned = np.stack([-away[:, 1], away[:, 0]], -1)
    return np.stack([up @ lift, up @ side, (turned * up).sum(-1)], -1)
