r"""Sharp: how far the photo is blurred, in which direction, and whether everywhere.

The borders between the squares of a card are as sharp as print is, so their width in the photo is
that of the blur. Borders run in two directions on each card and cards lie at any turn, so the widths
give the blur's size along and across: out of focus it is round, shaken it is drawn out.

    width of a border with normal n:   sigma^2 = n . C n        C the (2, 2) covariance of the blur

          black | white strip | marker         each border is fitted whole: where it is much blurred,
    ____________/‾‾‾‾‾‾‾‾‾‾‾‾‾\________        the marker behind the white strip shines into it
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.special import ndtr

from lightcheck import card as cards
from lightcheck.card import Sighting
from lightcheck.check.finding import AMBER, RED, Finding
from lightcheck.photo import Photo

SOFT_MM, VERY_SOFT_MM = 0.60, 1.1  # on the wood: a quarter, and nearly half, of a large card's bit (2.5 mm)
LEAST_PX = 1.25  # less is the lens and the pixel; wide on the wood it is only because pixels are few
SOFT_PX = 2.2  # a photo in focus is under 1.0 (own trial on made-up and path-traced photos)
DRAWN_OUT = 1.7  # along over across, from which it is motion
UNEVEN = 1.8  # softest card over sharpest
PLACE_SHARE = 0.1  # of the blur, by which grain and cards are misplaced: own estimate
_STRIP = 0.125  # of a square: white between a black square and the marker beside it
_REACH = 0.2  # of a square, to each side of a border: the marker's rim ends at 0.25
_STEPS = 41
_NEAR_CLIP = 0.93  # linear light: a border that burns out is wider than the blur
_LEAST_STEP = 0.25  # of ink and paper against their mean: fainter borders are not measured
_OFFSETS = np.linspace(-_REACH, _REACH, _STEPS)
_SIGMAS = np.geomspace(0.004, 0.16, 48)  # of a square
_SHAPES = ndtr(_OFFSETS / _SIGMAS[:, None]) - ndtr((_OFFSETS - _STRIP) / _SIGMAS[:, None])


@dataclass(frozen=True, slots=True, kw_only=True)
class Blur:
    """Blur of one photo. along_px, across_px: sigma of its longest and shortest direction.

    cards_px: card to sigma there.  pixel_mm: size of a pixel on the wood.
    """

    along_px: float
    across_px: float
    cards_px: dict[int, float]
    pixel_mm: float


def sharp(photos: tuple[Photo, ...], sightings: tuple[tuple[Sighting, ...], ...]) -> Iterator[Finding]:
    """Findings about sharpness at the cards."""
    for photo, seen in zip(photos, sightings, strict=True):
        found = blur(photo, seen)
        if found is not None:
            yield from _findings(photo, found)


def blur(photo: Photo, seen: tuple[Sighting, ...]) -> Blur | None:
    """Blur of a photo by the borders on its cards; None where no border could be measured."""
    normals, widths, owners, pixels = [], [], [], []
    for sighting in seen:
        for normal, width, pixel_mm in _borders(photo.light, sighting):
            normals.append(normal)
            widths.append(width)
            owners.append(sighting.card)
            pixels.append(pixel_mm)
    if len(widths) < 3:
        return None
    n, width, owner = np.array(normals), np.array(widths), np.array(owners)
    spread = _spread(n, width)
    across, along = np.sqrt(np.maximum(np.linalg.eigvalsh(spread), 1e-4))
    each = {int(c): float(np.median(width[owner == c])) for c in np.unique(owner)}
    return Blur(along_px=along, across_px=across, cards_px=each, pixel_mm=float(np.median(pixels)))


def _spread(normals: np.ndarray, widths: np.ndarray) -> np.ndarray:
    """(2, 2) covariance from widths across many borders; outliers are let go once."""
    terms = np.stack([normals[:, 0] ** 2, normals[:, 1] ** 2, 2 * normals.prod(axis=1)], axis=1)
    kept = np.ones(len(widths), bool)
    for _ in range(3):
        xx, yy, xy = np.linalg.lstsq(terms[kept], widths[kept] ** 2, rcond=1e-2)[0]
        off = np.abs(np.sqrt(np.maximum(terms @ (xx, yy, xy), 0)) - widths)
        kept = off <= max(3 * np.median(off), 0.05)
    return np.array([[xx, xy], [xy, yy]])


def _borders(light: np.ndarray, seen: Sighting):
    """(normal in the photo, sigma in px, mm to a pixel) of each border between two neighbour corners."""
    square = cards.size(seen.card).square_mm
    to_photo, _ = cv2.findHomography(seen.corners_mm.astype(np.float64), seen.corners_px.astype(np.float64))
    if to_photo is None:
        return
    known = {tuple(np.round(c / square, 2)) for c in seen.corners_mm}
    for x, y in sorted(known):
        for along in ((1.0, 0.0), (0.0, 1.0)):
            if (x + along[0], y + along[1]) in known:
                yield from _border(light, to_photo, np.array([x, y]) * square, np.array(along) * square)


def _border(light: np.ndarray, to_photo: np.ndarray, start: np.ndarray, along: np.ndarray):
    square = float(np.abs(along).sum())
    across = along[::-1] * (1, -1) / square
    places = start + np.linspace(0.25, 0.75, 15)[:, None, None] * along
    places = places + (_OFFSETS * square)[:, None] * across
    pixels = cv2.perspectiveTransform(places.reshape(1, -1, 2), to_photo).reshape(15, _STEPS, 2)
    level = cv2.remap(
        light, pixels[..., 0].astype(np.float32), pixels[..., 1].astype(np.float32), cv2.INTER_LINEAR
    ).mean(axis=0)
    way = pixels[:, -1].mean(axis=0) - pixels[:, 0].mean(axis=0)
    edge = pixels[-1].mean(axis=0) - pixels[0].mean(axis=0)
    normal = np.array([-edge[1], edge[0]]) / np.linalg.norm(edge)
    square_px = abs(float(way @ normal)) / (2 * _REACH)
    sigma = _fitted(level) if level.max() < _NEAR_CLIP else None
    if sigma is not None and square_px > 12:
        yield normal, sigma * square_px, square / square_px


def _fitted(level: np.ndarray) -> float | None:
    """Sigma of a border, in squares, by the shape that leaves least; None where there is no border."""
    if level[_STEPS // 2 + 1 :].sum() < level[: _STEPS // 2].sum():
        level = level[::-1]
    shapes = _SHAPES - _SHAPES.mean(axis=1, keepdims=True)
    off, power = level - level.mean(), (shapes**2).sum(axis=1)
    strength = shapes @ off / power
    best = int(np.argmax(strength * (shapes @ off)))
    if not 0 < best < len(_SIGMAS) - 1 or strength[best] < _LEAST_STEP * level.mean():
        return None
    return float(_SIGMAS[best])


def _findings(photo: Photo, found: Blur) -> Iterator[Finding]:
    mm, ratio = found.along_px * found.pixel_mm, found.along_px / found.across_px
    doubt = PLACE_SHARE * mm * 0.1  # of a slope of one in ten, the steepest that wood between cards has
    soft = found.along_px > LEAST_PX and (mm > SOFT_MM or found.along_px > SOFT_PX)
    softest, sharpest = max(found.cards_px, key=found.cards_px.get), min(found.cards_px.values())
    uneven = (
        found.cards_px[softest] > UNEVEN * sharpest and found.cards_px[softest] * found.pixel_mm > SOFT_MM
    )
    if uneven and ratio < DRAWN_OUT:
        yield Finding(
            name="partly blurred", severity=AMBER, photo=photo.name, sigma_mm=doubt,
            what=f"It is blurred at card {softest} but not everywhere: the focus was on one end.",
            remedy="Hold the phone square on, tap to focus on the middle, and stand a little farther off.",
        )  # fmt: skip
    elif soft:
        severity = RED if mm > VERY_SOFT_MM else AMBER
        moved = ratio > DRAWN_OUT
        yield Finding(
            name="motion" if moved else "blurred", severity=severity, photo=photo.name, sigma_mm=doubt,
            what=f"It is {'shaken' if moved else 'out of focus'}: edges are {mm:.1f} mm wide on the wood"
            + (f", {ratio:.1f} times as wide one way as the other." if moved else "."),
            remedy="Prop the phone up or lean on something, and use the timer."
            if moved else "Wipe the lens, tap to focus on a card, and hold the phone still.",
        )  # fmt: skip
