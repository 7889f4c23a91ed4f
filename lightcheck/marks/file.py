"""marks.toml: marks as plain text, to be read and changed by hand."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.marks.product import OVER_MM, Mark, Marks
from lightcheck.marks.typed import read_place
from lightcheck.units import length_mm

NAME = "marks.toml"
SCHEMA = 1
_HEAD = """# Marks on the wood. Places are x,y from the middle of the map, x to the right and y up as the
# first photo shows it; a place may also be given from a card: "40mm,-20mm from card 2".
# They hold as long as the cards lie to each other as they do here.
"""
_KEYS = {"kind", "name", "at", "depth", "over", "along_deg", "dies_out"}


def text(marks: Marks) -> str:
    """marks.toml as it is written."""
    lines = [_HEAD + f"schema = {SCHEMA}", "", "[cards]"]
    lines += [f'{card} = "{x:.1f}mm,{y:.1f}mm"' for card, x, y in marks.cards]
    for mark in marks.marks:
        places = ", ".join(f'"{x:.1f}mm,{y:.1f}mm"' for x, y in mark.at_mm + 0.0)
        lines += ["", "[[mark]]", f'kind = "{mark.kind}"']
        lines += [f"name = {_quoted(mark.name)}"] if mark.name else []
        lines += [f"at = [{places}]"]
        lines += [f'depth = "{mark.depth_mm:g}mm"'] if mark.depth_mm is not None else []
        lines += [f'over = "{mark.over_mm:g}mm"'] if mark.over_mm != OVER_MM else []
        lines += [f"along_deg = {np.degrees(mark.along_rad):.1f}"] if mark.along_rad is not None else []
        lines += ["dies_out = true"] if mark.dies_out else []
    return "\n".join(lines) + "\n"


def read(path: str | Path, cards=None) -> Marks:
    """Read marks.toml; with `cards` of a map, brought into its frame.

    Refuses what can not be understood, saying which mark it is.
    """
    path = Path(path)
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise LightcheckError(
            f"{path} can not be read: {error}.",
            "Mend that line: a text stands in double quotes, a remark starts with #.",
        ) from None
    except OSError as error:
        raise LightcheckError(
            f"{path} can not be read ({error.strerror}).", "Give the file that lightcheck mark wrote."
        ) from None
    if table.get("schema", SCHEMA) != SCHEMA:
        raise LightcheckError(
            f"{path} has schema {table['schema']!r}; this lightcheck knows {SCHEMA}.",
            "Bring lightcheck up to date.",
        )
    strange = sorted(set(table) - {"schema", "cards", "mark"})
    if strange:
        raise _wrong(path, f"'{strange[0]}' belongs to no file of marks", "Give the file of lightcheck mark.")
    places, listed = table.get("cards", {}), table.get("mark", [])
    if not isinstance(places, dict) or not isinstance(listed, list):
        raise _wrong(
            path, "[cards] or [[mark]] is not what it should be", "Write it as lightcheck mark does."
        )
    known = tuple(_card(path, n, p) for n, p in places.items())
    marks = tuple(_mark(path, i, m, known) for i, m in enumerate(listed, start=1))
    found = Marks(marks=marks, cards=known)
    return found if cards is None else found.on(cards)


class _Card:
    """A card's place, as typed places ask for it."""

    def __init__(self, card: int, x_mm: float, y_mm: float) -> None:
        self.card, self.x_mm, self.y_mm = card, x_mm, y_mm


def _card(path: Path, number: str, place) -> tuple[int, float, float]:
    try:
        return (int(number), *read_place(str(place)))
    except ValueError:
        raise _wrong(path, f"card {number!r} has no number", 'Write it as 2 = "228mm,136mm".') from None
    except LightcheckError as error:
        raise _wrong(path, f"card {number}: {error.problem}", error.remedy) from None


def _mark(path: Path, number: int, table, cards) -> Mark:
    where = f"mark {number}"
    if not isinstance(table, dict) or "kind" not in table or "at" not in table:
        raise _wrong(path, f"{where} has no kind or no place", 'It needs kind = "..." and at = ["0mm,0mm"].')
    odd = sorted(set(table) - _KEYS)
    if odd:
        raise _wrong(path, f"{where}: '{odd[0]}' is not known", f"Known are: {', '.join(sorted(_KEYS))}.")
    places = table["at"] if isinstance(table["at"], list) else [table["at"]]
    along, dies_out = table.get("along_deg"), table.get("dies_out", False)
    if not isinstance(dies_out, bool) or (along is not None and not isinstance(along, (int, float))):
        raise _wrong(path, f"{where}: dies_out or along_deg is wrong", "Use true or false, and a number.")
    try:
        at_cards = tuple(_Card(*c) for c in cards)
        return Mark(
            kind=str(table["kind"]),
            at_mm=[read_place(str(p), at_cards) for p in places],
            name=str(table.get("name", "")),
            depth_mm=_length(table, "depth"),
            over_mm=_length(table, "over") or OVER_MM,
            along_rad=None if along is None else float(np.radians(along) % np.pi),
            dies_out=dies_out,
        )
    except LightcheckError as error:
        raise _wrong(path, f"{where}: {error.problem}", error.remedy) from None


def _length(table: dict, key: str) -> float | None:
    if key not in table:
        return None
    value = length_mm(str(table[key]))
    if value < 0:
        raise LightcheckError(f"{key} can not be '{table[key]}'.", "Give 0mm or more.")
    return value


def _quoted(words: str) -> str:
    kept = "".join(c if c.isprintable() and c not in '"\\' else " " for c in words)
    return f'"{kept}"'


def _wrong(path: Path, problem: str, remedy: str) -> LightcheckError:
    return LightcheckError(f"{path}: {problem.rstrip('.')}.", remedy)
