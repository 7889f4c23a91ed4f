"""Scenario of the demo: two parts of an invented boat in an invented shop.

Harrowmere Shed, two people and a stove, is building the Wrenlet, a rowing boat of 4.7 m. The bottom
panel lies on the bench and the rudder blade, laminated from strips, has had its first planing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from lightcheck.specimen.board import Board, random_board

INTRODUCTION = (
    "Harrowmere Shed (invented) is fairing two parts of the Wrenlet, an invented 4.7 m rowing boat."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part, its humps known. folder: for its files.  arrangement, seed: of its photos."""

    title: str
    folder: str
    board: Board
    arrangement: str
    seed: int


def parts() -> tuple[Part, ...]:
    """The bottom panel under an opposed pair, the rudder blade under three lamps."""
    panel = replace(random_board(211), wood="larch")
    blade = replace(random_board(329, humps=6, radius_mm=4000.0), wood="mahogany")
    return (
        Part(
            title="Bottom panel, lamp left and right",
            folder="bottom-panel",
            board=panel,
            arrangement="pair",
            seed=7,
        ),
        Part(
            title="Rudder blade, three lamps round it",
            folder="rudder-blade",
            board=blade,
            arrangement="three",
            seed=4,
        ),
    )
