"""Grey: a printed grey strip read in a photo.

Each patch is compared with the bare paper just above and below it, so that the lamp's fall-off along the
strip does not enter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck import constants as const
from lightcheck.card import strip
from lightcheck.card.find import Sighting
from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.photo import Photo

INNER_MM = 9.0  # of a patch's height that is read: the rest is left to blur
BAND_MM = 2.4  # of paper that is read above and below
_WIDEST_MM = 20 * strip.DOT_MM  # from line to line of the widest kind
_OUTER_MM = 4.5 * _WIDEST_MM  # from the middle of a patch to where its weight ends
_OFF_MM = 3.4  # from a patch's rim to the middle of that band
PARTS = 16
_LEAST_PX = 32  # fewer pixels of a patch tell nothing
_MOST_SPOILT = 0.1
_DARKEST, _PALEST = 0.5, 0.8  # a strip's black and paper patch, as shares of the paper beside them
_DARKER, _NOT_PALER = [0, 1, 4, 6], 0.05  # patches that must darken in this order
_SHARED_PX = 9.0  # pixels that share their noise, from sharpening and compression: own estimate
_UNEVEN = 0.1  # of the difference of the two bands is left: own estimate
_SHARPENED = 0.01  # of the spread, where lines are seen: what the phone's sharpening may do, own estimate
_FLOOR = 0.003


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strip:
    """One strip in one photo, in the order of `strip.PATCHES`; NaN where a patch lost its measure.

    coverage: (8,) black share as drawn.  pitch_mm: (8,) from line to line.  parts: (8, 16) decoded light
    of each patch, the means of sixteenths of its pixels from the darkest to the palest: lines may still
    be seen in it.  paper: (8,) decoded light of the bare paper beside it.  sigma: (8,) of the logarithm
    of patch over paper.
    """

    card: int
    coverage: np.ndarray
    pitch_mm: np.ndarray
    parts: np.ndarray
    paper: np.ndarray
    sigma: np.ndarray

    @property
    def light_log(self) -> np.ndarray:
        """(8,) logarithm of the decoded light of each patch."""
        return np.log(self.parts.mean(axis=1))

    @property
    def paper_log(self) -> np.ndarray:
        """(8,) logarithm of the decoded light of the paper beside each patch."""
        return np.log(self.paper)


def find(photo: Photo, sightings: tuple[Sighting, ...]) -> tuple[Strip, ...]:
    """All strips in a photo; empty where none of its cards has one."""
    found = []
    for sighting in sightings:
        try:
            found.append(read(photo, sighting))
        except LightcheckError:  # an ordinary card, or one whose strip is hidden
            continue
    return tuple(found)


def read(photo: Photo, sighting: Sighting) -> Strip:
    """The strip below a card. Refuses a card that has none or whose strip is not whole in the picture."""
    if sighting.card >= const.SMALL_CARDS_FROM:
        raise _none(sighting.card)
    to_px = _to_px(sighting)
    read_out = [_patch(photo, to_px, patch) for patch in strip.PATCHES]
    parts, paper, sigma = (np.array(column) for column in zip(*read_out, strict=True))
    shares = parts.mean(axis=1) / paper
    black, bare = shares[-1], shares[0]
    if not bare > _PALEST or black > _DARKEST or (np.diff(shares[_DARKER]) > _NOT_PALER).any():
        raise _none(sighting.card)
    return Strip(
        card=sighting.card,
        coverage=frozen([p.coverage for p in strip.PATCHES]),
        pitch_mm=frozen([p.pitch * strip.DOT_MM for p in strip.PATCHES]),
        parts=frozen(parts),
        paper=frozen(paper),
        sigma=frozen(sigma),
    )


def _none(card: int) -> LightcheckError:
    return LightcheckError(
        f"Card {card} has no grey strip below it, or it is not whole in the picture.",
        "Print some with lightcheck cards --grey 0,1, lay one at each end of the patch, and keep them clear.",
    )


def _to_px(sighting: Sighting) -> np.ndarray:
    """(3, 3) from the card's paper to the picture."""
    import cv2

    to_px, _ = cv2.findHomography(sighting.corners_mm.astype(float), sighting.corners_px.astype(float))
    if to_px is None:
        raise _none(sighting.card)
    return to_px


def _patch(photo: Photo, to_px, patch: strip.Patch) -> tuple[np.ndarray, float, float]:
    """(parts of the patch, light of the paper beside it, sigma of the logarithm of their ratio)."""
    middle = strip.TOP_MM - strip.HIGH_MM / 2
    off = strip.HIGH_MM / 2 + _OFF_MM
    places = ((middle, INNER_MM), (middle + off, BAND_MM), (middle - off, BAND_MM))
    own, above, below = (_pixels(photo, to_px, (patch.x_mm, y), high_mm=high) for y, high in places)
    if own is None or above is None or below is None:
        return np.full(PARTS, np.nan), np.nan, np.nan
    parts = _parts(*own)
    spread = parts.var() / parts.mean() ** 2
    bands = [np.average(light, weights=weight) for light, weight in (above, below)]
    noise = [v.std() / v.mean() / np.sqrt(len(v) / _SHARED_PX) for v, _ in (above, below)]
    uneven = _UNEVEN * np.log(bands[0] / bands[1])
    sigma = np.linalg.norm([*noise, _SHARPENED * spread, uneven, _FLOOR])
    return parts, float(np.mean(bands)), float(sigma)


def _parts(light: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """(16,) means of sixteenths of the weight, from the darkest pixels to the palest."""
    order = np.argsort(light)
    shares = np.concatenate([[0.0], np.cumsum(weight[order])])
    sums = np.concatenate([[0.0], np.cumsum((weight * light)[order])])
    at = np.linspace(0, shares[-1], PARTS + 1)
    return np.diff(np.interp(at, shares, sums)) / np.diff(at)


def _pixels(photo: Photo, to_px, middle, *, high_mm: float) -> tuple[np.ndarray, np.ndarray] | None:
    """Light and weight of the pixels round a place on the card's paper; None where it can not be read.

    The weight falls off over one line of the widest kind, so that cut lines count for nothing.
    """
    import cv2

    half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (_OUTER_MM, high_mm / 2)
    corners = cv2.perspectiveTransform((half + middle)[None].astype(float), to_px)[0]
    low, high = np.floor(corners.min(axis=0)).astype(int), np.ceil(corners.max(axis=0)).astype(int) + 1
    if low.min() < 0 or (high > photo.size_px).any():
        return None
    x, y = np.meshgrid(*(np.arange(a, b, dtype=float) for a, b in zip(low, high, strict=True)))
    at = cv2.perspectiveTransform(np.dstack([x, y]).reshape(1, -1, 2), np.linalg.inv(to_px))[0] - middle
    weight = np.clip((_OUTER_MM - np.abs(at[:, 0])) / _WIDEST_MM, 0, 1) * (np.abs(at[:, 1]) <= high_mm / 2)
    window, kept = np.s_[low[1] : high[1], low[0] : high[0]], weight > 0
    light, spoilt = photo.light[window].ravel()[kept], photo.spoilt[window].ravel()[kept]
    if len(light) < _LEAST_PX or spoilt.mean() > _MOST_SPOILT or light.mean() <= 0:
        return None
    return light.astype(float), weight[kept]
