"""Laying photos on the millimetre sheet: one warp per photo, then averages over cells."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from lightcheck.grid import Grid
from lightcheck.patch.base import Base
from lightcheck.photo import Photo

_FAINTEST = 1e-5  # linear light that stands in for black before the logarithm


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One photo on the fine sheet.

    log_light: (fy, fx) float32, natural logarithm of linear light, NaN outside the photo.
    sound: (fy, fx) bool, inside the photo and neither clipped nor crushed.
    """

    log_light: np.ndarray
    sound: np.ndarray


def places_px(view, base: Base, grid: Grid) -> np.ndarray:
    """(ny, nx, 2) pixels of the cells of a sheet."""
    x, y = grid.mesh_mm()
    return view.project_px(base.points_mm(x, y))


def lay(photo: Photo, pixels: np.ndarray) -> Sheet:
    """Sample a photo at (fy, fx, 2) pixels, averaging where the sheet is coarser than the photo."""
    light, spoilt, shrink = np.asarray(photo.light), photo.spoilt.astype(np.uint8), _shrink(pixels)
    if shrink > 1:
        light, spoilt = _block_mean(light, shrink), _block_mean(spoilt.astype(np.float32), shrink)
        spoilt = (spoilt > 0.02).astype(np.uint8)
    at = ((pixels + 0.5) / shrink - 0.5).astype(np.float32)
    high, wide = light.shape
    inside = (at[..., 0] >= 0) & (at[..., 0] <= wide - 1) & (at[..., 1] >= 0) & (at[..., 1] <= high - 1)
    warped = cv2.remap(light, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    bad = cv2.remap(spoilt, at[..., 0], at[..., 1], cv2.INTER_NEAREST) > 0
    log_light = np.log(np.maximum(warped, _FAINTEST))
    log_light[~inside] = np.nan
    return Sheet(log_light=log_light, sound=inside & ~bad)


def _shrink(pixels: np.ndarray) -> int:
    """Whole number of pixels per fine cell, at least 1."""
    step = np.linalg.norm(np.diff(pixels[::8], axis=1), axis=-1)
    return max(1, int(np.median(step) + 0.25))


def _block_mean(picture: np.ndarray, times: int) -> np.ndarray:
    high, wide = (n // times * times for n in picture.shape)
    cropped = np.ascontiguousarray(picture[:high, :wide])
    return cv2.resize(cropped, (wide // times, high // times), interpolation=cv2.INTER_AREA)


def cell_mean(values: np.ndarray, sound: np.ndarray, times: int) -> tuple[np.ndarray, np.ndarray]:
    """Mean over sound fine cells, and their share, of each cell; NaN where none is sound."""
    ny, nx = values.shape[0] // times, values.shape[1] // times
    blocks = np.where(sound, values, 0.0).reshape(ny, times, nx, times)
    share = sound.reshape(ny, times, nx, times).mean(axis=(1, 3))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = blocks.mean(axis=(1, 3), dtype=float) / share
    return np.where(share > 0, mean, np.nan), share
