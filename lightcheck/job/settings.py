"""Settings: what holds for the whole job, as it stands in job.toml.

The file belongs to the builder: it is written once, with remarks, and only read from then on. Lengths are
strings with units. What is not known here is told, not swallowed.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

from lightcheck.errors import LightcheckError
from lightcheck.units import length_mm

NAME = "job.toml"
SCHEMA = 1
SIDES = ("port", "starboard", "centre", "none")
BOWS = ("left", "right", "up", "down", "none")
ROUGHED_MM = 3.0  # left on the wood by roughing, 3 to 6 mm: common practice, no source
FOR_LONGBOARD_MM = 0.3  # left for the longboard, 0.2 to 0.4 mm: common practice, no source
LEAST_SPAN_MM = 50.0  # shorter ones tell tool marks, not humps
_NOT_LAMP_NAMES = ("flash", "off", "left", "right", "top", "bottom")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """What the builder allows: no gap over height_mm under a straightedge over_mm long."""

    height_mm: float
    over_mm: float

    def __str__(self) -> str:
        """As it is typed: 0.3 mm over 300 mm."""
        return f"{self.height_mm:g} mm over {self.over_mm:g} mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchTool:
    """A tool on the bench; what was not given is None. Sole and shaving in mm."""

    name: str
    kind: str
    length_mm: float | None = None
    width_mm: float | None = None
    shaving_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """job.toml, understood. tolerances: from the shortest span.  roughed_mm, for_longboard_mm: wood left
    by roughing and for the longboard.  stations: (name, distance along).  lamps: (name, place as typed).
    told: sentences about what is not known here.
    """

    part: str = "part without a name"
    side: str = "none"
    bow: str = "none"
    planking_mm: float | None = None
    species: str = ""
    tolerances: tuple[Tolerance, ...] = ()
    least_mm: float = 0.1
    longest_mm: tuple[float, float] = (400.0, 400.0)
    measured_mm: tuple[float, float] = (100.0, 100.0)
    card_thickness_mm: float = 0.0
    roughed_mm: float = ROUGHED_MM
    for_longboard_mm: float = FOR_LONGBOARD_MM
    stations: tuple[tuple[str, float], ...] = ()
    lamps: tuple[tuple[str, str], ...] = ()
    tools: tuple[BenchTool, ...] = ()
    told: tuple[str, ...] = ()

    def lamp(self, typed: str) -> str:
        """The place that a lamp's name stands for; what is no name is given back as typed."""
        return dict(self.lamps).get(typed.strip(), typed.strip())


def read(path: Path) -> Settings:
    """Read job.toml. Refuses what can not be understood and says where it stands."""
    try:
        content = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise LightcheckError(f"{path} is not a text in UTF-8.", "Save it as UTF-8 in your editor.") from None
    except OSError as error:
        raise LightcheckError(
            f"{path} can not be read ({error.strerror}).", "Check that the file is there and may be read."
        ) from None
    return understood(content, path)


def understood(content: str, path: Path) -> Settings:
    """What the text of a job.toml says. path: named in refusals."""
    try:
        table = tomllib.loads(content)
    except tomllib.TOMLDecodeError as error:
        raise LightcheckError(
            f"{path} can not be read: {error}.",
            "Mend that line: a text stands in double quotes, a remark starts with #.",
        ) from None
    return _settings(_Table(path, table))


class _Table:
    """One table of the file, which remembers what was asked of it."""

    def __init__(self, path: Path, content: dict, where: str = "") -> None:
        self.path, self.content, self.where, self.known = path, content, where, []

    def take(self, key: str, kind: type, fallback):
        """The value of a key; refused where it is not of its kind."""
        self.known.append(key)
        value = self.content.get(key, fallback)
        if value is not fallback and not (isinstance(value, kind) and not isinstance(value, bool)):
            raise self.wrong(key, f"is not {_KINDS[kind]}", _EXAMPLES[kind])
        return value

    def choice(self, key: str, allowed: tuple[str, ...]) -> str:
        value = self.take(key, str, "none").strip().lower()
        if value not in allowed:
            raise self.wrong(key, f"can not be '{value[:40]}'", f"Use one of: {', '.join(allowed)}.")
        return value

    def length(self, key: str, fallback: float | None, *, least_mm: float = 1e-9) -> float | None:
        text = self.take(key, str, None)
        return fallback if text is None or not text.strip() else self.measure(key, text, least_mm=least_mm)

    def pair(self, key: str, fallback: tuple[float, float]) -> tuple[float, float]:
        text = self.take(key, str, None)
        if text is None:
            return fallback
        values = [self.measure(key, part) for part in text.split(",")]
        if len(values) > 2:
            raise self.wrong(key, "holds more than two lengths", "Give one or two: 800mm,300mm.")
        return values[0], values[-1]

    def measure(self, key: str, text: str, *, least_mm: float = 1e-9) -> float:
        try:
            value = length_mm(text) if isinstance(text, str) else None
        except LightcheckError as error:
            raise self.wrong(key, f"is wrong: {error.problem}", error.remedy) from None
        if value is None or value < least_mm:
            raise self.wrong(key, f"can not be {text!r}", "Give a length with its unit, such as 3mm.")
        return value

    def table(self, key: str) -> _Table:
        return _Table(self.path, self.take(key, dict, {}), f"{self.where}{key}.")

    def wrong(self, key: str, problem: str, remedy: str) -> LightcheckError:
        return LightcheckError(f"{self.path}: {self.where}{key} {problem}", remedy)

    def unknown(self) -> tuple[str, ...]:
        return tuple(self._unknown(k) for k in self.content if k not in self.known)

    def _unknown(self, key: str) -> str:
        near = difflib.get_close_matches(key, self.known, n=1)
        hint = f"; did you mean {self.where}{near[0]}?" if near else "."
        return f"{NAME}: {self.where}{key} is not known here and is not used{hint}"


_KINDS = {str: "a text", dict: "a table", list: "a list", int: "a whole number"}
_EXAMPLES = {
    str: 'Put it in double quotes, such as "3mm".',
    dict: "Give it a line of its own in square brackets and its settings below.",
    list: 'Use square brackets, such as ["0.3mm over 300mm"].',
    int: "Leave it as lightcheck wrote it.",
}


def _settings(top: _Table) -> Settings:
    schema = top.take("schema", int, SCHEMA)
    if schema > SCHEMA:
        raise LightcheckError(
            f"{top.path} has schema {schema}; this lightcheck knows up to {SCHEMA}.",
            "Bring lightcheck up to date.",
        )
    planking, left = top.table("planking"), top.table("left_on_the_wood")
    tools, told = _tools(top)
    stations = top.table("stations")
    values = {
        "part": top.take("part", str, "").strip() or "part without a name",
        "side": top.choice("side", SIDES),
        "bow": top.choice("bow", BOWS),
        "planking_mm": planking.length("thickness", None),
        "species": planking.take("species", str, "").strip(),
        "tolerances": _tolerances(top),
        "least_mm": top.length("least", 0.1),
        "longest_mm": top.pair("longest", (400.0, 400.0)),
        "measured_mm": top.pair("measured", (100.0, 100.0)),
        "card_thickness_mm": top.length("card_thickness", 0.0, least_mm=0.0),
        "roughed_mm": left.length("roughed", ROUGHED_MM),
        "for_longboard_mm": left.length("for_the_longboard", FOR_LONGBOARD_MM),
        "stations": tuple((n, stations.measure(n, t, least_mm=-1e9)) for n, t in stations.content.items()),
        "lamps": _lamps(top.table("lamps")),
        "tools": tools,
    }
    _check_left(top, values)
    return Settings(**values, told=(*top.unknown(), *planking.unknown(), *left.unknown(), *told))


def _check_left(top: _Table, values: dict) -> None:
    if values["for_longboard_mm"] >= values["roughed_mm"]:
        raise top.wrong(
            "left_on_the_wood",
            "leaves more for the longboard than roughing leaves",
            'Use for example roughed = "3mm" and for_the_longboard = "0.3mm".',
        )


def _tolerances(top: _Table) -> tuple[Tolerance, ...]:
    found = []
    for text in top.take("tolerances", list, []):
        parts = re.split(r"\s+over\s+", text.strip()) if isinstance(text, str) else ()
        if len(parts) != 2:
            raise top.wrong(
                "tolerances", f"can not hold {text!r}", 'Write each as "0.3mm over 300mm", in quotes.'
            )
        height, over = (top.measure("tolerances", p) for p in parts)
        if height >= over / 10:
            raise top.wrong(
                "tolerances", f"holds '{text}', which is no tolerance", "The height comes first, then over."
            )
        if over < LEAST_SPAN_MM:
            raise top.wrong(
                "tolerances",
                f"holds '{text}', too short a length for a hump",
                f"Give a length of {LEAST_SPAN_MM:g}mm or more after over.",
            )
        found.append(Tolerance(height_mm=height, over_mm=over))
    return tuple(sorted(found, key=lambda t: (t.over_mm, t.height_mm)))


def _lamps(table: _Table) -> tuple[tuple[str, str], ...]:
    for name, place in table.content.items():
        if not isinstance(place, str):
            raise table.wrong(name, "is not a lamp's place", 'Write it as "left,900mm,110mm".')
        if name.lower() in _NOT_LAMP_NAMES or "," in name or ":" in name:
            raise table.wrong(
                name, "would be mistaken for a lamp's place", "Give it a name of its own, such as left-stand."
            )
    return tuple((name, place.strip()) for name, place in table.content.items())


def _tools(top: _Table) -> tuple[tuple[BenchTool, ...], tuple[str, ...]]:
    tools, told = [], []
    for number, content in enumerate(top.take("tools", list, []), start=1):
        if not isinstance(content, dict):
            raise top.wrong("tools", "is not a list of tools", "Start each tool with a line [[tools]].")
        table = _Table(top.path, content, f"tools ({content.get('name', number)}).")
        tools.append(
            BenchTool(
                name=table.take("name", str, "").strip() or f"tool {number}",
                kind=table.take("kind", str, "").strip() or "plane",
                length_mm=table.length("sole_length", None),
                width_mm=table.length("sole_width", None),
                shaving_mm=table.length("shaving", None),
            )
        )
        told += table.unknown()
    return tuple(tools), tuple(told)
