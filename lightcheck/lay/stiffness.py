"""Stiffness: how springy wood is, from the tables of the Wood Handbook.

Static bending at 12 % moisture (USDA Forest Products Laboratory, Wood Handbook, FPL-GTR-282, ch. 5,
tables 5-3a, 5-3b and 5-5). Each row says how far it was seen: S, in a stored copy of a public source
that credits the Handbook; M, from memory, to be read in the Handbook before it is relied on. A stick of
one species may be a fifth stiffer or softer than the table (coefficient of variation about 22 %, table
5-6, from memory). The tabled value holds some shear at a span of 14 depths; a long thin batten is up to a
tenth stiffer (footnote to table 5-1, from memory), which is within that scatter and is left out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from lightcheck.errors import LightcheckError

SCATTER = 0.22  # of one stick about the table: Wood Handbook table 5-6, from memory
POISSON = 0.37  # longitudinal-radial, softwoods: Wood Handbook table 5-2, from memory
# Sitka spruce, 12 %: ET/EL .043, ER/EL .078, GLT/EL .061, GLR/EL .064 (table 5-1, seen in a stored copy).
# Planks are sawn any way round, so the mean; other species are taken to be alike.
ACROSS = (0.043 + 0.078) / 2
SHEAR = (0.061 + 0.064) / 2
GPA_PER_MPSI = 6.894757  # exact to seven figures: 1 psi = 6894.757 Pa


@dataclass(frozen=True, slots=True, kw_only=True)
class Species:
    """name: as typed.  gpa: modulus along the grain.  mpsi: the same in the inch table [10^6 psi].

    seen: "S" or "M".  note: what the reader is told; empty where nothing is odd.
    """

    name: str
    gpa: float
    mpsi: float
    seen: str
    note: str = ""


_SITKA = (
    "Sitka spruce stands at 9.9 GPa in one copy of the table and follows as 10.8 GPa from 1.57 million psi "
    "in the other; the middle is taken, and the difference is within what one stick differs from the next."
)
SPECIES = (
    Species(name="western redcedar", gpa=7.7, mpsi=1.11, seen="S"),
    Species(name="sitka spruce", gpa=(9.9 + 1.57 * GPA_PER_MPSI) / 2, mpsi=1.57, seen="S", note=_SITKA),
    Species(name="douglas-fir", gpa=13.4, mpsi=1.95, seen="S"),
    Species(name="western larch", gpa=12.9, mpsi=1.87, seen="S"),
    Species(name="engelmann spruce", gpa=8.9, mpsi=1.30, seen="S"),
    Species(name="white oak", gpa=12.3, mpsi=1.78, seen="S"),
    Species(name="white ash", gpa=12.0, mpsi=1.74, seen="S"),
    Species(name="black locust", gpa=14.1, mpsi=2.05, seen="S"),
    Species(name="longleaf pine", gpa=13.7, mpsi=1.98, seen="S"),
    Species(name="mahogany", gpa=10.3, mpsi=1.50, seen="M"),
    Species(name="african mahogany", gpa=9.7, mpsi=1.40, seen="M"),
    Species(name="alaska cedar", gpa=9.8, mpsi=1.42, seen="M"),
    Species(name="port orford cedar", gpa=11.7, mpsi=1.70, seen="M"),
    Species(name="teak", gpa=10.7, mpsi=1.55, seen="M"),
)
_SHORT = {
    "cedar": "western redcedar", "redcedar": "western redcedar", "red cedar": "western redcedar",
    "western red cedar": "western redcedar", "spruce": "sitka spruce", "larch": "western larch",
    "oak": "white oak", "ash": "white ash", "fir": "douglas-fir", "douglas fir": "douglas-fir",
    "locust": "black locust", "pine": "longleaf pine", "khaya": "african mahogany",
    "yellow cedar": "alaska cedar", "yellow-cedar": "alaska cedar", "port-orford-cedar": "port orford cedar",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Timber:
    """What a tool or a plank is made of. mpa: modulus along the grain.  across, shear: share of it.

    scatter: one sigma of the modulus, as a share.  notes: for the reader.
    """

    name: str
    mpa: float
    across: float = ACROSS
    shear: float = SHEAR
    scatter: float = SCATTER
    notes: tuple[str, ...] = ()


def timber(text: str) -> Timber:
    """A species by name, or a modulus typed in: "spruce", "9.9GPa". Refuses what it does not know."""
    wanted = " ".join(text.strip().lower().split())
    typed = re.fullmatch(r"([0-9.]+)\s*(gpa|mpa|psi)", wanted)
    if typed:
        return _typed(text, typed[1], typed[2])
    name = _SHORT.get(wanted, wanted)
    row = next((s for s in SPECIES if s.name == name), None)
    if row is None:
        raise LightcheckError(
            f"'{text.strip()[:40]}' is not a wood that is known here.",
            f"Use one of {', '.join(s.name for s in SPECIES)}, or type how stiff it is: 9.9GPa.",
        )
    notes = [row.note] if row.note else []
    if row.seen == "M":
        notes.append(f"The stiffness of {row.name} is from memory: read it in the Wood Handbook.")
    return Timber(name=row.name, mpa=1000 * row.gpa, notes=tuple(notes))


def _typed(text: str, number: str, unit: str) -> Timber:
    """A modulus as typed is taken to be measured, and the same in all directions (plywood, metal)."""
    try:
        mpa = float(number) * {"gpa": 1e3, "mpa": 1.0, "psi": GPA_PER_MPSI / 1e3}[unit]
    except ValueError:
        mpa = 0.0
    if not 10 <= mpa <= 1e6:
        raise LightcheckError(f"'{text[:40]}' can not be a stiffness.", "Type it like 9.9GPa.")
    return Timber(name=f"{mpa / 1000:g} GPa", mpa=mpa, across=1.0, shear=1 / (2 * (1 + POISSON)), scatter=0.0)


def bending_nmm2(timber: Timber, *, width_mm: float, thick_mm: float) -> float:
    """E I of a stick laid flat, E w t^3 / 12. [N mm^2]"""
    return timber.mpa * width_mm * thick_mm**3 / 12
