"""Two made-up stored maps of one invented board, before and after a pass, with every change known.

The board has its own frame; each map sees it turned and shifted. Heights are bells; the wood is the
made-up boards' own, with other fine grain where it was planed.
"""

import json
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter

from lightcheck.grid import Grid, frozen
from lightcheck.patch import CardPlace
from lightcheck.specimen.wood import STEP_MM, bare_wood
from lightcheck.spots import Spot
from lightcheck.stored import StoredMap

HALF_MM = (270.0, 180.0)
SEEN_MM = (290.0, 200.0)
CELL_MM, TIMES = 4.0, 6
SHEET = (2000, 2800)  # rows, columns of the wood, STEP_MM apart: 500 x 700 mm
CARDS = ((0, -225.0, -140.0, 0.1), (1, 228.0, -138.0, -0.2), (2, 222.0, 141.0, 3.0), (3, -230.0, 137.0, 0.2))
BELL_MM = 28.0  # sigma


@dataclass(frozen=True, kw_only=True)
class Board:
    """Bells (x, y, height), cards (number, x, y, turn) and the wood's look, in the board's own frame."""

    bells: tuple = ()
    cards: tuple = CARDS
    wood: np.ndarray

    def height_mm(self, x, y):
        """Sum of the bells."""
        total = np.zeros(np.broadcast(x, y).shape)
        for bx, by, top in self.bells:
            total = total + top * np.exp(-((x - bx) ** 2 + (y - by) ** 2) / 2 / BELL_MM**2)
        return total


def wood(seed=3, *, planed=(), fresh=8, all_of_it=False):
    """(rows, columns) float32 look of the wood. planed: (x, y) middles where the fine grain is another.

    Rings, knots and seams stay: only what is finer than about 1.5 mm changes.
    """
    look = bare_wood(seed, SHEET).mean(axis=2)
    if not planed and not all_of_it:
        return look
    other = bare_wood(fresh, SHEET).mean(axis=2)
    y, x = (np.arange(n, dtype=np.float32) * STEP_MM - n * STEP_MM / 2 for n in SHEET)
    went = np.full(SHEET, float(all_of_it), np.float32)
    for px, py in planed:
        went = np.maximum(went, np.float32(np.hypot(x[None] - px, y[:, None] - py) < 2.2 * BELL_MM))
    went = gaussian_filter(went, 4)
    if all_of_it:
        return look + went * (other - look)
    fine = look - gaussian_filter(look, 6)
    return look + went * (other - gaussian_filter(other, 6) - fine)


def stored(board, *, turn_deg=0.0, shift_mm=(0.0, 0.0), noise_mm=0.015, seed=1, folder="map", least_mm=0.1):
    """The board as a stored map whose frame holds it turned and shifted: place = turn(board) + shift."""
    turn = np.radians(turn_deg)
    grid = Grid.over(*[(c - h, c + h) for c, h in zip(shift_mm, SEEN_MM, strict=True)], cell_mm=CELL_MM)
    bx, by = to_board(*grid.mesh_mm(), turn, shift_mm)
    seen = (abs(bx) < HALF_MM[0]) & (abs(by) < HALF_MM[1])
    cards = tuple(_card(c, turn, shift_mm) for c in board.cards)
    for _, cx, cy, _ in board.cards:
        seen &= np.hypot((bx - cx) / 62, (by - cy) / 46) > 1
    rng = np.random.default_rng(seed)
    height = np.where(seen, board.height_mm(bx, by) + _smooth(rng, grid, noise_mm), np.nan)
    draws = np.stack([height + _smooth(rng, grid, noise_mm) for _ in range(32)])
    level = np.zeros(grid.shape)
    return StoredMap(
        folder=Path(folder), grid=grid, height_mm=frozen(height),
        sigma_mm=frozen(np.where(seen, noise_mm, np.nan)), come_off_mm=frozen(np.maximum(height, 0)),
        fair_mm=frozen(level), z_mm=frozen(np.nan_to_num(height)), draws_mm=frozen(draws, np.float32),
        wood=_picture(board, grid.finer(TIMES), turn, shift_mm, rng), cards=cards,
        spots=_spots(board, turn, shift_mm), warnings=(), least_mm=least_mm, longest_mm=(400.0, 400.0),
        facts={"shots": [{"sha256": f"{folder}-{seed}"}]},
    )  # fmt: skip


def to_board(x, y, turn, shift_mm):
    """Places of the map in the board's frame."""
    c, s = np.cos(turn), np.sin(turn)
    x, y = x - shift_mm[0], y - shift_mm[1]
    return c * x + s * y, -s * x + c * y


def to_map(x, y, turn, shift_mm):
    """Places of the board in the map's frame."""
    c, s = np.cos(turn), np.sin(turn)
    return c * x - s * y + shift_mm[0], s * x + c * y + shift_mm[1]


def _smooth(rng, grid, size_mm):
    rough = gaussian_filter(rng.normal(size=grid.shape), 8)
    return rough / max(rough.std(), 1e-9) * size_mm


def _card(card, turn, shift_mm):
    number, x, y, own = card
    x, y = to_map(x, y, turn, shift_mm)
    return CardPlace(card=number, x_mm=float(x), y_mm=float(y), turn_rad=own + turn)


def _picture(board, fine, turn, shift_mm, rng):
    """Evenly lit wood in 8 bits, a little noisy, 0 where not seen."""
    bx, by = to_board(*fine.mesh_mm(), turn, shift_mm)
    maps = [(v / STEP_MM + n / 2).astype(np.float32) for v, n in ((bx, SHEET[1]), (by, SHEET[0]))]
    look = cv2.remap(gaussian_filter(board.wood, 1.2), *maps, cv2.INTER_LINEAR, borderValue=0)
    grey = np.clip(120 + 110 * (look / board.wood.mean() - 1) + rng.normal(0, 3, look.shape), 1, 255)
    return frozen(np.where((abs(bx) < HALF_MM[0]) & (abs(by) < HALF_MM[1]), grey, 0), np.uint8)


def _spots(board, turn, shift_mm):
    found = []
    for x, y, top in (b for b in board.bells if abs(b[2]) >= 0.1):
        sx, sy = (float(v) for v in to_map(x, y, turn, shift_mm))
        ring = np.linspace(0, 2 * np.pi, 40)
        outline = np.stack([sx + 1.18 * BELL_MM * np.cos(ring), sy + 1.18 * BELL_MM * np.sin(ring)], axis=1)
        found.append(
            Spot(
                number=len(found) + 1, kind="hump" if top > 0 else "hollow", x_mm=sx, y_mm=sy, height_mm=top,
                sigma_mm=0.02, chance=1.0, length_mm=66.0, width_mm=66.0, turn_rad=0.0,
                come_off_mm=max(top, 0.0), place=f"at {sx:.0f}, {sy:.0f}", doubts=(),
                outline_mm=frozen(outline),
            )
        )  # fmt: skip
    return tuple(found)


def card_moves(seed, *, move_mm=15.0, turn_deg=12.0, cards=CARDS):
    """The cards put back by hand."""
    rng = np.random.default_rng(seed)
    return tuple(
        (n, x + r * np.cos(a), y + r * np.sin(a), t + rng.uniform(-1, 1) * np.radians(turn_deg))
        for n, x, y, t in cards
        for r, a in [(rng.uniform(0.3, 1) * move_mm, rng.uniform(0, 2 * np.pi))]
    )


def save(one, folder):
    """Write a stored map as the map command leaves it."""
    folder.mkdir(parents=True)
    grid = one.grid
    axes = {"x_mm": grid.x_mm, "y_mm": grid.y_mm}
    sheets = {n: getattr(one, n) for n in ("height_mm", "sigma_mm", "come_off_mm", "fair_mm", "z_mm")}
    np.savez(folder / "map.npz", **axes, **sheets)
    np.savez(folder / "draws.npz", **axes, draws_mm=one.draws_mm)
    Image.fromarray(one.wood[::-1]).save(folder / "wood.png")
    facts = {
        "schema": 1,
        "grid": {n: getattr(grid, n) for n in ("x0_mm", "y0_mm", "cell_mm", "nx", "ny")},
        "cards": [
            {"card": c.card, "x_mm": c.x_mm, "y_mm": c.y_mm, "turn_deg": np.degrees(c.turn_rad)}
            for c in one.cards
        ],
        "spots": [_listed(s) for s in one.spots],
        "warnings": [],
        "recipe": {"least_mm": one.least_mm, "longest_mm": one.longest_mm},
        **one.facts,
    }
    (folder / "map.json").write_text(json.dumps(facts))
    return folder


def _listed(spot):
    names = ("kind", "x_mm", "y_mm", "height_mm", "sigma_mm", "chance", "length_mm", "width_mm")
    row = {n: getattr(spot, n) for n in (*names, "come_off_mm", "place")}
    return row | {
        "spot": spot.number, "turn_deg": 0.0, "doubt": [], "outline_mm": spot.outline_mm.tolist(),
    }  # fmt: skip
