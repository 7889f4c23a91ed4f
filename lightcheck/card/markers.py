"""Markers: reading them in a grey picture, whole or in part.

OpenCV's defaults read a marker of 29 px only by luck. Two settings mend that: the rim of each bit,
where blur mixes it with its neighbour, is left out of its vote, and each bit is looked at in 8 x 8
points. On made-up photos of small cards this took markers of 18 px from 80 % to 98 % read; twice
enlarged, all of them, and those of 12 px to 85 % (own trial, OpenCV 5.0).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck import constants as const
from lightcheck.card.size import board, dictionary

_SMALLEST_RATE = 0.008  # perimeter of a marker over the long side of the picture: about 6 px in 3000
_RIM = 0.25  # of each bit that does not vote
_POINTS = 8  # across each bit
MISFIT_PX, MISFIT_SQUARES = (
    1.5,
    0.06,
)  # markers of one card agree to this; the second for bent paper


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Marker:
    """One marker that was read. outline_px: (4, 2) its corners, from its own top left clockwise."""

    number: int
    outline_px: np.ndarray

    @property
    def card(self) -> int:
        """Number of the card that carries it."""
        return self.number // const.MARKERS_PER_CARD

    @property
    def side_px(self) -> float:
        """Its typical side."""
        around = np.roll(self.outline_px, -1, axis=0) - self.outline_px
        return float(np.linalg.norm(around, axis=1).mean())


def read(grey: np.ndarray, *, enlarge: float = 1.0) -> tuple[Marker, ...]:
    """All markers in a grey picture; enlarged first where they may be small."""
    outlines, numbers, _ = _detect(grey, enlarge)
    return tuple(
        Marker(number=int(n), outline_px=_back(o, enlarge))
        for n, o in zip(np.ravel(numbers if numbers is not None else []), outlines, strict=True)
    )


def unread(grey: np.ndarray) -> tuple[np.ndarray, ...]:
    """Outlines (4, 2) of dark four-cornered shapes that could not be read."""
    return tuple(_back(shape, 1.0) for shape in _detect(grey, 1.0)[2] or ())


def together(*passes: tuple[Marker, ...]) -> tuple[Marker, ...]:
    """Markers of several passes over one picture, each place once."""
    kept: list[Marker] = []
    for marker in (m for one in passes for m in one):
        middle = marker.outline_px.mean(axis=0)
        same = (
            m.number == marker.number and np.linalg.norm(m.outline_px.mean(axis=0) - middle) < m.side_px
            for m in kept
        )
        if not any(same):
            kept.append(marker)
    return tuple(kept)


def groups(markers: tuple[Marker, ...], card: int) -> list[tuple[Marker, ...]]:
    """Sets of two or more markers that lie as one printed card has them; misread ones fall out."""
    left = [m for m in markers if m.card == card]
    found = []
    while len(left) > 1:
        group = max((_around(seed, left, card) for seed in left), key=len)
        if len(group) < 2:
            break
        if _misfit_px(group, card) <= max(MISFIT_PX, MISFIT_SQUARES * _square_px(group)):
            found.append(group)
        left = [m for m in left if m not in group]
    return found


def _detect(grey: np.ndarray, enlarge: float) -> tuple:
    import cv2

    if enlarge != 1:
        grey = cv2.resize(grey, None, fx=enlarge, fy=enlarge, interpolation=cv2.INTER_CUBIC)
    settings = cv2.aruco.DetectorParameters()
    settings.minMarkerPerimeterRate = _SMALLEST_RATE
    settings.perspectiveRemoveIgnoredMarginPerCell = _RIM
    settings.perspectiveRemovePixelPerCell = _POINTS
    return cv2.aruco.ArucoDetector(dictionary(), settings).detectMarkers(grey)


def _back(outline: np.ndarray, enlarge: float) -> np.ndarray:
    """From the enlarged picture to the pixels of the picture itself."""
    return (np.asarray(outline, np.float32).reshape(-1, 2) + 0.5) / enlarge - 0.5


def _paper(card: int) -> np.ndarray:
    """(7, 4, 2) corners of the markers on the paper, as OpenCV counts them. [mm]"""
    return np.ascontiguousarray(np.asarray(board(card).getObjPoints(), np.float32)[..., :2])


def _slot(marker: Marker) -> int:
    return marker.number % const.MARKERS_PER_CARD


def _around(seed: Marker, markers: list[Marker], card: int) -> tuple[Marker, ...]:
    """The markers that lie within half a square of where this one says they are."""
    import cv2

    paper = _paper(card)
    to_photo = cv2.getPerspectiveTransform(paper[_slot(seed)], seed.outline_px)
    best: dict[int, tuple[float, Marker]] = {_slot(seed): (0.0, seed)}
    for marker in markers:
        expected = cv2.perspectiveTransform(paper[_slot(marker)][None], to_photo)[0].mean(axis=0)
        off = float(np.linalg.norm(expected - marker.outline_px.mean(axis=0)))
        away = float(np.linalg.norm(expected - seed.outline_px.mean(axis=0)))
        alike = 0.6 < marker.side_px / seed.side_px < 1.7
        if alike and off < 0.4 * seed.side_px + 0.15 * away:
            best[_slot(marker)] = min(
                best.get(_slot(marker), (np.inf, marker)), (off, marker), key=lambda pair: pair[0]
            )
    return tuple(marker for _, marker in best.values())


def _misfit_px(group: tuple[Marker, ...], card: int) -> float:
    """Typical distance of the marker outlines from one plane card seen in perspective."""
    import cv2

    paper = np.concatenate([_paper(card)[_slot(m)] for m in group])
    photo = np.concatenate([m.outline_px for m in group])
    to_photo, _ = cv2.findHomography(paper, photo)
    if to_photo is None:
        return np.inf
    off = cv2.perspectiveTransform(paper[None], to_photo)[0] - photo
    return float(np.sqrt((off**2).sum(axis=1).mean()))


def _square_px(group: tuple[Marker, ...]) -> float:
    return float(np.median([m.side_px for m in group])) * const.SQUARE_MM / const.MARKER_MM
