"""The walk on one page."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.ndimage import gaussian_filter

from lightcheck import card, check, fair, lamp, marks, photo, response, shadow, spots, template
from lightcheck.card import Sighting
from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.humpmap.dark import lit_only
from lightcheck.humpmap.paper import bare_of_strips
from lightcheck.humpmap.product import HumpMap, Recipe
from lightcheck.humpmap.refuse import refuse_blind, refuse_high, refuse_scale, refuse_twice, specs
from lightcheck.humpmap.warn import warnings
from lightcheck.lamp import Lamp, LampSpec
from lightcheck.patch import Patch, lay_out, lay_out_square_on
from lightcheck.photo import Photo
from lightcheck.relief import Hold, Relief, hang, line, solve
from lightcheck.response import Response

# Faults that the solve masks or has columns for: path-traced boards with them stay within their doubt.
ALLOWED_FOR = ("ambient light", "clipped", "dark", "exposure changed", "glossy", "lamp too high")
FAULT_MM = 30.0  # how far a fault of the photos reaches: that of a hump 100 mm wide, by which it is told


def make(recipe: Recipe) -> HumpMap:
    """The walk from photos to spots. Refuses as each stage refuses, before anything is written."""
    said = specs(recipe)
    lines = tuple(line.read(text) for text in recipe.templates)
    readings = tuple((one, template.read(one.folder)) for one in lines)
    things = tuple(shadow.read(text) for text in recipe.shadows)
    marked = marks.read(recipe.marks) if recipe.marks else None
    photos = photo.load_all(recipe.photos)
    refuse_twice(photos)
    patch, sightings = lay_out_photos(recipe, photos)
    lamps = place_lamps(said, patch)
    refuse_high(lamps, recipe)
    whole = patch
    patch, lamps = lit_only(patch, lamps, photos)
    refuse_blind(patch)
    findings = _findings((photos, sightings), said, whole, recipe)
    seen = shadow.find(things, patch, lamps)
    patch, told = shadow.uncovered(patch, seen, lamps), _told_by(seen, lamps, patch)
    holds = lay_holds(readings, patch)
    curve = _response((photos, sightings), said, recipe)
    relief, alone = hang(patch, told, holds, curve) if holds else (solve(patch, told, response=curve), None)
    relief = _doubted(relief, check.doubt_mm(f for f in findings if f.name not in ALLOWED_FOR))
    creases = marked.creases().on(patch.cards) if marked else None
    surface = fair.surface(relief, longest_mm=recipe.longest_mm, creases=creases)
    without = fair.surface(alone, longest_mm=recipe.longest_mm, creases=creases) if alone else None
    checks = _crossed(seen, lamps, patch, relief)
    return HumpMap(
        recipe=recipe,
        photos=photos,
        patch=patch,
        relief=relief,
        fair=surface,
        spots=spots.find(patch, relief, surface, least_mm=recipe.least_mm),
        warnings=tuple(warnings(patch, relief, surface.height_mm, (findings, checks))),
        without_mm=without.height_mm if without else None,
        findings=findings,
        shadows=checks,
        response=curve,
    )


def lay_out_photos(
    recipe: Recipe, photos: tuple[Photo, ...]
) -> tuple[Patch, tuple[tuple[Sighting, ...], ...]]:
    """Photos on the grid, the first one to set the axes, and the cards found in each."""
    if recipe.scale_mm_px is not None:
        refuse_scale(photos[0])
        return lay_out_square_on(list(photos), scale_mm_px=recipe.scale_mm_px), ()
    stretch = tuple(m / 100.0 for m in recipe.measured_mm)
    if not all(0.8 < s < 1.25 for s in stretch):
        raise LightcheckError(
            "The printed ruler can not be that far off 100 mm.",
            "Measure the 100 mm ruler on the card sheet, along x and along y: --measured 99.4mm,99.6mm.",
        )
    sightings = card.find_all(photos)
    patch = lay_out(list(photos), list(sightings), thickness_mm=recipe.card_thickness_mm, stretch=stretch)
    return bare_of_strips(patch, photos, sightings), sightings


def place_lamps(said: tuple[LampSpec, ...], patch: Patch) -> tuple[Lamp, ...]:
    """Lamps in the patch frame."""
    centres = {c.card: patch.base.points_mm(c.x_mm, c.y_mm) for c in patch.cards}
    wide = patch.grid.nx * patch.grid.cell_mm
    return tuple(
        lamp.place(s, centres_mm=centres, eye_mm=getattr(v, "eye_mm", np.array([0, 0, 1.2 * wide])))
        for s, v in zip(said, patch.views, strict=True)
    )


def lay_holds(readings: tuple, patch: Patch) -> tuple[Hold, ...]:
    """Templates laid on the patch. Refuses one whose line misses it."""
    holds = []
    for spec, daylight in readings:
        where = line.place(spec, patch.cards)
        laid = line.hold(daylight, where, patch.base, name=spec.name)
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


def _findings(shots: tuple, said: tuple[LampSpec, ...], patch: Patch, recipe: Recipe):
    """Faults of the photos; photos without cards can not be looked at that closely."""
    photos, sightings = shots
    if not sightings:
        return ()
    return check.examine(photos, sightings, lamps=said, least_mm=recipe.least_mm, patch=patch)


def _response(shots: tuple, said: tuple[LampSpec, ...], recipe: Recipe) -> Response:
    """What is known of the phone's response, for the shots that are lit."""
    photos, sightings = shots
    lit = [i for i, spec in enumerate(said) if spec.kind != "off"]
    return response.choose(
        tuple(photos[i] for i in lit),
        tuple(sightings[i] for i in lit) if sightings else (),
        brackets=recipe.brackets,
        use_kept=recipe.kept_response,
    )


def _told_by(seen: tuple, lamps: tuple[Lamp, ...], patch: Patch) -> tuple[Lamp, ...]:
    """Lamps as typed, with what their shadows tell where the two agree."""
    return tuple(
        shadow.combined(lamp_, tuple(s for s in seen if s.photo == name))
        for lamp_, name in zip(lamps, patch.names, strict=True)
    )


def _crossed(seen: tuple, lamps: tuple[Lamp, ...], patch: Patch, relief: Relief) -> tuple:
    """Each shadow against the tape, and against where the solve found the lamp."""
    checks = []
    for name, typed, found in zip(patch.names, lamps, relief.lamps, strict=True):
        for one in (s for s in seen if s.photo == name):
            checks.append(shadow.cross_check(one, typed.place_mm, typed.cov_mm2))
            cov = np.diag(found.sigma_mm**2)
            checks.append(shadow.cross_check(one, found.place_mm, cov, source="the light on the wood"))
    return tuple(checks)


def _doubted(relief: Relief, doubt_mm: float) -> Relief:
    """The relief with draws shaken by what faults of the photos may have feigned."""
    if not doubt_mm:
        return relief
    rng = np.random.default_rng(7)
    wide = FAULT_MM / relief.grid.cell_mm
    shakes = gaussian_filter(rng.standard_normal(relief.draws_mm.shape), (0, wide, wide), mode="wrap")
    shakes *= doubt_mm / shakes.std()
    return replace(relief, draws_mm=frozen(relief.draws_mm + shakes, np.float32))
