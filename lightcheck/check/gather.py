"""Gather: all findings of a set of photos, before anything is measured."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from lightcheck import card, lamp, photo
from lightcheck.card import Sighting
from lightcheck.check import grain, light, wood
from lightcheck.check.camera import camera
from lightcheck.check.ends import ends
from lightcheck.check.finding import GREEN, RED, Finding, in_order
from lightcheck.check.lit import lit
from lightcheck.check.paper import paper, squeezed
from lightcheck.check.sharp import sharp
from lightcheck.check.sheet import Sheet, from_patch, from_sightings
from lightcheck.errors import LightcheckError
from lightcheck.lamp import Lamp, LampSpec
from lightcheck.patch import Patch
from lightcheck.photo import Photo

LEAST_MM = 0.1
_EXPLAINS = (  # where the first is found, the second is its consequence
    ("same photo twice", "lamp on the wrong side"),
    ("curled card", "cards moved"),
    ("shining fibres", "rough grain"),  # their edges are fine stripes too
    ("hazy lens", "ambient light"),
    ("glossy", "second light"),
    ("second light", "ambient light"),
    ("dark", "not one patch"),
)
_SPOILING = ("blurred", "motion", "partly blurred", "dark", "clipped")  # cards can not be read for these


def examine(
    photos: tuple[Photo, ...],
    sightings: tuple[tuple[Sighting, ...], ...],
    *,
    lamps: tuple[LampSpec, ...] = (),
    least_mm: float = LEAST_MM,
    patch: Patch | None = None,
) -> tuple[Finding, ...]:
    """All findings of photos whose cards were found, worst first.

    sightings: of each photo, () where none was found.  lamps: one for each photo, or none.
    least_mm: least height that is asked for.  patch: of all these photos, if it is laid out already:
    that saves the longest part. Nothing found is one green finding.
    """
    raking = tuple(spec.kind in ("lamp", "far") for spec in lamps)
    found = [*camera(photos, raking), *sharp(photos, sightings), *paper(photos, sightings)]
    found += ends(photos, sightings)
    if all(sightings) and photos:
        found += _on_wood(photos, sightings, (lamps, least_mm), patch)
    found = _without_consequences(found)
    if not found:
        found = [Finding(name="sound", severity=GREEN, what="No fault was found in these photos.")]
    return in_order(found)


def files(
    paths: tuple[str | Path, ...], *, lamps: tuple[LampSpec, ...] = (), least_mm: float = LEAST_MM
) -> tuple[Finding, ...]:
    """As `examine`, from files; a file that can not be read, or shows no card, is a finding too."""
    kept, seen, bad = [], [], []
    for number, path in enumerate(paths):
        try:
            one = photo.load(path)
        except LightcheckError as refusal:
            bad.append(_refused("not readable", refusal, Path(path).name))
            continue
        try:
            kept.append((one, card.find(one)))
            seen.append(number)
        except LightcheckError as refusal:
            bad += [*light.unlaid(one, ())] or [_refused(_why(refusal), refusal, one.name)]
    shots, sightings = (tuple(part) for part in zip(*kept, strict=True)) if kept else ((), ())
    own = tuple(lamps[i] for i in seen) if lamps else ()
    rest = examine(shots, sightings, lamps=own, least_mm=least_mm) if kept else ()
    return in_order([*bad, *(f for f in rest if not (bad and f.severity == GREEN))])


def _refused(name: str, refusal: LightcheckError, photo_name: str) -> Finding:
    return Finding(name=name, severity=RED, photo=photo_name, what=refusal.problem, remedy=refusal.remedy)


def _why(refusal: LightcheckError) -> str:
    return "blurred" if "blurred" in refusal.problem else "no card read"


def _without_consequences(found: list[Finding]) -> list[Finding]:
    """Findings less those that another one explains: a card is missing from a photo for it is blurred."""
    names = {f.name for f in found}
    spoilt = {f.photo for f in found if f.name in _SPOILING}
    gone = {explained for name, explained in _EXPLAINS if name in names}
    if "curled card" in names and "cards moved" in names:
        found = [replace(f, severity=RED, sigma_mm=None) if f.name == "curled card" else f for f in found]
    return [
        f
        for f in found
        if f.name not in gone and not (f.name in ("card missing", "smoothed wood") and f.photo in spoilt)
    ]


def _on_wood(photos, sightings, asked, patch: Patch | None) -> list[Finding]:
    """Findings that need the photos laid out."""
    specs, least_mm = asked
    try:
        sheet = from_patch(photos, patch) if patch is not None else from_sightings(photos, sightings)
        lamps = _placed(specs, sheet)
    except LightcheckError as refusal:
        name = "cards moved" if "keep their places" in refusal.problem else "not one patch"
        name = "lamp" if "tape" in refusal.problem else name
        told = Finding(name=name, severity=RED, what=refusal.problem, remedy=refusal.remedy)
        lit = [i for i in range(len(photos)) if not (specs and specs[i].kind == "off")]
        return [told, *(f for i in lit for f in light.unlaid(photos[i], sightings[i]))]
    return [*_all(photos, sightings, sheet, lamps, least_mm)]


def _placed(specs: tuple[LampSpec, ...], sheet: Sheet) -> tuple[Lamp, ...]:
    centres = sheet.centres_mm()
    return tuple(
        lamp.place(spec, centres_mm=centres, eye_mm=view.eye_mm)
        for spec, view in zip(specs, sheet.views, strict=False)
    )


def _all(photos, sightings, sheet: Sheet, lamps: tuple[Lamp, ...], least_mm: float) -> Iterator[Finding]:
    levels = lit(sheet)
    yield from squeezed(photos, sightings, sheet.base)
    yield from light.exposure(photos, sheet, lamps)
    yield from light.lens(photos, levels)
    yield from light.tint(photos, levels, lamps)
    yield from wood.gloss(photos, levels)
    yield from wood.damp(sheet)
    yield from wood.painted_blur(photos, sheet, lamps)
    if lamps:
        yield from light.height(photos, lamps, least_mm)
        yield from light.placed(photos, sheet, levels, lamps)
        yield from light.lamp_off(photos, sheet, levels, lamps)
        yield from grain.rough(sheet, lamps)
        yield from grain.reversing(sheet, lamps)
        yield from wood.stripes(sheet, lamps)
