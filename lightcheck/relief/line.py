"""Line: where on the patch a template stood, and the Hold that its reading makes there.

reading/@card0-card1            along the line from the centre of card 0 to that of card 1
reading/@x=120mm                across the patch: the template's x runs up the photo, the patch's +y
reading/@y=-70mm                along the patch: the template's x runs to the right, the patch's +x
...,at=40mm                     where the template's own origin (midway between its cards) stood: from
                                the first card, or from the patch's origin. Else midway between the
                                cards, or level with the patch's origin
...,turned                      the template's x runs the other way
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.patch import CardPlace
from lightcheck.patch.base import Base
from lightcheck.relief.hold import ALIKE_MM, LEAST_POINTS, LEAST_SIGMA_MM, SEAT_SIGMA, STEP_MM, Hold
from lightcheck.template import Daylight
from lightcheck.units import length_mm

ROUNDS = 4  # of turning the reading until it lies along the base
_EXAMPLE = "Type it like station3/@card0-card1 or station3/@x=120mm (,at=40mm for the template's origin)."


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSpec:
    """What was typed, understood but not yet placed: cards have places only on a patch.

    cards: two numbers, or axis "x" or "y" with its value.  at_mm: of the template's origin, None where
    not said.
    """

    text: str
    folder: Path
    cards: tuple[int, int] | None = None
    axis: str | None = None
    value_mm: float = 0.0
    at_mm: float | None = None
    turned: bool = False

    @property
    def name(self) -> str:
        """As typed, without the folders above the reading's own."""
        return f"{self.folder.name}/@{self.text.rpartition('@')[2]}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The template's origin on the patch and the unit vector in which its x runs, (2,) each. [mm]"""

    origin_mm: np.ndarray
    towards: np.ndarray

    def places_mm(self, along_mm: np.ndarray) -> np.ndarray:
        """(n, 2) places on the patch for the template's own x."""
        return self.origin_mm + np.multiply.outer(along_mm, self.towards)


def read(text: str) -> LineSpec:
    """Understand one `--template` value. Refuses what is none."""
    folder, at, where = text.strip().rpartition("@")
    if not at or not folder:
        raise LightcheckError(f"'{text[:60]}' does not say where the template stood.", _EXAMPLE)
    first, *rest = (part.strip().lower() for part in where.split(","))
    spec = LineSpec(text=text.strip(), folder=Path(folder))
    if pair := re.fullmatch(r"card(\d{1,2})\s*-\s*card(\d{1,2})", first):
        one, other = int(pair[1]), int(pair[2])
        if one == other:
            raise LightcheckError(f"'{first}' is one card twice: no line runs through it.", _EXAMPLE)
        spec = replace(spec, cards=(one, other))
    elif axis := re.fullmatch(r"([xy])\s*=(.+)", first):
        spec = replace(spec, axis=axis[1], value_mm=length_mm(axis[2]))
    else:
        raise LightcheckError(f"'{where[:60]}' is no line on the patch.", _EXAMPLE)
    for part in rest:
        if part == "turned":
            spec = replace(spec, turned=True)
        elif part.startswith("at="):
            spec = replace(spec, at_mm=length_mm(part[3:]))
        else:
            raise LightcheckError(f"'{part[:40]}' in '{text[:60]}' is not understood.", _EXAMPLE)
    return spec


def place(spec: LineSpec, cards: tuple[CardPlace, ...]) -> Line:
    """A line on a patch. Refuses cards that are not on it."""
    if spec.axis:
        across = np.array([1.0, 0.0]) if spec.axis == "x" else np.array([0.0, 1.0])
        towards = across[::-1]
        origin = spec.value_mm * across + (spec.at_mm or 0.0) * towards
        return Line(origin_mm=origin, towards=-towards if spec.turned else towards)
    places = {c.card: np.array([c.x_mm, c.y_mm]) for c in cards}
    missing = [number for number in spec.cards if number not in places]
    if missing:
        there = ", ".join(str(n) for n in sorted(places)) or "none"
        raise LightcheckError(
            f"Card {missing[0]} of '{spec.text}' is not on this patch (there: {there}).",
            "Name two cards that lie on the wood, or give the line as x=120mm or y=-70mm.",
        )
    one, other = (places[number] for number in spec.cards)
    apart = float(np.hypot(*(other - one)))
    towards = (other - one) / apart
    origin = one + towards * (apart / 2 if spec.at_mm is None else spec.at_mm)
    return Line(origin_mm=origin, towards=-towards if spec.turned else towards)


def hold(daylight: Daylight, line: Line, base: Base, *, name: str) -> Hold:
    """The reading on its line. Refuses a reading of too few places.

    The reading is first turned and moved until it lies along the base, so that lift and rock, which stay
    unknown, are small and act in proportion. A mark that seats the template along itself narrows its slide.
    """
    wood, sigma = _wood(daylight)
    wood = _levelled(wood, lambda along: base.height_mm(*line.places_mm(along).T))
    x, y = line.places_mm(wood[:, 0]).T
    reading = wood[:, 1] - base.height_mm(x, y)
    slope = _slope(wood)
    seat = np.stack([np.ones(len(wood)), wood[:, 0] + wood[:, 1] * slope, -slope], axis=1)
    side = min(SEAT_SIGMA[2], daylight.seat.side_sigma_mm)
    return Hold(
        name=name, x_mm=frozen(x), y_mm=frozen(y), reading_mm=frozen(reading), sigma_mm=frozen(sigma),
        seat=frozen(seat), seat_sigma=frozen(np.array([*SEAT_SIGMA[:2], side])),
    )  # fmt: skip


def _wood(daylight: Daylight) -> tuple[np.ndarray, np.ndarray]:
    """(k, 2) places of the wood in the template's frame and their (k,) sigma, one each STEP_MM.

    Neighbours share most of their error, so each counts for its part of the stretch over which it is alike.
    """
    along = daylight.along_mm
    tangent = np.gradient(daylight.edge_mm, along, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    tangent *= np.where(tangent[:, :1] < 0, -1.0, 1.0)
    outward = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    wood = daylight.edge_mm - daylight.daylight_mm[:, None] * outward
    seen = np.isfinite(wood).all(axis=1) & np.isfinite(daylight.sigma_mm)
    bins = np.floor((along - along[0]) / STEP_MM).astype(int)
    used = [np.flatnonzero(seen & (bins == b)) for b in np.unique(bins[seen])]
    if len(used) < LEAST_POINTS:
        raise LightcheckError(
            "The template's reading is too short to hold a map.",
            "Take a photo that shows the daylight along more of the edge, and read it again.",
        )
    middle = np.array([wood[i].mean(axis=0) for i in used])
    sigma = np.array([np.sqrt(np.mean(daylight.sigma_mm[i] ** 2)) for i in used])
    return middle, np.hypot(sigma, LEAST_SIGMA_MM) * np.sqrt(ALIKE_MM / STEP_MM)


def _levelled(wood: np.ndarray, base_mm) -> np.ndarray:
    """The same places turned about the template's origin, and let down, until they lie along the base."""
    turn, laid = 0.0, wood
    for _ in range(ROUNDS):
        terms = np.stack([np.ones(len(laid)), laid[:, 0]], axis=1)
        rock = np.linalg.lstsq(terms, laid[:, 1] - base_mm(laid[:, 0]), rcond=None)[0][1]
        turn += np.arctan(rock)
        c, s = np.cos(turn), np.sin(turn)
        laid = wood @ np.array([[c, -s], [s, c]])
    return laid - [0.0, np.mean(laid[:, 1] - base_mm(laid[:, 0]))]


def _slope(wood: np.ndarray) -> np.ndarray:
    """(k,) slope of the wood along the line, from a smooth curve: noise must not pass for slide."""
    degree = min(6, len(wood) // 3)
    middle, half = wood[:, 0].mean(), np.ptp(wood[:, 0]) / 2
    curve = np.polynomial.Polynomial.fit((wood[:, 0] - middle) / half, wood[:, 1], degree)
    return curve.deriv()((wood[:, 0] - middle) / half) / half
