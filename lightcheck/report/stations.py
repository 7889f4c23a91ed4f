"""Stations: the station table as numbers, as a picture and as a page to print.

stations.csv    one row for each place: kind (station, span, difference)
stations.json   the same with what was unknown and the warnings
stations.png    left to come off round each section
stations.html   printable
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lightcheck import __version__
from lightcheck.report import folder as _folder
from lightcheck.report.stations_words import in_inches

if TYPE_CHECKING:
    from lightcheck.stations import Difference, Reading, Span, StationTable

SCHEMA = 1
PAGE = "stations.html"
FILES = ("stations.csv", "stations.json", "stations.png", PAGE)
COLUMNS = (
    "kind", "station", "side", "place_mm", "girth_mm", "out_mm", "up_mm", "daylight_mm", "left_mm",
    "sigma_mm", "left_in", "seated", "unknown",
)  # fmt: skip
_CARE = (
    "Look for hidden fasteners before the plane goes over a place, and keep hands behind the blade.",
    "This table does not know how thick the part is, and never says that it is strong enough. How thin it "
    "may become is for its designer, class rules or a surveyor.",
    "Take off less than it says, hold the template on again and look: wood does not go back on.",
)  # common practice, no source


def check_folder(folder: str | Path, *, force: bool = False) -> None:
    """Refuse a result folder that can not be used, before anything is read."""
    _folder.check_folder(folder, files=FILES, force=force)


def write(result: StationTable, folder: str | Path, *, force: bool = False) -> Path:
    """Write the four files; return the path of the page to open."""
    return _folder.write_folder(folder, lambda into: _fill(result, into), files=FILES, force=force) / PAGE


def rows(result: StationTable) -> list[dict]:
    """The table, one object for each row of stations.csv; None where nothing is known."""
    found = [row for reading in result.readings for row in _reading_rows(reading)]
    found += [row for span in result.spans for row in _span_rows(span)]
    return found + [row for diff in result.differences for row in _difference_rows(diff)]


def _fill(result: StationTable, into: Path) -> None:
    from lightcheck.report.look import address
    from lightcheck.report.stations_page import page
    from lightcheck.report.stations_plot import stations_png

    table = rows(result)
    with (into / "stations.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows({k: "" if row[k] is None else row[k] for k in COLUMNS} for row in table)
    text = json.dumps(summary(result), indent=1, ensure_ascii=False, allow_nan=False)
    (into / "stations.json").write_text(text + "\n", encoding="utf-8")
    picture = stations_png(result)
    (into / "stations.png").write_bytes(picture)
    (into / PAGE).write_text(page(result, picture=address(picture), cautions=_CARE), encoding="utf-8")


def summary(result: StationTable) -> dict:
    """What stations.json holds, as one object."""
    return {
        "schema": SCHEMA,
        "version": __version__,
        "every_mm": result.every_mm,
        "proud_mm": result.proud_mm,
        "rows": rows(result),
        "readings": [
            {
                "station": r.where.station,
                "side": r.where.side,
                "folder": r.where.folder,
                "place_mm": r.place_mm,
                "from_centre": r.from_centre,
                "seated": r.seated,
                "unknown": list(r.unknown),
            }
            for r in result.readings
        ],
        "warnings": list(result.warnings),
    }


def _reading_rows(reading: Reading) -> list[dict]:
    return [
        _row(
            "station",
            reading,
            i,
            station=reading.where.station,
            side=reading.where.side,
            place_mm=reading.place_mm,
            out_mm=_rounded(reading.at_mm[i, 0], 1),
            up_mm=_rounded(reading.at_mm[i, 1], 1),
            daylight_mm=_rounded(reading.daylight_mm[i], 3),
            unknown="; ".join(reading.unknown),
        )
        for i in range(len(reading.girth_mm))
    ]


def _span_rows(span: Span) -> list[dict]:
    between = " to ".join(span.between)
    return [
        _row("span", span, i, station=between, side=span.side, place_mm=span.place_mm)
        for i in range(len(span.girth_mm))
    ]


def _difference_rows(diff: Difference) -> list[dict]:
    return [
        _row("difference", diff, i, station=diff.station, side="port less starboard")
        for i in range(len(diff.girth_mm))
    ]


def _row(kind: str, thing: Reading | Span | Difference, i: int, **more) -> dict:
    left, sigma = float(thing.left_mm[i]), float(thing.sigma_mm[i])
    return dict.fromkeys(COLUMNS) | {
        "kind": kind,
        "girth_mm": _rounded(thing.girth_mm[i], 1),
        "left_mm": _rounded(left, 3),
        "sigma_mm": _rounded(sigma, 3),
        "left_in": in_inches(left, sigma) if np.isfinite(left) else None,
        "seated": "yes" if thing.seated else "no",
        **more,
    }


def _rounded(value: float, digits: int) -> float | None:
    return round(float(value), digits) + 0.0 if np.isfinite(value) else None
