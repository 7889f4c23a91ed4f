"""Measure: a photo of a template on the wood becomes its daylight. The whole walk on one page."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from lightcheck import photo as photos
from lightcheck.errors import LightcheckError
from lightcheck.template import front, hues, lit
from lightcheck.template.against import Cards, Design, stand_off
from lightcheck.template.flat import Flat, Plane, lay, plane_of
from lightcheck.template.frame import Frame, frame_of
from lightcheck.template.lip import hidden, in_shadow
from lightcheck.template.pose import Pose, laid, pose
from lightcheck.template.product import Daylight, Seat, StandOff
from lightcheck.template.reading import Reading, flags, reading, touching
from lightcheck.template.seek import Strip, strip
from lightcheck.template.trace import Trace, burnt_share, trace

CLEAR_MM = 0.5  # a template that nowhere comes nearer than this does not sit on the wood


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """How the template was held and lit, as the builder says.

    thick_mm: of a square edge, 0 where it is bevelled to the face with the cards.  light: "back",
    "front" or None to tell from the photo.  held: "template" or "batten".  measured_mm: what the printed
    100 mm rulers measure, x and y.  on_wood: numbers of cards that lie on the wood.  design: the outline
    that the template was cut to.
    """

    thick_mm: float = 0.0
    light: str | None = None
    held: str = "template"
    measured_mm: tuple[float, float] = (100.0, 100.0)
    on_wood: tuple[int, ...] = ()
    seat: Seat = field(default_factory=Seat)
    design: Design | None = None


def measure(path: str | Path, *, asked: Asked | None = None) -> Daylight:
    """Read the daylight under a template. Refuses what can not be measured, and says what to do."""
    asked = asked or Asked()
    photo = photos.load(path)
    seen = lit.cards(photo)
    sightings = tuple(s for s in seen if s.card not in asked.on_wood)
    others = tuple(s for s in seen if s.card in asked.on_wood)
    if not sightings:
        raise LightcheckError(
            "No card on the template: all that were seen lie on the wood.",
            "Stick one or more cards flat on the template's face towards the phone.",
        )
    found = pose(photo, sightings, measured_mm=asked.measured_mm)
    light = lit.light_of(photo, sightings)
    if (asked.light or light.kind) == "front":
        return _product(photo, asked, others, _front(photo, found, asked))
    return _product(photo, asked, others, _back(photo, found, light))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Followed:
    """An edge that was followed. burnt: (n,) share of the strip in which a channel is clipped."""

    light: str
    plane: Plane
    trace: Trace
    burnt: np.ndarray


def _back(photo, found: Pose, light: lit.Lit) -> _Followed:
    """The edge against the light."""
    flat, rough = _where(photo, found, light)
    traced = trace(photo.light, flat, rough, bright=light.bright)
    burnt = burnt_share(lit.burnt_out(photo), flat, traced.cut)
    return _Followed(light="back", plane=flat.plane, trace=traced, burnt=burnt)


def _front(photo, found: Pose, asked: Asked) -> _Followed:
    """The edge without a light behind."""
    if asked.held == "batten":
        raise LightcheckError(
            "A batten can only be read against the light.",
            "Put a bright, even sheet or a window behind it and photograph it again.",
        )
    colour = hues.colours(photo)
    flat, points, seen = hues.rough(colour, plane_of(found, along=_along(found)))
    traced = front.trace(colour, flat, points, seen)
    burnt = np.zeros(len(traced.cut.x_mm))
    return _Followed(light="front", plane=flat.plane, trace=traced, burnt=burnt)


def _along(found: Pose) -> np.ndarray:
    """(2,) from the lowest card to the highest, or along the only one."""
    first, last = (found.places[np.argsort(found.cards)[i]] for i in (0, -1))
    return last[:2] - first[:2] if len(found.cards) > 1 else np.array([np.cos(first[2]), np.sin(first[2])])


def _where(photo, found: Pose, light: lit.Lit) -> tuple[Flat, Strip]:
    """The flat picture turned so that the wood lies below, and the strip of daylight in it."""
    flat = lay(photo.light, plane_of(found, along=_along(found)))
    tries = [flat.turned(quarters) for quarters in range(4)]
    strips = [strip(t, bright=light.bright, paper=light.paper) for t in tries]
    seen = [(s.length_mm, i) for i, s in enumerate(strips) if s is not None]
    if not seen:
        raise LightcheckError(
            "No daylight is seen between template and wood.",
            "Put an evenly lit sheet or a window behind the template, hold the phone level with its edge, "
            "and keep the whole edge in the picture. If the template fits without a gap, there is nothing "
            "to take off here.",
        )
    best = max(seen)[1]
    return tries[best], strips[best]


def _product(photo, asked: Asked, others: tuple, seen: _Followed) -> Daylight:
    """The reading, turned into the template's own frame."""
    plane, made, frame = seen.plane, seen.trace.cut, frame_of(seen.plane)
    lip = hidden(
        made.edge_mm, made.down, eye_mm=plane.eye_mm, eye_cov_mm2=plane.eye_cov_mm2, thick_mm=asked.thick_mm
    )
    lip = in_shadow(lip) if seen.light == "front" else lip
    read = reading(seen.trace, lip, seen.burnt)
    touches = touching(read, frame)
    _refuse_clear(read, touches, seen.trace, asked)
    rows = tuple(
        frame.order(r)
        for r in (frame.places(read.edge_mm), frame.places(-read.down), read.daylight_mm, read.sigma_mm)
    )
    on_wood = tuple(frame.card(s.card, plane, laid(plane.pose.view, s)) for s in others)
    return Daylight(
        photo=photo.name,
        sha256=photo.sha256,
        light=seen.light,
        held=asked.held,
        thick_mm=asked.thick_mm,
        cards=frame.cards,
        along_mm=frame.order(read.along_mm, along=True),
        edge_mm=rows[0],
        daylight_mm=rows[2],
        sigma_mm=rows[3],
        touching=touches,
        flags=flags(read, seen.trace, lip, seen.burnt, frame),
        seat=asked.seat,
        stand_off=_stand_off(asked, frame, on_wood, rows),
        eye_mm=np.r_[frame.places(plane.eye_mm[None, :2])[0], plane.eye_mm[2]],
        eye_sigma_mm=frame.sigma(plane.eye_cov_mm2),
        mm_per_px=plane.mm_per_px,
        others=on_wood,
    )


def _stand_off(asked: Asked, frame: Frame, on_wood: tuple, rows: tuple) -> StandOff | None:
    """Against the outline, where one was given."""
    if asked.design is None:
        return None
    cards = Cards(template=frame.cards, wood=on_wood, mirrored=frame.mirrored)
    return stand_off(asked.design, asked.seat, cards, rows, thick_mm=asked.thick_mm)


def _refuse_clear(read: Reading, touches: tuple, traced: Trace, asked: Asked) -> None:
    """A template with daylight all along does not sit on the wood, unless marks hold it there."""
    cut_off = any(end != "end" for end in traced.ends)
    if touches or asked.seat.held or cut_off:
        return
    least = float(np.nanmin(read.daylight_mm))
    if least > CLEAR_MM:
        raise LightcheckError(
            f"There is daylight everywhere: the template is nowhere nearer than {least:.1f} mm to the wood.",
            "Set the template down on the wood, or say with --seat marks that marks hold it off.",
        )
