"""Spot: one hump or hollow, found, measured and placed in words.

Bumps are looked for over scales, from 14 to 80 mm, each where it stands out most, so that two that
run into each other are two and a broad one is not many. Every number is measured again on the draws,
which is where sigma and chance come from. What is narrower at half height than a plane iron is broad
is a tool mark and not a spot.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage
from skimage import measure, segmentation

from lightcheck.errors import Doubt
from lightcheck.fair import FLOOR_MM, FairSurface
from lightcheck.grid import Grid, frozen
from lightcheck.patch import Patch
from lightcheck.relief import Relief

SMOOTH_MM = 6.0  # blur before peaks are looked for
LEAST_CHANCE = 0.2  # spots less likely than this are not listed
NARROWEST_MM = 30.0  # at half height; narrower marks are left by a tool
SCALES_MM = (14.0, 20.0, 28.0, 40.0, 56.0, 80.0)  # a bump's own sigma
FINER_SHARE = 0.6  # of a broad bump's strength, with which finer ones within it take its place
BUMP_SHARE = 0.8  # of the height asked for, that must stand out as a bump of its own
# Two spots of one sign are further apart than so much, and than so many sigmas of the finer one.
APART_MM, REACH = 40.0, 1.3
BASIN_MM = 20.0  # scale at which one bump ends and the next begins
CLIMB = 3  # cells from the bump's centre to its highest point
MOST_SPOTS = 40
EDGE_MM = 15.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One hump or hollow.

    number: 1 is the first to look at.  kind: "hump" or "hollow".  x_mm, y_mm: its highest or lowest
    point.  height_mm: signed, there, above the fair surface.  sigma_mm: of that height.  chance: share
    of the draws in which it keeps its sign and reaches the least height.  length_mm, width_mm: of the
    half-height contour; turn_rad: of the length, 0 to pi from +x.  come_off_mm: wood above the
    cut-only target there, 0 for a hollow.  place: in words.  outline_mm: (n, 2) half-height contour.
    """

    number: int
    kind: str
    x_mm: float
    y_mm: float
    height_mm: float
    sigma_mm: float
    chance: float
    length_mm: float
    width_mm: float
    turn_rad: float
    come_off_mm: float
    place: str
    doubts: tuple[Doubt, ...]
    outline_mm: np.ndarray


def find(patch: Patch, relief: Relief, fair: FairSurface, *, least_mm: float) -> tuple[Spot, ...]:
    """All humps and hollows worth listing, the surest and highest first.

    least_mm: least height that counts. Nothing found is an empty tuple.
    """
    height = ndimage.gaussian_filter(_whole(fair, relief), SMOOTH_MM / relief.grid.cell_mm, mode="nearest")
    found = []
    for sign in (1, -1):
        signed = sign * height
        peaks = _peaks(signed, cell_mm=relief.grid.cell_mm, least=0.5 * least_mm)
        peaks = [_climbed(signed, *p) for p in peaks if relief.seen[p]]
        basins = _basins(_bump(signed, BASIN_MM / relief.grid.cell_mm), peaks)
        for mark, peak in enumerate(peaks, start=1):
            region = _half_height(np.where(basins == mark, signed, -1.0), *peak)
            spot = _measure(peak, sign, region, (patch, relief, fair), least_mm)
            if spot is not None:
                found.append(spot)
    found.sort(key=lambda s: -abs(s.height_mm) * s.chance)
    return tuple(replace(s, number=i + 1) for i, s in enumerate(found[:MOST_SPOTS]))


def _basins(bump: np.ndarray, peaks: list[tuple[int, int]]) -> np.ndarray:
    """(ny, nx) int: which peak each cell belongs to, by watershed.

    On bumps, not on heights: one on the flank of a higher one has no height of its own.
    """
    marks = np.zeros(bump.shape, int)
    for number, peak in enumerate(peaks, start=1):
        marks[peak] = number
    return segmentation.watershed(-bump, marks) if peaks else marks


def _bump(height: np.ndarray, width: float) -> np.ndarray:
    """(ny, nx) scale-normalised Laplacian, turned over: of a bump as wide as `width` half its height."""
    return -ndimage.gaussian_laplace(height, width, mode="nearest") * width**2


def _whole(fair: FairSurface, relief: Relief) -> np.ndarray:
    """Heights with nothing missing: what the solve bridged under cards, and the edge carried on."""
    height = relief.z_mm - fair.fair_mm
    nearest = ndimage.distance_transform_edt(
        ~np.isfinite(height), return_distances=False, return_indices=True
    )
    return height[tuple(nearest)]


def _peaks(height: np.ndarray, *, cell_mm: float, least: float) -> list[tuple[int, int]]:
    """(row, column) of bumps of any size, the strongest first.

    The scale-normalised Laplacian of a bump as wide as the scale is half its height there; it tells two
    bumps that run into each other apart where the height alone has one peak (Lindeberg's scale space).
    """
    found = []
    for width in SCALES_MM:
        bump = _bump(height, width / cell_mm)
        top = ndimage.maximum_filter(bump, size=3) == bump
        for row, column in np.argwhere(top & (2 * bump > BUMP_SHARE * least) & (height >= least)):
            found.append((float(bump[row, column]), width, row, column))
    found.sort(reverse=True)
    kept = [f for f in found if not _made_of_finer(f, found, cell_mm)]
    clear: list[tuple] = []
    for bump in kept:
        if all(_apart_mm(bump, o, cell_mm) > max(APART_MM, REACH * min(bump[1], o[1])) for o in clear):
            clear.append(bump)
    return [(int(row), int(column)) for _, _, row, column in clear]


def _made_of_finer(bump: tuple, others: list[tuple], cell_mm: float) -> bool:
    """Whether a broad bump is only what several finer ones make together."""
    strength, width, *_ = bump
    return any(
        o[1] < width and o[0] > FINER_SHARE * strength and 0 < _apart_mm(bump, o, cell_mm) < REACH * width
        for o in others
    )


def _apart_mm(one: tuple, other: tuple, cell_mm: float) -> float:
    return float(np.hypot(one[2] - other[2], one[3] - other[3]) * cell_mm)


def _climbed(height: np.ndarray, row: int, column: int) -> tuple[int, int]:
    """The highest cell within a step or two, where it is a peak; else the place itself."""
    low_r, low_c = max(row - CLIMB, 0), max(column - CLIMB, 0)
    near = height[low_r : row + CLIMB + 1, low_c : column + CLIMB + 1]
    r, c = np.unravel_index(np.nanargmax(near), near.shape)
    inside = 0 < r < near.shape[0] - 1 and 0 < c < near.shape[1] - 1
    return (low_r + int(r), low_c + int(c)) if inside else (row, column)


def _measure(peak, sign: int, region: np.ndarray, products: tuple, least_mm: float) -> Spot | None:
    """Height, extent, chance and doubts of one peak; None where it is no spot."""
    patch, relief, fair = products
    row, column = peak
    height = float(fair.height_mm[row, column])
    if not sign * height >= 0.5 * least_mm:
        return None
    draws = _at_peak(fair.draws_mm, row, column)
    chance = float(np.mean(sign * draws >= least_mm))
    length, width, turn = _extent(region, relief.grid)
    if chance < LEAST_CHANCE or width < NARROWEST_MM:
        return None
    x, y = float(relief.grid.x_mm[column]), float(relief.grid.y_mm[row])
    return Spot(
        number=0,
        kind="hump" if sign > 0 else "hollow",
        x_mm=x,
        y_mm=y,
        height_mm=height,
        sigma_mm=float(max(np.sqrt(np.mean((draws - height) ** 2)), FLOOR_MM)),
        chance=chance,
        length_mm=length,
        width_mm=width,
        turn_rad=turn,
        come_off_mm=float(fair.come_off_mm[row, column]) if sign > 0 else 0.0,
        place=in_words(x, y, patch),
        doubts=_doubts(region, patch, relief),
        outline_mm=_outline(region, relief.grid),
    )


def _at_peak(draws: np.ndarray, row: int, column: int) -> np.ndarray:
    """(n,) heights of the draws at the peak, over the cells next to it."""
    block = draws[:, max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2]
    return np.nanmean(block.reshape(len(draws), -1).astype(float), axis=1)


def _half_height(height: np.ndarray, row: int, column: int) -> np.ndarray:
    """(ny, nx) bool, the cells joined to the peak that stand over half of it."""
    marks, _ = ndimage.label(np.nan_to_num(height, nan=-1.0) >= height[row, column] / 2)
    return marks == marks[row, column]


def _extent(region: np.ndarray, grid: Grid) -> tuple[float, float, float]:
    """Length, width and turn of the length: those of the ellipse with the region's second moments."""
    rows, columns = np.nonzero(region)
    places = np.stack([columns, rows]) * grid.cell_mm
    spread = np.cov(places, bias=True) if len(rows) > 1 else np.zeros((2, 2))
    values, vectors = np.linalg.eigh(spread + np.eye(2) * grid.cell_mm**2 / 12)
    turn = float(np.arctan2(vectors[1, 1], vectors[0, 1]) % np.pi)
    return float(4 * np.sqrt(values[1])), float(4 * np.sqrt(values[0])), turn


def _outline(region: np.ndarray, grid: Grid) -> np.ndarray:
    """(n, 2) x, y round the region, its longest contour. [mm]"""
    contours = measure.find_contours(np.pad(region.astype(float), 1), 0.5)
    longest = max(contours, key=len) - 1
    return frozen(
        np.stack(
            [grid.x0_mm + longest[:, 1] * grid.cell_mm, grid.y0_mm + longest[:, 0] * grid.cell_mm],
            axis=1,
        )
    )


def _doubts(region: np.ndarray, patch: Patch, relief: Relief) -> tuple[Doubt, ...]:
    """Why this spot should be trusted less."""
    doubts = []
    reach = max(1, round(EDGE_MM / relief.grid.cell_mm))
    grown = ndimage.binary_dilation(np.pad(region, reach), iterations=reach)
    if (grown & np.pad(~patch.inside, reach, constant_values=True)).any():
        doubts.append(Doubt.EDGE)
    if (ndimage.binary_dilation(region) & patch.inside & ~relief.seen).any():
        doubts.append(Doubt.PART)
    if len(relief.lamps) == 1:
        doubts.append(Doubt.GRAIN)
    elif np.median(relief.shots_at[region]) < min(2, len(relief.lamps)):
        doubts.append(Doubt.FEW)
    return tuple(doubts)


def in_words(x_mm: float, y_mm: float, patch: Patch) -> str:
    """A place as people tell it: "150 mm right of card 2, 40 below it"."""
    if not patch.cards:
        across, up = f"{abs(x_mm):.0f} mm {_side(x_mm)}", f"{abs(y_mm):.0f} {_level(y_mm)}"
        return f"{across} of the middle of the photo, {up} it"
    near = min(patch.cards, key=lambda c: np.hypot(x_mm - c.x_mm, y_mm - c.y_mm))
    dx, dy = x_mm - near.x_mm, y_mm - near.y_mm
    if abs(dx) < 5:
        return f"{abs(dy):.0f} mm straight {_level(dy)} card {near.card}"
    if abs(dy) < 5:
        return f"{abs(dx):.0f} mm straight {_side(dx)} of card {near.card}"
    return f"{abs(dx):.0f} mm {_side(dx)} of card {near.card}, {abs(dy):.0f} {_level(dy)} it"


def _side(dx: float) -> str:
    return "right" if dx > 0 else "left"


def _level(dy: float) -> str:
    return "above" if dy > 0 else "below"
