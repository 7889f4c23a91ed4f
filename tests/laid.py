"""Reliefs and patches with chosen heights, for what comes after the solve."""

import numpy as np
from scipy.ndimage import gaussian_filter

from lightcheck.fair import FairSurface
from lightcheck.grid import Grid
from lightcheck.patch import Base, CardPlace, Patch
from lightcheck.relief import LampFound, Relief

SHEET = Grid.over((-240.0, 240.0), (-150.0, 150.0), cell_mm=5.0)
CARDS = tuple(
    CardPlace(card=n, x_mm=x, y_mm=y, turn_rad=0.0)
    for n, x, y in ((0, -230.0, -140.0), (1, 230.0, -140.0), (2, 230.0, 140.0), (3, -230.0, 140.0))
)


def relief_of(z_mm: np.ndarray, *, grid=SHEET, seen=None, noise_mm=0.0, number=4, lamps=2) -> Relief:
    """z_mm: (ny, nx), NaN outside the hull. Draws are z with smooth noise of this sigma."""
    rng = np.random.default_rng(9)
    noise = gaussian_filter(rng.standard_normal((number, *grid.shape)), (0, 6, 6))
    draws = z_mm + noise_mm * noise / noise.std()
    inside = np.isfinite(z_mm)
    seen = inside if seen is None else seen & inside
    found = LampFound(kind="lamp", spec="left", place_mm=np.array([-900.0, 0, 110]), sigma_mm=np.ones(3))
    return Relief(
        grid=grid, z_mm=z_mm, draws_mm=draws.astype(np.float32), seen=seen,
        shots_at=np.where(seen, lamps, 0), lamps=(found,) * lamps, response=(1.0,),
        ambient_share=0.0, noise=0.01,
    )  # fmt: skip


def patch_of(grid: Grid = SHEET, *, inside=None, wood=None, cards=CARDS) -> Patch:
    """A patch as far as spots look at it."""
    inside = np.ones(grid.shape, bool) if inside is None else inside
    blank = np.zeros((2, *grid.shape))
    return Patch(
        grid=grid, times=3, base=Base(), views=(), cards=cards, log_light=blank, fine_log_light=blank,
        off_axis=blank, inside=inside, wood=inside if wood is None else wood, misfit_mm=(0.0, 0.0),
        likeness=(1.0, 1.0), corner_rms_px=0.1, names=("left.jpg", "right.jpg"),
    )  # fmt: skip


def as_it_stands(relief: Relief, draws_mm=None) -> FairSurface:
    """The heights themselves, over a fair surface that is level."""
    level = np.where(np.isfinite(relief.z_mm), 0.0, np.nan)
    draws = relief.draws_mm if draws_mm is None else draws_mm
    return FairSurface(
        fair_mm=level, target_mm=level, height_mm=np.where(relief.seen, relief.z_mm, np.nan),
        sigma_mm=np.where(relief.seen, 0.02, np.nan), come_off_mm=np.maximum(relief.z_mm, 0.0),
        draws_mm=draws,
    )  # fmt: skip


def bump(x_mm, y_mm, height_mm, long_mm, short_mm=None, turn_rad=0.0, *, grid=SHEET) -> np.ndarray:
    """(ny, nx) Gaussian: long_mm, short_mm its standard deviations."""
    x, y = grid.mesh_mm()
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    along, across = (x - x_mm) * c + (y - y_mm) * s, (y - y_mm) * c - (x - x_mm) * s
    return height_mm * np.exp(-((along / long_mm) ** 2 + (across / (short_mm or long_mm)) ** 2) / 2)
