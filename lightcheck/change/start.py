"""Start: what the cards alone say about where AFTER lies, and whether some of them were left on.

place in AFTER = turn(place in BEFORE) + shift
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, permutations

import numpy as np

from lightcheck.patch import CardPlace
from lightcheck.stored import StoredMap

# Cards that were left on lie in both maps alike to within this.
STAYED_MM, STAYED_RAD = 0.9, np.radians(0.9)
MOVED_MM = 60.0  # cards put back further from where they were than this are no start
MIRRORED_MM = 12.0  # rms by which cards may miss their mirrored places
LEAST_APART_MM = 40.0
MOST_MIRRORED = 6  # cards: more are not tried in every order


@dataclass(frozen=True, slots=True, kw_only=True)
class CardFit:
    """turn_rad, shift_mm: (2,).  cards: numbers that count.  off_mm: rms of what they miss by.
    middle_mm: (2,) of these cards in BEFORE.  arm_mm: rms distance of them from there.
    """

    turn_rad: float
    shift_mm: np.ndarray
    cards: tuple[int, ...]
    off_mm: float
    middle_mm: np.ndarray
    arm_mm: float


def by_cards(before: StoredMap, after: StoredMap) -> CardFit | None:
    """The place at which the cards seen in both move least; None where they say nothing."""
    pairs = _pairs(before, after)
    if not pairs:
        return None
    if len(pairs) == 1:
        (old, new) = pairs[0]
        return _fit(pairs, turn=_turn_of(old, new))
    fit = _fit(pairs)
    return fit if fit.off_mm <= MOVED_MM else None


def left_on(before: StoredMap, after: StoredMap) -> CardFit | None:
    """The largest set of two or more cards that lie to each other as they did; None without one.

    Place and turn of each must fit: cards put back by hand do not do that by accident.
    """
    pairs = _pairs(before, after)
    best: list = []
    for two in combinations(pairs, 2):
        if _apart(two[0][0], two[1][0]) < LEAST_APART_MM:
            continue
        guess = _fit(list(two))
        same = [p for p in pairs if _stayed(p, guess)]
        best = max(best, same, key=len)
    return _fit(best) if len(best) >= 2 else None


def mirrored(before: StoredMap, after: StoredMap) -> CardFit | None:
    """The place of AFTER's mirror image by cards at mirrored places; None where they do not lie so.

    Cards with the same numbers are tried first, then any card for any other. The wood's own turn is
    taken as small: both sides are photographed the same way up.
    """
    same = _pairs(before, after)
    if len(same) >= 2:
        fit = _fit(same)
        if fit.off_mm <= MIRRORED_MM:
            return fit
    fits = [_fit(pairs) for pairs in _any_pairs(before.cards, after.cards)]
    fits = [f for f in fits if f.off_mm <= MIRRORED_MM and abs(f.turn_rad) < np.pi / 4]
    return min(fits, key=lambda f: f.off_mm, default=None)


def _any_pairs(old: tuple[CardPlace, ...], new: tuple[CardPlace, ...]):
    """Every way of pairing all cards of the side that has fewer."""
    few, many = (old, new) if len(old) <= len(new) else (new, old)
    if not 2 <= len(few) <= len(many) <= MOST_MIRRORED:
        return
    for order in permutations(many, len(few)):
        yield list(zip(few, order, strict=True)) if few is old else list(zip(order, few, strict=True))


def _pairs(before: StoredMap, after: StoredMap) -> list[tuple[CardPlace, CardPlace]]:
    new = {c.card: c for c in after.cards}
    return [(c, new[c.card]) for c in before.cards if c.card in new]


def _fit(pairs, *, turn: float | None = None) -> CardFit:
    """Least squares over card centres, no change of scale."""
    old, new = (np.array([[p[i].x_mm, p[i].y_mm] for p in pairs]) for i in (0, 1))
    middle, there = old.mean(axis=0), new.mean(axis=0)
    a, b = old - middle, new - there
    if turn is None:
        turn = float(np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum()))
    c, s = np.cos(turn), np.sin(turn)
    rotation = np.array([[c, -s], [s, c]])
    miss = b - a @ rotation.T
    return CardFit(
        turn_rad=turn,
        shift_mm=there - rotation @ middle,
        cards=tuple(p[0].card for p in pairs),
        off_mm=float(np.sqrt((miss**2).sum(axis=1).mean())),
        middle_mm=middle,
        arm_mm=float(np.sqrt((a**2).sum(axis=1).mean())),
    )


def _stayed(pair, guess: CardFit) -> bool:
    old, new = pair
    c, s = np.cos(guess.turn_rad), np.sin(guess.turn_rad)
    x = c * old.x_mm - s * old.y_mm + guess.shift_mm[0]
    y = s * old.x_mm + c * old.y_mm + guess.shift_mm[1]
    turned = _wrapped(_turn_of(old, new) - guess.turn_rad)
    return np.hypot(new.x_mm - x, new.y_mm - y) <= STAYED_MM and abs(turned) <= STAYED_RAD


def _turn_of(old: CardPlace, new: CardPlace) -> float:
    return _wrapped(new.turn_rad - old.turn_rad)


def _wrapped(angle: float) -> float:
    return float((angle + np.pi) % (2 * np.pi) - np.pi)


def _apart(one: CardPlace, other: CardPlace) -> float:
    return float(np.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm))
