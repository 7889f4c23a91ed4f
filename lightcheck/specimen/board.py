"""Board: a made-up piece of planed wood whose every height is known.

    x right, y up, z out of the wood; the origin is the mean of the card centres.

The surface is a base shape (flat, barrel, in wind) with humps, waves and plane tracks laid on it
along its normal. Nothing here is shared with the code that measures: that code is tested on it.
All boards are invented.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from lightcheck.specimen.shapes import Hump, Plateau, Wave, hump, plateau, wave

CARD_SQUARES = (5, 3)  # columns, rows of a card
MARKERS_PER_CARD = 7
SMALL_CARDS_FROM = 20  # these numbers are printed at half size
FLAT = math.inf
_PLAIN_CARDS = ((0, -225.0, -155.0, 0.0), (1, 225.0, -155.0, 0.0))
_PLAIN_CARDS += ((2, 225.0, 155.0, 0.0), (3, -225.0, 155.0, 0.0))
_STEEPEST = 0.03  # hump flanks: steeper than this is a step, not unfairness


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A board with cards lying on it.

    width_mm, depth_mm: size along x and y.  radius_mm: of a barrel whose axis lies along x, crown
    up (inf: flat).  twist_per_mm: wind, z = twist x y. [1/mm]
    humps, waves, plateaus: what lies on the base shape.  tracks_mm: depth of the tracks of a cambered plane
    iron.  cards: (number, x_mm, y_mm, turn_rad) of each card, its middle and the way its long side
    points. Keep the mean of their middles at (0, 0): it is the origin.
    gloss: share of the light that a satin finish sends off as a broad glint (0: bare wood).
    wood: "larch", "mahogany" or "spruce".  seed: grain, planks, knot and tracks.
    planed: (x_mm, y_mm, reach_mm) of places planed since, where other fine grain has come up; fresh: its
    seed. Rings, seams and knots stay.
    """

    width_mm: float = 600.0
    depth_mm: float = 420.0
    radius_mm: float = FLAT
    twist_per_mm: float = 0.0
    humps: tuple[Hump, ...] = ()
    waves: tuple[Wave, ...] = ()
    plateaus: tuple[Plateau, ...] = ()
    tracks_mm: float = 0.02
    cards: tuple[tuple[int, float, float, float], ...] = _PLAIN_CARDS
    gloss: float = 0.0
    wood: str = "larch"
    seed: int = 0
    planed: tuple[tuple[float, float, float], ...] = ()
    fresh: int = 1

    def height_mm(self, x_mm: np.ndarray, y_mm: np.ndarray, *, tracks: bool = True) -> np.ndarray:
        """Height above the base shape, along its normal; + out of the wood. [mm]"""
        return _height(self, x_mm, y_mm, tracks)[0]

    def base_mm(self, x_mm: np.ndarray, y_mm: np.ndarray) -> np.ndarray:
        """z of the base shape; 0 at the origin. [mm]"""
        return _base(self, x_mm, y_mm)[0]

    def surface_mm(self, x_mm: np.ndarray, y_mm: np.ndarray) -> np.ndarray:
        """z of the wood itself. [mm]"""
        return surface(self, x_mm, y_mm)[0]

    def along_mm(self, y_mm: np.ndarray) -> np.ndarray:
        """Way along the curved wood from y = 0 to y, as paper and grain follow it. [mm]"""
        if math.isinf(self.radius_mm):
            return np.asarray(y_mm, float)
        limit = min(self.depth_mm / 2 + 5, 0.98 * self.radius_mm)
        inside = np.clip(y_mm, -limit, limit)
        return self.radius_mm * np.arcsin(inside / self.radius_mm) + (y_mm - inside)

    def across_mm(self, along_mm: np.ndarray) -> np.ndarray:
        """The y that lies so far along the curved wood: along_mm undone. [mm]"""
        if math.isinf(self.radius_mm):
            return np.asarray(along_mm, float)
        return self.radius_mm * np.sin(np.asarray(along_mm, float) / self.radius_mm)

    def on_card_mm(self, card: int, paper_mm: np.ndarray) -> np.ndarray:
        """Where points of a card lie in space: (n, 3). [mm]

        paper_mm: (n, 2) from the middle of the card, x along its long side, y up as printed.
        """
        _, x0, y0, turn = next(c for c in self.cards if c[0] == card)
        right, up = np.asarray(paper_mm, float).T
        x = x0 + right * math.cos(turn) - up * math.sin(turn)
        along = self.along_mm(np.float64(y0)) + right * math.sin(turn) + up * math.cos(turn)
        y = self.across_mm(along)
        return np.stack([x, y, self.surface_mm(x, y)], axis=1)


def random_board(
    seed: int,
    *,
    humps: int = 8,
    radius_mm: float = FLAT,
    twist_per_mm: float = 0.0,
    tracks_mm: float = 0.02,
    gloss: float = 0.0,
) -> Board:
    """A board with humps and hollows spread over its middle 400 x 260 mm, cards 0-3 by its corners.

    Heights 0.12-0.9 mm of either sign, standard deviations 18-60 mm, any direction.
    """
    rng = np.random.default_rng([seed, 7])
    return Board(
        radius_mm=radius_mm,
        twist_per_mm=twist_per_mm,
        humps=_random_humps(rng, humps),
        tracks_mm=tracks_mm,
        cards=_random_cards(rng, 600.0, 420.0),
        gloss=gloss,
        wood=("larch", "mahogany", "spruce")[seed % 3],
        seed=seed,
    )


def card_square_mm(card: int) -> float:
    """Side of a chessboard square of this card; its white margin is a quarter of it. [mm]"""
    return 10.0 if card >= SMALL_CARDS_FROM else 20.0


def card_board(card: int) -> cv2.aruco.CharucoBoard:
    """The card as OpenCV describes it: markers are three quarters of a square."""
    square = card_square_mm(card)
    first = MARKERS_PER_CARD * card
    ids = np.arange(first, first + MARKERS_PER_CARD)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)
    return cv2.aruco.CharucoBoard(CARD_SQUARES, square, 0.75 * square, dictionary, ids)


def surface(board: Board, x_mm: np.ndarray, y_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """z of the wood and its slopes dz/dx, dz/dy. [mm, 1, 1]

    z = base + height sqrt(1 + |grad base|^2), so that height is measured along the normal.
    """
    z, slope_x, slope_y, bend = _base(board, x_mm, y_mm)
    height, height_x, height_y = _height(board, x_mm, y_mm, True)
    twist = board.twist_per_mm
    stretch = np.sqrt(1 + slope_x**2 + slope_y**2)
    stretch_x = slope_y * twist / stretch
    stretch_y = (slope_x * twist + slope_y * bend) / stretch
    return (
        z + height * stretch,
        slope_x + height_x * stretch + height * stretch_x,
        slope_y + height_y * stretch + height * stretch_y,
    )


def _base(board: Board, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, ...]:
    """z, dz/dx, dz/dy and d2z/dy2 of the base shape; beyond the board it runs on level."""
    x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
    twist, radius = board.twist_per_mm, board.radius_mm
    z, slope, bend = np.zeros_like(y), np.zeros_like(y), np.zeros_like(y)
    if not math.isinf(radius):
        limit = min(board.depth_mm / 2 + 5, 0.98 * radius)
        inside = np.clip(y, -limit, limit)
        rise = np.sqrt(radius**2 - inside**2)
        on_board = inside == y
        z, slope = rise - radius, np.where(on_board, -inside / rise, 0.0)
        bend = np.where(on_board, -(radius**2) / rise**3, 0.0)
    return z + twist * x * y, twist * y, slope + twist * x, bend


def _height(
    board: Board, x: np.ndarray, y: np.ndarray, tracks: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Height above the base and its slopes along x and y."""
    x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
    parts = [hump(h, x, y) for h in board.humps] + [wave(w, x, y) for w in board.waves]
    parts += [plateau(p, x, y) for p in board.plateaus]
    if tracks and board.tracks_mm:
        parts.append(_tracks(board, x, y))
    level = np.zeros(x.shape)
    return tuple(sum((part[i] for part in parts), start=level) for i in range(3))


def _tracks(board: Board, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, ...]:
    """Shallow troughs side by side, as a cambered iron leaves them; mean 0."""
    edges, depths, skew = _track_edges(board.seed, board.depth_mm, board.width_mm)
    v = y + skew * x
    which = np.clip(np.searchsorted(edges, v) - 1, 0, len(depths) - 1)
    depth = board.tracks_mm * depths[which]
    width = (edges[1:] - edges[:-1])[which]
    t = 2 * (v - edges[which]) / width - 1
    slope = 4 * depth * t / width
    return depth * (t**2 - 1) + board.tracks_mm * 2 / 3 * depths.mean(), slope * skew, slope


@lru_cache(maxsize=8)
def _track_edges(seed: int, depth_mm: float, width_mm: float) -> tuple[np.ndarray, ...]:
    """Where one stroke of the plane meets the next, how deep each is, and their skew to x."""
    rng = np.random.default_rng([seed, 11])
    count = int(4 * (depth_mm + width_mm * 0.1) / 46) + 4
    widths = rng.uniform(36, 56, count)
    edges = np.concatenate([[0], np.cumsum(widths)])
    return edges - edges[-1] / 2, rng.uniform(0.8, 1.0, count), rng.uniform(-0.03, 0.03)


def _random_humps(rng: np.random.Generator, count: int) -> tuple[Hump, ...]:
    """Humps far from each other: of many tried places each takes the one with most room."""
    signs = rng.permutation([(-1) ** i for i in range(count)])
    signs = np.where(rng.random(count) < 0.25, -signs, signs)
    humps: list[Hump] = []
    for sign in signs:
        short = math.exp(rng.uniform(math.log(18), math.log(48)))
        long = min(60.0, short * rng.uniform(1.0, 2.2))
        most = min(0.9, _STEEPEST * short / 0.607)  # steepest flank of a Gaussian: 0.607 h / sigma
        height = math.exp(rng.uniform(math.log(0.12), math.log(most)))
        tries = rng.uniform((-200, -130), (200, 130), (200, 2))
        room = np.full(len(tries), np.inf)
        for other in humps:
            apart = np.hypot(tries[:, 0] - other.x_mm, tries[:, 1] - other.y_mm)
            room = np.minimum(room, apart / (long + other.long_mm))
        x, y = tries[int(np.argmax(room))] if humps else tries[0]
        humps.append(
            Hump(
                x_mm=float(x),
                y_mm=float(y),
                height_mm=float(sign * height),
                long_mm=long,
                short_mm=short,
                turn_rad=float(rng.uniform(0, math.pi)),
            )
        )
    return tuple(humps)


def _random_cards(
    rng: np.random.Generator, width: float, depth: float
) -> tuple[tuple[int, float, float, float], ...]:
    """Cards 0-3 by the corners at any turn, their mean at (0, 0), none over the edge."""
    turns = rng.uniform(-math.pi, math.pi, 4)
    c, s = abs(np.cos(turns)), abs(np.sin(turns))
    reach = np.stack([55 * c + 35 * s, 55 * s + 35 * c], axis=1)
    half = np.array([width, depth]) / 2 - 6
    places = (half - reach - rng.uniform(0, 12, (4, 2))) * [(-1, -1), (1, -1), (1, 1), (-1, 1)]
    places -= places.mean(axis=0)
    places *= min(1.0, float(((half - reach) / abs(places)).min()))
    order = rng.permutation(4)
    cards = zip(order, places, turns, strict=True)
    return tuple((int(n), float(p[0]), float(p[1]), float(t)) for n, p, t in cards)
