"""Stations: readings of templates along a part, as a table of what is left to come off.

At each place round a section, g along the wood from the centreline:

    seated template      left(g) = stand-off(g) + proud     the marks hold it at its designed place
    not seated           left(g) = stand-off(g) - lowest    until it sits down with no daylight; how high
                                                            it stands on the wood is not in it (+ lift)

Unfinished wood carries a template high: what lies under the places where it touches is an unknown lift,
and no table can take it away. Without a designed outline the template's own edge stands for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.template import Daylight

SIDES = ("port", "starboard")
LEAST_EVERY_MM = 1.0  # from one place to the next; readings are averaged over more than that
NEAR_MM = 5.0  # readings so near a place are averaged
FAR_FROM_CENTRE_MM = 30.0  # a girth that starts further out than this is not from the centreline
LIFT = (
    "Unfinished wood carries a template high, and may rock it over. What stands under the places where it "
    "touches is not known unless the template is seated on marks: those stations read what comes off until "
    "it sits down as it was held, and the lift is more."
)
SPAN = (
    "Between stations the table only draws a straight line. The middle of a span carries more wood than "
    "that: stations are cut down first, and a rounded boat bulges between them."
)  # common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """What was said of a reading: its station, side ("port", "starboard" or "") and folder."""

    station: str
    side: str
    folder: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """One template's reading at the places of the table.

    girth_mm: (n,) along the wood from the centreline, or along the template where `from_centre` is not
    so.  at_mm: (n, 2) x out and y up on the designed outline, NaN without one.  daylight_mm: (n,) as
    seen.  left_mm, sigma_mm: (n,) to come off; NaN where unseen.  unknown: what no mark holds; empty
    where the template is seated.
    """

    where: Where
    place_mm: float | None
    from_centre: bool
    girth_mm: np.ndarray
    at_mm: np.ndarray
    daylight_mm: np.ndarray
    left_mm: np.ndarray
    sigma_mm: np.ndarray
    unknown: tuple[str, ...]

    @property
    def seated(self) -> bool:
        """Whether the lift is known."""
        return not self.unknown


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Span:
    """The middle between two stations of one side, by a straight line; a fair boat carries more there."""

    between: tuple[str, str]
    side: str
    place_mm: float
    girth_mm: np.ndarray
    left_mm: np.ndarray
    sigma_mm: np.ndarray
    seated: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Difference:
    """Port less starboard at one station. left_mm, sigma_mm: (n,) at girth_mm."""

    station: str
    girth_mm: np.ndarray
    left_mm: np.ndarray
    sigma_mm: np.ndarray
    seated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StationTable:
    """All of it, from forward to aft; empty tuples where there is nothing to compare."""

    readings: tuple[Reading, ...]
    spans: tuple[Span, ...]
    differences: tuple[Difference, ...]
    every_mm: float
    proud_mm: float
    warnings: tuple[str, ...]


def table(
    readings: list[tuple[Where, Daylight]],
    *,
    places_mm: dict[str, float],
    every_mm: float = 50.0,
    proud_mm: float = 0.0,
) -> StationTable:
    """The station table. places_mm: where stations stand along the part.

    proud_mm: roughing wood that the templates' edges leave on; counts where the template is seated.
    Refuses two readings of one station and side, two stations at one place, a place for a station that
    was not read, and places closer than a reading can tell apart.
    """
    if every_mm < LEAST_EVERY_MM:
        raise LightcheckError(
            f"Places {every_mm:g} mm apart are closer than a reading can tell.",
            f"Give {LEAST_EVERY_MM:g} mm or more, such as --every 50mm.",
        )
    _check(readings, places_mm)
    rows = [
        _reading(where, seen, places_mm.get(where.station), every_mm=every_mm, proud_mm=proud_mm)
        for where, seen in readings
    ]
    order = {w.station: i for i, (w, _) in reversed(list(enumerate(readings)))}
    rows.sort(
        key=lambda r: (np.inf if r.place_mm is None else r.place_mm, order[r.where.station], r.where.side)
    )
    spans = _spans(rows)
    return StationTable(
        readings=tuple(rows),
        spans=spans,
        differences=_differences(rows),
        every_mm=every_mm,
        proud_mm=proud_mm,
        warnings=_warnings(rows, spans),
    )


def _check(readings: list[tuple[Where, Daylight]], places_mm: dict[str, float]) -> None:
    if not readings:
        raise LightcheckError("No reading was given.", "Name one or more folders of lightcheck daylight.")
    names = [(w.station, w.side) for w, _ in readings]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice:
        raise LightcheckError(
            f"Station {twice[0]}{' ' + twice[1] if twice[1] else ''} is read twice.",
            "Say which is which: day1/@4,port day2/@4,starboard.",
        )
    unread = [s for s in places_mm if s not in {w.station for w, _ in readings}]
    if unread:
        raise LightcheckError(
            f"There is no reading of station {unread[0]}.",
            f"Name one of these after --at: {', '.join(dict.fromkeys(w.station for w, _ in readings))}.",
        )
    shared = next((s for s, at in places_mm.items() if list(places_mm.values()).count(at) > 1), None)
    if shared:
        raise LightcheckError(
            f"Station {shared} stands at {places_mm[shared]:g} mm, and so does another.",
            "Measure along the part again, and give each station its own --at.",
        )


def _reading(
    where: Where, seen: Daylight, place_mm: float | None, *, every_mm: float, proud_mm: float
) -> Reading:
    girth, (at, daylight, off, sigma), unknown = _stand_off(seen)
    low, high = float(girth.min()), float(girth.max())
    from_centre = seen.stand_off is not None and low <= FAR_FROM_CENTRE_MM
    if not np.isfinite(off).any():
        raise LightcheckError(
            f"The reading in {where.folder} has no place that was seen.", "Photograph that template again."
        )
    places = np.arange(np.ceil(low / every_mm), high / every_mm + 1e-9) * every_mm
    if not len(places):
        places = np.array([(low + high) / 2])
    order, left, lost = np.argsort(girth), off + proud_mm, np.zeros(len(off))
    if unknown:
        lowest = int(np.nanargmin(off))
        left, lost = off - off[lowest], np.full(len(off), sigma[lowest])
    return Reading(
        where=where,
        place_mm=place_mm,
        from_centre=from_centre,
        girth_mm=frozen(places),
        at_mm=frozen(np.column_stack([np.interp(places, girth[order], at[order, i]) for i in (0, 1)])),
        daylight_mm=frozen(_at(girth, daylight, places)),
        left_mm=frozen(_at(girth, left, places)),
        sigma_mm=frozen(_at(girth, np.hypot(sigma, lost), places)),
        unknown=unknown,
    )


def _stand_off(seen: Daylight):
    """Girth; (place on the outline, daylight, stand-off, sigma); what is unknown. [mm]

    Girth starts at the distance of the first place from the centreline.
    """
    held = seen.stand_off
    if held is None:
        nowhere, daylight = np.full((len(seen.along_mm), 2), np.nan), np.array(seen.daylight_mm, float)
        unknown = ("lift", "rock", "the template's own edge")
        return np.array(seen.along_mm), (nowhere, daylight, -daylight, np.array(seen.sigma_mm)), unknown
    known = np.isfinite(held.design_mm).all(axis=1)
    at, off, sigma = (np.array(a, float)[known] for a in (held.design_mm, held.off_mm, held.sigma_mm))
    daylight = np.array(seen.daylight_mm, float)[known]
    unknown = tuple(held.unknown)
    girth = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(at, axis=0), axis=1))])
    if at[-1, 0] < at[0, 0]:  # the photo runs from the sheer to the centreline
        girth = girth[-1] - girth
    return girth + max(float(at[:, 0].min()), 0.0), (at, daylight, off, sigma), unknown


def _at(girth: np.ndarray, values: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Values averaged round each place; NaN where nothing near was seen."""
    near = np.abs(girth[None] - places[:, None]) <= NEAR_MM
    near &= np.isfinite(values)[None]
    count = near.sum(axis=1)
    total = np.where(near, np.nan_to_num(values)[None], 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _spans(rows: list[Reading]) -> tuple[Span, ...]:
    found = []
    for side in dict.fromkeys(r.where.side for r in rows):
        own = [r for r in rows if r.where.side == side and r.place_mm is not None]
        for a, b in pairwise(own):
            girth, i, j = np.intersect1d(a.girth_mm, b.girth_mm, return_indices=True)
            if not len(girth) or a.from_centre != b.from_centre:
                continue
            apart = np.abs(a.left_mm[i] - b.left_mm[j]) / 2
            found.append(
                Span(
                    between=(a.where.station, b.where.station),
                    side=side,
                    place_mm=(a.place_mm + b.place_mm) / 2,
                    girth_mm=frozen(girth),
                    left_mm=frozen((a.left_mm[i] + b.left_mm[j]) / 2),
                    sigma_mm=frozen(np.hypot(np.hypot(a.sigma_mm[i], b.sigma_mm[j]) / 2, apart)),
                    seated=a.seated and b.seated,
                )
            )
    return tuple(sorted(found, key=lambda s: (s.place_mm, s.side)))


def _differences(rows: list[Reading]) -> tuple[Difference, ...]:
    found = []
    for station in dict.fromkeys(r.where.station for r in rows):
        sides = {r.where.side: r for r in rows if r.where.station == station}
        if not set(SIDES) <= set(sides):
            continue
        port, starboard = (sides[s] for s in SIDES)
        girth, i, j = np.intersect1d(port.girth_mm, starboard.girth_mm, return_indices=True)
        if not len(girth) or port.from_centre != starboard.from_centre:
            continue
        found.append(
            Difference(
                station=station,
                girth_mm=frozen(girth),
                left_mm=frozen(port.left_mm[i] - starboard.left_mm[j]),
                sigma_mm=frozen(np.hypot(port.sigma_mm[i], starboard.sigma_mm[j])),
                seated=port.seated and starboard.seated,
            )
        )
    return tuple(found)


def _warnings(rows: list[Reading], spans: tuple[Span, ...]) -> tuple[str, ...]:
    warnings = []
    loose = list(dict.fromkeys(r.where.station for r in rows if not r.seated))
    if loose:
        warnings.append(f"Station {', '.join(loose)}: not seated. {LIFT}")
    if spans:
        warnings.append(SPAN)
    unplaced = list(dict.fromkeys(r.where.station for r in rows if r.place_mm is None))
    if unplaced and len({r.where.station for r in rows}) > 1:
        warnings.append(
            f"Nothing says where station {', '.join(unplaced)} stands along the part, so no span next to it "
            f"is worked out: --at {unplaced[0]}=600mm."
        )
    along = list(dict.fromkeys(r.where.station for r in rows if not r.from_centre))
    if along:
        warnings.append(
            f"Station {', '.join(along)}: places are counted along the template from the end where its "
            "reading begins, not from the centreline."
        )
    return tuple(warnings)
