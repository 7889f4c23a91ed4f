"""Drawn photographs of a template on wood, exact by construction: everything lies in one plane.

Seen square on from 1200 mm, so that a pixel is the same everywhere; smeared and coded as a phone does
(IEC 61966-2-1). Shares nothing with the package but the layout of the printed card.
"""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

MM_PER_PX, FINE, AWAY_MM = 0.25, 3, 1200.0
LEFT = (3, -70.0, 55.0, 0.0)
RIGHT = (7, 70.0, 52.0, 4.0)


@dataclass(frozen=True, kw_only=True)
class Scene:
    """edge, wood: heights over x. cards: (number, x, y, turn in degrees). levels of linear light."""

    edge: object = lambda x: 0 * x
    wood: object = lambda x: -0.9 - 0.9 * np.cos(2 * np.pi * x / 110)
    cards: tuple = (LEFT, RIGHT)
    ends: tuple = (-165.0, 165.0)
    top: float = 105.0
    sheet: object = lambda x, y: 0.8 + 0 * x
    template: float = 0.02
    paper: float = 0.10
    timber: float = 0.025
    blur_px: float = 1.0
    size: tuple = (1600, 760)
    middle: tuple = (0.0, 30.0)
    seed: int = 1


def light(scene: Scene) -> np.ndarray:
    wide, high = (n * FINE for n in scene.size)
    x = scene.middle[0] + (np.arange(wide) - (wide - 1) / 2) * MM_PER_PX / FINE
    y = scene.middle[1] - (np.arange(high) - (high - 1) / 2) * MM_PER_PX / FINE
    x, y = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
    seen = np.asarray(scene.sheet(x, y), np.float32) + 0 * x
    above = (y > scene.edge(x)) & (y < scene.top) & (x > scene.ends[0]) & (x < scene.ends[1])
    seen[above] = scene.template
    seen[(y < scene.wood(x)) & ~above] = scene.timber
    for card in scene.cards:
        _stick(seen, x, y, card, scene.paper)
    small = cv2.resize(seen, scene.size, interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(small, (0, 0), scene.blur_px)


def _stick(seen, x, y, card, paper) -> None:
    number, cx, cy, turn = card
    names = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)
    chart = cv2.aruco.CharucoBoard((5, 3), 20.0, 15.0, names, np.arange(7 * number, 7 * number + 7))
    ink = cv2.copyMakeBorder(chart.generateImage((1600, 960)), *[80] * 4, cv2.BORDER_CONSTANT, value=255)
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    u, v = c * (x - cx) + s * (y - cy), -s * (x - cx) + c * (y - cy)
    on = (np.abs(u) < 55) & (np.abs(v) < 35)
    column, row = ((u[on] + 55) * 16).astype(int), ((35 - v[on]) * 16).astype(int)
    seen[on] = paper * (0.06 + 0.94 * ink[row, column] / 255)


def save(path: Path, scene: Scene, *, crop=None) -> Path:
    """Noise, sRGB coding and JPEG with a focal length; crop: (left, right) pixels to cut off."""
    rng = np.random.default_rng(scene.seed)
    seen = light(scene)
    seen = np.clip(seen + rng.standard_normal(seen.shape) * np.sqrt(np.abs(seen) / 7000 + 4e-7), 0, 1)
    coded = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)
    picture = np.repeat(np.round(coded * 255).astype(np.uint8)[..., None], 3, axis=2)
    if crop:
        picture = picture[:, crop[0] : picture.shape[1] - crop[1]]
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = round(36 * AWAY_MM / MM_PER_PX / max(picture.shape))
    Image.fromarray(picture).save(path, quality=95, exif=exif)
    return path
