"""Fine: cards placed by every edge of their print, not only by the chessboard corners.

The phone's height over the template's edge decides what a thick template hides, and it shows only in the
perspective of the cards, a few hundredths of a pixel. Eight corners in dim light do not tell that; the
print has some thousand pixels of edge that do. The card as drawn, smeared as the lens smears it, is
laid over the photo by enhanced correlation (Evangelidis and Psarakis 2008, as OpenCV has it).

Both are freed of slow changes first: the bright light behind glows into the dark card from its rim,
and a slope of light across an edge would shift it.
"""

from __future__ import annotations

import cv2
import numpy as np

from lightcheck.card import Sighting, board, size
from lightcheck.constants import CARD_COLUMNS, CARD_ROWS
from lightcheck.grid import frozen
from lightcheck.photo import Photo

PER_MM, SMALL_PER_MM = 16, 32  # pixels of the drawn card: whole ones to each bit, or the drawing is off
BLUR_PX = 1.1  # of a usual lens; half or twice of it moves the phone by under 1 % (measured)
SLOW_PX = 8.0  # changes of light over more than this are taken out
RIM_PX = 10  # of the white margin that is used
AROUND_PX = 40
STEPS, LEAST_STEP = 60, 1e-8
ALIKE = 0.9  # correlation of drawing and photo below which the corners are trusted more
MOST_SHIFT_PX = 1.5  # and a larger move than this from the corners is not believed
POINTS = (5, 3)  # of the card that are handed on, across and up


def refined(photo: Photo, sightings: tuple[Sighting, ...]) -> tuple[Sighting, ...] | None:
    """The same cards, each at a grid of points where its whole print fits; None where one does not fit."""
    found = [_refined(photo.light, seen) for seen in sightings]
    return None if any(f is None for f in found) else tuple(found)


def _refined(light: np.ndarray, seen: Sighting) -> Sighting | None:
    start, _ = cv2.findHomography(seen.corners_mm, seen.corners_px)
    px_mm = float(np.sqrt(abs(np.linalg.det(start[:2, :2]))))
    ink, to_mm = _drawing(seen.card, px_mm)
    crop, corner = _crop(light, _through(start @ to_mm, _rim(ink)))
    to_crop = np.array([[1, 0, -corner[0]], [0, 1, -corner[1]], [0, 0, 1.0]])
    warp = to_crop @ start @ to_mm
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, STEPS, LEAST_STEP)
    try:
        alike, warp = cv2.findTransformECC(
            ink, crop, (warp / warp[2, 2]).astype(np.float32), cv2.MOTION_HOMOGRAPHY, stop, None, 1
        )
    except cv2.error:  # it does not settle
        return None
    to_photo = np.linalg.inv(to_crop) @ warp.astype(float) @ np.linalg.inv(to_mm)
    moved = _through(to_photo, seen.corners_mm) - seen.corners_px
    if alike < ALIKE or np.sqrt((moved**2).sum(-1).mean()) > MOST_SHIFT_PX:
        return None
    half = np.array([CARD_COLUMNS, CARD_ROWS]) * size(seen.card).square_mm / 2
    grid = np.stack(np.meshgrid(*(np.linspace(-h, h, n) for h, n in zip(half, POINTS, strict=True))), -1)
    grid = grid.reshape(-1, 2)
    return Sighting(card=seen.card, corners_px=frozen(_through(to_photo, grid)), corners_mm=frozen(grid))


def _through(homography: np.ndarray, points: np.ndarray) -> np.ndarray:
    return cv2.perspectiveTransform(np.asarray(points, float)[None], homography)[0]


def _rim(picture: np.ndarray) -> np.ndarray:
    high, wide = picture.shape
    return np.array([[0, 0], [wide, 0], [0, high], [wide, high]], float)


def _crop(light: np.ndarray, corners_px: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The photo about the card without slow changes, and the pixel of its corner."""
    low = np.maximum(np.floor(corners_px.min(axis=0)).astype(int) - AROUND_PX, 0)
    high = np.ceil(corners_px.max(axis=0)).astype(int) + AROUND_PX
    return _quick(light[low[1] : high[1], low[0] : high[0]]), low


def _quick(picture: np.ndarray) -> np.ndarray:
    """The picture less its slow changes."""
    picture = np.ascontiguousarray(picture, np.float32)
    return picture - cv2.GaussianBlur(picture, (0, 0), SLOW_PX)


def _drawing(card: int, px_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """The card as printed, smeared, at the photo's own scale; and what takes its pixels to mm, y up."""
    measures = size(card)
    per_mm = SMALL_PER_MM if measures.square_mm < 15 else PER_MM
    print_mm = np.array([CARD_COLUMNS, CARD_ROWS]) * measures.square_mm
    ink = board(card).generateImage((print_mm * per_mm).astype(int).tolist()).astype(np.float32) / 255
    around = 4 * SLOW_PX / px_mm  # white paper, so that the slow changes are the same as in the photo
    border = round(around * per_mm)
    ink = cv2.copyMakeBorder(ink, *[border] * 4, cv2.BORDER_CONSTANT, value=1.0)
    ink = cv2.GaussianBlur(ink, (0, 0), max(BLUR_PX / px_mm * per_mm, 0.5))
    count = np.floor((print_mm + 2 * around) * px_mm).astype(int) - 2
    columns, rows = (
        (((np.arange(n) - (n - 1) / 2) / px_mm + side / 2) * per_mm + border - 0.5).astype(np.float32)
        for n, side in zip(count, print_mm, strict=True)
    )
    drawn = _quick(cv2.remap(ink, *np.meshgrid(columns, rows), cv2.INTER_LINEAR))
    cut = round(4 * SLOW_PX) - RIM_PX
    drawn = np.ascontiguousarray(drawn[cut:-cut, cut:-cut])
    middle = (np.array(drawn.shape[::-1]) - 1) / 2
    to_mm = np.array([[1, 0, -middle[0]], [0, -1, middle[1]], [0, 0, px_mm]]) / px_mm
    return drawn, to_mm
