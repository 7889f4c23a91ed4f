"""Sighting: where a printed card is seen in a photo, to a twentieth of a pixel."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from lightcheck import constants as const
from lightcheck.card import markers as mk
from lightcheck.card import why
from lightcheck.card.size import board, size
from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.photo import Photo

LONG_SIDE_PX = 3000  # cards are looked for on a picture no larger than this
THREADS = 2
LEAST_CORNERS = 4  # of the eight on a card
ENLARGE = 2.0
SMALL_MARKER_PX = 30  # below this a marker may be missed, so that the picture is looked at enlarged
FEW_CARDS = 2  # the same if there are fewer than this


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One card in one photo.

    corners_px: (n, 2) x right, y down, (0, 0) the centre of the first pixel.
    corners_mm: (n, 2) the same corners on the paper.
    """

    card: int
    corners_px: np.ndarray
    corners_mm: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class _View:
    """The photo in grey, whole and reduced; scale: full pixels per reduced one."""

    full: np.ndarray
    grey: np.ndarray
    scale: float


def find(photo: Photo) -> tuple[Sighting, ...]:
    """All cards in a photo, by number. What is misread from the wood is left out.

    Refuses a photo with none (and says why), a mirrored one, and one that shows a card twice.
    """
    view = _view(photo)
    groups = _groups(view.grey)
    sightings = []
    for card in sorted(groups):
        seen = [s for s in (_sight(view, card, group) for group in groups[card]) if s is not None]
        if len(seen) > 1:
            raise _twice(photo, card)
        sightings += seen
    if not sightings:
        raise why.none_found(photo, view.grey)
    return tuple(sightings)


def find_all(photos: tuple[Photo, ...]) -> tuple[tuple[Sighting, ...], ...]:
    """All cards in each of several photos, two at a time. Refuses as `find` does, the first one first."""
    with ThreadPoolExecutor(THREADS) as pool:
        return tuple(pool.map(find, photos))


def _view(photo: Photo) -> _View:
    import cv2

    full = cv2.cvtColor(photo.coded, cv2.COLOR_RGB2GRAY)
    scale = max(1.0, max(full.shape) / LONG_SIDE_PX)
    if scale == 1:
        return _View(full=full, grey=full, scale=1.0)
    grey = cv2.resize(full, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA)
    return _View(full=full, grey=grey, scale=full.shape[1] / grey.shape[1])


def _groups(grey: np.ndarray) -> dict[int, list[tuple[mk.Marker, ...]]]:
    """Card number to the sets of its markers; a second look is taken where some may lack."""
    found = mk.read(grey)
    groups = _by_card(found)
    if _may_lack(groups):
        groups = _by_card(mk.together(found, mk.read(grey, enlarge=ENLARGE)))
    return groups


def _by_card(markers: tuple[mk.Marker, ...]) -> dict[int, list[tuple[mk.Marker, ...]]]:
    cards = {m.card for m in markers} & set(const.CARD_NUMBERS)
    groups = {card: mk.groups(markers, card) for card in cards}
    return {card: sets for card, sets in groups.items() if sets}


def _may_lack(groups: dict[int, list[tuple[mk.Marker, ...]]]) -> bool:
    """Whether cards were missed, or small ones read in part."""
    sets = [one for several in groups.values() for one in several]
    part = [s for s in sets if len(s) < const.MARKERS_PER_CARD]
    small = any(min(m.side_px for m in s) < SMALL_MARKER_PX for s in part)
    return len(sets) < FEW_CARDS or small


def _twice(photo: Photo, card: int) -> LightcheckError:
    """One number in two places means one card printed and laid twice."""
    return LightcheckError(
        f"{photo.name} shows card {card} twice.",
        "Lay each number once: print other numbers with `lightcheck cards --numbers`.",
    )


def _sight(view: _View, card: int, group: tuple[mk.Marker, ...]) -> Sighting | None:
    """Chessboard corners of one card, refined on the full picture."""
    import cv2

    this = board(card)
    numbers = np.array([[m.number] for m in group], np.int32)
    outlines = [m.outline_px[None].astype(np.float32) for m in group]
    corners, names, _, _ = cv2.aruco.CharucoDetector(this).detectBoard(
        view.grey, markerCorners=outlines, markerIds=numbers
    )
    if corners is None or len(corners) < LEAST_CORNERS:
        return None
    corners = (np.asarray(corners, np.float32).reshape(-1, 2) + 0.5) * view.scale - 0.5
    paper = np.asarray(this.getChessboardCorners())[np.asarray(names, int).reshape(-1), :2]
    square_px = _square_px(corners, paper, size(card).square_mm)
    refined, kept = _refined(view.full, corners, square_px)
    kept[kept] = _on_one_card(refined[kept], paper[kept], square_px)
    if kept.sum() < LEAST_CORNERS:
        return None
    return Sighting(
        card=card,
        corners_px=frozen(refined[kept]),
        corners_mm=frozen(_centred(paper[kept], card)),
    )


def _refined(full: np.ndarray, corners: np.ndarray, square_px: float) -> tuple:
    """Corners at their saddle points, and which of them stayed near their first place."""
    import cv2

    reach = max(2, int(0.22 * square_px))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 40, 0.005)
    refined = cv2.cornerSubPix(full, corners.copy(), (reach, reach), (-1, -1), stop)
    return refined, np.linalg.norm(refined - corners, axis=1) < reach


def _on_one_card(corners: np.ndarray, paper: np.ndarray, square_px: float) -> np.ndarray:
    """Which corners agree with one card seen in perspective (four always do)."""
    import cv2

    if len(corners) < LEAST_CORNERS:
        return np.zeros(len(corners), bool)
    most = max(mk.MISFIT_PX, mk.MISFIT_SQUARES * square_px)
    to_photo, agree = cv2.findHomography(paper, corners, cv2.RANSAC, most)
    if to_photo is None:
        return np.zeros(len(corners), bool)
    return agree.ravel() > 0


def _square_px(corners_px: np.ndarray, corners_mm: np.ndarray, square_mm: float) -> float:
    """Typical size of a square in the picture: the median distance between neighbours. [px]"""
    apart = np.linalg.norm(corners_mm[:, None] - corners_mm[None], axis=2)
    near = np.isclose(apart, square_mm, rtol=0.01)
    if not near.any():
        return 20.0
    return float(np.median(np.linalg.norm(corners_px[:, None] - corners_px[None], axis=2)[near]))


def _centred(corners_mm: np.ndarray, card: int) -> np.ndarray:
    """OpenCV counts y down from the corner of the board; a card counts y up from its middle."""
    square = size(card).square_mm
    middle = np.array([const.CARD_COLUMNS, const.CARD_ROWS]) * square / 2
    return (corners_mm - middle) * (1, -1)
