"""How far a map is from the truth, and photos of made-up boards to map.

Where the fair surface lies is a choice, so a robust quadratic is taken from the error (never from the
truth) before anything is measured.
"""

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from lightcheck import card, photo
from lightcheck import specimen as sp

FIXTURES = Path(__file__).resolve().parents[1] / "fixtures"
SMALL = sp.Phone(width_px=1200, height_px=900)


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """error: (ny, nx), NaN where not seen.  rms, sigma: of the map and as it claims, mm.

    cover: share of cells within 2 sigma.  humps: (n,) relative error at each hump's true centre.
    """

    error: np.ndarray
    rms: float
    sigma: float
    cover: float
    humps: np.ndarray


def without_quadratic(error: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """(n,) error less its robust quadratic: least squares, reweighted by Cauchy's function."""
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    terms = terms / np.abs(terms).max(axis=0)
    weight = np.ones(len(error))
    for _ in range(30):
        root = np.sqrt(weight)
        fit, *_ = np.linalg.lstsq(terms * root[:, None], error * root, rcond=None)
        left = error - terms @ fit
        scale = 1.4826 * np.median(np.abs(left)) + 1e-12
        weight = 1 / (1 + (left / (2 * scale)) ** 2)
    return left


def score(grid, height_mm: np.ndarray, sigma_mm: np.ndarray, truth, humps=()) -> Score:
    """Set a map against truth(x, y) -> heights; humps: (x, y, height) of each."""
    x, y = grid.mesh_mm()
    seen = np.isfinite(height_mm)
    error = np.full(grid.shape, np.nan)
    error[seen] = without_quadratic((height_mm - truth(x, y))[seen], x[seen], y[seen])
    at = [tuple(round(float(i)) for i in grid.index(hx, hy)) for hx, hy, _ in humps]
    relative = [abs(error[i] / h[2]) for i, h in zip(at, humps, strict=True)]
    return Score(
        error=error,
        rms=float(np.sqrt(np.nanmean(error**2))),
        sigma=float(np.sqrt(np.nanmean(sigma_mm**2))),
        cover=float(np.mean(np.abs(error[seen]) < 2 * sigma_mm[seen])),
        humps=np.array(relative),
    )


def stored_truth(scene: str):
    """(facts, truth(x, y), [(x, y, height)]) of a path-traced scene."""
    folder = FIXTURES / scene
    facts = json.loads((folder / "truth.json").read_text())
    with np.load(folder / "truth.npz") as stored:
        field = RegularGridInterpolator(
            (stored["y_mm"], stored["x_mm"]), stored["height_mm"].astype(float),
            bounds_error=False, fill_value=0.0,
        )  # fmt: skip
    humps = [(h["x_mm"], h["y_mm"], h["height_mm"]) for h in facts["humps"]]
    return facts, lambda x, y: field(np.stack([y, x], axis=-1)), humps


@lru_cache(maxsize=12)
def taken(board: sp.Board, arrangement: str = "pair", seed: int = 3, phone: sp.Phone = SMALL):
    """Photos of a made-up board, the cards in them, and the lamps as typed. Tuples of equal length."""
    with TemporaryDirectory() as folder:
        shots = sp.shoot(board, arrangement, folder, seed=seed, phone=phone)
        photos = tuple(photo.load(path) for path, _ in shots)
    return photos, tuple(card.find(p) for p in photos), tuple(spec for _, spec in shots)
