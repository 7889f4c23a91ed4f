"""Step: layers of tape of stated thickness laid on the wood, and what the map made of them.

        ____________            read = mean height on the strip less the mean height round it
    ___/            \\____       was  = what the builder says its thickness is

The map takes the wood for one smooth skin. A strip whose edges slope gently is read like any hump. A
sharp edge is not: its upright side can not be seen from above, so where it faces the lamp the light that
falls on it is missing from the photo, and the strip reads low, by half or more. So tape is bedded
under thin paper drawn flat, which makes a slope of its edge, before the map is doubted.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid
from lightcheck.units import length_mm

if TYPE_CHECKING:
    from lightcheck.humpmap import HumpMap
    from lightcheck.patch import CardPlace
    from lightcheck.stored import StoredMap

INNER_MM, OUTER_MM, ROUND_MM = 6.0, 8.0, 45.0  # left out on the strip and beside it; how far round it
LEAST_WIDE_MM = 40.0  # narrower strips are smoothed by what tells plane tracks from humps
LEAST_CELLS, LEAST_SEEN = 20, 0.7  # cells, and share of the strip
SHARE_SIGMA = 0.03  # of a thickness: tape stretches, layers trap air; own estimate
CLEAR, WIDE_OFF = 2.0, 0.15  # sigmas and share from which a difference is told
_EXAMPLE = (
    "Type it like '0.178mm at 120mm,-40mm from card 2, 150mm x 48mm turned 90deg' or "
    "'3 layers of 0.178mm at ...': thickness, middle, length x width."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StepSpec:
    """A strip as stated: thickness, middle (from a card's middle or the origin), size and turn."""

    text: str
    thick_mm: float
    x_mm: float
    y_mm: float
    card: int | None
    long_mm: float
    wide_mm: float
    turn_rad: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StepReading:
    """What was read against what it was.

    was_mm, read_mm: thickness.  sigma_mm: of the difference, the strip's own included.  share: read over
    was.  sigmas: the difference over its sigma.  agrees: nothing to tell.  sentence: for the reader.
    """

    spec: StepSpec
    was_mm: float
    read_mm: float
    sigma_mm: float
    share: float
    sigmas: float
    agrees: bool
    sentence: str


def read(text: str) -> StepSpec:
    """Understand one `--step` value. Refuses what has no thickness, no place or no size."""
    match = re.fullmatch(
        r"(?:(?P<layers>\d{1,2})\s*(?:layers?\s+of|x)\s+)?(?P<thick>[^@,]{1,20}?)\s*(?:@|\s+at\s+)\s*"
        r"(?P<x>[^,]{1,20}),(?P<y>[^,]{1,20}?)(?:\s+from\s+card\s+(?P<card>\d{1,2}))?\s*,"
        r"\s*(?P<long>[^,x]{1,20})x(?P<wide>[^,x]{1,20}?)(?:\s+turned\s+(?P<turn>[-+]?\d{1,3})\s*deg)?",
        text.strip().lower()[:300],
    )
    if not match:
        raise LightcheckError(
            f"'{text[:80]}' does not say how thick the strip is and where it lies.", _EXAMPLE
        )
    size = length_mm(match["long"]), length_mm(match["wide"])
    spec = StepSpec(
        text=text.strip(),
        thick_mm=int(match["layers"] or 1) * length_mm(match["thick"]),
        x_mm=length_mm(match["x"]),
        y_mm=length_mm(match["y"]),
        card=int(match["card"]) if match["card"] else None,
        long_mm=size[0],
        wide_mm=size[1],
        turn_rad=float(np.radians(int(match["turn"] or 0))),
    )
    if not 0.02 <= spec.thick_mm <= 3.0:
        raise LightcheckError(
            f"A strip of {spec.thick_mm:g} mm is no check for a map of humps.",
            "Use 0.02mm to 3mm of tape or feeler.",
        )
    if min(size) < LEAST_WIDE_MM or max(size) > 1000:
        raise LightcheckError(
            f"A strip of {size[0]:g} x {size[1]:g} mm is too narrow to be read.",
            f"Make it {LEAST_WIDE_MM:.0f} mm wide or more and longer than wide: lay strips side by side.",
        )
    return spec


def of_map(spec: StepSpec, result: HumpMap) -> StepReading:
    """The reading of a map that was just made."""
    fair, patch = result.fair, result.patch
    return against(spec, patch.grid, fair.height_mm, fair.draws_mm, cards=patch.cards)


def of_stored(spec: StepSpec, stored: StoredMap) -> StepReading:
    """The reading of a map read back from its folder."""
    return against(spec, stored.grid, stored.height_mm, stored.draws_mm, cards=stored.cards)


def against(
    spec: StepSpec,
    grid: Grid,
    height_mm: np.ndarray,
    draws_mm: np.ndarray,
    *,
    cards: tuple[CardPlace, ...] = (),
) -> StepReading:
    """Read a strip off heights (ny, nx), NaN where not seen, and draws (n, ny, nx) of them."""
    on, beside = _where(spec, grid, np.isfinite(height_mm), cards)
    read_mm = float(height_mm[on].mean() - height_mm[beside].mean())
    spread = np.nanmean(draws_mm[:, on], axis=1) - np.nanmean(draws_mm[:, beside], axis=1)
    sigma = float(np.hypot(np.sqrt(np.mean((spread - read_mm) ** 2)), SHARE_SIGMA * spec.thick_mm))
    off = read_mm - spec.thick_mm
    share, sigmas = read_mm / spec.thick_mm, abs(off) / sigma
    agrees = sigmas <= CLEAR or abs(share - 1) <= WIDE_OFF / 2
    return StepReading(
        spec=spec,
        was_mm=spec.thick_mm,
        read_mm=read_mm,
        sigma_mm=sigma,
        share=share,
        sigmas=sigmas,
        agrees=agrees,
        sentence=_sentence(spec, read_mm, sigma, agrees),
    )


def _where(spec: StepSpec, grid: Grid, seen: np.ndarray, cards) -> tuple[np.ndarray, np.ndarray]:
    """(ny, nx) bool twice: cells well on the strip, and cells round it."""
    x, y = grid.mesh_mm()
    x0, y0 = _middle(spec, cards)
    c, s = np.cos(spec.turn_rad), np.sin(spec.turn_rad)
    away_p = abs((x - x0) * c + (y - y0) * s) - spec.long_mm / 2
    away_q = abs((y - y0) * c - (x - x0) * s) - spec.wide_mm / 2
    away = np.maximum(away_p, away_q)
    on, beside = seen & (away < -INNER_MM), seen & (away > OUTER_MM) & (away < ROUND_MM)
    whole = (spec.long_mm - 2 * INNER_MM) * (spec.wide_mm - 2 * INNER_MM) / grid.cell_mm**2
    if min(on.sum(), beside.sum()) < LEAST_CELLS or on.sum() < LEAST_SEEN * whole:
        raise LightcheckError(
            f"The strip '{spec.text[:80]}' does not lie where the map has heights.",
            "Lay it well inside the cards with a hand's breadth of wood round it, and give its middle as the "
            "first photo shows it.",
        )
    return on, beside


def _middle(spec: StepSpec, cards) -> tuple[float, float]:
    if spec.card is None:
        return spec.x_mm, spec.y_mm
    card = next((c for c in cards if c.card == spec.card), None)
    if card is None:
        raise LightcheckError(
            f"'{spec.text[:80]}': card {spec.card} is not in the photos.",
            f"Cards seen: {', '.join(str(c.card) for c in cards) or 'none'}.",
        )
    return spec.x_mm + card.x_mm, spec.y_mm + card.y_mm


def _sentence(spec: StepSpec, read_mm: float, sigma: float, agrees: bool) -> str:
    share = read_mm / spec.thick_mm
    said = (
        f"The strip of {spec.thick_mm:.3f} mm reads {read_mm:.3f} mm, give or take {sigma:.3f}: "
        f"{100 * share:.0f} % of what it is"
    )
    if agrees:
        return said + ", which agrees."
    if share < 1:
        return said + (
            ". An edge steeper than the light reads low: bed the strip under thin paper, so that each edge "
            "slopes over 8 mm or more for a layer of tape, and try again. If it is still low, so is every "
            "height: measure the lamp's height again."
        )
    return said + ". Every height may be too large by as much: measure the lamp's height again."
