"""Scenario of the demo: two parts of an invented boat in an invented shop.

Harrowmere Shed, two people and a stove, is building the Wrenlet, a rowing boat of 4.7 m. Its bottom panel
lies bottom up on the mould, the bow to the left, and is planed in three passes; the rudder blade,
laminated from strips, has had its first planing.

All heights are known, so that what the tool found can be set beside what was true.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lightcheck.specimen.board import Board, Hump
from lightcheck.specimen.phone import Phone
from lightcheck.specimen.shots import ExifFacts, write_photo
from lightcheck.specimen.template import LONG_LENS, Held, moved, photograph_held, rest

INTRODUCTION = "Harrowmere Shed (invented) is fairing the Wrenlet, an invented rowing boat of 4.7 m."
PHONE = Phone(width_px=1600, height_px=1200)
STATION, STATION_AT_MM = "4", 40.0  # where it crosses the bottom panel, from its middle, + aft
BOTTOM_RADIUS_MM = 2400.0
HALF_BREADTHS_MM = (0, 50, 100, 150, 200)
BLADE_LINES_MM = (66.0, -56.0)  # where straight templates were held along the blade
HOOD = 1.25  # the helper measured to the top of the lamp's hood, not to its bulb


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One visit with lamp and phone. note: what had been done.  arrangement, seed: of its photos."""

    note: str
    board: Board
    arrangement: str
    seed: int


# x, y, standard deviations, turn; then the height in each of the three passes
_BOTTOM = (
    ((-150.0, 55.0, 38.0, 28.0, 0.3), (0.85, 0.30, 0.10)),
    ((55.0, 72.0, 32.0, 27.0, 1.2), (0.60, -0.20, -0.14)),
    ((170.0, -60.0, 30.0, 26.0, 0.0), (0.50, 0.18, 0.06)),
    ((-40.0, -85.0, 31.0, 24.0, 0.4), (0.66, 0.66, 0.12)),
    ((-195.0, -60.0, 32.0, 26.0, 0.9), (-0.38, -0.36, -0.24)),
    ((150.0, 75.0, 28.0, 24.0, 0.0), (-0.25, -0.24, -0.16)),
)
_CARDS = (
    (0, -228.0, -150.0, 0.05),
    (1, 226.0, -152.0, -0.08),
    (2, 230.0, 148.0, 3.1),
    (3, -228.0, 154.0, 0.1),
)
_CARD_MOVES = (
    ((0, 0, 0), (0, 0, 0), (0, 0, 0), (0, 0, 0)),
    ((-6, 4, 0.12), (5, -3, -0.2), (-7, 5, 0.15), (8, -6, -0.1)),
    ((4, -5, -0.1), (-8, 4, 0.1), (7, 4, -0.2), (-3, -3, 0.14)),
)  # taken off to plane and put back by hand; their mean stays where it was
_NOTES = (
    "as it came off the jack plane",
    "three humps planed down, one of them too far",
    "the rest brought down to the level of the hollows",
)


def passes() -> tuple[Visit, ...]:
    """The bottom panel in three passes, lamp left and right each time."""
    return tuple(_pass(number) for number in range(3))


def _pass(number: int) -> Visit:
    humps = tuple(_hump(place, heights[number]) for place, heights in _BOTTOM)
    planed = tuple(
        (place[0], place[1], 2.0 * place[2])
        for place, heights in _BOTTOM
        if number and any(abs(heights[n] - heights[n - 1]) > 0.05 for n in range(1, number + 1))
    )
    cards = tuple(
        (card[0], *(a + b for a, b in zip(card[1:], move, strict=True)))
        for card, move in zip(_CARDS, _CARD_MOVES[number], strict=True)
    )
    board = Board(
        radius_mm=BOTTOM_RADIUS_MM,
        humps=humps,
        cards=_centred(cards),
        seed=211,
        planed=planed,
        fresh=500 + number,
    )
    return Visit(note=_NOTES[number], board=board, arrangement="pair", seed=7 + number)


def _hump(place: tuple[float, ...], height: float) -> Hump:
    x, y, long, short, turn = place
    return Hump(x_mm=x, y_mm=y, height_mm=height, long_mm=long, short_mm=short, turn_rad=turn)


def _centred(cards):
    """Cards with the mean of their middles at (0, 0), the origin of a map."""
    x, y = (float(np.mean([c[i] for c in cards])) for i in (1, 2))
    return tuple((n, cx - x, cy - y, turn) for n, cx, cy, turn in cards)


def blade() -> Visit:
    """The rudder blade under three lamps."""
    humps = (
        Hump(x_mm=-140.0, y_mm=70.0, height_mm=0.60, long_mm=50.0, short_mm=40.0, turn_rad=0.3),
        Hump(x_mm=55.0, y_mm=62.0, height_mm=-0.45, long_mm=48.0, short_mm=38.0),
        Hump(x_mm=135.0, y_mm=-52.0, height_mm=0.36, long_mm=40.0, short_mm=34.0, turn_rad=1.0),
        Hump(x_mm=-70.0, y_mm=-60.0, height_mm=-0.32, long_mm=42.0, short_mm=34.0),
        Hump(x_mm=20.0, y_mm=-125.0, height_mm=0.30, long_mm=38.0, short_mm=30.0),
    )
    board = Board(radius_mm=4000.0, humps=humps, cards=_centred(_CARDS), wood="mahogany", seed=329)
    return Visit(note="after its first planing", board=board, arrangement="three", seed=4)


def hooded(spec: str) -> str:
    """What the helper wrote down: the lamp's height to the top of its hood, a quarter too much."""
    side, out, up = spec.split(",")
    return f"{side},{out},{round(float(up.removesuffix('mm')) * HOOD)}mm"


def offsets_csv() -> str:
    """The Wrenlet's bottom as a table of offsets: heights at half-breadths, round across, rocker along."""
    stations = {"3": (470.0, 8.0), "4": (940.0, 5.0), "5": (1410.0, 4.0)}  # place and height of the keel
    rows = [
        "# The bottom of an invented boat: the numbers come from a formula.",
        "title,Wrenlet bottom",
        "units,mm",
        "to,outside",
        "station,,," + ",".join(stations),
        "place,,," + ",".join(f"{place:g}" for place, _ in stations.values()),
    ]
    for out in HALF_BREADTHS_MM:
        rise = BOTTOM_RADIUS_MM - math.sqrt(BOTTOM_RADIUS_MM**2 - out**2)
        heights = ",".join(f"{keel + rise:.1f}" for _, keel in stations.values())
        rows.append(f"height,{f'buttock {out}' if out else 'keel'},{out},{heights}")
    return "\n".join(rows) + "\n"


def held_at_station(board: Board, pattern_edge_mm, sheet_mm, cards) -> Held:
    """The template of the station, cut to its pattern and held on the bottom, tick on the centreline.

    pattern_edge_mm, sheet_mm: (n, 2) as drawn, x out from the centreline and y up into the boat: the hull
    lies bottom up, so that the drawing is seen upside down.  cards: (number, x, y, turn) as drawn.
    """
    level = float(np.asarray(pattern_edge_mm)[0, 1])
    turned = [np.array([0.0, level]) - np.asarray(p, float) for p in (pattern_edge_mm, sheet_mm)]
    edge, sheet = turned
    edge = edge[np.argsort(edge[:, 0])]
    on_edge = np.abs(sheet[:, 1] - np.interp(sheet[:, 0], *edge.T)) < 0.01
    sheet[on_edge, 1] -= 1.0  # the edge bounds it there, more finely
    stuck = tuple((n, -x, level - y, turn + math.pi) for n, x, y, turn in cards)
    x = np.linspace(-290.0, 130.0, 1681)
    on_board = np.abs(x) < board.depth_mm / 2
    surface = board.surface_mm(np.full_like(x, STATION_AT_MM), -x)
    wood = np.stack([x, np.where(on_board, surface, surface - 18.0)], axis=1)
    lift, _ = rest(edge, wood, rock=False)
    raised = tuple((n, cx, cy + lift, turn) for n, cx, cy, turn in stuck)
    return Held(edge_mm=moved(edge, lift, 0), wood_mm=wood, sheet_mm=moved(sheet, lift, 0), cards=raised)


def held_along_blade(board: Board, line: int) -> Held:
    """A straight template held along the blade on the line of that number; it rests on two high spots."""
    x = np.linspace(-270.0, 270.0, 2161)
    y = BLADE_LINES_MM[line]
    wood = np.stack([x, board.surface_mm(x, np.full_like(x, y))], axis=1)
    edge = np.stack([np.linspace(-215, 215, 861), np.zeros(861)], axis=1)
    sheet = np.array([(-215.0, -1.0), (215.0, -1.0), (215.0, 95.0), (-215.0, 95.0)])
    lift, slope = rest(edge, wood, rock=True)
    cards = tuple(
        (4 + 2 * line + i, at, 48.0 + lift + slope * at, math.atan(slope))
        for i, at in enumerate((-120.0, 120.0))
    )
    return Held(
        edge_mm=moved(edge, lift, slope), wood_mm=wood, sheet_mm=moved(sheet, lift, slope), cards=cards
    )


def shoot_held(held: Held, path: Path, *, seed: int) -> Path:
    """Write the photo of a held template as a phone does."""
    facts = ExifFacts(
        focal_35mm=LONG_LENS.written_focal_35mm, exposure_s=1 / 60, iso=100, f_number=2.4,
        make=LONG_LENS.make, model=LONG_LENS.model, taken="2031:05:06 20:10:00",
    )  # fmt: skip
    return write_photo(path, photograph_held(held, seed=seed), facts)
