"""Mark: one thing the builder marked on the wood; Marks: all of them, in the frame of one map.

fastener    a point, its head so deep below the wood
grain       an arrow: planed this way the shaving comes off clean
no lower    a point or an area: so much may still come off there, nothing where nothing is said
leave       a point or an area that is not to be touched
centreline, sheer, stop     lines to stop at
station     a line with its name, for places and for the order of work
crease, chine, rabbet       lines not to fair across; one that dies into round dies out at its last point
flat        an area that is meant to be flat; bevel: straight across, fair along
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lightcheck.crease import Crease, Creases, Flat, carried
from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen

POINTS = ("fastener",)
ARROWS = ("grain",)
SPOTS_OR_AREAS = ("no lower", "leave")
STOPS = ("centreline", "sheer", "stop")
CREASES = ("crease", "chine", "rabbet")
LINES = (*STOPS, "station", *CREASES)
AREAS = ("flat", "bevel")
KINDS = (*POINTS, *ARROWS, *SPOTS_OR_AREAS, *LINES, *AREAS)
OVER_MM = 40.0  # across a point that stands for an area, unless said


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mark:
    """One mark. at_mm: (n, 2) x, y in the frame of the map.

    depth_mm: of a fastener's head below the wood, or what may still come off ("no lower"); None: not known.
    over_mm: across a point that stands for an area.  along_rad: of a bevel, from +x.  dies_out: a crease
    that ends in round at its last point.  name: of a station, or a few words.
    """

    kind: str
    at_mm: np.ndarray
    name: str = ""
    depth_mm: float | None = None
    over_mm: float = OVER_MM
    along_rad: float | None = None
    dies_out: bool = False

    def __post_init__(self) -> None:
        """Refuse what can not be drawn."""
        object.__setattr__(self, "at_mm", frozen(np.reshape(self.at_mm, (-1, 2))))
        count = len(self.at_mm)
        if self.kind not in KINDS:
            raise LightcheckError(f"'{self.kind[:40]}' is not a mark.", f"Use one of: {', '.join(KINDS)}.")
        least, what = _needs(self.kind)
        few = count < least or (self.kind in POINTS and count != 1)
        if few or (self.kind in SPOTS_OR_AREAS and count == 2):
            raise LightcheckError(f"The mark '{self.kind}' has {count} places.", f"It needs {what}.")
        if self.kind in (*ARROWS, *LINES) and np.linalg.norm(self.at_mm[-1] - self.at_mm[0]) < 5:
            raise LightcheckError(
                f"The mark '{self.kind}' ends where it starts.", "Give a start and an end 5 mm apart or more."
            )

    @property
    def area_mm(self) -> np.ndarray | None:
        """(m, 2) outline of what it covers; None for a line."""
        if self.kind in (*AREAS, *SPOTS_OR_AREAS) and len(self.at_mm) >= 3:
            return self.at_mm
        if self.kind in SPOTS_OR_AREAS:
            ring = np.linspace(0, 2 * np.pi, 24, endpoint=False)
            return self.at_mm[0] + self.over_mm / 2 * np.stack([np.cos(ring), np.sin(ring)], axis=1)
        return None

    @property
    def words(self) -> str:
        """What it is called: "station 3", "fastener 2 mm down"."""
        text = f"{self.kind} {self.name}".strip()
        if self.kind == "fastener":
            return text + (" of unknown depth" if self.depth_mm is None else f" {self.depth_mm:g} mm down")
        return text


def _needs(kind: str) -> tuple[int, str]:
    if kind in POINTS:
        return 1, "one place, such as: fastener at 40mm,-20mm from card 2, 3mm deep"
    if kind in SPOTS_OR_AREAS:
        return 1, "one place, or three and more round an area"
    if kind in AREAS:
        return 3, "three or more places round it"
    return 2, f"two or more places, such as: {kind} from 0mm,0mm to 200mm,10mm"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Marks:
    """All marks of one map. cards: (number, x, y) where the cards lay when they were made. [mm]"""

    marks: tuple[Mark, ...]
    cards: tuple[tuple[int, float, float], ...] = ()

    def of(self, *kinds: str) -> tuple[Mark, ...]:
        """The marks of these kinds, in the order in which they were made."""
        return tuple(m for m in self.marks if m.kind in kinds)

    def on(self, cards) -> Marks:
        """The same marks in the frame of a map with these cards (card, x_mm, y_mm).

        Refuses a map in which the cards lie otherwise to each other: the marks would stand in wrong places.
        """
        if not self.cards:
            return self
        turn, shift = carried(self.cards, cards)
        angle = float(np.arctan2(turn[1, 0], turn[0, 0]))
        return Marks(
            marks=tuple(_moved(m, turn, shift, angle) for m in self.marks),
            cards=tuple((c.card, float(c.x_mm), float(c.y_mm)) for c in cards),
        )

    def creases(self) -> Creases:
        """What the fair surface must respect."""
        flats = [(m, None if m.kind == "flat" else _across(m)) for m in self.of(*AREAS)]
        return Creases(
            lines=tuple(Crease(at_mm=m.at_mm, dies_out=m.dies_out) for m in self.of(*CREASES)),
            flats=tuple(Flat(outline_mm=m.at_mm, across_rad=a) for m, a in flats),
            cards=self.cards,
        )


def none() -> Marks:
    """No marks at all."""
    return Marks(marks=())


def _moved(mark: Mark, turn: np.ndarray, shift: np.ndarray, angle: float) -> Mark:
    along = None if mark.along_rad is None else (mark.along_rad + angle) % np.pi
    return replace(mark, at_mm=mark.at_mm @ turn.T + shift, along_rad=along)


def _across(mark: Mark) -> float:
    """Direction square to a bevel's run; its run is its longer side where nothing was said. [rad]"""
    if mark.along_rad is not None:
        return mark.along_rad + np.pi / 2
    sides = np.diff(np.concatenate([mark.at_mm, mark.at_mm[:1]]), axis=0)
    longest = sides[np.linalg.norm(sides, axis=1).argmax()]
    return float(np.arctan2(longest[1], longest[0])) + np.pi / 2
