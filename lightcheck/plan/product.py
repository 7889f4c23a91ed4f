"""Task, Low and Plan: what the working list holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.marks import Marks
from lightcheck.plan.tool import BENCH, Tool
from lightcheck.spots import Spot
from lightcheck.stored import StoredMap

PLANE, LEAVE, REFUSED = "plane", "leave", "refused"  # what a task says to do
ORDERS = ("stations", "along", "highest")
SIDES = ("left", "right", "up", "down")
FOR_LONGBOARD_MM = 0.3  # left for the longboard, 0.2 to 0.4 mm: common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What was asked for.

    leave_mm: wood left for the longboard.  thickness_mm, least_mm: of the part as it is, and the least
    that it may become; None where not known.  order: one of ORDERS, or spot numbers as told.
    fine_end: side of the map that work starts from, "" not said.
    """

    tools: tuple[Tool, ...] = BENCH
    leave_mm: float = FOR_LONGBOARD_MM
    thickness_mm: float | None = None
    least_mm: float | None = None
    order: str | tuple[int, ...] = "stations"
    fine_end: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """Where a spot lies, as told at the bench; None where no mark tells.

    station: the nearest.  from_station_mm: signed, + to the right of it or above.  girth_mm: along the wood
    from the centreline, + above it or right of it.
    """

    station: str | None
    from_station_mm: float | None
    girth_mm: float | None
    group: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Task:
    """One thing to do, or not to do.

    number: in the order of work from 1.  part: "a", "b" where the grain splits a spot.  do: PLANE, LEAVE or
    REFUSED.  take_mm: wood to take off.  long_mm, wide_mm: extent along and across the stroke.
    tool, skew_rad: None where nothing is planed; skew + turns the sole counter-clockwise from the stroke.
    turn_rad: of the stroke from +x; grain: how it is known.  rides: the sole is too short to bridge the
    spot.  strokes: over each place.  lanes: side by side.  stop, avoid, reason: for the reader.
    """

    number: int
    spot: Spot
    part: str
    do: str
    where: Where
    take_mm: float
    leave_mm: float
    long_mm: float
    wide_mm: float
    tool: Tool | None
    skew_rad: float
    acts_mm: float
    turn_rad: float
    grain: str
    rides: bool
    strokes: float
    lanes: int
    stop: tuple[str, ...]
    avoid: tuple[str, ...]
    reason: str
    outline_mm: np.ndarray

    @property
    def name(self) -> str:
        """Number of the spot with its part: "3a"."""
        return f"{self.spot.number}{self.part}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Low:
    """A hollow: never planed.

    round_mm: what would have to come off the wood round it; round_cm3: how much that is; over_mm: across.
    fill_mm, fill_cm3: how deep and how much filler or shim would do instead.  fill_less: that is less wood.
    """

    spot: Spot
    where: Where
    round_mm: float
    round_cm3: float
    over_mm: float
    fill_mm: float
    fill_cm3: float

    @property
    def fill_less(self) -> bool:
        """Whether filler or a shim is less than planing round it."""
        return self.fill_cm3 < self.round_cm3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """The working list of one map. notes: sentences for the reader."""

    wish: Wish
    stored: StoredMap
    marks: Marks
    tasks: tuple[Task, ...]
    lows: tuple[Low, ...]
    notes: tuple[str, ...]
