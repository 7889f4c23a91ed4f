"""HumpMap: the whole walk on one page, from photos to a list of spots."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lightcheck import card, fair, lamp, photo, spots, template
from lightcheck.errors import LightcheckError
from lightcheck.fair import FairSurface
from lightcheck.grid import frozen
from lightcheck.lamp import Lamp, LampSpec
from lightcheck.patch import Patch, lay_out, lay_out_square_on
from lightcheck.photo import Photo
from lightcheck.relief import Hold, Relief, hang, line, solve
from lightcheck.spots import Spot

LEAST_CONTRAST = 0.0045  # of light, peak: below this a hump cannot be told from grain and gain
USUAL_WIDTH_MM = 100.0  # of the hump that the lamp's height is judged by
LEAST_LAMP_SHARE = 0.15  # of a cell's light that must be the lamp's, after ambient is taken off
# Ambient light and the curve's scale can stand in for each other, so only clear cases are told.
MUCH_AMBIENT, ODD_RESPONSE = 0.3, 1.4
LEAST_SEEN, MUCH_UNSEEN = 0.1, 0.05  # shares of the wood: refused below the one, told beyond the other
ODD_HEIGHT = 0.08  # share of a lamp's height: a tape is read better than this
HALF_TRUST, MUCH_THROWN = 0.5, 0.25  # of a template's places, and the share of its line
SAME_WOOD = 0.2  # likeness of the grain below which two photos show different wood


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """What was asked for.

    photos: paths as typed.  lamps: as typed, one per photo.  longest_mm: longest hump that still counts,
    along x and across it.  least_mm: least height worth listing.  scale_mm_px: instead of cards.
    measured_mm: x and y of the printed 100 mm ruler.  card_thickness_mm: of stiff cards, 0 for paper.
    templates: readings with their places, as typed.
    """

    photos: tuple[str, ...]
    lamps: tuple[str, ...]
    longest_mm: tuple[float, float] = (400.0, 400.0)
    least_mm: float = 0.1
    scale_mm_px: float | None = None
    measured_mm: tuple[float, float] = (100.0, 100.0)
    card_thickness_mm: float = 0.0
    templates: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class HumpMap:
    """The result for one patch.

    photos: all of them, lamp-off frames too, in the order typed.  warnings: sentences for the reader.
    without_mm: (ny, nx) heights as they would be without the templates, None where there are none.
    """

    recipe: Recipe
    photos: tuple[Photo, ...]
    patch: Patch
    relief: Relief
    fair: FairSurface
    spots: tuple[Spot, ...]
    warnings: tuple[str, ...]
    without_mm: np.ndarray | None = None


def make(recipe: Recipe) -> HumpMap:
    """The walk from photos to spots. Refuses as each stage refuses, before anything is written."""
    specs = _specs(recipe)
    readings = tuple((line.read(text), template.read(line.read(text).folder)) for text in recipe.templates)
    photos = tuple(photo.load(path) for path in recipe.photos)
    patch = _patch(recipe, photos, specs)
    lamps = _lamps(specs, patch)
    _refuse_high(lamps, recipe)
    patch, lamps = _lit_only(patch, lamps, photos)
    _refuse_blind(patch)
    holds = _holds(readings, patch)
    relief, alone = hang(patch, lamps, holds) if holds else (solve(patch, lamps), None)
    surface = fair.surface(relief, longest_mm=recipe.longest_mm)
    without = fair.surface(alone, longest_mm=recipe.longest_mm) if alone else None
    return HumpMap(
        recipe=recipe,
        photos=photos,
        patch=patch,
        relief=relief,
        fair=surface,
        spots=spots.find(patch, relief, surface, least_mm=recipe.least_mm),
        warnings=tuple(_warnings(photos, patch, relief)),
        without_mm=without.height_mm if without else None,
    )


def _specs(recipe: Recipe) -> tuple[LampSpec, ...]:
    """Lamps as typed, understood; one for each photo, and one of them raking."""
    if len(recipe.lamps) != len(recipe.photos):
        raise LightcheckError(
            f"There are {len(recipe.photos)} photos and {len(recipe.lamps)} lamps.",
            "Give one --lamp for each photo, in the photos' order: --lamp left,900mm,110mm; "
            "flash or off where the lamp was not raking.",
        )
    if min(recipe.longest_mm) < 50 or recipe.least_mm <= 0:
        raise LightcheckError(
            "The longest hump must be 50 mm or more and the least height above nothing.",
            "Use for example --longest 400mm --least 0.1mm.",
        )
    specs = tuple(lamp.read(text) for text in recipe.lamps)
    if not any(s.kind in ("lamp", "far") for s in specs):
        raise LightcheckError(
            "No photo has a raking lamp.", "Take at least one with the lamp low beside the wood."
        )
    return specs


def _patch(recipe: Recipe, photos: tuple[Photo, ...], specs) -> Patch:
    """Photos on the grid, the first lit one first to set the axes."""
    if recipe.scale_mm_px is not None:
        return lay_out_square_on(list(photos), scale_mm_px=recipe.scale_mm_px)
    stretch = tuple(m / 100.0 for m in recipe.measured_mm)
    if not all(0.8 < s < 1.25 for s in stretch):
        raise LightcheckError(
            "The printed ruler can not be that far off 100 mm.",
            "Measure the 100 mm ruler on the card sheet, along x and along y: --measured 99.4mm,99.6mm.",
        )
    sightings = [card.find(p) for p in photos]
    return lay_out(list(photos), sightings, thickness_mm=recipe.card_thickness_mm, stretch=stretch)


def _lamps(specs: tuple[LampSpec, ...], patch: Patch) -> tuple[Lamp, ...]:
    """Lamps in the patch frame."""
    centres = {c.card: patch.base.points_mm(c.x_mm, c.y_mm) for c in patch.cards}
    wide = patch.grid.nx * patch.grid.cell_mm
    return tuple(
        lamp.place(s, centres_mm=centres, eye_mm=getattr(v, "eye_mm", np.array([0, 0, 1.2 * wide])))
        for s, v in zip(specs, patch.views, strict=True)
    )


def _holds(readings: tuple, patch: Patch) -> tuple[Hold, ...]:
    """Templates laid on the patch. Refuses one whose line misses it."""
    holds = []
    for spec, daylight in readings:
        where = line.place(spec, patch.cards)
        laid = line.hold(daylight, where, patch.base, name=spec.text)
        row, column = patch.grid.index(laid.x_mm, laid.y_mm)
        rows, columns = patch.inside.shape
        on = (row >= 0) & (row <= rows - 1) & (column >= 0) & (column <= columns - 1)
        on[on] = patch.inside[np.round(row[on]).astype(int), np.round(column[on]).astype(int)]
        if on.sum() < line.LEAST_POINTS:
            raise LightcheckError(
                f"The template '{spec.text}' does not lie on this patch.",
                "Check the line, and at=..., the place of the template's own origin along it.",
            )
        holds.append(laid)
    return tuple(holds)


def _refuse_high(lamps: tuple[Lamp, ...], recipe: Recipe) -> None:
    """A lamp so high that the least height makes no contrast tells nothing."""
    steepest = np.arctan(np.pi * recipe.least_mm / USUAL_WIDTH_MM / LEAST_CONTRAST)
    raking = [a for a in lamps if a.rakes]
    lowest = min(raking, key=lambda a: a.elevation_rad)
    if lowest.elevation_rad > steepest:
        out = float(np.hypot(*lowest.place_mm[:2]))
        raise LightcheckError(
            f"The lamp stands {np.degrees(lowest.elevation_rad):.0f} degrees high: too high to show "
            f"{recipe.least_mm:.2g} mm.",
            f"Bring it below {np.degrees(steepest):.0f} degrees, "
            f"best 5 to 8: at {out:.0f} mm that is {out * np.tan(np.radians(6.5)):.0f} mm above the wood.",
        )


def _lit_only(patch: Patch, lamps: tuple[Lamp, ...], photos: tuple[Photo, ...]):
    """Take the lamp-off frame's light from the others, scaled by exposure, and leave it out."""
    lit = [i for i, a in enumerate(lamps) if a.kind != "off"]
    log_light = np.array(patch.log_light)
    for dark in (i for i, a in enumerate(lamps) if a.kind == "off"):
        for shot in lit:
            ratio = _exposure_ratio(photos[shot], photos[dark])
            rest = 1 - ratio * np.exp(log_light[dark] - log_light[shot])
            with np.errstate(invalid="ignore", divide="ignore"):
                cleaned = log_light[shot] + np.log(np.where(rest > LEAST_LAMP_SHARE, rest, np.nan))
            log_light[shot] = np.where(np.isfinite(log_light[dark]), cleaned, log_light[shot])
    kept = replace(
        patch,
        log_light=frozen(log_light[lit]),
        fine_log_light=frozen(patch.fine_log_light[lit], np.float32),
        off_axis=frozen(patch.off_axis[lit]),
        views=tuple(patch.views[i] for i in lit),
        misfit_mm=tuple(patch.misfit_mm[i] for i in lit),
        likeness=tuple(patch.likeness[i] for i in lit),
        names=tuple(patch.names[i] for i in lit),
    )
    return kept, tuple(lamps[i] for i in lit)


def _exposure_ratio(shot: Photo, dark: Photo) -> float:
    """Gain of a shot over that of the lamp-off frame; 1 where the phone did not write it down."""
    if shot.facts.gain and dark.facts.gain:
        return shot.facts.gain / dark.facts.gain
    return 1.0


def _refuse_blind(patch: Patch) -> None:
    """Nothing can be read where every shot is clipped or black, or where the wood differs."""
    usable = np.isfinite(patch.log_light) & patch.wood
    enough = usable.sum(axis=0) >= min(2, len(usable))
    if enough.sum() < LEAST_SEEN * patch.wood.sum():
        worst = patch.names[int(np.argmin(usable.sum(axis=(1, 2))))]
        raise LightcheckError(
            f"The wood between the cards is clipped to white or black, most of all in {worst}.",
            "Tap on the brightest wood and pull the exposure down, then take that photo again.",
        )
    strange = [n for n, k in zip(patch.names, patch.likeness, strict=True) if k < SAME_WOOD]
    if strange:
        raise LightcheckError(
            f"The grain in {strange[0]} is not that of {patch.names[0]}.",
            "Use photos of one patch only; blurred or very dark ones must be taken again.",
        )


def _warnings(photos: tuple[Photo, ...], patch: Patch, relief: Relief):
    """Sentences about what makes the map less sure than it could be."""
    if len(relief.lamps) == 1:
        yield (
            "One photo only: grain and slope can not be told apart, so most spots are unsure. "
            "Take a second photo with the lamp on the other side."
        )
    for name, misfit in zip(patch.names, patch.misfit_mm, strict=True):
        if misfit > 1.0:
            yield f"{name} lay {misfit:.1f} mm off the first photo; this was corrected on the grain."
    unseen = 1 - (relief.seen & patch.wood).sum() / patch.wood.sum()
    if unseen > MUCH_UNSEEN:
        yield f"{unseen:.0%} of the wood could not be measured: shadow, glare or burnt-out light."
    if any(p.facts.merged_frames for p in photos):
        yield "A photo is merged from several frames by the phone: its light may have been evened out."
    if relief.ambient_share > MUCH_AMBIENT:
        yield f"About {relief.ambient_share:.0%} of the light is not the lamp's: darken the room."
    if max(relief.response) > ODD_RESPONSE or min(relief.response) < 1 / ODD_RESPONSE:
        yield "The phone's tone curve is far from the standard one; this was measured and allowed for."
    yield from _template_warnings(relief)
    places = [a.spec for a in relief.lamps if a.kind == "lamp"]
    if len(set(places)) < len(places):
        yield "Two photos were given the same lamp place: was the lamp moved between them?"


def _template_warnings(relief: Relief):
    """Where templates and light disagree."""
    if abs(relief.height_factor - 1) > max(ODD_HEIGHT, 2 * relief.height_factor_sigma):
        yield (
            f"By the templates the lamps stood at {relief.height_factor:.2f} of the height typed (give or "
            f"take {relief.height_factor_sigma:.2f}); heights follow the templates. Measure the lamp again."
        )
    for hold in relief.holds:
        thrown = float(np.mean(hold.trust < HALF_TRUST))
        if thrown > MUCH_THROWN:
            yield (
                f"The template {hold.name} disagrees with the light along {thrown:.0%} of its line, by up to "
                f"{np.abs(hold.left_mm).max():.2f} mm: check where it stood and which way it faced."
            )
