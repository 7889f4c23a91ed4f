"""Register: where the wood of BEFORE lies in AFTER, and how sure that is.

    cards, moved or not   -> a start        (no card in common: every turn is tried)
    all of the wood       -> rough places   (correlation at many turns)
    square by square      -> the place that most squares agree on; wood that was planed finds no one
                             to agree with, and so drops out by itself
    wood laid wrongly     -> how many squares agree by accident
    cards left on         -> where the wood alone is not sure

Refused where neither the wood nor the cards are sure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from lightcheck.change.agree import Agreement, most
from lightcheck.change.grain import Grain, grain, match_cell_mm
from lightcheck.change.product import Hung, Registration, place
from lightcheck.change.search import rough_places
from lightcheck.change.squares import Squares, laid, look_up
from lightcheck.change.start import CardFit, by_cards, left_on, mirrored
from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid
from lightcheck.stored import StoredMap

NEAR_TURNS_RAD = np.radians(np.arange(-12.0, 12.1, 1.0))  # about the cards' start
ALL_TURNS_RAD = np.radians(np.arange(-180.0, 180.0, 1.25))
NEAR_MM = 60.0  # cards are taken to have moved no further than this
SEARCH_MM, LOOK_MM, FINE_MM = 2.5, 1.2, 0.6  # cells
LOOK_REACH_MM, FINE_REACH_MM = 8.0, 3.0
LOOK_WITHIN_MM, FINE_WITHIN_MM = 1.5, 1.0  # offsets this near to each other agree
CANDIDATES, RIVAL_MM = 5, 6.0
WRONG_MM = 3.5 * LOOK_REACH_MM  # laid wrongly by this, the right place is out of reach
LEAST_AGREEING = 8
SURE = 0.99
SUREST = 0.999  # nothing here is surer than this
CARD_FLOOR_MM = 0.3  # of a card's place in its map
BY_HAND_MM = 2.0  # of cards laid at mirrored places with a rule
_HELP = (
    "Leave two cards on the wood from one pass to the next, or prick a few marks with an awl beside the "
    "work before you plane, and check that both folders show the same wood."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lie:
    """AFTER laid on BEFORE: place in AFTER = turn(place in BEFORE) + shift."""

    turn: float
    shift: np.ndarray

    def moved(self, found: Agreement, middle: np.ndarray) -> _Lie:
        """The same with what the squares found put right."""
        small, turn = _turned(found.turn_rad), _turned(self.turn)
        shift = self.shift + turn @ (middle + found.shift_mm - small @ middle)
        return _Lie(turn=self.turn + found.turn_rad, shift=shift)

    def at(self, place_mm: np.ndarray) -> np.ndarray:
        return _turned(self.turn) @ place_mm + self.shift


def register(before: StoredMap, after: StoredMap, *, mirror: bool = False) -> Registration:
    """Where the wood lies. after: as stored, or in its mirror image where mirror is true.

    Refuses where it is not sure.
    """
    if mirror:
        return _by_mirrored_cards(before, after)
    start, stayed = by_cards(before, after), left_on(before, after)
    near = _by_wood(before, after, start=start, stayed=stayed)
    best = near
    if (near is None or near.chance < SURE) and stayed is None:
        far = _by_wood(before, after, start=None, stayed=None)
        best = max((r for r in (near, far) if r is not None), key=lambda r: r.chance, default=None)
    if best is not None and best.chance >= SURE:
        return best
    if stayed is not None:
        return _by_cards_left_on(before, stayed)
    counts = (
        ""
        if best is None
        else (
            f": {best.agreeing} of {best.squares} squares of it agree, {best.by_accident} would by accident"
        )
    )
    raise LightcheckError(
        f"The wood of {before.folder} is not found in {after.folder} surely{counts}.", _HELP
    )


def _by_wood(
    before: StoredMap, after: StoredMap, *, start: CardFit | None, stayed: CardFit | None
) -> Registration | None:
    """The place on which most squares agree; None where no squares can be compared."""
    middle = _middle(before.grid)
    lies = [_Lie(turn=f.turn_rad, shift=f.shift_mm) for f in (stayed, start) if f is not None]
    lies += _rough(before, after, start, middle)
    cell = max(match_cell_mm(m, LOOK_MM) for m in (before, after))
    sheets = tuple(grain(m, cell_mm=cell, blur_mm=0.8 * cell) for m in (before, after))
    tried = [(lie, *_agreed(sheets, lie, middle)) for lie in lies]
    tried = [t for t in tried if t[2] is not None]
    if not tried:
        return None
    lie, squares, found = max(tried, key=lambda t: t[2].count)
    accidents = _accidents(sheets, lie, middle)
    fine = _finer(before, after, lie.moved(found, middle), middle)
    chance = _chance(found.count, accidents, len(lies))
    lie, squares_fine, last = fine if fine is not None else (lie.moved(found, middle), squares, found)
    turned, arm = _turned(lie.turn), _arm_mm(before.grid)
    covariance = last.covariance.copy()
    covariance[:2, :2] = turned @ covariance[:2, :2] @ turned.T
    return place(
        lie.shift,
        lie.turn,
        sigma_mm=float(np.sqrt(np.trace(covariance[:2, :2]) + covariance[2, 2] * arm**2)),
        sigma_turn_rad=float(np.sqrt(covariance[2, 2])),
        chance=chance,
        hung=Hung.WOOD,
        squares=len(squares.at_mm),
        agreeing=found.count,
        by_accident=max(accidents, default=0),
        at_mm=squares_fine.at_mm[last.agree],
        covariance=covariance,
        middle_mm=middle,
        cards=(),
    )


def _rough(before: StoredMap, after: StoredMap, start: CardFit | None, middle: np.ndarray) -> list[_Lie]:
    """Rough places near the cards' start, or anywhere where there is none; rivals apart."""
    cell = max(match_cell_mm(m, SEARCH_MM) for m in (before, after))
    pair = [grain(m, cell_mm=cell, blur_mm=0.6 * cell) for m in (before, after)]
    if start is None:
        found = rough_places(*pair, turns_rad=ALL_TURNS_RAD)
    else:
        there = _Lie(turn=start.turn_rad, shift=start.shift_mm).at(start.middle_mm)
        found = rough_places(
            *pair,
            turns_rad=start.turn_rad + NEAR_TURNS_RAD,
            about=lambda turn: there - _turned(turn) @ start.middle_mm,
            reach_mm=NEAR_MM,
        )
    kept: list[_Lie] = []
    for rough in found:
        lie = _Lie(turn=rough.turn_rad, shift=rough.shift_mm)
        if all(np.hypot(*(lie.at(middle) - o.at(middle))) > RIVAL_MM for o in kept):
            kept.append(lie)
        if len(kept) == CANDIDATES:
            break
    return kept


def _agreed(sheets: tuple[Grain, Grain], lie: _Lie, middle) -> tuple[Squares, Agreement | None]:
    """What the squares agree on about a place."""
    old, new = sheets
    squares = look_up(old, laid(new, old, lie.turn, lie.shift), reach_mm=LOOK_REACH_MM)
    found = most(squares.at_mm, squares.offset_mm, middle_mm=middle, within_mm=LOOK_WITHIN_MM)
    return squares, found


def _finer(before: StoredMap, after: StoredMap, lie: _Lie, middle: np.ndarray):
    """The place once more on a finer sheet; None where too few squares follow."""
    cell = max(match_cell_mm(m, FINE_MM) for m in (before, after))
    old, new = (grain(m, cell_mm=cell, blur_mm=0.8 * cell) for m in (before, after))
    squares = look_up(old, laid(new, old, lie.turn, lie.shift), reach_mm=FINE_REACH_MM)
    found = most(squares.at_mm, squares.offset_mm, middle_mm=middle, within_mm=FINE_WITHIN_MM)
    if found is None or found.count < LEAST_AGREEING:
        return None
    return lie.moved(found, middle), squares, found


def _accidents(sheets: tuple[Grain, Grain], lie: _Lie, middle) -> list[int]:
    """How many squares agree where AFTER is laid wrongly on purpose."""
    counts = []
    for way in np.radians((0, 60, 120, 180, 240, 300)):
        wrong = _Lie(turn=lie.turn, shift=lie.shift + WRONG_MM * np.array([np.cos(way), np.sin(way)]))
        found = _agreed(sheets, wrong, middle)[1]
        counts.append(0 if found is None else found.count)
    return counts


def _chance(agreeing: int, accidents: list[int], tries: int) -> float:
    """That so many squares do not agree by accident, were accidents Poisson's. Too few never count."""
    if agreeing < LEAST_AGREEING or agreeing <= 1.5 * max(accidents, default=0):
        return 0.0
    mean = max(float(np.mean(accidents)), 1.0)
    return float(np.clip(1 - tries * stats.poisson.sf(agreeing - 1, mean), 0.0, SUREST))


def _by_cards_left_on(before: StoredMap, fit: CardFit) -> Registration:
    return _by_card_fit(before, fit, floor_mm=CARD_FLOOR_MM, hung=Hung.CARDS)


def _by_mirrored_cards(before: StoredMap, after: StoredMap) -> Registration:
    fit = mirrored(before, after)
    if fit is None:
        raise LightcheckError(
            f"The cards of {after.folder} do not lie where a mirror would show those of {before.folder}.",
            "Measure from the centreline and a station on both sides, lay two or more cards at the same "
            "places on each, photograph both sides the same way up, and map them again.",
        )
    return _by_card_fit(before, fit, floor_mm=BY_HAND_MM, hung=Hung.MIRRORED)


def _by_card_fit(before: StoredMap, fit: CardFit, *, floor_mm: float, hung: Hung) -> Registration:
    """A place that hangs on cards; each is off by what they miss by, and never less than the floor."""
    count = len(fit.cards)
    each = max(floor_mm, fit.off_mm * np.sqrt(count / max(count - 1.5, 0.5)))
    turn_sigma = each / np.sqrt(2 * count) / max(fit.arm_mm, 1.0)
    middle = _middle(before.grid)
    reach = np.hypot(*(middle - fit.middle_mm))
    covariance = np.diag([each**2 / 2 / count + (turn_sigma * reach) ** 2 / 2] * 2 + [turn_sigma**2])
    arm = _arm_mm(before.grid)
    return place(
        fit.shift_mm,
        fit.turn_rad,
        sigma_mm=float(np.sqrt(np.trace(covariance[:2, :2]) + covariance[2, 2] * arm**2)),
        sigma_turn_rad=float(turn_sigma),
        chance=SUREST if hung is Hung.CARDS else SURE,
        hung=hung,
        squares=0,
        agreeing=0,
        by_accident=0,
        at_mm=np.zeros((0, 2)),
        covariance=covariance,
        middle_mm=middle,
        cards=fit.cards,
    )


def _turned(turn: float) -> np.ndarray:
    c, s = np.cos(turn), np.sin(turn)
    return np.array([[c, -s], [s, c]])


def _middle(grid: Grid) -> np.ndarray:
    return np.array([grid.x_mm.mean(), grid.y_mm.mean()])


def _arm_mm(grid: Grid) -> float:
    """Rms distance of the patch's cells from its middle."""
    return float(np.hypot(grid.nx, grid.ny) * grid.cell_mm / np.sqrt(12))
