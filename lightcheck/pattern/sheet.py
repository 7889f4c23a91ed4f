"""Sheet: the board the template is cut from, and where the cards go on it.

The edge bounds the sheet on the inside; its back is a few straight saw cuts, each `breadth` beyond the
furthest point of the edge. It reaches a little over the centreline, so that the tick stands on it.

      |<- over the centreline
      :_______            ___/|   sheer end, square to the edge
      |       ~~~~--__..-~    |
      |  [card]         [card]|
      |_______________________/
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from lightcheck.card import size
from lightcheck.errors import LightcheckError
from lightcheck.offsets import crosses_itself
from lightcheck.pattern.plane import along, closed, distance, inside, rectangle

OVER_MM = 40.0  # past the centreline
CLEAR_MM, INSET_MM = 10.0, 4.0  # of a card from the edge that is read, and from the saw cuts
_WIDER_MM = (75.0, 95.0, 110.0, 130.0, 160.0, 200.0)  # breadths tried until the cards fit
_CUT_RAD = np.radians(40)  # between one saw cut and the next, at most


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSpot:
    """Where a card goes: its number, its middle, and its turn from x, counter-clockwise."""

    card: int
    x_mm: float
    y_mm: float
    turn_rad: float

    @property
    def outline_mm(self) -> np.ndarray:
        """(4, 2) corners of its paper. [mm]"""
        return rectangle(self.x_mm, self.y_mm, self.turn_rad, size(self.card).outline_mm)


def lay_out(edge_mm: np.ndarray, cards: tuple[int, ...]) -> tuple[np.ndarray, tuple[CardSpot, ...]]:
    """The sheet (m, 2), counter-clockwise from the sheer end of the edge, and the places of the cards.

    As narrow as the cards allow. Refuses where they do not fit.
    """
    for breadth in _WIDER_MM:
        sheet = _sheet(edge_mm, breadth)
        if crosses_itself(sheet, closed=True):
            continue
        spots = _spots(edge_mm, sheet, cards)
        if spots is not None:
            return sheet, spots
    what = f"Cards {', '.join(map(str, cards))}" if cards else "A sheet"
    raise LightcheckError(
        f"{what} can not be laid out beside this edge.",
        "Take small cards (--cards 20,21), or one card fewer.",
    )


def _sheet(edge: np.ndarray, breadth: float) -> np.ndarray:
    last = edge[-1] - edge[max(-6, -len(edge))]
    square = np.array([last[1], -last[0]]) / np.linalg.norm(last)
    to = np.arctan2(square[1], square[0])
    cuts = np.linspace(-np.pi / 2, to, max(2, int(np.ceil((to + np.pi / 2) / _CUT_RAD)) + 1))
    facing = np.column_stack([np.cos(cuts), np.sin(cuts)])
    far = (edge @ facing.T).max(axis=0) + breadth
    corners = [np.linalg.solve(facing[i : i + 2], far[i : i + 2]) for i in range(len(cuts) - 1)]
    over = np.array([-OVER_MM, edge[0, 1]])
    end = edge[-1] + square * (far[-1] - edge[-1] @ square)
    return np.vstack([edge[::-1], over, [-OVER_MM, -far[0]], *corners, end])


def _spots(edge: np.ndarray, sheet: np.ndarray, cards: tuple[int, ...]) -> tuple[CardSpot, ...] | None:
    """Cards as far apart as they can be, the lowest number nearest the sheer; None where they do not fit.

    With the lowest number there, x from the lower card to the higher runs with the wood below it.
    """
    if not cards:
        return ()
    by_size = {s: _free(edge, sheet, s) for s in {size(n).outline_mm for n in cards}}
    free = {n: by_size[size(n).outline_mm] for n in cards}
    order = sorted(cards, reverse=True)
    if any(not len(places) for places in free.values()):
        return None
    ways = np.linspace(0, 1, len(order)) if len(order) > 1 else np.array([0.5])
    chosen: list[CardSpot] = []
    for card, share in zip(order, ways, strict=True):
        places = free[card]
        first, last = places[0, 3], places[-1, 3]
        wanted = places[np.argsort(np.abs(places[:, 3] - (first + share * (last - first))))]
        spot = next((s for s in (_spot(card, w) for w in wanted) if _apart(s.outline_mm, chosen)), None)
        if spot is None:
            return None
        chosen.append(spot)
    return tuple(sorted(chosen, key=lambda s: s.card))


def note_spot(
    edge_mm: np.ndarray, sheet_mm: np.ndarray, cards: tuple[CardSpot, ...], *, size_mm: tuple[float, float]
) -> tuple[float, float, float] | None:
    """(x, y, turn) of the middle of a free place for words, nearest the middle of the edge; or None."""
    places = _free(edge_mm, sheet_mm, size_mm)
    middle = along(edge_mm)[-1] / 2
    for x, y, turn, _ in places[np.argsort(np.abs(places[:, 3] - middle))] if len(places) else ():
        if _apart(rectangle(x, y, turn, size_mm), cards):
            return float(x), float(y), float(turn)
    return None


def _free(edge: np.ndarray, sheet: np.ndarray, size_mm: tuple[float, float]) -> np.ndarray:
    """(k, 4) places where a card may lie: x, y, turn, and how far along the edge. Nearest the edge."""
    wide, high = size_mm
    way = along(edge)
    reach = min(wide / 2, way[-1] / 2)
    found = []
    for at in np.arange(reach, way[-1] - reach + 1e-9, max(5.0, way[-1] / 60)):
        a, b, middle = (_at(edge, way, s) for s in (at - reach, at + reach, at))
        chord = (b - a) / np.linalg.norm(b - a)
        square = np.array([chord[1], -chord[0]])
        for out in np.arange(CLEAR_MM + high / 2, CLEAR_MM + high / 2 + 60, 3.0):
            x, y = middle + out * square
            turn = np.arctan2(chord[1], chord[0])
            if _fits(rectangle(x, y, turn, (wide, high)), edge, sheet):
                found.append((x, y, turn, at))
                break
    return np.array(found).reshape(-1, 4)


def _at(run: np.ndarray, way: np.ndarray, at: float) -> np.ndarray:
    return np.array([np.interp(at, way, run[:, 0]), np.interp(at, way, run[:, 1])])


def _fits(corners: np.ndarray, edge: np.ndarray, sheet: np.ndarray) -> bool:
    around = _round(corners)
    back = sheet[len(edge) - 1 :]  # the saw cuts, from the centreline to the sheer end
    return bool(
        inside(around, sheet).all()
        and distance(around, edge).min() >= CLEAR_MM - 1e-6
        and distance(around, np.vstack([back, edge[-1:]])).min() >= INSET_MM
    )


def _round(corners: np.ndarray) -> np.ndarray:
    """Points round a rectangle."""
    ring, share = closed(corners), np.linspace(0, 1, 12, endpoint=False)[:, None]
    return np.concatenate([a + share * (b - a) for a, b in pairwise(ring)])


def _spot(card: int, place: np.ndarray) -> CardSpot:
    return CardSpot(card=card, x_mm=float(place[0]), y_mm=float(place[1]), turn_rad=float(place[2]))


def _apart(corners: np.ndarray, others) -> bool:
    """Whether a rectangle lies clear of cards."""
    own = _round(corners)
    return not any(
        inside(own, o.outline_mm).any()
        or inside(_round(o.outline_mm), corners).any()
        or distance(own, closed(o.outline_mm)).min() < INSET_MM
        for o in others
    )
