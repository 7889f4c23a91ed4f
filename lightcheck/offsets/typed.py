"""Offsets as they are typed: millimetres, or feet-inches-eighths (2-3-4), read into millimetres.

    2-3-4    2 ft 3 in and 4 eighths        27 1/2 in
    2-3-4+   and a sixteenth more           27 9/16 in
    2-3-4-   and a sixteenth less           27 7/16 in

Most builders' tables mean a sixteenth by + and -, some mean a thirty-second (reported by several
boatbuilding pages), so what was read is always echoed in millimetres.
"""

from __future__ import annotations

import re

from lightcheck.errors import LightcheckError
from lightcheck.units import MM_PER_INCH

MM, EIGHTHS = "mm", "feet-inches-eighths"
UNITS = {"mm": MM, "millimetres": MM, "feet-inches-eighths": EIGHTHS, "ft-in-8": EIGHTHS}
_EIGHTH_MM = MM_PER_INCH / 8
_BLANK = {"", "-", "–", "—", "x", "..."}
_EIGHTHS = re.compile(r"(?P<less>-?)\s*(\d{1,2})[- ](\d{1,2})[- ](\d{1,2})\s*(?P<sixteenth>[-+]?)")
_DATE = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\d{1,2}[- ][a-z]{3}[a-z]*([- ]\d{2,4})?", re.IGNORECASE)


def offset_mm(text: str, *, units: str, place: str) -> float:
    """One offset. NaN where the cell is blank. [mm]

    units: "mm" or "feet-inches-eighths".  place: where the cell is, for a refusal.
    """
    text = text.strip().replace("−", "-")
    if text in _BLANK:
        return float("nan")
    if units == MM:
        return _plain_mm(text, place)
    match = _EIGHTHS.fullmatch(text)
    if match is None:
        raise _not_eighths(text, place)
    feet, inches, eighths = (int(match[n]) for n in (2, 3, 4))
    if inches > 11 or eighths > 7:
        raise LightcheckError(
            f"'{text}' at {place} is not feet-inches-eighths: inches go to 11 and eighths to 7.",
            "Correct that cell, such as 2-3-4 for 2 ft 3 1/2 in.",
        )
    length = (12 * feet + inches) * MM_PER_INCH + eighths * _EIGHTH_MM
    length += {"+": 0.5, "-": -0.5, "": 0.0}[match["sixteenth"]] * _EIGHTH_MM
    return -length if match["less"] else length


def step_mm(texts: list[str], *, units: str) -> float:
    """The finest step that the table was written to. [mm]

    1 mm for whole millimetres, 0.1 mm where one cell has a tenth, and so on; an eighth of an inch, or a
    sixteenth where one cell has + or -.
    """
    filled = [t.strip() for t in texts if t.strip() not in _BLANK]
    if units == EIGHTHS:
        return _EIGHTH_MM / (2 if any(t[-1] in "+-" for t in filled) else 1)
    digits = [len(t.replace(",", ".").rpartition(".")[2]) for t in filled if "." in t or "," in t]
    return 10.0 ** -max(digits, default=0)


def _plain_mm(text: str, place: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = float("inf")
    if abs(value) < 1e5:
        return value
    raise LightcheckError(
        f"'{text[:40]}' at {place} is not a number of millimetres.",
        "Correct that cell, or put feet-inches-eighths in the units row for cells such as 2-3-4.",
    )


def _not_eighths(text: str, place: str) -> LightcheckError:
    if _DATE.fullmatch(text):
        return LightcheckError(
            f"'{text[:40]}' at {place} looks like a date: the spreadsheet has changed it.",
            "Set the cells to text before you type 2-3-4, then save as CSV again.",
        )
    return LightcheckError(
        f"'{text[:40]}' at {place} is not feet-inches-eighths.",
        "Type it like 2-3-4 for 2 ft 3 1/2 in (2-3-4+ is a sixteenth more), or put mm in the units row.",
    )
