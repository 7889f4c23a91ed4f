"""Paper: whether the cards are printed square, lie flat, are large enough and enough of them."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np

from lightcheck import card as cards
from lightcheck.card import Sighting
from lightcheck.check.finding import AMBER, RED, Finding
from lightcheck.patch import Base
from lightcheck.patch.start import USUAL_FOCAL_35MM
from lightcheck.photo import Photo

LEAST_BIT_PX, FEW_BIT_PX = 2.5, 3.0  # pixels to a bit of a marker: below the first it is read by luck
BITS_PER_SQUARE = 8.0  # a bit is a sixth of a marker, which is three quarters of a square
SQUEEZED, CRUSHED = 0.010, 0.04  # x against y of the print; home printers are half a per cent off (reported)
BENT_MM = 25.0  # times the wood's curvature: how far a bent card may seem squeezed (own trial)
CURLED_MM = 0.13  # rms of a card's corners about a flat card, on the paper: flat ones 0.01-0.06 (own trial)
BEST_CARDS = 4
_USUAL_HUMP_MM = 0.5


def paper(photos: tuple[Photo, ...], sightings: tuple[tuple[Sighting, ...], ...]) -> Iterator[Finding]:
    """Findings about the cards."""
    for photo, seen in zip(photos, sightings, strict=True):
        yield from _small(photo, seen)
    yield from _few(photos, sightings)
    yield from _curled(photos, sightings)


def square_px(seen: Sighting) -> float:
    """Typical side of a square in the photo. [px]"""
    spread = [np.sqrt(((c - c.mean(axis=0)) ** 2).sum(1).mean()) for c in (seen.corners_px, seen.corners_mm)]
    return float(spread[0] / spread[1] * cards.size(seen.card).square_mm)


def _small(photo: Photo, seen: tuple[Sighting, ...]) -> Iterator[Finding]:
    if not seen:
        return
    least = min(seen, key=square_px)
    bit = square_px(least) / BITS_PER_SQUARE
    if bit >= FEW_BIT_PX:
        return
    yield Finding(
        name="few pixels", severity=RED if bit < LEAST_BIT_PX else AMBER, photo=photo.name,
        sigma_mm=None,
        what=f"A bit of card {least.card} is only {bit:.1f} pixels wide "
        f"({square_px(least) / cards.size(least.card).square_mm:.1f} pixels to a millimetre).",
        remedy="Go nearer, use the photo at full size, or map the surface in two patches.",
    )  # fmt: skip


def _few(photos, sightings) -> Iterator[Finding]:
    seen = {s.card for shot in sightings for s in shot}
    for photo, shot in zip(photos, sightings, strict=True):
        missing = sorted(seen - {s.card for s in shot})
        if shot and missing:
            yield Finding(
                name="card missing", severity=AMBER, photo=photo.name,
                what=f"Card {', '.join(map(str, missing))} can not be read in it, but in others.",
                remedy="Keep all cards whole in the picture, uncovered and out of the glare.",
            )  # fmt: skip
    if 0 < len(seen) < BEST_CARDS:
        yield Finding(
            name="few cards", severity=AMBER if len(seen) > 1 else RED,
            what=f"Only {len(seen)} card{'s are' if len(seen) > 1 else ' is'} in sight.",
            remedy="Lay four or more round the patch: only what lies between them is mapped.",
        )  # fmt: skip


def squeeze(photos, sightings) -> tuple[float, float]:
    """Log of x over y of the print, and its standard error.

    A flat square card seen through a lens of known length has columns of equal length in its pose;
    a print stretched along x has not. Held nearly square on, the lens's length hardly matters.
    """
    ratios = []
    for photo, shot in zip(photos, sightings, strict=True):
        focal = (photo.facts.focal_35mm or USUAL_FOCAL_35MM) / 36.0 * max(photo.size_px)
        middle = (np.array(photo.size_px) - 1) / 2
        for seen in shot:
            plane = (seen.corners_px - middle) / focal
            pose, _ = cv2.findHomography(seen.corners_mm.astype(np.float64), plane.astype(np.float64))
            if pose is not None and len(seen.corners_px) >= 6:
                ratios.append(np.log(np.linalg.norm(pose[:, 0]) / np.linalg.norm(pose[:, 1])))
    if len(ratios) < 2:
        return 0.0, 1.0
    scatter = 1.4826 * np.median(np.abs(ratios - np.median(ratios)))
    return float(np.median(ratios)), float(max(scatter, 0.002) / np.sqrt(len(ratios)) * 1.25)


def squeezed(photos, sightings, base: Base) -> Iterator[Finding]:
    """Whether the print is longer one way than the other; on bent wood less is told."""
    ratio, doubt = squeeze(photos, sightings)
    bent = BENT_MM * max(abs(base.along_x), abs(base.along_y), abs(base.twist))
    if abs(ratio) < max(SQUEEZED, 3 * doubt) + bent:
        return
    yield Finding(
        name="squashed print", severity=RED if abs(ratio) > CRUSHED else AMBER,
        sigma_mm=abs(ratio) * _USUAL_HUMP_MM,
        what=f"The cards are printed {abs(ratio):.1%} {'longer' if ratio > 0 else 'shorter'} "
        "along than across.",
        remedy="Print at 100 %, or measure both rulers on the sheet and type --measured 99.4mm,99.6mm.",
    )  # fmt: skip


def _curled(photos, sightings) -> Iterator[Finding]:
    """A flat card's corners fit a flat card seen in perspective; each card is named once, at its worst."""
    worst: dict[int, tuple[float, str]] = {}
    for photo, shot in zip(photos, sightings, strict=True):
        for seen in shot:
            off = _off_flat_mm(seen)
            if off > worst.get(seen.card, (0.0, ""))[0]:
                worst[seen.card] = (off, photo.name)
    usual = float(np.median([off for off, _ in worst.values()])) if worst else 0.0
    for card, (off, name) in worst.items():
        if off > max(CURLED_MM, 3 * usual):
            yield Finding(
                name="curled card", severity=AMBER, photo=name, sigma_mm=0.1 * off,
                what=f"Card {card} does not lie flat: its corners are {off:.2f} mm off those of a flat card.",
                remedy="Glue the card to something flat and stiff, or press it flat and weigh it down.",
            )  # fmt: skip


def _off_flat_mm(seen: Sighting) -> float:
    if len(seen.corners_px) < 6:
        return 0.0
    to_paper, _ = cv2.findHomography(seen.corners_px.astype(np.float64), seen.corners_mm.astype(np.float64))
    if to_paper is None:
        return 0.0
    back = cv2.perspectiveTransform(seen.corners_px[None].astype(np.float64), to_paper)[0]
    return float(np.sqrt(((back - seen.corners_mm) ** 2).sum(1).mean()))
