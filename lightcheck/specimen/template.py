"""Template: a made-up photo of a template held on wood with a bright sheet behind it.

y up, away from the wood; x along the template; everything lies in the template's plane, z = 0.

The template's edge is bevelled to the face towards the phone, and the wood before and behind it lies no
higher than under it, so that the daylight is the gap in that plane. Shares no code with what measures.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from lightcheck.specimen.board import CARD_SQUARES, card_board, card_square_mm
from lightcheck.specimen.phone import Phone, Pose
from lightcheck.specimen.picture import srgb_encode

SHEET, TEMPLATE, WOOD, PAPER = (0.80, 0.79, 0.76), (0.030, 0.024, 0.018), (0.034, 0.022, 0.012), 0.12
_INK = 0.06  # of what paper sends up; own choice, as are the tones above
_FINE, _BAND_ROWS = 2, 192  # points across a pixel; rows of pixels drawn at once
_BLUR_PX, _GLOW, _GLOW_PX = 0.7, 0.006, 40.0  # lens; share of light that strays, and how far
_FULL_WELL, _FLOOR = 7000.0, 6e-4  # shot noise of a pixel at full light, and the noise of reading it
_CARD_PX_MM, _MARGIN = 12, 0.25
_FILL = 0.82  # share of the picture's width that the template takes
LONG_LENS = Phone(width_px=2016, height_px=1008, fov_rad=0.56)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Held:
    """A template where it rests on the wood.

    edge_mm, wood_mm: (n, 2) and (k, 2) places, x increasing.  sheet_mm: (m, 2) corners of the template.
    cards: (number, x_mm, y_mm, turn_rad) stuck on it.
    """

    edge_mm: np.ndarray
    wood_mm: np.ndarray
    sheet_mm: np.ndarray
    cards: tuple[tuple[int, float, float, float], ...]

    def daylight_mm(self, x_mm: np.ndarray) -> np.ndarray:
        """True gap square to the edge at these x, for edges that are nearly straight. [mm]"""
        edge, wood = (np.interp(x_mm, *line.T) for line in (self.edge_mm, self.wood_mm))
        slope = np.interp(x_mm, self.edge_mm[:, 0], np.gradient(self.edge_mm[:, 1], self.edge_mm[:, 0]))
        return (edge - wood) / np.sqrt(1 + slope**2)


def rest(edge_mm: np.ndarray, wood_mm: np.ndarray, *, rock: bool) -> tuple[float, float]:
    """(lift, slope) by which an edge is moved until it rests on the wood: y grows by lift + slope x.

    rock: whether it may turn, and so comes to rest on two high spots; else it is held square.
    """
    x = edge_mm[:, 0]
    over = np.interp(x, *wood_mm.T) - edge_mm[:, 1]
    if not rock:
        return float(over.max()), 0.0
    hull = cv2.convexHull(np.stack([x, over], axis=1).astype(np.float32))[:, 0]
    middle = (x[0] + x[-1]) / 2
    slopes = [(b[1] - a[1]) / (b[0] - a[0]) for a in hull for b in hull if b[0] - a[0] > 1e-3]
    lifts = [(float((over - s * (x - middle)).max()), float(s)) for s in slopes]
    level, slope = min(lifts)  # lowest at its middle: it can go no further down
    return level - slope * middle, slope


def moved(places_mm: np.ndarray, lift: float, slope: float) -> np.ndarray:
    """Places of a template raised by lift + slope x (a small turn)."""
    return np.stack([places_mm[:, 0], places_mm[:, 1] + lift + slope * places_mm[:, 0]], axis=1)


def photograph_held(held: Held, phone: Phone = LONG_LENS, *, seed: int) -> np.ndarray:
    """(height, width, 3) uint8 photo of a held template, the phone level with its edge, by hand."""
    pose = _before(held, phone, seed)
    to_px = _homography(phone, pose)
    rng = np.random.default_rng([seed, 83])
    tilt = rng.normal(0, 0.04, 2)  # the sheet behind is not lit quite evenly
    light = np.concatenate(
        [
            _band(held, phone, to_px, (top, min(_BAND_ROWS, phone.height_px - top)), tilt)
            for top in range(0, phone.height_px, _BAND_ROWS)
        ]
    )
    light = cv2.GaussianBlur(light, (0, 0), _BLUR_PX)
    small = cv2.resize(light, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    stray = cv2.resize(cv2.GaussianBlur(small, (0, 0), _GLOW_PX / 8), light.shape[1::-1])
    light = light + np.float32(_GLOW) * stray
    spread = np.sqrt(np.maximum(light, 0) / np.float32(_FULL_WELL) + np.float32(_FLOOR**2))
    light = light + spread * rng.standard_normal(light.shape, np.float32)
    return np.round(255 * srgb_encode(np.clip(light, 0, 1))).astype(np.uint8)


def _before(held: Held, phone: Phone, seed: int) -> Pose:
    """A phone before the middle of the template, which fills the picture, nearly level with its edge."""
    rng = np.random.default_rng([seed, 79])
    low, high = held.sheet_mm.min(axis=0), held.sheet_mm.max(axis=0)
    middle = np.array([(low[0] + high[0]) / 2, held.edge_mm[:, 1].mean()])
    away = (high[0] - low[0]) / _FILL / 2 / np.tan(phone.fov_rad / 2)
    place = np.array([middle[0] + rng.normal(0, 0.02 * away), middle[1] + rng.normal(0, 5), away])
    aim = np.array([middle[0], middle[1] + 30.0, 0.0])
    ahead = (aim - place) / np.linalg.norm(aim - place)
    down = np.array([rng.normal(0, 0.012), -1.0, 0.0])
    right = np.cross(down, ahead)
    right /= np.linalg.norm(right)
    return Pose(place_mm=place, turn=np.stack([right, np.cross(ahead, right), ahead]))


def _homography(phone: Phone, pose: Pose) -> np.ndarray:
    """(3, 3) from places of the template's plane to pixels."""
    lens = np.array([[phone.focal_px, 0, (phone.width_px - 1) / 2],
                     [0, phone.focal_px, (phone.height_px - 1) / 2], [0, 0, 1]])  # fmt: skip
    return lens @ np.column_stack([pose.turn[:, :2], -pose.turn @ pose.place_mm])


def _band(held: Held, phone: Phone, to_px: np.ndarray, rows: tuple[int, int], tilt) -> np.ndarray:
    """(rows, width, 3) float32 light of a band of whole rows, before the lens."""
    top, count = rows
    first = (1 / _FINE - 1) / 2
    column = (first + np.arange(phone.width_px * _FINE) / _FINE)[None]
    row = (top + first + np.arange(count * _FINE) / _FINE)[:, None]
    back = np.linalg.inv(to_px)
    x, y, w = (c[0] * column + c[1] * row + c[2] for c in back)
    x, y = x / w, y / w
    step = 1 / (_FINE * np.sqrt(abs(np.linalg.det(to_px[:2, :2] / to_px[2, 2]))))
    above_wood, above_edge = (_above(line, x, y, step) for line in (held.wood_mm, held.edge_mm))
    board = _inside(held.sheet_mm, to_px, (top, x.shape)) * above_edge
    wood = np.minimum(1 - above_wood, 1 - board)
    bright = 1 + tilt[0] * x / 300 + tilt[1] * y / 300
    seen = ((1 - board - wood) * bright)[..., None] * np.float32(SHEET)
    seen += board[..., None] * np.float32(TEMPLATE) + wood[..., None] * np.float32(WOOD)
    for card in held.cards:
        _stick(seen, card, to_px, top)
    return cv2.resize(seen.astype(np.float32), (phone.width_px, count), interpolation=cv2.INTER_AREA)


def _above(line_mm: np.ndarray, x: np.ndarray, y: np.ndarray, step: float) -> np.ndarray:
    """Share of each point (a square of side step) that lies above a line."""
    slope = np.gradient(line_mm[:, 1], line_mm[:, 0])
    away = (y - np.interp(x, *line_mm.T)) / np.sqrt(1 + np.interp(x, line_mm[:, 0], slope) ** 2)
    return np.clip(away / step + 0.5, 0, 1)


def _inside(sheet_mm: np.ndarray, to_px: np.ndarray, part: tuple[int, tuple[int, int]]) -> np.ndarray:
    """1 on the template's board, 0 beside it; its sawn sides only, the edge is drawn more finely."""
    top, shape = part
    corners = (cv2.perspectiveTransform(sheet_mm[None].astype(float), to_px)[0] - (0, top)) * _FINE
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round(corners * 16).astype(np.int32)], 1, shift=4)
    return mask.astype(np.float32)


def _stick(seen: np.ndarray, card: tuple[int, float, float, float], to_px: np.ndarray, top: int) -> None:
    """Draw one printed card into a band."""
    number, x0, y0, turn = card
    square = card_square_mm(number)
    margin = round(_MARGIN * square * _CARD_PX_MM)
    size = tuple(round(n * square * _CARD_PX_MM) + 2 * margin for n in CARD_SQUARES)
    print_ = card_board(number).generateImage(size, marginSize=margin).astype(np.float32) / 255
    pitch = _FINE * np.sqrt(abs(np.linalg.det(to_px[:2, :2] / to_px[2, 2]))) / _CARD_PX_MM
    print_ = cv2.GaussianBlur(print_, (0, 0), 0.45 / pitch)
    c, s, part = np.cos(turn), np.sin(turn), 1 / _CARD_PX_MM
    to_mm = np.array([[c * part, s * part, 0], [s * part, -c * part, 0], [0, 0, 1.0]])
    middle = (np.array(size) - 1) / 2
    to_mm[:2, 2] = (x0, y0) - to_mm[:2, :2] @ middle
    to_fine = np.array([[_FINE, 0, (_FINE - 1) / 2], [0, _FINE, (_FINE - 1) / 2 - top * _FINE], [0, 0, 1]])
    way = to_fine @ to_px @ to_mm
    wide = seen.shape[1::-1]
    tone = cv2.warpPerspective(_INK + (1 - _INK) * print_, way, wide, flags=cv2.INTER_LINEAR)
    covered = cv2.warpPerspective(np.ones_like(print_), way, wide, flags=cv2.INTER_LINEAR)
    seen *= (1 - covered)[..., None]
    seen += np.float32(PAPER) * (tone * (covered > 0))[..., None]
