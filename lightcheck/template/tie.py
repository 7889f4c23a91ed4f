"""Tie: where the designed outline lies on the template that was photographed.

By the cards, where the outline says where they are printed on it; else by the shape of the edge as it is
seen. Both also tell whether the outline's file is in millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from lightcheck.card import size
from lightcheck.errors import LightcheckError
from lightcheck.patch import CardPlace
from lightcheck.template.outline import Outline

WRONG_UNITS = {25.4: "inches", 10.0: "centimetres", 1 / 25.4: "millimetres read as inches",
               0.1: "millimetres read as centimetres"}  # fmt: skip
RATIO_SHARE = 0.04  # cards apart may differ from the drawing by this, before the units are blamed
FAR_MM = 8.0  # an edge that lies so far off its outline is another edge
STEP_MM = 4.0  # of the edge, in matching shapes
ROUNDS = 40
CARDS_SIGMA_MM, SHAPE_SIGMA_MM = 0.1, 0.05  # own estimates: print stretch over a hand, and match of a line


@dataclass(frozen=True, slots=True, kw_only=True)
class Tie:
    """place on the template = turn @ place on the outline + shift. turn may mirror."""

    turn: np.ndarray
    shift: np.ndarray
    by: str
    sigma_mm: float

    @property
    def mirrored(self) -> bool:
        """Whether the outline is seen from its other side."""
        return bool(np.linalg.det(self.turn) < 0)

    def to_outline(self, places_mm: np.ndarray) -> np.ndarray:
        """(n, 2) places in the outline's frame."""
        return (places_mm - self.shift) @ self.turn

    def turned_back(self, ways: np.ndarray) -> np.ndarray:
        """(n, 2) directions in the outline's frame."""
        return ways @ self.turn


def tie(outline: Outline, edge_mm: np.ndarray, cards: tuple[CardPlace, ...], *, mirrored: bool) -> Tie:
    """Lay the outline on the edge as seen. mirrored: the template's frame mirrors what the phone saw."""
    if outline.cards:
        return _by_cards(outline, edge_mm, cards, mirrored)
    return _by_shape(outline, edge_mm)


# --- by cards -----------------------------------------------------------------------------------


def _by_cards(outline: Outline, edge: np.ndarray, cards: tuple[CardPlace, ...], mirrored: bool) -> Tie:
    drawn, seen = {c.card: c for c in outline.cards}, {c.card: c for c in cards}
    both = sorted(set(drawn) & set(seen))
    if not both:
        raise LightcheckError(
            f"The photo shows card {_names(seen)}, and the outline has card {_names(drawn)}.",
            "Give the outline of this template, or take the # card lines out of it if others are stuck on.",
        )
    flip = np.array([1, -1]) if mirrored else np.array([1, 1])
    _check_apart(outline, [(drawn[n], seen[n]) for n in both])
    from_ = np.concatenate([_corners(drawn[n], (1, 1)) for n in both])
    onto = np.concatenate([_corners(seen[n], flip) for n in both])
    turn, shift = _rigid(from_, onto, mirrored=mirrored)
    found = Tie(turn=turn, shift=shift, by="cards", sigma_mm=CARDS_SIGMA_MM)
    off = _distance(outline.fine_mm(), found.to_outline(edge))
    if np.median(off) > FAR_MM:
        _blame_units(outline, edge, np.median(off))
        raise LightcheckError(
            f"The edge lies {np.median(off):.0f} mm off the outline that its cards point to.",
            "Check that the # card lines say where the cards are stuck, and that it is this template's file.",
        )
    return found


def _names(cards: dict) -> str:
    return " and ".join(map(str, sorted(cards)))


def _corners(place: CardPlace, flip: np.ndarray) -> np.ndarray:
    """(4, 2) corners of a card's print; flip: in a mirrored frame its own y runs the other way."""
    half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(size(place.card).outline_mm) / 2 * flip
    c, s = np.cos(place.turn_rad), np.sin(place.turn_rad)
    return half @ np.array([[c, s], [-s, c]]) + (place.x_mm, place.y_mm)


def _check_apart(outline: Outline, pairs: list[tuple[CardPlace, CardPlace]]) -> None:
    """Cards must stand as far apart as drawn."""
    if len(pairs) < 2:
        return
    (a, c), (b, d) = pairs[0], pairs[-1]
    drawn = float(np.hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm))
    seen = float(np.hypot(c.x_mm - d.x_mm, c.y_mm - d.y_mm))
    _refuse_ratio(outline, seen / max(drawn, 1e-9))
    if abs(seen / drawn - 1) > RATIO_SHARE:
        raise LightcheckError(
            f"Cards {a.card} and {b.card} stand {seen:.0f} mm apart, on the outline {drawn:.0f} mm.",
            "Check that the # card lines say where the cards are stuck, and that the print was at 100 %.",
        )


def _refuse_ratio(outline: Outline, ratio: float) -> None:
    """Refuse a file that is too small or too large by the ratio of two units."""
    for wrong, unit in WRONG_UNITS.items():
        if abs(ratio / wrong - 1) < RATIO_SHARE:
            much = f"{wrong:g} times too small" if wrong > 1 else f"{1 / wrong:g} times too large"
            raise LightcheckError(
                f"The outline in {outline.source} is {much}: it looks like {unit}, not millimetres.",
                "Save the outline in millimetres and try again.",
            )


def _rigid(from_: np.ndarray, onto: np.ndarray, *, mirrored: bool) -> tuple[np.ndarray, np.ndarray]:
    """Turn and shift that carry points onto others (Kabsch), with a mirror where asked for."""
    p, q = from_ - from_.mean(axis=0), onto - onto.mean(axis=0)
    u, _, vt = np.linalg.svd(q.T @ p)
    sign = np.sign(np.linalg.det(u @ vt)) * (-1 if mirrored else 1)
    turn = u @ np.diag([1, sign]) @ vt
    return turn, onto.mean(axis=0) - turn @ from_.mean(axis=0)


# --- by shape -----------------------------------------------------------------------------------


def _by_shape(outline: Outline, edge: np.ndarray) -> Tie:
    along = np.r_[0, np.cumsum(np.hypot(*np.diff(edge, axis=0).T))]
    at = np.arange(0, along[-1], STEP_MM)
    seen = np.stack([np.interp(at, along, edge[:, i]) for i in (0, 1)], -1)
    rms, turn, shift = _best(outline.fine_mm(), seen)
    if rms > max(0.3, 0.0015 * along[-1]):
        _blame_units(outline, edge, rms)
        raise LightcheckError(
            f"The edge that is seen is not on the outline in {outline.source}: {rms:.1f} mm off at best.",
            "Give the outline of this template, in millimetres.",
        )
    return Tie(turn=turn, shift=shift, by="shape", sigma_mm=SHAPE_SIGMA_MM)


def _blame_units(outline: Outline, edge: np.ndarray, rms: float) -> None:
    """Refuse where the edge fits once the outline is as much larger or smaller as a wrong unit makes it."""
    along = np.r_[0, np.cumsum(np.hypot(*np.diff(edge, axis=0).T))]
    at = np.arange(0, along[-1], STEP_MM)
    seen = np.stack([np.interp(at, along, edge[:, i]) for i in (0, 1)], -1)
    tried = []
    for ratio in WRONG_UNITS:
        larger = replace(outline, points_mm=outline.points_mm * ratio)
        tried.append((_best(larger.fine_mm(), seen)[0], ratio))
    least, ratio = min(tried)
    if least < max(0.5, rms / 8):
        _refuse_ratio(outline, ratio)


def _best(line: np.ndarray, seen: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """Least rms, turn and shift over all places along the line and both sides."""
    pitch = float(np.hypot(*(line[1] - line[0])))
    step = max(1, round(STEP_MM / max(pitch, 1e-9)))
    nodes = line[::step] if pitch < STEP_MM else line
    nodes = nodes if len(nodes) > 2 else line
    starts = []
    for way in (nodes, nodes[::-1]):
        spare = len(way) - len(seen)
        for first in np.unique(np.linspace(0, max(spare, 0), 24).astype(int)):
            part = way[first : first + len(seen)]
            for mirrored in (False, True):
                n = len(part)
                turn, shift = _rigid(part, seen[:n], mirrored=mirrored)
                starts.append(
                    (float(np.sqrt(((part @ turn.T + shift - seen[:n]) ** 2).sum(-1).mean())), turn, shift)
                )
        if spare < -2:
            return np.inf, np.eye(2), np.zeros(2)  # the line is shorter than what is seen
    starts.sort(key=lambda s: s[0])
    tree = cKDTree(line)
    settled = [_settled(line, tree, seen, s) for s in starts[:6]]
    plain = [s for s in settled if np.linalg.det(s[1]) > 0]
    least = min(settled, key=lambda s: s[0])
    # of two that fit alike the one that is not mirrored
    alike = [s for s in plain if s[0] < 1.2 * least[0] + 0.01]
    return min(alike, key=lambda s: s[0]) if alike else least


def _settled(line: np.ndarray, tree: cKDTree, seen: np.ndarray, start: tuple) -> tuple:
    """Move until the places lie on the line, square to it: Gauss-Newton steps of shift and turn.

    What the line does not hold, such as a slide along a round, is left as it is.
    """
    _, turn, shift = start
    along = np.gradient(line, axis=0)
    square = np.stack([-along[:, 1], along[:, 0]], -1) / np.hypot(*along.T)[:, None]
    for _ in range(ROUNDS):
        places = (seen - shift) @ turn
        _, near = tree.query(places)
        way = square[near]
        off = ((line[near] - places) * way).sum(-1)
        middle = places.mean(axis=0)
        arm = places - middle
        lever = (np.stack([-arm[:, 1], arm[:, 0]], -1) * way).sum(-1)
        size = max(float(np.abs(arm).max()), 1e-9)
        step = np.linalg.pinv(np.c_[way, lever / size], rcond=1e-4) @ off
        c, s = np.cos(step[2] / size), np.sin(step[2] / size)
        moved = np.array([[c, -s], [s, c]])
        # places' = moved (places - middle) + middle + step, and places = turn^T (seen - shift)
        turn_next = turn @ moved.T
        shift = shift - turn_next @ (middle + step[:2] - moved @ middle)
        turn = turn_next
        if np.abs(step).max() < 1e-5:
            break
    away = _distance(line, (seen - shift) @ turn)
    return float(np.sqrt((away**2).mean())), turn, shift


def nearest(line: np.ndarray, places: np.ndarray) -> np.ndarray:
    """(n, 2) the nearest points on a fine line."""
    _, near = cKDTree(line).query(places)
    best, least = line[near], np.full(len(places), np.inf)
    for start, end in ((near - 1, near), (near, near + 1)):
        a, b = np.clip(start, 0, len(line) - 1), np.clip(end, 0, len(line) - 1)
        way = line[b] - line[a]
        length = np.maximum((way**2).sum(-1), 1e-12)
        share = np.clip(((places - line[a]) * way).sum(-1) / length, 0, 1)
        at = line[a] + way * share[:, None]
        away = np.hypot(*(places - at).T)
        best = np.where((away < least)[:, None], at, best)
        least = np.minimum(least, away)
    return best


def _distance(line: np.ndarray, places: np.ndarray) -> np.ndarray:
    return np.hypot(*(places - nearest(line, places)).T)
