"""Seek: the strip of daylight between template and wood, first roughly.

Columns of the flat picture are cut into bright runs. The daylight is the chain of runs that lies under
the cards, has dark above (template) and dark below (wood), and goes on from column to column. Where the
template touches, the chain breaks; the next one is taken up where the curve leads to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.ndimage import uniform_filter1d

from lightcheck.template.flat import Flat

COLUMN_MM = 1.0
RISE = 0.16  # of the way from paper to the light behind: bright begins here
DARK_ABOVE_MM, DARK_BELOW_MM = 1.5, 4.0
STEP_MM, STEP_SLOPE = 0.6, 0.25  # a chain may move by this much, and turn, from column to column
BRIDGE_MM = 120.0  # a stretch without light that is bridged
WIDEST_MM = 40.0  # more than this is not the daylight under a template
LEAST_COLUMNS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """(n,) columns in which light was seen: x, and the y of its upper and lower end. [mm]"""

    x_mm: np.ndarray
    top_mm: np.ndarray
    bottom_mm: np.ndarray

    @property
    def length_mm(self) -> float:
        """How much of it was lit."""
        return len(self.x_mm) * COLUMN_MM


@dataclass(frozen=True, slots=True)
class _Run:
    column: int
    top: float
    bottom: float


def strip(flat: Flat, *, bright: float, paper: float) -> Strip | None:
    """The daylight below the cards of a flat picture; None where there is none.

    bright: light behind the template.  paper: light of the cards' white paper.
    """
    x, columns = _columns(flat)
    threshold = paper + RISE * (bright - paper)
    runs = [_runs(c, flat, threshold, i) for i, c in enumerate(columns)]
    chains = _chains(runs)
    chains = [c for c in chains if len(c) >= LEAST_COLUMNS and _under_cards(c, x, flat)]
    if not chains:
        return None
    joined = _join(chains)
    places = np.array([(x[r.column], r.top, r.bottom) for r in joined])
    return Strip(x_mm=places[:, 0], top_mm=places[:, 1], bottom_mm=places[:, 2])


def _columns(flat: Flat) -> tuple[np.ndarray, np.ndarray]:
    """Every so many columns, each a mean over its width; (n,) x and (n, ny) light."""
    pitch = float(flat.x_mm[1] - flat.x_mm[0])
    width = max(1, round(COLUMN_MM / pitch))
    mean = uniform_filter1d(flat.light, width, axis=1, mode="nearest")[:, width // 2 :: width]
    return flat.x_mm[width // 2 :: width], mean.T


def _runs(column: np.ndarray, flat: Flat, threshold: float, index: int) -> list[_Run]:
    """Bright runs of one column with dark above and below, from the top down."""
    pitch = float(flat.y_mm[1] - flat.y_mm[0])
    bright = column > threshold
    dark = (column >= 0) & ~bright
    turns = np.flatnonzero(np.diff(bright.astype(np.int8)))
    found = []
    for start, end in pairwise(turns):  # start: last before, end: last of the run
        if not bright[start + 1] or (end - start) * pitch > WIDEST_MM:
            continue
        below = dark[max(0, start + 1 - round(DARK_BELOW_MM / pitch)) : start + 1]
        above = dark[end + 1 : end + 1 + round(DARK_ABOVE_MM / pitch)]
        if below.all() and above.all() and len(below) * pitch > 1 and len(above) * pitch > 1:
            bottom = flat.y_mm[start] + pitch * _cross(column[start : start + 2], threshold)
            top = flat.y_mm[end] + pitch * _cross(column[end : end + 2], threshold)
            found.append(_Run(index, float(top), float(bottom)))
    return found[::-1]


def _cross(pair: np.ndarray, threshold: float) -> float:
    """Where between two samples the threshold is crossed."""
    return float((threshold - pair[0]) / (pair[1] - pair[0]))


def _chains(runs: list[list[_Run]]) -> list[list[_Run]]:
    """Runs linked from column to column where their upper ends follow each other."""
    done: list[list[_Run]] = []
    live: list[list[_Run]] = []
    for column in runs:
        free = list(column)
        still = []
        for chain in live:
            near = [r for r in free if abs(r.top - _ahead(chain, r.column)) < STEP_MM]
            if near:
                best = min(near, key=lambda r: abs(r.top - _ahead(chain, r.column)))
                free.remove(best)
                chain.append(best)
                still.append(chain)
            elif column and column[0].column - chain[-1].column > 3:
                done.append(chain)
            else:
                still.append(chain)
        live = still + [[r] for r in free]
    return done + live


def _ahead(chain: list[_Run], column: int) -> float:
    """Where the chain's upper end should be in a later column, by its last few members."""
    last = chain[-8:]
    if len(last) < 4:
        return chain[-1].top
    c, t = np.array([r.column for r in last], float), np.array([r.top for r in last])
    slope = float(np.polyfit(c - c.mean(), t, 1)[0])
    return float(t.mean() + slope * (column - c.mean()))


def _under_cards(chain: list[_Run], x: np.ndarray, flat: Flat) -> bool:
    """Whether it lies below the cards (never above one) and not wholly to one side of them."""
    outlines = flat.plane.card_outlines_mm()
    left, right = min(o[:, 0].min() for o in outlines), max(o[:, 0].max() for o in outlines)
    at = np.array([x[r.column] for r in chain])
    if at[0] > right + BRIDGE_MM or at[-1] < left - BRIDGE_MM:
        return False
    tops = np.array([r.top for r in chain])
    for outline in outlines:
        over = (at > outline[:, 0].min()) & (at < outline[:, 0].max())
        if (tops[over] > outline[:, 1].mean()).any():
            return False
    return bool(np.median(tops) < max(o[:, 1].mean() for o in outlines))


def _join(chains: list[list[_Run]]) -> list[_Run]:
    """The longest chain, and those before and after it to which its curve leads."""
    chains = sorted(chains, key=lambda c: c[0].column)
    joined = max(chains, key=len)
    for ahead in (True, False):
        while True:
            near = [(m, c) for c in chains if (m := _miss(joined, c, ahead)) is not None]
            if not near:
                break
            joined = sorted([*joined, *min(near, key=lambda pair: pair[0])[1]], key=lambda r: r.column)
    return joined


def _miss(joined: list[_Run], chain: list[_Run], ahead: bool) -> float | None:
    """Columns to bridge, or None where the chain does not lie where the curve leads."""
    near, far = (joined[-1], chain[0]) if ahead else (chain[-1], joined[0])
    gap = far.column - near.column
    if gap <= 0 or gap * COLUMN_MM > BRIDGE_MM:
        return None
    end = joined[-60:] if ahead else joined[:60]
    c, t = np.array([r.column for r in end], float), np.array([r.top for r in end])
    middle = c.mean()
    fit = np.polyfit(c - middle, t, 2 if len(end) > 25 else 1)
    target = chain[:5] if ahead else chain[-5:]
    off = np.mean([r.top - np.polyval(fit, r.column - middle) for r in target])
    return float(gap) if abs(off) < STEP_MM + STEP_SLOPE * gap * COLUMN_MM * 0.3 else None
