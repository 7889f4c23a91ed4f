"""Wood: the invented colours of a planked board, with its cards laid on it.

Grain runs along x. Planks are cut through invented trees: the distance from the pith gives rings
that run straight at the edge of a log and arch over its middle; fibres and pores lie on top. The
sheet is stretched along the curved wood, as grain and paper are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from scipy.special import expit

from lightcheck.specimen.board import (
    CARD_SQUARES,
    Board,
    card_board,
    card_square_mm,
)

STEP_MM = 0.25  # one point of the sheet
MEAN_ALBEDO = 0.45
COARSE_MM = 1.5  # rings and figure broader than this go on below what a plane takes off
PAPER, INK, GRAPHITE = 0.80, 0.045, 0.11  # albedo of paper, toner and pencil, from memory
_FINE_MM = 0.0625  # step in which a card is drawn: every square is a whole number of these
_COLOURS = {  # linear red, green, blue of the mean tone, and how each follows the tone; own choice
    "larch": ((0.615, 0.435, 0.235), (0.80, 1.05, 1.35)),
    "mahogany": ((0.720, 0.390, 0.250), (0.80, 1.10, 1.15)),
    "spruce": ((0.560, 0.445, 0.290), (0.85, 1.03, 1.25)),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The coloured skin of a board. Row 0 is the lowest y, STEP_MM apart.

    albedo: (ny, nx, 3) float32 linear red, green, blue.  paper: (ny, nx) float32, 1 on a card.
    """

    albedo: np.ndarray
    paper: np.ndarray


def sheet(board: Board) -> Sheet:
    """Wood with its cards on it; the same for any heights."""
    return _sheet(replace(board, humps=(), waves=(), plateaus=(), tracks_mm=0.0, twist_per_mm=0.0, gloss=0.0))


@lru_cache(maxsize=2)
def _sheet(board: Board) -> Sheet:
    along = 2 * float(board.along_mm(np.float64(board.depth_mm / 2)))
    shape = (round(along / STEP_MM), round(board.width_mm / STEP_MM))
    albedo = bare_wood(board.seed, shape, board.wood)
    if board.planed:
        _plane(albedo, board)
    paper = np.zeros(shape, np.float32)
    for card in board.cards:
        _lay(albedo, paper, board, card)
    return Sheet(albedo=albedo, paper=paper)


def bare_wood(seed: int, shape: tuple[int, int], wood: str = "larch") -> np.ndarray:
    """(ny, nx, 3) float32 albedo of planked wood, mean luminance about 0.45."""
    rng = np.random.default_rng([seed, 23])
    y, x = (np.arange(n, dtype=np.float32) * STEP_MM - n * STEP_MM / 2 for n in shape)
    knot = (rng.uniform(-0.3, 0.3) * x.size * STEP_MM, rng.uniform(-0.3, 0.3) * y.size * STEP_MM)
    tone, hue = _planks(rng, x, y, knot)
    tone += _fibres(rng, shape)
    _draw_knot(rng, tone, x, y, knot)
    tone -= np.float32(np.mean(tone))
    base, follow = _COLOURS[wood]
    albedo = np.empty((*shape, 3), np.float32)
    for i in range(3):
        shift = (0.35, 0.0, -0.5)[i]
        albedo[..., i] = base[i] * np.exp(np.float32(follow[i]) * tone + np.float32(shift) * hue)
    _draw_pencil(rng, albedo, x, y)
    return np.clip(albedo, 0.01, 0.92)


def _plane(albedo: np.ndarray, board: Board) -> None:
    """Where the board was planed the grain finer than COARSE_MM is another."""
    y, x = (np.arange(n, dtype=np.float32) * STEP_MM - n * STEP_MM / 2 for n in albedo.shape[:2])
    went = np.zeros(albedo.shape[:2], np.float32)
    for px, py, reach in board.planed:
        away = np.hypot(x[None] - px, y[:, None] - float(board.along_mm(np.float64(py))))
        np.maximum(went, expit((reach - away) / 2).astype(np.float32), out=went)
    other = bare_wood(board.fresh, albedo.shape[:2], board.wood)
    fine = (sheet - cv2.GaussianBlur(sheet, (0, 0), COARSE_MM / STEP_MM) for sheet in (other, albedo))
    albedo += went[..., None] * (next(fine) - next(fine))
    np.clip(albedo, 0.01, 0.92, out=albedo)


def _noise(rng: np.random.Generator, shape: tuple[int, int], along_mm: float, across_mm: float) -> np.ndarray:
    """Smooth noise of mean 0 and spread 1 whose correlation along x and y is given (sigma)."""
    cells, blur = [], []
    for n, reach in zip(shape, (across_mm, along_mm), strict=True):
        step = max(reach / STEP_MM / 2, 1.0)  # points of the sheet to one cell of the noise
        cells.append(math.ceil(n / step) + 4)
        blur.append(max(reach / STEP_MM / step, 0.05))
    coarse = rng.standard_normal(cells, np.float32)
    coarse = cv2.GaussianBlur(coarse, (0, 0), sigmaX=blur[1], sigmaY=blur[0])
    full = cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return (full - full.mean()) / full.std()


def _planks(
    rng: np.random.Generator, x: np.ndarray, y: np.ndarray, knot: tuple[float, float]
) -> tuple[np.ndarray, np.ndarray]:
    """Log tone with rings and seams, and a hue for each plank, (ny, nx) float32."""
    tone, hue = (np.zeros((y.size, x.size), np.float32) for _ in range(2))
    low = y[0] - rng.uniform(10, 60)
    while low < y[-1]:
        high = low + rng.uniform(95, 150)
        rows = slice(*np.searchsorted(y, (low, high)))
        if rows.stop > rows.start:
            tone[rows] = rng.normal(0, 0.07) + _rings(rng, x, y[rows], knot)
            hue[rows] = rng.normal(0, 0.05)
            seam = np.exp(-0.5 * ((y[rows] - low) / 0.22) ** 2)
            tone[rows] -= 1.1 * seam[:, None]
        low = high
    return tone, hue


def _rings(rng: np.random.Generator, x: np.ndarray, y: np.ndarray, knot: tuple[float, float]) -> np.ndarray:
    """Log tone of growth rings in one plank; they step aside for the knot."""
    shape = (y.size, x.size)
    middle = float(y.mean()) + rng.choice((-1, 1)) * rng.choice((rng.uniform(0, 35), 120))
    side = y[:, None] - knot[1]
    near = np.exp(-(((x - knot[0]) / 42) ** 2)) * np.exp(-((side / 20) ** 2))
    off = side * (1 - 0.62 * near) + (knot[1] - middle) + 2.5 * _noise(rng, shape, 90, 30)
    depth = rng.uniform(12, 45) + 0.03 * rng.normal() * x + 7 * _noise(rng, shape, 110, 80)
    radius = np.hypot(off, depth).astype(np.float32)
    years = np.cumsum(rng.uniform(0.6, 1.5, 400)) * rng.uniform(1.9, 3.2)
    age = np.interp(radius, years, np.arange(400)).astype(np.float32)
    year = np.floor(age)
    part = age - year
    strength = np.float32(0.6) + rng.random(401, np.float32)[year.astype(np.int32)] * 0.7
    late = part**3 * np.minimum((1 - part) / np.float32(0.12), 1) * strength
    late = cv2.GaussianBlur(late, (0, 0), 1.3)
    return -0.28 * late


def _fibres(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    """Log tone of fibres, pores and the broad figure, (ny, nx) float32."""
    tone = 0.066 * _noise(rng, shape, 6, 0.28)
    tone += 0.042 * _noise(rng, shape, 22, 0.5)
    tone += 0.024 * _noise(rng, shape, 45, 2.2)
    tone += 0.035 * _noise(rng, shape, 0.9, 0.13)
    tone += 0.022 * _noise(rng, shape, 70, 14)
    pores = np.maximum(_noise(rng, shape, 1.6, 0.16) - 1.9, 0)
    tone -= 0.16 * pores * (1 + 0.6 * _noise(rng, shape, 50, 5))
    return tone


def _draw_knot(
    rng: np.random.Generator,
    tone: np.ndarray,
    x: np.ndarray,
    y: np.ndarray,
    knot: tuple[float, float],
) -> None:
    """Darken a sound knot, about 18 x 14 mm, with its own rings and a drying crack."""
    columns = slice(*np.searchsorted(x, (knot[0] - 45, knot[0] + 45)))
    rows = slice(*np.searchsorted(y, (knot[1] - 45, knot[1] + 45)))
    part = tone[rows, columns]
    across, along = (y[rows] - knot[1])[:, None], (x[columns] - knot[0])[None]
    size = rng.uniform(0.85, 1.2)
    reach = np.hypot(along / (9.5 * size), across / (7.0 * size))
    reach = reach * (1 + 0.06 * _noise(rng, part.shape, 5, 4))
    inside = expit((1 - reach) / 0.05)
    rings = 0.10 * np.sin(reach * 19 + 0.8 * _noise(rng, part.shape, 6, 4))
    rim = 0.35 * np.exp(-(((reach - 1) / 0.10) ** 2))
    wander = across + 0.15 * along + 0.6 * _noise(rng, part.shape, 2, 8)
    crack = 0.6 * np.exp(-((wander / 0.3) ** 2)) * expit((5 * size - abs(along)) / 0.5)
    halo = 0.22 * np.exp(-np.maximum(reach - 1, 0) / 0.6)
    part *= 1 - 0.6 * inside
    part -= inside * (0.62 + rings + crack) + rim + (1 - inside) * halo


def _draw_pencil(rng: np.random.Generator, albedo: np.ndarray, x: np.ndarray, y: np.ndarray) -> None:
    """A station line in pencil, nearly square across the planks."""
    line = rng.uniform(-0.22, 0.22) * (x[-1] - x[0]) + rng.uniform(-0.02, 0.02) * y
    lead = 0.55 + 0.2 * _noise(rng, (y.size, 16), 2, 0.8)[:, :1]
    columns = np.searchsorted(x, line)[:, None] + np.arange(-8, 8)
    columns = np.clip(columns, 0, x.size - 1)
    grey = np.clip(lead, 0, 1) * np.exp(-0.5 * ((x[columns] - line[:, None]) / 0.22) ** 2)
    rows = np.arange(y.size)[:, None]
    wood = albedo[rows, columns]
    albedo[rows, columns] = wood + grey[..., None] * (np.float32(GRAPHITE) - wood)


def _lay(albedo: np.ndarray, paper: np.ndarray, board: Board, card: tuple[int, float, float, float]) -> None:
    """Lay one printed card on the sheet, turned, with soft-edged print."""
    number, x0, y0, turn = card
    print_, high, wide = _printed(number), *_printed(number).shape
    c, s = math.cos(turn), math.sin(turn)
    middle_x = x0 / STEP_MM + albedo.shape[1] / 2 - 0.5
    middle_y = float(board.along_mm(np.float64(y0))) / STEP_MM + albedo.shape[0] / 2 - 0.5
    ratio = _FINE_MM / STEP_MM  # paper runs right and down, the sheet right and up
    forward = np.array([[c * ratio, s * ratio, 0.0], [s * ratio, -c * ratio, 0.0]])
    forward[:, 2] = (middle_x, middle_y) - forward[:, :2] @ [(wide - 1) / 2, (high - 1) / 2]
    size = albedo.shape[1::-1]
    tone = cv2.warpAffine(print_, forward, size, flags=cv2.INTER_LINEAR, borderValue=0)
    covered = cv2.warpAffine(np.ones_like(print_), forward, size, flags=cv2.INTER_LINEAR)
    np.maximum(paper, covered, out=paper)
    for i, shade in enumerate((1.0, 1.0, 0.97)):
        albedo[..., i] = albedo[..., i] * (1 - covered) + np.float32(shade) * tone


@lru_cache(maxsize=40)
def _printed(number: int) -> np.ndarray:
    """(high, wide) float32 albedo of a card, row 0 its top edge, _FINE_MM apart."""
    square = round(card_square_mm(number) / _FINE_MM)
    margin = square // 4
    size = tuple(n * square + 2 * margin for n in CARD_SQUARES)
    picture = card_board(number).generateImage(size, marginSize=margin)
    scale = square / 320
    foot = (margin, size[1] - round(0.25 * margin))
    cv2.putText(
        picture,
        f"card {number}",
        foot,
        cv2.FONT_HERSHEY_SIMPLEX,
        1.4 * scale,
        60,
        max(1, round(3 * scale)),
    )
    soft = cv2.GaussianBlur(picture, (0, 0), 1.5).astype(np.float32) / 255
    return INK + (PAPER - INK) * soft
