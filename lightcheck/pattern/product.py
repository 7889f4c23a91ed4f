"""Pattern: one template at full size, ready to be drawn on paper, as DXF, SVG or a list of points."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck import offsets
from lightcheck.constants import CARD_NUMBERS
from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.offsets import Edge, Fairness, Point, Section, Slip, Table
from lightcheck.pattern.sheet import CardSpot, lay_out

FACES = ("forward", "aft")
_SQUARE_RAD = np.radians(1.0)  # a mean bevel under this does not say which way the boat narrows
_CORNER_REACH = 3.0  # a corner of the edge lies within so many thicknesses of the one it was moved from
_THICK_SHARE = 0.08  # planking beyond this share of the half-breadth may have been typed in the wrong unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """What is asked of a pattern.

    planking_mm: to be taken off the lines.  proud_mm: roughing wood to be left on.  cards: numbers.
    face: which face lies on the station, "forward" or "aft"; None lets the bevel decide.
    every_point: the battens go through every offset as typed, slips too.
    """

    station: str
    planking_mm: float = 0.0
    proud_mm: float = 0.0
    cards: tuple[int, ...] = (18, 19)
    face: str | None = None
    every_point: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """Where a line of the table crosses the edge, with the bevel there (NaN where not known)."""

    name: str
    x_mm: float
    y_mm: float
    bevel_rad: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pattern:
    """A full-size pattern. Origin on the centreline at the table's base line, x out, y up; seen from aft.

    edge: of the wood, from the centreline to the sheer.  sheet_mm: (m, 2) outline of the board.
    marks: on the edge.  waterlines: (name, height).  fairness: of the whole table.  face: on the station.
    notes: what the builder should know of this pattern.
    """

    title: str
    cut: Cut
    section: Section
    edge: Edge
    sheet_mm: np.ndarray
    cards: tuple[CardSpot, ...]
    marks: tuple[Mark, ...]
    waterlines: tuple[tuple[str, float], ...]
    fairness: Fairness
    face: str
    notes: tuple[str, ...]
    table_sha256: str

    @property
    def tick_mm(self) -> tuple[float, float]:
        """Where the centreline meets the edge. [mm]"""
        return 0.0, float(self.edge.at_mm[0, 1])


def make(table: Table, cut: Cut) -> Pattern:
    """The pattern of one station.

    Refuses what `offsets` refuses, planking off lines that are to the inside of it already, a face that
    is neither forward nor aft, a card named twice, and cards that do not fit.
    """
    _check(table, cut)
    fairness = offsets.fairness(table)
    slips = fairness.slips
    gone = {} if cut.every_point else _gone(slips)
    name = table.stations[table.index(cut.station)]
    drawn = offsets.section(table, name, let_go=gone.get(name, ()))
    bevel = offsets.bevels(table, drawn, let_go=gone)
    edge = offsets.edge(drawn, planking_mm=cut.planking_mm, proud_mm=cut.proud_mm, bevel=bevel)
    sheet, cards = lay_out(edge.at_mm, cut.cards)
    face, why = _face(cut, edge)
    return Pattern(
        title=table.title,
        cut=cut,
        section=drawn,
        edge=edge,
        sheet_mm=frozen(sheet),
        cards=cards,
        marks=_marks(drawn, edge),
        waterlines=tuple((ln.name, ln.level_mm) for ln in table.lines if ln.kind == "waterline"),
        fairness=fairness,
        face=face,
        notes=(why, *_notes(cut, table, drawn, bevel, slips)),
        table_sha256=table.sha256,
    )


def _check(table: Table, cut: Cut) -> None:
    if cut.planking_mm > 0 and table.to == "inside":
        raise LightcheckError(
            "The table is to the inside of the planking already.",
            "Leave out --planking, or write to,outside in the table if that is what it is.",
        )
    if cut.face not in (None, *FACES):
        raise LightcheckError(
            f"'{cut.face}' is not a face of a template.", "Use --face forward or --face aft."
        )
    unknown = [n for n in cut.cards if n not in CARD_NUMBERS]
    if unknown:
        raise LightcheckError(
            f"There is no card {unknown[0]}.",
            "Large cards are numbered 0 to 19, small ones 20 to 34: --cards 4,5.",
        )
    if len(set(cut.cards)) < len(cut.cards):
        raise LightcheckError(
            "A card is named twice.", "Give each template its own cards, such as --cards 4,5."
        )


def _gone(slips: tuple[Slip, ...]) -> dict[str, tuple[str, ...]]:
    gone: dict[str, tuple[str, ...]] = {}
    for slip in slips:
        gone[slip.station] = (*gone.get(slip.station, ()), slip.line)
    return gone


def _face(cut: Cut, edge: Edge) -> tuple[str, str]:
    """The face that lies on the station, and why."""
    known = edge.bevel_rad[np.isfinite(edge.bevel_rad)]
    mean = float(known.mean()) if len(known) else 0.0
    if abs(mean) < _SQUARE_RAD:
        asked = " as asked" if cut.face else " (the bevel does not say which is better)"
        return cut.face or "aft", f"Its {cut.face or 'aft'} face lies on the station{asked}."
    face, narrows = ("aft", "forward") if mean > 0 else ("forward", "aft")
    if cut.face == narrows:
        return cut.face, (
            f"Its {cut.face} face lies on the station as asked. The boat widens going {face}, into the "
            "template: bevel the edge to that face, or the other one touches first."
        )
    return (
        face,
        f"Its {face} face lies on the station: the boat narrows going {narrows}, away from that face.",
    )


def _marks(drawn: Section, edge: Edge) -> tuple[Mark, ...]:
    """Where the table's lines cross the edge, but for the first: the tick stands there."""
    found = []
    for point in drawn.points[1:]:
        if point is drawn.points[-1]:
            at = _crossing(edge, point, axis=1)  # the sheer keeps its height, planked or not
            at = len(edge.at_mm) - 1.0 if at is None else at
        elif point.kind == "both":
            at = _on_edge(edge, point)
        else:
            at = _crossing(edge, point, axis=1 if point.kind == "waterline" else 0)
        if at is not None:
            i = min(int(at), len(edge.at_mm) - 2)
            x, y = edge.at_mm[i] + (at - i) * (edge.at_mm[i + 1] - edge.at_mm[i])
            found.append(Mark(name=point.line, x_mm=x, y_mm=y, bevel_rad=edge.bevel_rad[i]))
    return tuple(found)


def _crossing(edge: Edge, point: Point, *, axis: int) -> float | None:
    """Where the edge crosses a point's half-breadth (axis 0) or height (1), nearest to it; in segments."""
    run, place = edge.at_mm, np.array([point.x_mm, point.y_mm])
    beyond = run[:, axis] >= place[axis] - 1e-6
    i = np.flatnonzero(beyond[1:] != beyond[:-1])
    if not len(i):
        return None
    share = np.clip((place[axis] - run[i, axis]) / (run[i + 1, axis] - run[i, axis]), 0, 1)
    near = np.linalg.norm(run[i] + share[:, None] * (run[i + 1] - run[i]) - place, axis=1)
    return float((i + share)[np.argmin(near)])


def _on_edge(edge: Edge, point: Point) -> float:
    """The place of a line that is given both ways: the corner of the edge, or its nearest point."""
    run = edge.at_mm
    near = np.linalg.norm(run - (point.x_mm, point.y_mm), axis=1)
    if not point.corner:
        return float(np.argmin(near))
    onward = np.unwrap(np.arctan2(*np.diff(run, axis=0).T[::-1]))
    turn = np.abs(np.diff(onward, prepend=onward[0], append=onward[-1]))
    return float(np.argmax(np.where(near <= _CORNER_REACH * near.min() + 1.0, turn, -1.0)))


def _notes(cut: Cut, table: Table, drawn: Section, bevel, slips: tuple[Slip, ...]) -> list[str]:
    notes = []
    if bevel is None and cut.planking_mm != cut.proud_mm:
        why = "the table does not say where the stations stand" if table.place_mm is None else "no neighbour"
        notes.append(f"The thickness is not corrected for the bevel: {why}.")
    widest = max(p.x_mm for p in drawn.points)
    if cut.planking_mm > _THICK_SHARE * widest:
        notes.append(
            f"{cut.planking_mm:g} mm is thick planking for a section of {widest:.0f} mm half-breadth: "
            "is its unit right?"
        )
    if cut.proud_mm > 0:
        notes.append(
            f"A roughing template: where it touches, {cut.proud_mm:g} mm of wood is still to come off."
        )
    own = [s for s in slips if s.station == drawn.station]
    if own and cut.every_point:
        notes.append("Drawn through every offset as typed, the unfair ones too.")
    elif own:
        notes.append("Drawn past the unfair offsets: " + ", ".join(s.line for s in own) + ".")
    return notes
