"""Why no card was found: mirrored, dark, cut off, too small, blurred, or none there.

A card that cannot be read still looks like one: a block, about as tall as wide, in which white
paper and black ink lie close together. Its size in pixels and the width of its edges tell small
from blurred; where it meets the rim of the picture it is cut off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck import constants as const
from lightcheck.card import markers as mk
from lightcheck.errors import LightcheckError
from lightcheck.photo import Photo

DARK_CODE = 40  # paper under a lamp is far above this
LEAST_BIT_PX = 2.5  # smaller bits of a marker are read by luck only
SOFT_EDGE_PX = 1.4  # a photo in focus has sharper edges than this
LOOK_PX = (1000, 500)  # long sides of the pictures in which blocks are looked for
INK_RATIO = 2.2  # paper to ink next to it, coded; wood grain stays below
BITS_ALONG = 40  # bits that fit along a card: 5 squares of 20 mm, bits of 2.5 mm
LEAST_CHANGES = 5  # of dark and bright along it: a card has five squares, a cut one fewer
_SHAPE_SHARE = 0.55  # of its box that a block fills
_PICTURE_PX = 1600
_BLURRED = "it is blurred", "Hold the phone still (timer, prop), wipe the lens, tap to focus."
_NONE = (
    "there is none in sight",
    "Lay at least two printed cards on the wood (`lightcheck cards`), face up and whole.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Block:
    """Something that looks like a card. corners_px: (4, 2) its box, in the grey picture."""

    corners_px: np.ndarray
    length_px: float
    edge_px: float  # sigma of its sharpest edges
    cut: bool  # meets the rim of the picture


def none_found(photo: Photo, grey: np.ndarray) -> LightcheckError:
    """The refusal that says which it is, with a marked-up picture."""
    import cv2

    flipped = np.ascontiguousarray(grey[:, ::-1])
    backwards = mk.read(flipped)
    if any(mk.groups(backwards, card) for card in {m.card for m in backwards} & set(const.CARD_NUMBERS)):
        return LightcheckError(
            f"{photo.name} is mirrored: its cards read backwards.",
            "Turn off 'mirror' in the camera and use the rear lens, or use the original photo.",
        )
    blocks = _blocks(cv2.GaussianBlur(grey, (0, 0), 0.5))
    reason, remedy = _reason(grey, blocks)
    return LightcheckError(
        f"No card could be read in {photo.name}: {reason}.",
        remedy,
        picture=_marked_up(grey, blocks),
    )


def _reason(grey: np.ndarray, blocks: list[_Block]) -> tuple[str, str]:
    """The likeliest reason and what to do, in the order in which they can be told apart."""
    if float(np.quantile(grey, 0.95)) < DARK_CODE:
        return "it is too dark", "Give the photo more light or a longer exposure, phone held still."
    whole = [b for b in blocks if not b.cut]
    if not blocks:
        return _BLURRED if _edge_px(grey) > 1.4 * SOFT_EDGE_PX else _NONE
    if not whole:
        return "a card is cut off", "Step back, so that each card is whole in the picture."
    best = max(whole, key=lambda b: b.length_px)
    if best.edge_px > max(SOFT_EDGE_PX, 0.2 * best.length_px / BITS_ALONG):
        return _BLURRED
    if best.length_px < LEAST_BIT_PX * BITS_ALONG:
        return (
            "the cards are too small in the picture",
            f"Go nearer, so that a card is over {LEAST_BIT_PX * BITS_ALONG:.0f} pixels long, "
            "or use the large cards.",
        )
    return (
        "something like a card is there, but its markers are covered, glaring or not ours",
        "Clean the cards, turn them out of the glare, and use cards from `lightcheck cards`.",
    )


def _blocks(grey: np.ndarray) -> list[_Block]:
    """What looks like a card, found at the first of two sizes that shows any."""
    import cv2

    for long_side in LOOK_PX:
        scale = max(1.0, max(grey.shape) / long_side)
        small = cv2.resize(grey, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA)
        found = [_block(grey, shape, scale) for shape in _shapes(small)]
        found = [b for b in found if b.edge_px > SOFT_EDGE_PX or _checkered(grey, b)]
        if found:
            return found
    return []


def _shapes(small: np.ndarray) -> list[np.ndarray]:
    """Contours of areas in which paper and ink lie close together."""
    import cv2

    near = np.ones((7, 7), np.uint8)
    level = small.astype(np.float32) + 6  # keeps noise in the dark from making ratios
    ratio = cv2.dilate(level, near) / cv2.erode(level, near)
    inked = cv2.morphologyEx((ratio > INK_RATIO).astype(np.uint8), cv2.MORPH_CLOSE, near)
    inked = cv2.morphologyEx(inked, cv2.MORPH_OPEN, np.ones((11, 11), np.uint8))
    contours, _ = cv2.findContours(inked, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return [c for c in contours if _card_like(c)]


def _card_like(contour: np.ndarray) -> bool:
    import cv2

    short, long = sorted(cv2.minAreaRect(contour)[1])
    return short > 11 and long < 3.2 * short and (cv2.contourArea(contour) > _SHAPE_SHARE * short * long)


def _block(grey: np.ndarray, contour: np.ndarray, scale: float) -> _Block:
    """One such area, measured in the grey picture."""
    import cv2

    box = cv2.minAreaRect(contour)
    corners = cv2.boxPoints(box) * scale
    low = np.maximum(corners.min(axis=0).astype(int), 0)
    high = corners.max(axis=0).astype(int) + 1
    rim = contour.reshape(-1, 2)
    tall, wide = (int(n / scale) for n in grey.shape)
    margin = 4  # half the neighbourhood in which paper and ink are compared
    cut = rim.min() < margin or (rim.max(axis=0) >= np.array([wide, tall]) - margin).any()
    return _Block(
        corners_px=corners,
        length_px=max(max(box[1]) - 6, 1) * scale,
        edge_px=_edge_px(grey[low[1] : high[1], low[0] : high[0]]),
        cut=bool(cut),
    )


def _checkered(grey: np.ndarray, block: _Block) -> bool:
    """Whether dark and bright change place often along it, as on a card but not at a knot."""
    import cv2

    box = block.corners_px.astype(np.float32)
    if np.linalg.norm(box[1] - box[0]) > np.linalg.norm(box[2] - box[1]):
        box = np.roll(box, -1, axis=0)
    upright = np.array([(0, 23), (0, 0), (63, 0), (63, 23)], np.float32)
    level = cv2.warpPerspective(grey, cv2.getPerspectiveTransform(box, upright), (64, 24)).astype(float)
    level = level[4:20]
    bright = level > (np.quantile(level, 0.05) + np.quantile(level, 0.95)) / 2
    return float(np.median((bright[:, 1:] != bright[:, :-1]).sum(axis=1))) >= LEAST_CHANGES


def _edge_px(grey: np.ndarray) -> float:
    """Width (sigma) of the sharpest strong edges: their step over sqrt(2 pi) times their slope."""
    import cv2

    level = grey.astype(np.float32)
    near = np.ones((9, 9), np.uint8)
    step = cv2.dilate(level, near) - cv2.erode(level, near)
    slope = np.hypot(cv2.Sobel(level, cv2.CV_32F, 1, 0, ksize=3), cv2.Sobel(level, cv2.CV_32F, 0, 1, ksize=3))
    strong = step > 0.6 * np.quantile(step, 0.995)
    if not strong.any():  # one even tone
        return 0.0
    width = step[strong] / (np.sqrt(2 * np.pi) * np.maximum(slope[strong] / 8, 1e-3))
    return float(np.quantile(width, 0.05))


def _marked_up(grey: np.ndarray, blocks: list[_Block]) -> np.ndarray:
    """The photo, reduced, with what looked like a marker or a card outlined."""
    import cv2

    picture = cv2.cvtColor(grey, cv2.COLOR_GRAY2RGB)
    for shape in mk.unread(grey):
        cv2.polylines(picture, [shape.astype(np.int32)], True, (255, 140, 0), 3)
    for block in blocks:
        cv2.polylines(picture, [block.corners_px.astype(np.int32)], True, (0, 190, 255), 5)
    fit = min(1.0, _PICTURE_PX / max(picture.shape))
    return cv2.resize(picture, None, fx=fit, fy=fit, interpolation=cv2.INTER_AREA)
