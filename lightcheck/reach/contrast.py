"""Contrast: what a hump does to the light, from Lambert's cosine and the inverse square.

    hump of height h, width w at its foot:  z = h/2 (1 + cos(2 pi r / w)), steepest pi h / w

Light of elevation e on it changes by pi h / w x cot e: low lamps and steep humps show, wide ones do not.
A hump steeper than the light hides its own back.
"""

from __future__ import annotations

import numpy as np

from lightcheck.grid import Grid
from lightcheck.patch import Base
from lightcheck.shade import Facing, light_on


def contrast(*, height_mm: float, width_mm: float, lamp_mm, at_mm=(0.0, 0.0)) -> float:
    """Half the difference of brightest and darkest light over a round hump, as a share of level light.

    lamp_mm: (3,) place of the lamp.  at_mm: (2,) middle of the hump. To first order pi h / w cot e; wood
    in its own shadow counts as dark. From Lambert's cosine and the inverse square (any textbook).
    """
    out = float(np.hypot(lamp_mm[0] - at_mm[0], lamp_mm[1] - at_mm[1]))
    half = width_mm / 2
    line = Grid(x0_mm=-half, y0_mm=0.0, cell_mm=width_mm / 200, nx=201, ny=1)
    x, level = line.x_mm[None], np.zeros((1, 201))
    z, slope, _ = hump(x, 0 * x, width_mm)
    facing, place = Facing.of(Base(), line), np.array([-out, 0.0, lamp_mm[2]])
    flat = light_on(facing, place, level, level, level).log
    lit = light_on(facing, place, height_mm * z, height_mm * slope, level).log
    change = np.nan_to_num(np.exp(lit - flat), nan=0.0)
    return float(np.ptp(change) / 2)


def hidden_mm(*, height_mm: float, width_mm: float, elevation_rad: float) -> float:
    """Length of wood along far light that a round hump keeps in the dark: its own back, and beyond. [mm]

    0 where it is less steep than the light. A square edge (width 0) hides height x cot elevation.
    """
    cot = 1 / np.tan(elevation_rad)
    if width_mm <= 0:
        return float(height_mm * cot)
    if np.pi * height_mm / width_mm <= 1 / cot:
        return 0.0
    x = np.linspace(0, width_mm / 2 + height_mm * cot, 4001)  # away from the lamp, from the crest on
    z = height_mm * np.where(x < width_mm / 2, hump(x, 0 * x, width_mm)[0], 0.0)
    sight = z + x / cot  # a ray falls by 1 / cot for each mm: what is under an earlier one is dark
    dark = sight < np.maximum.accumulate(sight) - 1e-9
    return float(dark.mean() * x[-1])


def lit_over_crown_mm(*, radius_mm: float, out_mm: float, up_mm: float) -> float:
    """How far beyond the crown of a barrel light laid across it still reaches, along the wood. [mm]

    At an angle a beyond the crown the wood faces the lamp while (up + R) cos a - out sin a > R.
    """
    reach = np.hypot(up_mm + radius_mm, out_mm)
    angle = np.arccos(radius_mm / reach) - np.arctan2(out_mm, up_mm + radius_mm)
    return float(radius_mm * angle)


def shadow_height_mm(*, width_mm, elevation_rad: float) -> np.ndarray:
    """Height from which a round hump hides part of its own back: width x tan e / pi. [mm]"""
    return np.asarray(width_mm, float) * np.tan(elevation_rad) / np.pi


def hump(x: np.ndarray, y: np.ndarray, width: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Height and slopes of a round hump of height 1 at the origin."""
    r, turns = np.hypot(x, y), 2 * np.pi / width
    inside = r < width / 2
    fall = np.where(inside, -turns / 2 * np.sin(turns * r), 0.0) / np.maximum(r, 1e-9)
    return np.where(inside, (1 + np.cos(turns * r)) / 2, 0.0), fall * x, fall * y
