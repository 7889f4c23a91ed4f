"""Stations page: the station table on one printable page, nothing fetched from outside."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from lightcheck import __version__
from lightcheck.report.look import template
from lightcheck.report.stations_words import in_inches, in_mm, remark

if TYPE_CHECKING:
    from lightcheck.stations import Difference, Reading, Span, StationTable


def page(result: StationTable, *, picture: str, cautions: tuple[str, ...]) -> str:
    """The page. picture: stations.png as an address."""
    stations = dict.fromkeys(r.where.station for r in result.readings)
    return template("stations.html").render(
        verdict=verdict(result),
        warnings=result.warnings,
        stations=[_station(result, name) for name in stations],
        spans=_spans(result),
        picture=picture,
        proud=f"{result.proud_mm:g} mm" if result.proud_mm else "",
        cautions=cautions,
        version=f"lightcheck {__version__}",
    )


def verdict(result: StationTable) -> str:
    """One sentence: where most is left."""
    most = [(float(np.nanmax(r.left_mm)), r) for r in result.readings if np.isfinite(r.left_mm).any()]
    if not most:
        return "Nothing was seen at the places of the table."
    left, reading = max(most, key=lambda pair: pair[0])
    at = reading.girth_mm[int(np.nanargmax(reading.left_mm))]
    side = f" {reading.where.side}" if reading.where.side else ""
    count = len({r.where.station for r in result.readings})
    more = "" if reading.seated else " and the unknown lift"
    round_from = "round from the centreline" if reading.from_centre else "along the template"
    return (
        f"{count} station{'s' if count > 1 else ''}; most is left at station {reading.where.station}{side}, "
        f"{at:.0f} mm {round_from}: {left:.2f} mm{more}."
    )


def _station(result: StationTable, name: str) -> dict:
    """One station's table: a row for each place, a cell for each side, and the difference."""
    sides = [r for r in result.readings if r.where.station == name]
    diff = next((d for d in result.differences if d.station == name), None)
    places = sorted({g for r in sides for g in r.girth_mm.tolist()})
    along = sides[0].place_mm
    return {
        "name": name,
        "place": "" if along is None else f"{along:.0f} mm along",
        "from": "round" if sides[0].from_centre else "along template",
        "sides": [(r.where.side or "left", "" if r.seated else "not seated: + lift") for r in sides],
        "difference": diff is not None,
        "loose": diff is not None and not diff.seated,
        "rows": [
            {
                "girth": f"{g:.0f}",
                "where": _where(sides, g),
                "cells": [_cell(r, g) for r in sides],
                "difference": _cell(diff, g, sides=True) if diff is not None else None,
            }
            for g in places
        ],
    }


def _spans(result: StationTable) -> list[dict]:
    """One table for each pair of neighbouring stations, a cell for each side."""
    found = []
    for between in dict.fromkeys(s.between for s in result.spans):
        sides = [s for s in result.spans if s.between == between]
        places = sorted({g for s in sides for g in s.girth_mm.tolist()})
        found.append(
            {
                "name": " to ".join(between),
                "place": f"{sides[0].place_mm:.0f} mm along",
                "sides": [(s.side or "left", "" if s.seated else "not seated: + lift") for s in sides],
                "rows": [{"girth": f"{g:.0f}", "cells": [_cell(s, g) for s in sides]} for g in places],
            }
        )
    return found


def _where(sides: list[Reading], girth: float) -> str:
    for reading in sides:
        for i in np.flatnonzero(np.isclose(reading.girth_mm, girth)):
            x, y = reading.at_mm[i]
            if np.isfinite(x):
                return f"{x:.0f} out, {y:.0f} up"
    return ""


def _cell(thing: Reading | Span | Difference, girth: float, *, sides: bool = False) -> dict | None:
    """Millimetres, fraction, give or take and a remark at one place; None where nothing was seen."""
    for i in np.flatnonzero(np.isclose(thing.girth_mm, girth)):
        left, sigma = float(thing.left_mm[i]), float(thing.sigma_mm[i])
        if np.isfinite(left):
            return {
                "mm": in_mm(left).replace("-", "−"),
                "inch": re.sub("^-", "−", in_inches(left, sigma)),
                "sigma": f"{max(sigma, 0.01):.2f}",
                "remark": remark(left, sigma, seated=thing.seated, sides=sides),
            }
    return None
