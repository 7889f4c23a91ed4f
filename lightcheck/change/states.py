"""States: what became of every spot of BEFORE, and which are new in AFTER.

gone          |after| below the least height
cut too far   its sign turned and |after| is at or above the least height
down, up      changed by more than twice sigma
new           on AFTER's list only, and changed by more than twice sigma
same          none of these
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from lightcheck import spots
from lightcheck.change.level import Levelled
from lightcheck.change.product import Registration, SpotChange, State
from lightcheck.spots import Spot
from lightcheck.stored import StoredMap

SURE = 2.0  # sigmas; what changed by less lies inside the noise
NEAR_MM = 8.0  # a reading this near stands in for a place that was not seen
SAME_SPOT_MM, BESIDE_MM = 25.0, 8.0  # two spots this near, or this near to the outline, are one


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reading:
    """Heights, change and its sigma at one place; NaN where not seen."""

    before_mm: float
    after_mm: float
    change_mm: float
    sigma_mm: float


def state_of(
    *, before_mm: float, after_mm: float, change_mm: float, sigma_mm: float, least_mm: float
) -> State:
    """What became of a spot that BEFORE lists. Heights signed; UNSEEN where one is missing. [mm]"""
    if not np.isfinite(change_mm):
        return State.UNSEEN
    if abs(after_mm) < least_mm:
        return State.GONE
    if before_mm * after_mm < 0:
        return State.CUT_TOO_FAR
    if abs(change_mm) > SURE * sigma_mm:
        return State.UP if change_mm > 0 else State.DOWN
    return State.SAME


def of_before(
    before: StoredMap, after: StoredMap, sheets: Levelled, lie: Registration, *, least_mm: float
) -> list[SpotChange]:
    """Every spot of BEFORE measured again in AFTER."""
    rows = []
    for spot in before.spots:
        read = _read(before, sheets, spot.x_mm, spot.y_mm)
        state = state_of(
            before_mm=spot.height_mm, after_mm=read.after_mm, change_mm=read.change_mm,
            sigma_mm=read.sigma_mm, least_mm=least_mm,
        )  # fmt: skip
        near = [s for s in after.spots if _one(spot, *_place(s, lie))]
        twin = min(near, key=lambda s: _apart(spot, *_place(s, lie)), default=None)
        rows.append(_row(spot.number, spot.kind, (spot.x_mm, spot.y_mm, spot.place), read, state, twin))
    return rows


def of_after(
    before: StoredMap, after: StoredMap, sheets: Levelled, lie: Registration
) -> tuple[list[SpotChange], list[SpotChange]]:
    """Spots on AFTER's list only: those that are new, and those that did not change or can not be told."""
    new, rest = [], []
    number = max((s.number for s in before.spots), default=0)
    for spot in after.spots:
        x, y = _place(spot, lie)
        if any(_one(old, x, y) for old in before.spots):
            continue
        read = _read(before, sheets, x, y)
        sure = abs(read.change_mm) > SURE * read.sigma_mm
        words = spots.in_words(x, y, before)
        state = State.NEW if sure else State.SAME if np.isfinite(read.change_mm) else State.UNSEEN
        count = number + len(new) + 1 if sure else 0
        (new if sure else rest).append(_row(count, spot.kind, (x, y, words), read, state, spot))
    return new, rest


def _row(number: int, kind: str, place: tuple, read: _Reading, state: State, twin: Spot | None) -> SpotChange:
    x, y, words = place
    return SpotChange(
        spot=number,
        kind=kind,
        x_mm=x,
        y_mm=y,
        before_mm=read.before_mm,
        after_mm=read.after_mm,
        change_mm=read.change_mm,
        sigma_mm=read.sigma_mm,
        state=state,
        noise=bool(abs(read.change_mm) <= SURE * read.sigma_mm),
        place=words,
        after_spot=None if twin is None else twin.number,
    )


def _read(before: StoredMap, sheets: Levelled, x_mm: float, y_mm: float) -> _Reading:
    """At a place, or at the nearest cell seen in both within NEAR_MM."""
    grid = before.grid
    row, column = (float(i) for i in grid.index(x_mm, y_mm))
    reach = int(np.ceil(NEAR_MM / grid.cell_mm))
    rows = np.arange(max(round(row) - reach, 0), min(round(row) + reach + 1, grid.ny))
    columns = np.arange(max(round(column) - reach, 0), min(round(column) + reach + 1, grid.nx))
    away = np.hypot(rows[:, None] - row, columns[None] - column) * grid.cell_mm
    for seen in (np.isfinite(sheets.change_mm), np.isfinite(before.height_mm), np.isfinite(sheets.after_mm)):
        free = np.where(seen[np.ix_(rows, columns)], away, np.inf)
        if free.size and free.min() <= NEAR_MM:
            r, c = np.unravel_index(int(np.argmin(free)), free.shape)
            at = rows[r], columns[c]
            return _Reading(
                before_mm=float(before.height_mm[at]),
                after_mm=float(sheets.after_mm[at]),
                change_mm=float(sheets.change_mm[at]),
                sigma_mm=float(sheets.sigma_mm[at]),
            )
    return _Reading(before_mm=np.nan, after_mm=np.nan, change_mm=np.nan, sigma_mm=np.nan)


def _place(spot: Spot, lie: Registration) -> tuple[float, float]:
    """Of a spot of AFTER in the frame of BEFORE."""
    x, y = lie.to_before_mm(spot.x_mm, spot.y_mm)
    return float(x), float(y)


def _apart(spot: Spot, x_mm: float, y_mm: float) -> float:
    return float(np.hypot(spot.x_mm - x_mm, spot.y_mm - y_mm))


def _one(spot: Spot, x_mm: float, y_mm: float) -> bool:
    """Whether a place belongs to this spot: near its top, or inside its outline or just beside it."""
    if _apart(spot, x_mm, y_mm) <= SAME_SPOT_MM:
        return True
    if len(spot.outline_mm) < 3:
        return False
    outline = spot.outline_mm.astype(np.float32).reshape(-1, 1, 2)
    return cv2.pointPolygonTest(outline, (float(x_mm), float(y_mm)), True) >= -BESIDE_MM
