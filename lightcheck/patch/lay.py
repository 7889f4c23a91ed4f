"""From photos and sightings to the Patch."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import cv2
import numpy as np

from lightcheck import card as cards
from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid, frozen
from lightcheck.patch import sheet
from lightcheck.patch.base import Base
from lightcheck.patch.bundle import Settled, Ties, settle
from lightcheck.patch.extent import Extent, over_all, over_cards
from lightcheck.patch.misfit import displacement_mm
from lightcheck.patch.start import rough
from lightcheck.patch.view import SquareOn
from lightcheck.photo import Photo

MOST_CELLS = 17000  # keeps the solve near two seconds
SOUND_SHARE = 0.6  # of a cell's fine cells that must be usable
TIE_LIKENESS = 0.5  # of the grain, for its places to count in the bundle
TIE_REACH_MM, TIE_SHARE = 60.0, 0.1  # wood seen about a place, for its tie to count
THREADS = 2  # shots laid at a time


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
    extent = over_cards(settled, stretch, most_cells=MOST_CELLS)
    shots = _shots(photos, settled.views, settled.base, extent)
    ties = _grain_ties(shots, settled, extent) if len(photos) > 1 else None
    if ties is not None:
        settled = _upright(settle(start, thickness_mm=thickness_mm, ties=ties))
        extent = over_cards(settled, stretch, most_cells=MOST_CELLS)
    places = tuple(
        CardPlace(card=c, x_mm=float(x), y_mm=float(y), turn_rad=float(t))
        for c, (x, y, t) in zip(settled.cards, settled.places, strict=True)
    )
    names = tuple(p.name for p in photos)
    patch = _patch(shots, settled.views, settled.base, extent, names=names)
    return replace(patch, cards=places, corner_rms_px=settled.rms_px)


def _shots(photos, views, base: Base, extent: Extent) -> list[sheet.Shrunk]:
    """The photos, no finer than the sheet needs them."""
    across = (np.diff(sheet.places_px(v, base, extent.grid), axis=1) / extent.times for v in views)
    steps = [float(np.median(np.linalg.norm(step, axis=-1))) for step in across]
    with ThreadPoolExecutor(THREADS) as pool:
        return list(pool.map(sheet.shrunk, photos, steps))


def _laid(shots: list[sheet.Shrunk], views, base: Base, fine: Grid) -> list[tuple[np.ndarray, sheet.Sheet]]:
    """Each shot's pixels of the fine cells, and the shot laid there."""
    places = base.points_mm(*fine.mesh_mm())

    def one(shot: sheet.Shrunk, view) -> tuple[np.ndarray, sheet.Sheet]:
        pixels = view.project_px(places)
        return pixels, sheet.lay(shot, pixels)

    with ThreadPoolExecutor(THREADS) as pool:
        return list(pool.map(one, shots, views))


def _grain_ties(shots: list[sheet.Shrunk], settled: Settled, extent: Extent) -> Ties | None:
    """Match the grain of every shot with the first one's on a coarse lattice of places."""
    fine, usable = extent.fine, extent.fine_wood
    (first_px, first), *others = _laid(shots, settled.views, settled.base, fine)
    rows, columns = (np.linspace(0.08, 0.92, n) * size for n, size in zip((6, 8), fine.shape, strict=True))
    at = tuple(i.astype(int).ravel() for i in np.meshgrid(rows, columns, indexing="ij"))
    found = []
    for shot, (pixels, laid) in enumerate(others, start=1):
        seen = usable & laid.sound & first.sound
        off_mm, likeness = _misfit(laid, first, fine, seen)
        known = _share_about(seen, fine)[at] > TIE_SHARE
        if likeness > TIE_LIKENESS and known.any():
            moved = _moved(pixels, off_mm, fine)[at]
            found.append((first_px[at][known], moved[known], np.full(known.sum(), shot)))
    if not found:
        return None
    first_px, other_px, view_of = (np.concatenate(part) for part in zip(*found, strict=True))
    return Ties(first_px=first_px, other_px=other_px, view_of=view_of)


def _share_about(seen: np.ndarray, fine: Grid) -> np.ndarray:
    """(fy, fx) share of the cells about each that were seen; a tie among clipped wood knows nothing."""
    across = 2 * round(TIE_REACH_MM / fine.cell_mm) + 1
    return cv2.blur(seen.astype(np.float32), (across, across), borderType=cv2.BORDER_REPLICATE)


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
    extent, views = over_all(corners, scale_mm_px, most_cells=MOST_CELLS), (view,) * len(photos)
    shots = _shots(photos, views, Base(), extent)
    return _patch(shots, views, Base(), extent, names=tuple(p.name for p in photos))


def _patch(shots: list[sheet.Shrunk], views, base: Base, extent: Extent, *, names: tuple[str, ...]) -> Patch:
    """Warp each photo, correct the misfit on the grain, average over cells."""
    fine, usable = extent.fine, extent.fine_wood
    (_, first), *others = _laid(shots, views, base, fine)

    def matched(shot: sheet.Shrunk, pixels: np.ndarray, laid: sheet.Sheet) -> tuple:
        seen = usable & laid.sound & first.sound
        off_mm, likeness = _misfit(laid, first, fine, seen)
        typical = float(np.sqrt((off_mm[seen] ** 2).sum(-1).mean())) if seen.any() else 0.0
        return sheet.lay(shot, _moved(pixels, off_mm, fine)), typical, likeness

    with ThreadPoolExecutor(THREADS) as pool:
        rest = pool.map(matched, shots[1:], *zip(*others, strict=True)) if others else ()
        sheets, misfits, likenesses = zip((first, 0.0, 1.0), *rest, strict=True)
    means, shares = zip(*(sheet.cell_mean(s.log_light, s.sound, extent.times) for s in sheets), strict=True)
    log_light = np.where(np.array(shares) >= SOUND_SHARE, means, np.nan)
    return Patch(
        grid=extent.grid,
        times=extent.times,
        base=base,
        views=tuple(views),
        cards=(),
        log_light=frozen(log_light),
        fine_log_light=frozen([s.log_light for s in sheets], np.float32),
        off_axis=frozen([_off_axis(view, base, extent.grid) for view in views]),
        inside=frozen(extent.inside, bool),
        wood=frozen(extent.wood, bool),
        misfit_mm=misfits,
        likeness=likenesses,
        corner_rms_px=0.0,
        names=names,
    )


def _off_axis(view, base: Base, grid: Grid) -> np.ndarray:
    away = sheet.places_px(view, base, grid) - view.centre_px
    return (away**2).sum(-1) / (np.hypot(*view.size_px) / 2) ** 2


def _misfit(laid: sheet.Sheet, first: sheet.Sheet, fine: Grid, seen: np.ndarray) -> tuple[np.ndarray, float]:
    """How far the grain lies off the first shot's, (fy, fx, 2) in mm, and how alike it is."""
    if seen.sum() < 2000:
        return np.zeros((*fine.shape, 2), np.float32), 0.0
    fill = [np.where(np.isfinite(s.log_light), s.log_light, 0.0) for s in (laid, first)]
    return displacement_mm(fill[0], fill[1], cell_mm=fine.cell_mm, seen=seen)


def _moved(pixels: np.ndarray, off_mm: np.ndarray, fine: Grid) -> np.ndarray:
    """Pixels moved so that the grain lies on the first shot's."""
    moved = pixels.copy()
    for axis in (0, 1):  # of the pixels: y comes first
        slope = np.gradient(pixels, axis=axis)
        slope *= off_mm[..., 1 - axis, None] / fine.cell_mm
        moved += slope
    return moved


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
