"""Lit: how each photo is lit, read from the paper of the cards and from the wood.

Paper is the same everywhere, so its brightness is the light that falls there: it tells on which side
the lamp stood. Wood is the same in every photo, so the ratio of two photos is free of its colour.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.check.sheet import Sheet

TILE_MM = 40.0
_PAPER_QUANTILES = (0.80, 0.97)  # of a card's half: its white squares, less glints
_INK_QUANTILE = 0.06
_LEAST_SOUND = 0.4  # share of a tile


@dataclass(frozen=True, slots=True, kw_only=True)
class Lit:
    """n photos, h halves of cards, t tiles of wood.

    paper: (n, h, 3) linear colour of the paper, NaN where clipped or unseen.  ink: (n, h) of the ink.
    half_mm: (h, 2), tile_mm: (t, 2) places.  wood: (n, t) logarithm of light, NaN where not sound.
    colour: (n, t) logarithm of red over blue of the wood less that of the photo's own paper.
    """

    paper: np.ndarray
    ink: np.ndarray
    half_mm: np.ndarray
    tile_mm: np.ndarray
    wood: np.ndarray
    colour: np.ndarray

    @property
    def paper_log(self) -> np.ndarray:
        """(n, h) logarithm of the paper's luminance."""
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.log(self.paper @ np.array([0.2126, 0.7152, 0.0722]))


def middle(values: np.ndarray, *, axis: int) -> np.ndarray:
    """Median of what is known along an axis; NaN where nothing is, without a word."""
    known = np.isfinite(values)
    some = known.any(axis=axis)
    filled = np.where(known, values, np.where(np.expand_dims(some, axis), np.nan, 0.0))
    return np.where(some, np.nanmedian(filled, axis=axis), np.nan)


def lit(sheet: Sheet) -> Lit:
    """Levels of paper, ink and wood on a sheet."""
    light = sheet.light
    levels = [[_card_levels(sheet, light, n, m) for *_, m in sheet.halves] for n in range(len(light))]
    paper = np.array([[p for p, _ in row] for row in levels])
    where, wood, red_blue = _tiles(sheet, light)
    with np.errstate(invalid="ignore", divide="ignore"):
        white = middle(np.log(paper[..., 0] / paper[..., 2]), axis=1) if paper.size else np.zeros(0)
    return Lit(
        paper=paper,
        ink=np.array([[i for _, i in row] for row in levels]),
        half_mm=np.array([(x, y) for x, y, _ in sheet.halves]),
        tile_mm=where,
        wood=wood,
        colour=red_blue - np.nan_to_num(white)[:, None],
    )


def _card_levels(sheet: Sheet, light: np.ndarray, n: int, mask: np.ndarray) -> tuple[np.ndarray, float]:
    """Colour of the paper and level of the ink in one half of a card."""
    level, rgb, spoilt = light[n][mask], sheet.rgb[n][mask], sheet.spoilt[n][mask]
    if len(level) < 30 or not np.isfinite(level).all():
        return np.full(3, np.nan), np.nan
    low, high = np.quantile(level, _PAPER_QUANTILES)
    white = (level >= low) & (level <= high)
    ink = float(np.quantile(level, _INK_QUANTILE))
    if spoilt[white].mean() > 0.3:
        return np.full(3, np.nan), ink
    return rgb[white].mean(axis=0), ink


def _tiles(sheet: Sheet, light: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(t, 2) places of the tiles, (n, t) log light, (n, t) log red over blue."""
    across = max(1, round(TILE_MM / sheet.grid.cell_mm))
    ny, nx = (n // across for n in sheet.grid.shape)
    cut = np.s_[..., : ny * across, : nx * across]

    def blocks(a: np.ndarray) -> np.ndarray:
        a = a[cut].reshape(*a.shape[:-2], ny, across, nx, across)
        return np.moveaxis(a, -3, -2).reshape(*a.shape[:-4], ny * nx, across * across)

    sound = blocks(sheet.wood & ~sheet.spoilt)
    enough = sound.mean(axis=-1) > _LEAST_SOUND

    def mean(values: np.ndarray) -> np.ndarray:
        kept = np.where(sound, np.nan_to_num(blocks(values)), 0.0).sum(axis=-1)
        return np.where(enough, kept / np.maximum(sound.sum(axis=-1), 1), np.nan)

    with np.errstate(invalid="ignore", divide="ignore"):
        wood = mean(np.log(np.maximum(light, 1e-5)))
        red_blue = np.log(mean(sheet.rgb[..., 0]) / mean(sheet.rgb[..., 2]))
    x, y = (np.mean(blocks(m), axis=-1) for m in sheet.grid.mesh_mm())
    some = enough.any(axis=0)
    return np.stack([x, y], axis=-1)[some], wood[:, some], red_blue[:, some]
