"""Sentences about what makes a map less sure than it could be."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lightcheck.check import GREEN
from lightcheck.patch import Patch
from lightcheck.relief import Relief

# Ambient light and the curve's scale can stand in for each other, so only clear cases are told.
MUCH_AMBIENT, ODD_RESPONSE = 0.3, 1.4
ROOM_LIGHT = ("ambient light", "second light")  # findings that say it already
MUCH_UNSEEN = 0.05  # share of the wood
ODD_HEIGHT = 0.08  # share of a lamp's height: a tape is read better than this
OFF_FAIR_MM, CROWDED = 0.03, 0.6  # made-up boards with more wood than that off fair read badly from one line
ONE_LINE = 0.9  # resultant of the lamps' bearings, taken both ways: two within 13 degrees of one line
HALF_TRUST, MUCH_THROWN = 0.5, 0.25  # of a template's places, and the share of its line


def warnings(patch: Patch, relief: Relief, height_mm: np.ndarray, told: tuple) -> Iterator[str]:
    """Sentences for the reader.

    height_mm: (ny, nx) above fair, NaN where not seen.  told: findings about the photos, and shadows set
    against lamps.
    """
    findings, shadows = told
    if len(relief.lamps) == 1:
        yield (
            "One photo only: grain and slope can not be told apart, so most spots are unsure. "
            "Take a second photo with the lamp on the other side."
        )
    yield from crowding_warnings(relief, height_mm)
    for name, misfit in zip(patch.names, patch.misfit_mm, strict=True):
        if misfit > 1.0:
            yield f"{name} lay {misfit:.1f} mm off the first photo; this was corrected on the grain."
    unseen = 1 - (relief.seen & patch.wood).sum() / patch.wood.sum()
    if unseen > MUCH_UNSEEN:
        yield f"{unseen:.0%} of the wood could not be measured: shadow, glare or burnt-out light."
    for one in findings:
        if one.severity != GREEN:
            yield f"{one.photo}: {one.what} {one.remedy}" if one.photo else f"{one.what} {one.remedy}"
    yield from (c.sentence for c in shadows if c.clear)
    if relief.ambient_share > MUCH_AMBIENT and not any(f.name in ROOM_LIGHT for f in findings):
        yield f"About {relief.ambient_share:.0%} of the light is not the lamp's: darken the room."
    if max(relief.response) > ODD_RESPONSE or min(relief.response) < 1 / ODD_RESPONSE:
        yield "The phone's tone curve is far from the standard one; this was measured and allowed for."
    yield from template_warnings(relief)
    places = [a.spec for a in relief.lamps if a.kind == "lamp"]
    if len(set(places)) < len(places):
        yield "Two photos were given the same lamp place: was the lamp moved between them?"


def crowding_warnings(relief: Relief, height_mm: np.ndarray) -> Iterator[str]:
    """Where little fair wood is left to tell rows along the light from each other."""
    bearings = [np.arctan2(a.place_mm[1], a.place_mm[0]) for a in relief.lamps if a.kind in ("lamp", "far")]
    one_line = bool(bearings) and np.abs(np.mean(np.exp(2j * np.array(bearings)))) > ONE_LINE
    off = float(np.mean(np.abs(height_mm[np.isfinite(height_mm)]) > OFF_FAIR_MM))
    if len(relief.lamps) > 1 and one_line and off > CROWDED:
        yield (
            f"{off:.0%} of the wood stands off fair and all light came along one line: ridges along it do "
            "not show, and heights may be off by more than is told. Add a photo, lamp at right angles."
        )


def template_warnings(relief: Relief) -> Iterator[str]:
    """Where templates and light disagree."""
    if abs(relief.height_factor - 1) > max(ODD_HEIGHT, 2 * relief.height_factor_sigma):
        yield (
            f"By the templates the lamps stood at {relief.height_factor:.2f} of the height typed (give or "
            f"take {relief.height_factor_sigma:.2f}); heights follow the templates. Measure the lamp again."
        )
    for hold in relief.holds:
        thrown = float(np.mean(hold.trust < HALF_TRUST))
        if thrown == 1.0:
            yield (
                f"The template {hold.name} does not fit what the light shows anywhere and was not used: "
                "check where it stood, which way it faced, and that it is the reading of this wood."
            )
        elif thrown > MUCH_THROWN:
            yield (
                f"The template {hold.name} disagrees with the light along {thrown:.0%} of its line, by up to "
                f"{np.abs(hold.left_mm).max():.2f} mm: check where it stood and which way it faced."
            )
