"""Table: the offsets of all stations, read from a spreadsheet's CSV."""

from __future__ import annotations

import csv
import hashlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.offsets.typed import UNITS, offset_mm, step_mm

KINDS = {"half-breadth": "half-breadth", "half breadth": "half-breadth", "halfbreadth": "half-breadth",
         "half-breadths": "half-breadth", "height": "height", "heights": "height"}  # fmt: skip
SIDES = ("outside", "inside")
_SETTINGS = ("title", "units", "to", "spacing")
_ON_CENTRE = ("keel", "profile", "centre", "stem", "bottom")  # may do without a half-breadth row
_MOST_BYTES = 2_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """One line of the table at every station: a waterline, a buttock, or one given both ways.

    half_breadth_mm, height_mm: (stations,), NaN where the line does not reach; the given one of a
    waterline is half_breadth_mm, of a buttock height_mm, and `level_mm` is the other one.
    """

    name: str
    kind: str  # "waterline", "buttock" or "both"
    level_mm: float
    half_breadth_mm: np.ndarray
    height_mm: np.ndarray

    @property
    def corner(self) -> bool:
        """True for a chine or knuckle: the batten is cut there."""
        return any(word in self.name.lower() for word in ("chine", "knuckle"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """A table of offsets.

    stations: names, from forward to aft.  place_mm: (stations,) along the boat, increasing aft, or None
    where no spacing was given.  step_mm: the finest step it was written to.  to: "outside" or "inside"
    of the planking.
    """

    title: str
    units: str
    to: str
    step_mm: float
    stations: tuple[str, ...]
    place_mm: np.ndarray | None
    lines: tuple[Line, ...]
    sha256: str

    def index(self, station: str) -> int:
        """Column of a station. Refuses a name that is not in the table."""
        wanted = station.strip().lower()
        names = [s.lower() for s in self.stations]
        if wanted not in names:
            raise LightcheckError(
                f"There is no station '{station}' in the table.",
                f"Name one of these after --station: {', '.join(self.stations)}.",
            )
        return names.index(wanted)


@dataclass(frozen=True, slots=True)
class _Row:
    kind: str
    name: str
    level: str
    cells: tuple[str, ...]
    number: int


def read(path: str | Path) -> Table:
    """Read a table of offsets; the format is told in `lightcheck.offsets`.

    Refuses what can not be read, stations out of order, two rows of one name, and a table without units.
    """
    path = Path(path)
    content = _bytes(path)
    settings, rows = _rows(content)
    units = _units(settings)
    stations, place_mm = _stations(rows, settings, units)
    offsets = [r for r in rows if r.kind in KINDS.values()]
    if not offsets:
        raise LightcheckError(
            f"{path.name} holds no offsets.",
            "Start each row with half-breadth or height, then the line's name: half-breadth,WL 100,100,...",
        )
    to = settings.get("to", "outside").lower().split(" ")[0]
    if to not in SIDES:
        raise LightcheckError(f"The row 'to' says '{to}'.", "Write to,outside or to,inside of the planking.")
    typed = [cell for row in offsets for cell in row.cells]
    return Table(
        title=settings.get("title", path.stem),
        units=units,
        to=to,
        step_mm=step_mm(typed, units=units),
        stations=stations,
        place_mm=place_mm,
        lines=_lines(offsets, len(stations), units),
        sha256=hashlib.sha256(content).hexdigest(),
    )


def _bytes(path: Path) -> bytes:
    try:
        content = path.read_bytes()
    except OSError as error:
        raise LightcheckError(
            f"{path} can not be read ({error.strerror}).", "Check the name of the table of offsets."
        ) from None
    if content[:2] == b"PK" or b"\0" in content[:4000] or len(content) > _MOST_BYTES:
        raise LightcheckError(
            f"{path.name} is not a CSV file.", "Save the sheet as CSV (text with commas) and give that file."
        )
    return content


def _rows(content: bytes) -> tuple[dict[str, str], list[_Row]]:
    """Settings, and the rows that hold one cell for each station."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("cp1252", errors="replace")  # what older spreadsheets write
    lines = text.splitlines()
    mark = max(",;\t", key=lambda m: sum(line.count(m) for line in lines))
    if mark == "," and any(";" in line for line in lines):
        mark = ";"
    settings, rows = {}, []
    for number, typed in enumerate(csv.reader(lines, delimiter=mark), start=1):
        cells = [c.strip() for c in typed]
        kind = cells[0].lower() if cells else ""
        if not kind or kind.startswith("#"):
            continue
        if kind in _SETTINGS:
            settings[kind] = cells[1] if len(cells) > 1 else ""
        elif kind in ("station", "stations", "place", *KINDS):
            named = KINDS.get(kind, kind.removesuffix("s"))
            name, level = [*cells[1:3], "", ""][:2]
            rows.append(_Row(named, name, level, tuple(cells[3:]), number))
        else:
            raise LightcheckError(
                f"Row {number} starts with '{cells[0][:40]}', which is not known here.",
                "Start rows with title, units, to, station, place, half-breadth or height, or # for a note.",
            )
    return settings, rows


def _units(settings: dict[str, str]) -> str:
    typed = settings.get("units", "").lower()
    if typed in UNITS:
        return UNITS[typed]
    wrong = f"The units row says '{typed[:40]}'." if typed else "The table does not say its units."
    raise LightcheckError(wrong, "Write a row units,mm or units,feet-inches-eighths above the offsets.")


def _stations(rows: list[_Row], settings, units) -> tuple[tuple[str, ...], np.ndarray | None]:
    heads = [r for r in rows if r.kind == "station"]
    if len(heads) != 1:
        raise LightcheckError(
            f"The table has {len(heads)} rows of station names." if heads else "No row names the stations.",
            "Write one row station,,,1,2,3 above the offsets.",
        )
    names = [c for c in heads[0].cells]
    while names and not names[-1]:
        names.pop()
    if not all(names) or len({n.lower() for n in names}) < len(names) or not names:
        raise LightcheckError(
            "A station has no name, or two have the same.", "Give each column its own name: station,,,1,2,3."
        )
    place_mm = _places(rows, settings, units, len(names))
    if place_mm is not None and not (np.diff(place_mm) > 0).all():
        at = int(np.argmin(np.diff(place_mm) > 0))
        raise LightcheckError(
            f"The stations are not in order: {names[at + 1]} does not lie aft of {names[at]}.",
            "Sort the columns from forward to aft, with places that grow from left to right.",
        )
    return tuple(names), None if place_mm is None else frozen(place_mm)


def _places(rows: list[_Row], settings, units: str, count: int) -> np.ndarray | None:
    row = next((r for r in rows if r.kind == "place"), None)
    if row is None and not settings.get("spacing"):
        return None
    if row is None:
        spacing = offset_mm(settings["spacing"], units=units, place="the spacing")
        return spacing * np.arange(count)
    place_mm = _values(row, count, units)
    if np.isnan(place_mm).any():
        raise LightcheckError("A station has no place.", "Fill every cell of the row 'place'.")
    return place_mm


def _values(row: _Row, count: int, units: str) -> np.ndarray:
    cells = list(row.cells)
    if any(c for c in cells[count:]):
        raise LightcheckError(
            f"Row {row.number} has more cells than there are stations.",
            "Leave one cell for each station after the line's name and its level.",
        )
    cells = (cells + [""] * count)[:count]
    return np.array(
        [offset_mm(c, units=units, place=f"row {row.number}, {row.name or row.kind}") for c in cells]
    )


def _lines(rows: list[_Row], count: int, units: str) -> tuple[Line, ...]:
    """Rows of the same line put together, in the order in which they are first named."""
    by_name: dict[str, dict[str, _Row]] = {}
    for row in rows:
        kinds = by_name.setdefault(row.name.lower(), {})
        if row.kind in kinds or not row.name:
            raise LightcheckError(
                f"Row {row.number} has no name, or there are two rows {row.kind} of {row.name or 'it'}.",
                "Give every line a name of its own, such as WL 100, buttock 200, chine or sheer.",
            )
        kinds[row.kind] = row
    return tuple(_line(kinds, count, units) for kinds in by_name.values())


def _line(kinds: dict[str, _Row], count: int, units: str) -> Line:
    name = next(iter(kinds.values())).name
    values = {kind: _values(row, count, units) for kind, row in kinds.items()}
    level = next((r.level for r in kinds.values() if r.level), "")
    level_mm = offset_mm(level, units=units, place=f"the level of {name}")
    given = (
        "both" if len(values) == 2 else {"half-breadth": "waterline", "height": "buttock"}[next(iter(values))]
    )
    if given == "buttock" and not level and any(word in name.lower() for word in _ON_CENTRE):
        level_mm = 0.0  # a keel without half-breadths lies on the centreline
    if given != "both" and np.isnan(level_mm):
        missing = "half-breadth" if given == "buttock" else "height"
        raise LightcheckError(
            f"Nothing says at which {missing} {name} lies.",
            f"Put it in the third cell of its row ({name},200,...), or add a row {missing},{name}.",
        )
    flat = np.full(count, level_mm)
    return Line(
        name=name,
        kind=given,
        level_mm=float(level_mm) if given != "both" else float("nan"),
        half_breadth_mm=frozen(values.get("half-breadth", flat)),
        height_mm=frozen(values.get("height", flat)),
    )
