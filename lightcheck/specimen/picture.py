"""Picture: from the light in a scene to the 8-bit photo a phone writes.

Lens fall-off, exposure, shot noise and the phone's curve, in this order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from lightcheck.specimen import scene
from lightcheck.specimen.board import Board
from lightcheck.specimen.light import Light
from lightcheck.specimen.phone import Phone, Pose, hand_held, looking

EXPOSE_QUANTILE, EXPOSE_LEVEL = 0.993, 0.82  # bright, with a little room above
ODD_BEND = -0.05  # of the curve that no standard describes: e + a sin(2 pi e)
_BAND_ROWS = 256
_ISO = (50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 3200, 6400)
_SENSOR_GAIN = 12.0  # coded light at f/1, ISO 1, 1 s: puts a raking lamp near ISO 100, 1/60 s


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Snap:
    """One photo: picture (height, width, 3) uint8, its pose, and the exposure it was given.

    gain: linear value (0-1) for one unit of light sent up by the wood, before the lens fall-off.
    """

    picture: np.ndarray
    pose: Pose
    gain: float
    exposure_s: float
    iso: int


def photograph(
    board: Board, light: Light, phone: Phone, *, seed: int, pose: Pose | None = None
) -> tuple[np.ndarray, Pose]:
    """A photo of the board: (height, width, 3) uint8 RGB, and where the phone was.

    Without a pose it is a first photo: held by hand, +y up.
    """
    taken = snap(board, light, phone, seed=seed, pose=pose)
    return taken.picture, taken.pose


def snap(board: Board, light: Light, phone: Phone, *, seed: int, pose: Pose | None = None) -> Snap:
    """As `photograph`, with the exposure."""
    pose = pose or hand_held(phone, seed=seed, first=True)
    light = light.beside(pose.place_mm, *looking(pose))
    rays = scene.rays(board, phone, pose)
    skin, bench = scene.radiance(board, light, phone, pose), scene.bench(board, light)
    bright = scene.seen(rays[:, 1:-1, 1:-1], skin, bench).max(axis=2)
    gain = EXPOSE_LEVEL / float(np.quantile(bright, EXPOSE_QUANTILE))
    exposure_s, iso = _exposure(phone, gain)
    rng = np.random.default_rng([seed, 41])
    picture = np.empty((phone.height_px, phone.width_px, 3), np.uint8)
    for top in range(0, phone.height_px, _BAND_ROWS):
        rows = min(_BAND_ROWS, phone.height_px - top)
        linear = scene.seen(scene.every_pixel(rays, phone, top, rows), skin, bench)
        linear *= (gain * _vignette(phone, top, rows))[..., None]
        linear += _noise(rng, linear, phone.noise * math.sqrt(iso / 100))
        picture[top : top + rows] = _coded(linear, phone.curve)
    return Snap(picture=picture, pose=pose, gain=gain, exposure_s=exposure_s, iso=iso)


def srgb_encode(linear: np.ndarray) -> np.ndarray:
    """Coded value 0-1 of linear light 0-1 (IEC 61966-2-1)."""
    linear = np.asarray(linear, float)
    curve = 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, curve)


def _vignette(phone: Phone, top: int, rows: int) -> np.ndarray:
    """(rows, width) float32 share that the lens lets through: 1 in the middle."""
    half_x, half_y = (phone.width_px - 1) / 2, (phone.height_px - 1) / 2
    right = (np.arange(phone.width_px) - half_x) ** 2
    down = (np.arange(top, top + rows) - half_y) ** 2
    loss = (down[:, None] + right) / (half_x**2 + half_y**2)
    return (1 - phone.vignetting * loss).astype(np.float32)


def _exposure(phone: Phone, gain: float) -> tuple[float, int]:
    """Exposure time [s] and ISO for a gain: the lowest ISO that a hand can hold (1/30 s)."""
    for iso in _ISO:
        time = gain * phone.f_number**2 / (_SENSOR_GAIN * iso)
        if time <= 1 / 30:
            break
    return time, iso


def _noise(rng: np.random.Generator, linear: np.ndarray, spread: float) -> np.ndarray:
    """Shot noise, and a floor as of reading the sensor."""
    sigma = np.sqrt(np.float32(spread**2) * linear + np.float32((0.1 * spread) ** 2))
    return rng.standard_normal(linear.shape, np.float32) * sigma


@lru_cache(maxsize=2)
def _code_table(curve: str) -> np.ndarray:
    """8-bit codes of 65536 steps of linear light."""
    coded = srgb_encode(np.linspace(0, 1, 65536))
    if curve == "odd":
        coded = coded + ODD_BEND * np.sin(2 * math.pi * coded)
    elif curve != "srgb":
        raise ValueError(f"unknown curve: {curve!r}")
    return np.round(255 * coded).astype(np.uint8)


def _coded(linear: np.ndarray, curve: str) -> np.ndarray:
    """Linear light as the phone codes it, uint8."""
    steps = np.clip(linear * 65535 + 0.5, 0, 65535).astype(np.uint16)
    return _code_table(curve)[steps]
