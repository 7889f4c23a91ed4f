"""Choose: which tool to a hump and at which skew, by laying its sole on the map.

follows     on the fair shape the middle of the sole, where the iron is, stands off by no more than half a
            shaving: a sole too long for a hollow sweep never reaches its bottom
bridges     with the iron where the hump has fallen to half its height, the sole is held off by the hump: the
            iron cuts air there and wood only on the top; a sole too short rides up and over. Taken from
            the heights alone: over a round the hand keeps the weight on the hump
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from lightcheck.plan import sole
from lightcheck.plan.tool import CUTS, Tool
from lightcheck.plan.wood import Wood

SKEWS_RAD = tuple(math.radians(a) for a in (0, 15, 30, 45, 60))
FOLLOWS = 0.5  # of a shaving, that the iron may stand off the fair shape
BRIDGES = 0.25  # of the hump's height, that is clearance enough where a shaving would be more
LONGEST = 4.0  # times the hump, that a sole is handy at; own estimate
NARROW = 1.5  # times the width of the iron; a spot wider than that is no narrow one


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A tool at a skew. off_mm: the iron off the fair shape.  clear_mm: the iron off the foot of the hump."""

    tool: Tool
    skew_rad: float
    off_mm: float
    clear_mm: float
    follows: bool
    bridges: bool
    acts_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Hump:
    """What a tool is chosen for: its top, the stroke, where it has fallen to half, and the wood to take."""

    x_mm: float
    y_mm: float
    height_mm: float
    turn_rad: float
    feet_mm: tuple[float, float]
    wide_mm: float
    take_mm: float

    @property
    def long_mm(self) -> float:
        """From foot to foot."""
        return self.feet_mm[1] - self.feet_mm[0]


def choose(wood: Wood, tools: tuple[Tool, ...], hump: Hump) -> Choice | None:
    """The tool to take. None where the bench has none that takes shavings.

    Both bridging and following comes first, then following; then a sole that is not far longer than the
    hump; then few strokes, but not one stroke for all; then little skew, then the longer sole.
    """
    choices = [lay(wood, t, hump, s) for t in tools if t.kind in CUTS for s in SKEWS_RAD]
    return min(choices, key=lambda c: _rank(c, hump), default=None)


def _rank(choice: Choice, hump: Hump) -> tuple:
    take_mm = hump.take_mm
    coarse = choice.tool.shaving_mm > max(take_mm / 2, 1e-9)
    neither = max(choice.off_mm, 0.0) if not choice.follows else 0.0
    short = 0.0 if choice.bridges else -choice.clear_mm
    return (
        not (choice.follows and choice.bridges),
        not choice.follows,
        round(neither, 3),
        round(short, 3),
        coarse,
        choice.tool.length_mm > LONGEST * hump.long_mm,
        sole.strokes(take_mm, leave_mm=0.0, shaving_mm=choice.tool.shaving_mm),
        choice.skew_rad,
        -choice.tool.length_mm,
    )


def lay(wood: Wood, tool: Tool, hump: Hump, skew_rad: float) -> Choice:
    """One sole laid on the fair shape and at both feet of the hump."""
    under = sole.under(tool, turn_rad=hump.turn_rad + skew_rad)
    top = np.array([hump.x_mm, hump.y_mm])
    stroke = np.array([math.cos(hump.turn_rad), math.sin(hump.turn_rad)])
    off = _stand_off(wood.fair_at, top, under)
    clear = []
    for foot in hump.feet_mm:
        at = top + foot * stroke
        clear.append(_stand_off(wood.height_at, at, under))
        off = max(off, _stand_off(wood.fair_at, at, under))
    need = min(tool.shaving_mm, BRIDGES * abs(hump.height_mm))
    narrow = hump.wide_mm < NARROW * tool.width_mm
    acts = sole.chord_mm if narrow else sole.reach_mm
    return Choice(
        tool=tool,
        skew_rad=skew_rad,
        off_mm=off,
        clear_mm=min(clear),
        follows=off <= FOLLOWS * tool.shaving_mm,
        bridges=min(clear) >= need,
        acts_mm=acts(tool.length_mm, tool.width_mm, skew_rad),
    )


def _stand_off(shape, at: np.ndarray, under: np.ndarray) -> float:
    """How far the middle of a sole stands off the shape under it. [mm]"""
    return sole.rest_mm(under, shape(at + under)) - float(shape(at[None])[0])
