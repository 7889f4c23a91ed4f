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


@dataclass(frozen=True, slots=True, kw_only=True)
class Shrunk:
    """A photo made as coarse as the sheet, by averaging blocks of `times` x `times` pixels.

    light: (height, width) float32.  spoilt: (height, width) uint8, 1 where 2 % of a block lost its measure.
    """

    light: np.ndarray
    spoilt: np.ndarray
    times: int


def places_px(view, base: Base, grid: Grid) -> np.ndarray:
    """(ny, nx, 2) pixels of the cells of a sheet."""
    x, y = grid.mesh_mm()
    return view.project_px(base.points_mm(x, y))


def shrunk(photo: Photo, step_px: float) -> Shrunk:
    """Average a photo where the sheet is coarser than it is. step_px: pixels per fine cell."""
    light, spoilt, times = np.asarray(photo.light), photo.spoilt.astype(np.uint8), max(1, int(step_px + 0.25))
    if times > 1:
        light, spoilt = _block_mean(light, times), _block_mean(255 * spoilt, times)
        spoilt = (spoilt > 0.02 * 255 - 0.5).astype(np.uint8)
    return Shrunk(light=light, spoilt=spoilt, times=times)


def lay(photo: Shrunk, pixels: np.ndarray) -> Sheet:
    """Sample a photo at (fy, fx, 2) of its full-size pixels."""
    column, row = (((pixels[..., i] + 0.5) / photo.times - 0.5).astype(np.float32) for i in (0, 1))
    high, wide = photo.light.shape
    inside = (column >= 0) & (column <= wide - 1) & (row >= 0) & (row <= high - 1)
    log_light = cv2.remap(photo.light, column, row, cv2.INTER_LINEAR)
    bad = cv2.remap(photo.spoilt, column, row, cv2.INTER_NEAREST) > 0
    np.log(np.maximum(log_light, _FAINTEST, out=log_light), out=log_light)
    log_light[~inside] = np.nan
    return Sheet(log_light=log_light, sound=inside & ~bad)


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
