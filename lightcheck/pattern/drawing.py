"""Drawing: a pattern as lines and words in millimetres, the same for paper, DXF and SVG."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.offsets import crossings
from lightcheck.pattern.plane import along, closed, inside, rectangle
from lightcheck.pattern.product import Pattern
from lightcheck.pattern.sheet import note_spot

EDGE, SHEET, CENTRELINE = "EDGE", "SHEET", "CENTRELINE"
WATERLINES, MARKS, CARDS, WORDS = "WATERLINES", "MARKS", "CARDS", "WORDS"
LAYERS = (EDGE, SHEET, CENTRELINE, WATERLINES, MARKS, CARDS, WORDS)
TICK_MM = 15.0  # of the centreline, into the sheet
_MARK_MM = 6.0  # of a line's mark, into the sheet
_ROWS_MM = (2.6, 6.6)  # names of marks, from the edge
_NAME_MM, _NAME_ROOM_MM = 2.4, 26.0
_NOTE_MM, _NOTE_STEP_MM = 3.4, 5.2
_BEVEL_LEAST_RAD = np.radians(0.5)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stroke:
    """A polyline (n, 2) on a layer."""

    layer: str
    at_mm: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """Words on a layer, about their middle or from their left end."""

    layer: str
    text: str
    x_mm: float
    y_mm: float
    turn_rad: float
    size_mm: float
    middle: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """All of a pattern but the cards' own squares."""

    strokes: tuple[Stroke, ...]
    labels: tuple[Label, ...]


def drawing(pattern: Pattern) -> Drawing:
    """The lines and words of a pattern."""
    labels, taken = _words(pattern)
    rings = [c.outline_mm for c in pattern.cards] + taken
    strokes = [
        Stroke(layer=EDGE, at_mm=pattern.edge.at_mm),
        Stroke(layer=SHEET, at_mm=_back(pattern)),
        *_centreline(pattern, rings),
    ]
    labels.append(_beside_tick(pattern))
    for name, height in pattern.waterlines:
        level = _level(pattern, rings, height)
        strokes += [Stroke(layer=WATERLINES, at_mm=np.array([[a, height], [b, height]])) for a, b in level]
        if level:
            end = max(level, key=lambda s: s[1] - s[0])[1]
            labels.append(_label(WATERLINES, name, (end - 2 - 0.6 * _NAME_MM * len(name), height + 0.8), 0.0))
    marks, names = _marks(pattern)
    for spot in pattern.cards:
        strokes.append(Stroke(layer=CARDS, at_mm=closed(spot.outline_mm)))
    return Drawing(strokes=(*strokes, *marks), labels=(*labels, *names))


def words(pattern: Pattern) -> tuple[str, ...]:
    """What is written on the sheet: title, station, what was taken off, and how to hold it."""
    cut = pattern.cut
    off = f"{cut.planking_mm:g} mm planking taken off" if cut.planking_mm else "no planking taken off"
    proud = f", {cut.proud_mm:g} mm left on for roughing" if cut.proud_mm else ""
    return (
        f"STATION {pattern.section.station}   {pattern.title}",
        f"Edge: {off}{proud}.",
        f"Its {pattern.face} face lies on the station.",
        "Seen from aft, starboard side. Port: turn it over, same face on the station.",
    )


def _back(pattern: Pattern) -> np.ndarray:
    """The saw cuts from the centreline end of the edge round to its sheer end."""
    sheet = pattern.sheet_mm
    return np.vstack([sheet[len(pattern.edge.at_mm) - 1 :], sheet[:1]])


def _centreline(pattern: Pattern, rings: list[np.ndarray]) -> list[Stroke]:
    x, y = pattern.tick_mm
    bottom = float(pattern.sheet_mm[:, 1].min())
    line = np.array([[x, bottom - 1], [x, y + 1]])
    return [
        *(
            Stroke(layer=CENTRELINE, at_mm=np.array([[x, a], [x, b]]))
            for a, b in _open(pattern, rings, line, axis=1)
        ),
        Stroke(layer=MARKS, at_mm=np.array([[x, y - TICK_MM], [x, y]])),
    ]


def _open(
    pattern: Pattern, rings: list[np.ndarray], line: np.ndarray, *, axis: int
) -> list[tuple[float, float]]:
    """Stretches of a line along an axis that lie on the sheet, outside the rings."""
    every = [pattern.sheet_mm, *rings]
    met = [line[0, axis], line[1, axis], *(v for r in every for v in crossings(line, closed(r))[:, axis])]
    at = np.unique(np.round(met, 6))
    middles = np.tile(line[0], (len(at) - 1, 1))
    middles[:, axis] = (at[1:] + at[:-1]) / 2
    free = inside(middles, pattern.sheet_mm)
    for ring in rings:
        free &= ~inside(middles, ring)
    return [(a, b) for a, b, f in zip(at, at[1:], free, strict=False) if f and b - a > 5]


def _beside_tick(pattern: Pattern) -> Label:
    x, y = pattern.tick_mm
    return _label(CENTRELINE, "centreline", (x - 1.5, y - TICK_MM - 20), np.pi / 2)


def _level(pattern: Pattern, rings: list[np.ndarray], height: float) -> list[tuple[float, float]]:
    """Stretches (x, x) of a waterline that lie on the sheet, clear of cards and words."""
    ends = np.array([pattern.sheet_mm[:, 0].min() - 1, pattern.sheet_mm[:, 0].max() + 1])
    return _open(pattern, rings, np.column_stack([ends, [height, height]]), axis=0)


def _marks(pattern: Pattern) -> tuple[list[Stroke], list[Label]]:
    """Short lines square to the edge where the table's lines cross it, and their names beside them."""
    run = pattern.edge.at_mm
    way = along(run)
    strokes, labels, last = [], [], {0: -np.inf, 1: -np.inf}
    for mark in pattern.marks:
        i = int(np.argmin(np.hypot(run[:, 0] - mark.x_mm, run[:, 1] - mark.y_mm)))
        step = run[min(i + 2, len(run) - 1)] - run[max(i - 2, 0)]
        onward = step / np.linalg.norm(step)
        square = np.array([onward[1], -onward[0]])
        at = np.array([mark.x_mm, mark.y_mm])
        strokes.append(Stroke(layer=MARKS, at_mm=np.array([at, at + _MARK_MM * square])))
        row = 0 if way[i] - last[0] > _NAME_ROOM_MM else 1
        last[row] = way[i]
        sheer = i > len(run) - 3
        text = mark.name + _bevel_words(mark.bevel_rad)
        back = 1.1 * 0.5 * _NAME_MM * len(text) if sheer else -0.8
        place = at + (_ROWS_MM[row] + _NAME_MM / 2) * square - back * onward
        labels.append(_label(MARKS, text, place, float(np.arctan2(onward[1], onward[0]))))
    return strokes, labels


def _bevel_words(bevel_rad: float) -> str:
    if not np.isfinite(bevel_rad) or abs(bevel_rad) < _BEVEL_LEAST_RAD:
        return ""
    return f" {abs(np.degrees(bevel_rad)):.0f}°"


def _words(pattern: Pattern) -> tuple[list[Label], list[np.ndarray]]:
    """The words on the sheet with the ring they fill; none where there is no room but on the first page."""
    lines = words(pattern)
    tall = _NOTE_STEP_MM * len(lines)
    for shrink in (1.0, 0.8, 0.6):
        wide = 0.52 * _NOTE_MM * max(map(len, lines)) * shrink
        size_mm = (wide, tall * shrink)
        spot = note_spot(pattern.edge.at_mm, pattern.sheet_mm, pattern.cards, size_mm=size_mm)
        if spot is not None:
            break
    else:
        return [], []
    x, y, turn = spot
    across, up = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    first = np.array([x, y]) - wide / 2 * across + (tall / 2 - _NOTE_STEP_MM * 0.75) * shrink * up
    labels = [
        _label(WORDS, text, first - i * _NOTE_STEP_MM * shrink * up, turn, size_mm=_NOTE_MM * shrink)
        for i, text in enumerate(lines)
    ]
    return labels, [rectangle(x, y, turn, size_mm)]


def _label(layer: str, text: str, at, turn_rad: float, size_mm: float = _NAME_MM) -> Label:
    return Label(
        layer=layer, text=text, x_mm=float(at[0]), y_mm=float(at[1]), turn_rad=turn_rad, size_mm=size_mm
    )
