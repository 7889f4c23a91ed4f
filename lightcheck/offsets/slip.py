"""Slip: an offset that no fair batten passes through, found the way a loft finds it.

Each point is judged from two sides: by the section, a batten through the other points of its station;
and by the line, a batten through the same line at the other stations. Each batten is bent again with
one more neighbour let go, and with its ends free: how far its word moves then is how far it can be
trusted (`sigma`), so that the neighbours of a slip, whose own battens it bends, are not blamed for it.
The worst offset is let go and everything is judged again, until all that is left is fair.

Places are known only between others: the ends of a batten are not judged by it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.offsets.batten import CARRIED_ON, FREE, along_mm, spring
from lightcheck.offsets.section import off_batten_mm, points, split, xy
from lightcheck.offsets.table import Line, Table

SURE = 4.0  # sigmas off, from which an offset is a slip: own trial on invented hulls
LEAST_STEPS, LEAST_MM = 2.0, 2.0  # and at least so many steps of the table, or so much
_FEWEST = 5  # points on a batten that is to judge one of them
_FLOOR = 0.35  # of a step: what rounding alone does to a batten's word
_MOST = 12  # a table with more slips than this wants lofting anew


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """An offset that is not fair.

    kind: "half-breadth" or "height".  typed_mm: as in the table.  fair_mm: what the battens say.
    off_mm: how far the point lies off the batten's curve, + outside (for keel, chine and sheer: typed
    less fair).  sigma_mm: of that.  seen: "section", "line" or "section and line".  perhaps: a likely
    reason, or "".
    """

    station: str
    line: str
    kind: str
    typed_mm: float
    fair_mm: float
    off_mm: float
    sigma_mm: float
    seen: str
    perhaps: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Fairness:
    """What battens say of a whole table: slips, the worst first; how many numbers of all were judged."""

    slips: tuple[Slip, ...]
    judged: int
    numbers: int


@dataclass(frozen=True, slots=True)
class _Word:
    """What one batten says of a number: typed less fair [mm], and to what sigma."""

    by: str
    off_mm: float
    sigma_mm: float


KINDS = ("half-breadth", "height")
_LEVEL = {"half-breadth": "buttock", "height": "waterline"}  # lines whose number of that kind is a level
_Key = tuple[str, str, str]  # station, line, kind


@lru_cache(maxsize=2)  # a table is judged once, however many patterns are drawn from it
def fairness(table: Table) -> Fairness:
    """Judge every offset of a table that has enough others beside it."""
    gone: set[_Key] = set()
    found: list[Slip] = []
    known: dict = {}  # what was worked out with the same points let go
    judged = len(_judge(table, gone, known))
    while len(found) < _MOST:
        unfair = [s for key, words in _judge(table, gone, known).items() if (s := _slip(table, key, words))]
        if not unfair:
            break
        worst = max(unfair, key=lambda s: abs(s.off_mm) / s.sigma_mm)
        gone.add((worst.station, worst.line, worst.kind))
        found.append(worst)
    return Fairness(
        slips=tuple(sorted(found, key=lambda s: -abs(s.off_mm))),
        judged=judged,
        numbers=sum(
            int(np.isfinite(line.half_breadth_mm if kind == KINDS[0] else line.height_mm).sum())
            for line in table.lines
            for kind in KINDS
            if line.kind != _LEVEL[kind]
        ),
    )


def _judge(table: Table, gone: set[_Key], known: dict) -> dict[_Key, dict]:
    """For each number: its words, and the share of it that lies square to the section."""
    judged: dict[_Key, dict] = {}
    for station in table.stations:
        lost = frozenset(line for s, line, _ in gone if s == station)
        if (station, lost) not in known:
            known[station, lost] = _by_station(table, station, lost)
        for key, word, share in known[station, lost]:
            judged[key] = {"words": [word], "share": share}
    for line in table.lines if table.place_mm is not None else ():
        for kind in KINDS:
            lost = frozenset(s for s, name, k in gone if (name, k) == (line.name, kind))
            if (line.name, kind, lost) not in known:
                known[line.name, kind, lost] = _by_line(table, line, kind, lost)
            for key, word in known[line.name, kind, lost]:
                judged.setdefault(key, {"words": [], "share": 1.0})["words"].append(word)
    return judged


def _by_station(table: Table, station: str, lost: frozenset[str]) -> list[tuple]:
    """(key, word, share square to the curve) of each point between the ends of a piece of a section."""
    try:
        run = points(table, station)
    except LightcheckError:  # said in full when a pattern of that station is asked for
        return []
    found = []
    for piece in split(tuple(p for p in run if p.line not in lost)):
        at = xy(piece)

        def off(k: int, lost: tuple[int, ...], ends: str, at=at) -> float:
            others = np.delete(at, [k, *lost], axis=0)
            return off_batten_mm(spring(along_mm(others), others, ends=ends), at[k])

        for k, word in _words("section", len(piece), off, table.step_mm):
            if piece[k].kind == "both":
                continue  # two numbers make the point: the lines say which of them is off
            axis = 0 if piece[k].kind == "waterline" else 1
            number, share = _in_number(at, k, axis, word.off_mm)
            told = _Word("section", number, word.sigma_mm / abs(share))
            found.append(((station, piece[k].line, KINDS[axis]), told, share))
    return found


def _in_number(at_mm: np.ndarray, k: int, axis: int, off_mm: float) -> tuple[float, float]:
    """How far the typed number is off the batten, and the share of that which lies square to it.

    axis: 0 where the number is a half-breadth, 1 where it is a height.
    """
    others = np.delete(at_mm, k, axis=0)
    batten = spring(along_mm(others), others)
    at = np.linspace(batten.at[max(k - 2, 0)], batten.at[min(k + 1, len(others) - 1)], 120)
    run, level = batten.place(at), at_mm[k, 1 - axis]
    near = int(np.argmin(np.abs(run[:, 1 - axis] - level)))
    slope = batten.place(at[near], 1)[0]
    square = np.array([slope[1], -slope[0]]) / np.linalg.norm(slope)
    share = float(np.copysign(max(abs(square[axis]), 0.05), square[axis]))
    if 0 < near < len(at) - 1:
        beyond = (level - run[near, 1 - axis]) / (slope[1 - axis] or 1.0)
        return float(at_mm[k, axis] - run[near, axis] - beyond * slope[axis]), share
    return off_mm / share, share


def _by_line(table: Table, line: Line, kind: str, lost: frozenset[str]) -> list[tuple[_Key, _Word]]:
    """(key, word) of each number between the first and the last station that a line reaches."""
    if line.kind == _LEVEL[kind]:
        return []  # its level, the same at every station
    values = line.half_breadth_mm if kind == "half-breadth" else line.height_mm
    reached = [i for i, v in enumerate(values) if np.isfinite(v) and table.stations[i] not in lost]
    place, value = table.place_mm[reached], values[reached]

    def off(k: int, lost: tuple[int, ...], ends: str) -> float:
        kept = np.delete(np.arange(len(place)), [k, *lost])
        return float(value[k] - spring(place[kept], value[kept], ends=ends).place(place[k])[0, 0])

    return [
        ((table.stations[reached[k]], line.name, kind), word)
        for k, word in _words("line", len(reached), off, table.step_mm)
    ]


def _words(by: str, count: int, off: Callable[[int, tuple[int, ...], str], float], step_mm: float):
    """(k, word) for every inner one of `count` points; off(k, lost, ends) bends the batten."""
    if count < _FEWEST:
        return
    for k in range(1, count - 1):
        value = off(k, (), CARRIED_ON)
        moved = [
            abs(off(k, (j,), CARRIED_ON) - value)
            for j in (k - 2, k - 1, k + 1, k + 2)
            if 0 <= j < count and (0 < j < count - 1 or abs(j - k) == 1)
        ]
        moved.append(abs(off(k, (), FREE) - value))
        yield k, _Word(by, value, float(np.hypot(np.linalg.norm(moved), _FLOOR * step_mm)))


def _slip(table: Table, key: _Key, judged: dict) -> Slip | None:
    """The slip, where the words agree that it is one."""
    station, name, kind = key
    words, share = judged["words"], judged["share"]
    weight = np.array([w.sigma_mm**-2.0 for w in words])
    wrong = float(np.array([w.off_mm for w in words]) @ weight / weight.sum())
    sigma = float(weight.sum() ** -0.5)
    # words that contradict each other count for less
    sigma *= max(1.0, *(abs(w.off_mm - wrong) / w.sigma_mm for w in words))
    least = max(LEAST_STEPS * table.step_mm, LEAST_MM)
    if abs(wrong) < SURE * sigma or abs(wrong * share) < least:
        return None
    line = next(n for n in table.lines if n.name == name)
    values = line.half_breadth_mm if kind == "half-breadth" else line.height_mm
    typed = float(values[table.index(station)])
    return Slip(
        station=station,
        line=name,
        kind=kind,
        typed_mm=typed,
        fair_mm=typed - wrong,
        off_mm=wrong * share,
        sigma_mm=sigma * abs(share),
        seen=" and ".join(w.by for w in words),
        perhaps=_perhaps(typed, typed - wrong, near_mm=max(3 * sigma, table.step_mm)),
    )


def _perhaps(typed_mm: float, fair_mm: float, *, near_mm: float) -> str:
    """A likely slip of the pencil that would explain it: two figures swapped in a number of mm."""
    figures = f"{abs(round(typed_mm))}"
    if abs(typed_mm - round(typed_mm)) > 1e-6:
        return ""
    for i in range(len(figures) - 1):
        swapped = figures[:i] + figures[i + 1] + figures[i] + figures[i + 2 :]
        if swapped != figures and abs(float(swapped) - fair_mm) <= near_mm:
            return f"perhaps {int(swapped)} was meant, with two figures swapped"
    return ""
