"""Tool: a plane or a spokeshave on the bench, as far as its sole and its shaving go."""

from __future__ import annotations

import re
from dataclasses import dataclass

from lightcheck.errors import LightcheckError
from lightcheck.units import length_mm

CUTS = ("plane", "spokeshave")  # kinds that take shavings; other tools on the bench are left alone
_USUAL_MM = {"plane": (250.0, 60.0, 0.1), "spokeshave": (20.0, 60.0, 0.1)}  # common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """A tool. length_mm, width_mm: of its sole, along and across its travel.  shaving_mm: its cut."""

    name: str
    kind: str
    length_mm: float
    width_mm: float
    shaving_mm: float

    def __post_init__(self) -> None:
        """Refuse what is no tool."""
        if not (3 <= self.length_mm <= 3000 and 3 <= self.width_mm <= 500):
            raise LightcheckError(
                f"The sole of '{self.name}' can not be {self.length_mm:g} x {self.width_mm:g} mm.",
                "Give the sole's length and width, such as 'jack plane,355mm,60mm,0.1mm'.",
            )
        if not 0.002 <= self.shaving_mm <= 2.0:
            raise LightcheckError(
                f"'{self.name}' can not take a shaving of {self.shaving_mm:g} mm.",
                "Measure one: most are between 0.03mm and 0.4mm.",
            )


# Sizes and shavings of an ordinary bench: common practice, no source. Shavings of 0.001-0.002 in for
# truing and 1/64 in as a heavy cut are told by trade writers; these lie between.
BENCH = (
    Tool(name="try plane", kind="plane", length_mm=560.0, width_mm=75.0, shaving_mm=0.08),
    Tool(name="jack plane", kind="plane", length_mm=355.0, width_mm=60.0, shaving_mm=0.15),
    Tool(name="smoothing plane", kind="plane", length_mm=240.0, width_mm=60.0, shaving_mm=0.05),
    Tool(name="block plane", kind="plane", length_mm=160.0, width_mm=45.0, shaving_mm=0.05),
    Tool(name="spokeshave", kind="spokeshave", length_mm=20.0, width_mm=60.0, shaving_mm=0.08),
)


def completed(
    name: str,
    kind: str,
    *,
    length_mm: float | None = None,
    width_mm: float | None = None,
    shaving_mm: float | None = None,
) -> Tool:
    """A tool with what was not given taken from the bench's tool of that name, or from its kind."""
    known = next((t for t in BENCH if t.name == name.strip().lower()), None)
    usual = (known.length_mm, known.width_mm, known.shaving_mm) if known else _USUAL_MM.get(kind)
    if usual is None:
        usual = _USUAL_MM["plane"]
    given = (length_mm, width_mm, shaving_mm)
    length, width, shaving = (u if g is None else g for g, u in zip(given, usual, strict=True))
    return Tool(name=name.strip(), kind=kind, length_mm=length, width_mm=width, shaving_mm=shaving)


def read_tool(text: str) -> Tool:
    """Understand one `--tool`: "jack plane,355mm,50mm,0.1mm" (name, sole length, width, shaving)."""
    name, *sizes = (p.strip() for p in text.split(","))
    if not name or not 1 <= len(sizes) <= 3:
        raise LightcheckError(
            f"'{text[:60]}' is not a tool.",
            "Type name, sole length, sole width, shaving: --tool 'jack plane,355mm,60mm,0.1mm'.",
        )
    values = [length_mm(s) for s in sizes] + [None] * (3 - len(sizes))
    kind = "spokeshave" if re.search(r"shave\b", name.lower()) else "plane"
    return completed(name, kind, length_mm=values[0], width_mm=values[1], shaving_mm=values[2])
