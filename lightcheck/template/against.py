"""Against: a reading against the designed outline: how far the wood stands off its designed shape.

Unfinished wood carries a template high, so that its place is never fitted to the wood: it is where the
marks hold it, and what no mark holds stays unknown. A face that does not lie on the station reads the
wood of another place: by thickness times the tangent of the bevel (6 mm at 20 degrees: 2.2 mm).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.patch import CardPlace
from lightcheck.template.outline import Outline
from lightcheck.template.product import Seat, StandOff
from lightcheck.template.seat import effect
from lightcheck.template.tie import nearest, tie

FACES = ("forward", "aft")
PROVEN = Seat(lift_sigma_mm=0.15, side_sigma_mm=0.15, rock_sigma_rad=0.0015)  # by cards: own estimate
PAST_MM = 0.05  # a template's board reaches past the ends of its outline, over the centreline
BEVEL_SHARE = 0.05  # of what is taken off for a bevel: its angle is read by hand, own estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """The designed edge, and how the template was held to it.

    face: which face lay on the station, None as the outline says.  bevel_rad: of the wood there.
    """

    outline: Outline
    face: str | None = None
    bevel_rad: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cards:
    """Cards in the template's frame: on it, and on the wood. mirrored: the frame mirrors what was seen."""

    template: tuple[CardPlace, ...]
    wood: tuple[CardPlace, ...] = ()
    mirrored: bool = False


def face_mm(design: Design, thick_mm: float) -> float:
    """What the template reads too high because its other face lies on the station.

    Refuses a face that is not known to the outline, and one without a bevel.
    """
    if design.face is None:
        return 0.0
    drawn = design.outline.face
    if drawn not in FACES:
        raise LightcheckError(
            f"{design.outline.source} does not say which face was drawn to lie on the station.",
            "Write a line such as # face,aft into it, or leave --face out.",
        )
    if design.face == drawn:
        return 0.0
    if design.bevel_rad is None or thick_mm <= 0:
        raise LightcheckError(
            f"The template is drawn to have its {drawn} face on the station, and the {design.face} one is.",
            "Turn it round, or give --thick 6mm and --bevel 20deg so that the difference can be taken off.",
        )
    return float(thick_mm * np.tan(design.bevel_rad))


def stand_off(design: Design, seat: Seat, cards: Cards, rows: tuple, *, thick_mm: float) -> StandOff:
    """How far the wood stands off. rows: edge (n, 2), up (n, 2), daylight (n,) and sigma (n,).

    A card on the wood whose place the outline names proves where the template sits.
    """
    edge, up, daylight, sigma = rows
    high = face_mm(design, thick_mm)
    proof = tuple(c for c in cards.wood if c.card in {o.card for o in design.outline.cards})
    tied = tie(design.outline, edge, proof or cards.template, mirrored=cards.mirrored)
    if proof:
        seat = PROVEN
    line = design.outline.fine_mm()
    wood, ups = tied.to_outline(edge - up * np.nan_to_num(daylight)[:, None]), tied.turned_back(up)
    past = _past_ends(line, wood)
    cut = np.where(past, np.nan, -_off(line, tied.to_outline(edge), ups))
    seen = np.isfinite(daylight) & ~past
    off = np.where(seen, _off(line, wood, ups) - high, np.nan)
    lever = effect(wood, ups)
    known = np.array([seat.lift_sigma_mm, seat.side_sigma_mm, seat.rock_sigma_rad])
    held = np.isfinite(known)
    spread = np.sqrt(((lever[:, held] * known[held]) ** 2).sum(-1))
    own = np.hypot(np.hypot(sigma, tied.sigma_mm), BEVEL_SHARE * high)
    shape, shape_sigma = _less_unknown(off, own, lever[:, ~held])
    return StandOff(
        source=design.outline.source,
        design_mm=frozen(nearest(line, wood)),
        off_mm=frozen(off),
        sigma_mm=frozen(np.hypot(own, spread)),
        shape_mm=frozen(shape),
        shape_sigma_mm=frozen(np.hypot(shape_sigma, spread)),
        cut_mm=frozen(cut),
        unknown=tuple(n for n, h in zip(("lift", "side", "rock"), held, strict=True) if not h),
        face_mm=high,
        tied_by="cards on the wood" if proof else tied.by,
        mirrored=tied.mirrored,
        station=design.outline.station,
    )


def _past_ends(line: np.ndarray, places: np.ndarray) -> np.ndarray:
    """(n,) whether places lie past an end of the outline: the template's own board reaches further."""
    near, past = nearest(line, places), np.zeros(len(places), bool)
    for end, inner in ((0, 1), (-1, -2)):
        way = (line[end] - line[inner]) / np.linalg.norm(line[end] - line[inner])
        at_end = np.hypot(*(near - line[end]).T) < 1e-6
        past |= at_end & ((places - line[end]) @ way > PAST_MM)
    return past


def _off(line: np.ndarray, places: np.ndarray, up: np.ndarray) -> np.ndarray:
    """(n,) signed distance of places from the line, + on the side of `up`."""
    away = places - nearest(line, places)
    return np.copysign(np.hypot(*away.T), (away * up).sum(-1))


def _less_unknown(off: np.ndarray, sigma: np.ndarray, lever: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The stand-off less the best of what is unknown; its sigma grows where that is not held well."""
    seen = np.isfinite(off)
    if not lever.shape[1] or seen.sum() < 2 * lever.shape[1]:
        return off, sigma
    size = np.sqrt((lever**2).mean(axis=0))
    rows = lever / size / sigma[:, None]
    solve = np.linalg.pinv(rows[seen], rcond=1e-6)
    found = solve @ (off / sigma)[seen]
    spread = np.sqrt((((lever / size) @ solve) ** 2).sum(-1))
    return off - (lever / size) @ found, np.hypot(sigma, spread)
