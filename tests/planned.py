"""Stored maps with chosen heights and spots, for the working list: invented, and of no real boat."""

import numpy as np
from laid import CARDS, SHEET, bump

from lightcheck.grid import frozen
from lightcheck.plan import Tool
from lightcheck.spots import Spot
from lightcheck.stored import StoredMap

LEVEL_MM = 0.1  # that the cut-only target lies below the fair surface everywhere
SIGMA_MM = 0.02
SMOOTHER = Tool(name="smoothing plane", kind="plane", length_mm=240.0, width_mm=60.0, shaving_mm=0.05)
JACK = Tool(name="jack plane", kind="plane", length_mm=355.0, width_mm=60.0, shaving_mm=0.15)
SHAVE = Tool(name="spokeshave", kind="spokeshave", length_mm=20.0, width_mm=60.0, shaving_mm=0.08)
HALF = 2 * np.sqrt(2 * np.log(2))  # full width at half height over sigma, of a Gaussian


def hump(x_mm, y_mm, height_mm, long_mm, wide_mm=None, *, turn_rad=0.0, number=1, **other) -> Spot:
    """A spot of a Gaussian with these widths at half height."""
    wide_mm = wide_mm or long_mm
    ring = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    a, b = long_mm / 2 * np.cos(ring), wide_mm / 2 * np.sin(ring)
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    return Spot(
        number=number, kind="hump" if height_mm > 0 else "hollow", x_mm=x_mm, y_mm=y_mm, height_mm=height_mm,
        sigma_mm=SIGMA_MM, chance=other.get("chance", 1.0), length_mm=long_mm, width_mm=wide_mm,
        turn_rad=turn_rad, come_off_mm=max(height_mm + LEVEL_MM, 0.0) if height_mm > 0 else 0.0,
        place=f"near card {number}", doubts=(),
        outline_mm=frozen(np.stack([x_mm + a * c - b * s, y_mm + a * s + b * c], axis=1)),
    )  # fmt: skip


def wood(*spots: Spot, base=None, grain="level", grid=SHEET, folder=".") -> StoredMap:
    """A map whose heights are those spots; base: curvatures, as map.json holds them."""
    height = np.zeros(grid.shape)
    for s in spots:
        height += bump(
            s.x_mm, s.y_mm, s.height_mm, s.length_mm / HALF, s.width_mm / HALF, s.turn_rad, grid=grid
        )
    fine = grid.finer(3)
    x, y = fine.mesh_mm()
    stripes = {"level": y, "upright": x, "none": 0 * x}[grain]
    light = np.clip(128 + 60 * np.sin(stripes / 2.0), 1, 255)
    nothing = np.zeros(grid.shape)
    from pathlib import Path

    return StoredMap(
        folder=Path(folder), grid=grid, height_mm=frozen(height), sigma_mm=frozen(nothing + SIGMA_MM),
        come_off_mm=frozen(np.maximum(height + LEVEL_MM, 0.0)), fair_mm=frozen(nothing), z_mm=frozen(height),
        draws_mm=frozen(height[None], np.float32), wood=frozen(light, np.uint8), cards=CARDS, spots=spots,
        warnings=(), least_mm=0.1, longest_mm=(400.0, 400.0), facts={"base": base or {}},
    )  # fmt: skip
