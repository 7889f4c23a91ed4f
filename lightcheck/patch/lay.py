"""From photos and sightings to the Patch."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from lightcheck import card as cards
from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid, frozen
from lightcheck.patch import sheet
from lightcheck.patch.base import Base
from lightcheck.patch.bundle import Settled, Ties, card_frames, settle
from lightcheck.patch.misfit import displacement_mm
from lightcheck.patch.start import rough
from lightcheck.patch.view import SquareOn
from lightcheck.photo import Photo

MOST_CELLS = 17000  # keeps the solve near two seconds
CELL_RANGE_MM = (2.0, 8.0)
SOUND_SHARE = 0.6  # of a cell's fine cells that must be usable
TIE_LIKENESS = 0.5  # of the grain, for its places to count in the bundle
TIE_REACH_MM, TIE_SHARE = 60.0, 0.1  # wood seen about a place, for its tie to count
CARD_RIM_MM = 3.0  # paper edge and its shadow


@dataclass(frozen=True, slots=True, kw_only=True)
class CardPlace:
    """Where a card lies: its centre and the turn of its long side, counter-clockwise from x."""

    card: int
    x_mm: float
    y_mm: float
    turn_rad: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """Photos on the grid.

    log_light: (n_shots, ny, nx) mean over each cell, NaN where not usable.
    off_axis: (n_shots, ny, nx) squared distance from the picture's middle over half its diagonal.
    inside: (ny, nx) bool, inside the hull of the cards.  wood: the same less what lies under a card.
    fine_log_light: (n_shots, fy, fx) float32 on `grid.finer(times)`, misfit corrected.
    misfit_mm: (n_shots,) typical displacement that was found and corrected.
    likeness: (n_shots,) how alike the grain is to the first shot's, 1 for the first.
    """

    grid: Grid
    times: int
    base: Base
    views: tuple
    cards: tuple[CardPlace, ...]
    log_light: np.ndarray
    fine_log_light: np.ndarray
    off_axis: np.ndarray
    inside: np.ndarray
    wood: np.ndarray
    misfit_mm: tuple[float, ...]
    likeness: tuple[float, ...]
    corner_rms_px: float
    names: tuple[str, ...]


def lay_out(
    photos: list[Photo],
    sightings: list[tuple],
    *,
    thickness_mm: float = 0.0,
    stretch: tuple = (1.0, 1.0),
) -> Patch:
    """Lay photos with cards on one grid.

    thickness_mm: of stiff cards, 0 for paper.  stretch: true over nominal size of the print, along x
    and y of the paper. Refuses what the bundle refuses and photos of different wood.
    """
    sightings = [tuple(_stretched(s, stretch) for s in shot) for shot in sightings]
    start = rough(photos, sightings)
    settled = _upright(settle(start, thickness_mm=thickness_mm))
    ties = _grain_ties(photos, settled, stretch) if len(photos) > 1 else None
    if ties is not None:
        settled = _upright(settle(start, thickness_mm=thickness_mm, ties=ties))
    extent = _extent(settled, stretch)
    places = tuple(
        CardPlace(card=c, x_mm=float(x), y_mm=float(y), turn_rad=float(t))
        for c, (x, y, t) in zip(settled.cards, settled.places, strict=True)
    )
    return _patch(photos, settled.views, settled.base, extent, cards=places, corner_rms_px=settled.rms_px)


def _extent(settled: Settled, stretch: tuple) -> tuple[Grid, int, np.ndarray, np.ndarray]:
    """The sheet over the hull of the cards, its fineness, the cells inside and those of open wood."""
    outlines = _outlines(settled, stretch)
    hull = cv2.convexHull(np.concatenate(outlines).astype(np.float32)).reshape(-1, 2)
    grid, times = _grid(hull, _pixel_mm(settled))
    inside = _filled(grid, [hull])
    return grid, times, inside, inside & ~_filled(grid, [_grown(o) for o in outlines])


def _grain_ties(photos: list[Photo], settled: Settled, stretch: tuple) -> Ties | None:
    """Match the grain of every shot with the first one's on a coarse lattice of places."""
    grid, times, _, wood = _extent(settled, stretch)
    fine = grid.finer(times)
    usable = _spread_out(wood, fine)
    first_px = sheet.places_px(settled.views[0], settled.base, fine)
    first = sheet.lay(photos[0], first_px)
    rows, columns = (np.linspace(0.08, 0.92, n) * size for n, size in zip((6, 8), fine.shape, strict=True))
    at = tuple(i.astype(int).ravel() for i in np.meshgrid(rows, columns, indexing="ij"))
    found = []
    for shot in range(1, len(photos)):
        pixels = sheet.places_px(settled.views[shot], settled.base, fine)
        laid = sheet.lay(photos[shot], pixels)
        moved, _, likeness = _aligned(laid, first, pixels, fine, usable)
        known = _share_about(usable & laid.sound & first.sound, fine)[at] > TIE_SHARE
        if likeness > TIE_LIKENESS and known.any():
            found.append((first_px[at][known], moved[at][known], np.full(known.sum(), shot)))
    if not found:
        return None
    first_px, other_px, view_of = (np.concatenate(part) for part in zip(*found, strict=True))
    return Ties(first_px=first_px, other_px=other_px, view_of=view_of)


def _share_about(seen: np.ndarray, fine: Grid) -> np.ndarray:
    """(fy, fx) share of the cells about each that were seen; a tie among clipped wood knows nothing."""
    across = 2 * round(TIE_REACH_MM / fine.cell_mm) + 1
    return cv2.blur(seen.astype(np.float32), (across, across), borderType=cv2.BORDER_REPLICATE)


def _spread_out(wood: np.ndarray, fine: Grid) -> np.ndarray:
    """A mask of cells as one of fine cells."""
    return cv2.resize(wood.astype(np.uint8), (fine.nx, fine.ny), interpolation=cv2.INTER_NEAREST) > 0


def lay_out_square_on(photos: list[Photo], *, scale_mm_px: float) -> Patch:
    """Lay photos without cards on one grid: square on, not moved between shots, `scale_mm_px` each pixel."""
    sizes = {p.size_px for p in photos}
    if len(sizes) > 1:
        raise LightcheckError(
            "The photos differ in size.",
            "Without cards the phone must not move: use one tripod set.",
        )
    view = SquareOn(scale_mm_px=scale_mm_px, size_px=photos[0].size_px)
    half = (np.array(view.size_px) / 2 - 2) * scale_mm_px
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    grid, times = _grid(corners, scale_mm_px)
    whole = np.ones(grid.shape, bool)
    extent = (grid, times, whole, whole)
    return _patch(photos, (view,) * len(photos), Base(), extent, cards=(), corner_rms_px=0.0)


def _patch(photos, views, base: Base, extent: tuple, *, cards, corner_rms_px: float) -> Patch:
    """Warp each photo, correct the misfit on the grain, average over cells."""
    grid, times, inside, wood = extent
    fine = grid.finer(times)
    usable = _spread_out(wood, fine)
    sheets, off_axis, misfits, likenesses = [], [], [0.0], [1.0]
    for photo, view in zip(photos, views, strict=True):
        pixels = sheet.places_px(view, base, fine)
        laid = sheet.lay(photo, pixels)
        if sheets:
            pixels, moved, likeness = _aligned(laid, sheets[0], pixels, fine, usable)
            misfits.append(moved)
            likenesses.append(likeness)
            laid = sheet.lay(photo, pixels)
        sheets.append(laid)
        half_diagonal = np.hypot(*view.size_px) / 2
        centre = sheet.places_px(view, base, grid) - view.centre_px
        off_axis.append((centre**2).sum(-1) / half_diagonal**2)
    means, shares = zip(*(sheet.cell_mean(s.log_light, s.sound, times) for s in sheets), strict=True)
    log_light = np.where(np.array(shares) >= SOUND_SHARE, means, np.nan)
    return Patch(
        grid=grid,
        times=times,
        base=base,
        views=tuple(views),
        cards=tuple(cards),
        log_light=frozen(log_light),
        fine_log_light=frozen([s.log_light for s in sheets], np.float32),
        off_axis=frozen(off_axis),
        inside=frozen(inside, bool),
        wood=frozen(wood, bool),
        misfit_mm=tuple(misfits),
        likeness=tuple(likenesses),
        corner_rms_px=corner_rms_px,
        names=tuple(p.name for p in photos),
    )


def _aligned(laid, first, pixels: np.ndarray, fine: Grid, usable: np.ndarray):
    """Pixels moved so that the grain lies on the first shot's; how far, and how alike the grain is."""
    seen = usable & laid.sound & first.sound
    if seen.sum() < 2000:
        return pixels, 0.0, 0.0
    fill = [np.where(np.isfinite(s.log_light), s.log_light, 0.0) for s in (laid, first)]
    moved, likeness = displacement_mm(fill[0], fill[1], cell_mm=fine.cell_mm, seen=seen)
    across = np.gradient(pixels, axis=1) / fine.cell_mm
    up = np.gradient(pixels, axis=0) / fine.cell_mm
    pixels = pixels + across * moved[..., :1] + up * moved[..., 1:]
    return pixels, float(np.sqrt((moved[seen] ** 2).sum(-1).mean())), likeness


def _stretched(seen, stretch: tuple):
    """A sighting whose paper coordinates are those that the printer really made."""
    return cards.Sighting(
        card=seen.card, corners_px=seen.corners_px, corners_mm=frozen(seen.corners_mm * stretch)
    )


def _upright(settled: Settled) -> Settled:
    """Turn the axes so that y is the direction up the first photo at the origin."""
    view = settled.views[0]
    step = view.project_px(settled.base.points_mm([0, 1, 0], [0, 0, 1]))
    slope = np.stack([step[1] - step[0], step[2] - step[0]], axis=1)
    if np.linalg.det(slope) > 0:
        raise LightcheckError(
            "The first photo looks at the wood from behind.", "Use the photo as the phone wrote it."
        )
    up = np.linalg.solve(slope, (0.0, -1.0))
    turn = np.arctan2(-up[0], up[1])
    c, s = np.cos(turn), np.sin(turn)
    axes = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]])
    places = settled.places.copy()
    places[:, :2] = places[:, :2] @ axes[:2, :2].T
    places[:, 2] = np.angle(np.exp(1j * (places[:, 2] - turn)))
    return Settled(
        views=tuple(v.moved(axes, np.zeros(3)) for v in settled.views),
        cards=settled.cards, places=places, base=settled.base.turned(turn),
        rms_px=settled.rms_px, worst_px=settled.worst_px,
    )  # fmt: skip


def _outlines(settled: Settled, stretch: tuple) -> list[np.ndarray]:
    """(4, 2) corners of each card's paper as seen from above. [mm]"""
    e1, e2, _ = card_frames(settled.base, settled.places)
    outlines = []
    for i, number in enumerate(settled.cards):
        half = np.array(cards.size(number).outline_mm) * stretch / 2
        signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
        outlines.append(settled.places[i, :2] + signs[:, :1] * e1[i, :2] + signs[:, 1:] * e2[i, :2])
    return outlines


def _grown(outline: np.ndarray) -> np.ndarray:
    """An outline with the card's rim added."""
    out = outline - outline.mean(axis=0)
    return outline + out / np.linalg.norm(out, axis=1, keepdims=True) * CARD_RIM_MM * np.sqrt(2)


def _pixel_mm(settled: Settled) -> float:
    """Size of a pixel on the wood in the coarsest shot. [mm]"""
    step = [np.diff(v.project_px(settled.base.points_mm([0, 1], [0, 0])), axis=0) for v in settled.views]
    return 1.0 / min(float(np.linalg.norm(s)) for s in step)


def _grid(corners: np.ndarray, pixel_mm: float) -> tuple[Grid, int]:
    """A grid over the corners, and how many fine cells go along one cell."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    size = high - low
    cell = np.clip(np.sqrt(size.prod() / MOST_CELLS), *CELL_RANGE_MM)
    cell = np.ceil(cell * 2) / 2
    if size.prod() / cell**2 > 4 * MOST_CELLS:
        raise LightcheckError(
            f"The patch is {size[0] / 1000:.1f} x {size[1] / 1000:.1f} m: too large for one map.",
            "Map it in stretches of about a metre, each with its own cards.",
        )
    times = int(np.clip(round(cell / pixel_mm), 3, 8))
    return Grid.over((low[0], high[0]), (low[1], high[1]), cell_mm=float(cell)), times


def _filled(grid: Grid, polygons: list[np.ndarray]) -> np.ndarray:
    """(ny, nx) bool: cells whose centres lie in any of the polygons."""
    mask = np.zeros(grid.shape, np.uint8)
    for polygon in polygons:
        rows, columns = grid.index(polygon[:, 0], polygon[:, 1])
        points = np.round(np.stack([columns, rows], axis=1) * 16).astype(np.int32)
        cv2.fillPoly(mask, [points], 1, shift=4)
    return mask > 0
