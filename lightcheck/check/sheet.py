"""Sheet: the photos laid on one millimetre sheet, for looking at them only.

It is made from the cards as the map is, but coarser and before anything is measured: places are good
to a millimetre, which is enough to ask where it is bright, sharp or shiny.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from lightcheck import card as cards
from lightcheck.card import Sighting
from lightcheck.grid import Grid
from lightcheck.patch import Base, Patch, View
from lightcheck.patch.bundle import Settled, card_frames, settle
from lightcheck.patch.start import rough
from lightcheck.photo import Photo, srgb_decode

STEP_MM = 1.0
_COARSE = 6  # pixels are projected for every so many cells and interpolated
_RIM_MM = 5.0  # round a card: its edge and its shadow
_MOST_CELLS = 2_000_000
_LINEAR = srgb_decode(np.arange(256) / 255).astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """n photos on a grid of millimetres.

    rgb: (n, ny, nx, 3) float32 linear, NaN outside the photo.  spoilt: (n, ny, nx) bool.
    wood: (ny, nx) bool, inside the hull of the cards and off them.
    halves: for each half of each card, (x_mm, y_mm, (ny, nx) bool mask of its paper).
    places: card number to x, y, turn of its middle.  pixel_mm: (n,) size of a pixel on the wood.
    """

    grid: Grid
    base: Base
    views: tuple[View, ...]
    places: dict[int, np.ndarray]
    rgb: np.ndarray
    spoilt: np.ndarray
    wood: np.ndarray
    halves: tuple[tuple[float, float, np.ndarray], ...]
    pixel_mm: np.ndarray

    @property
    def light(self) -> np.ndarray:
        """(n, ny, nx) luminance."""
        return self.rgb @ np.array([0.2126, 0.7152, 0.0722], np.float32)

    def centres_mm(self) -> dict[int, np.ndarray]:
        """(3,) place of each card's middle."""
        return {card: self.base.points_mm(p[0], p[1]) for card, p in self.places.items()}


def from_sightings(photos: tuple[Photo, ...], sightings: tuple[tuple[Sighting, ...], ...]) -> Sheet:
    """Lay the photos out. Refuses as the bundle does: too few cards, none shared, cards moved."""
    found = _upright(settle(rough(list(photos), list(sightings)), thickness_mm=0.0))
    return _sheet(photos, found.views, found.base, dict(zip(found.cards, found.places, strict=True)))


def from_patch(photos: tuple[Photo, ...], patch: Patch) -> Sheet:
    """The same from a patch that has been laid out already. photos: as in the patch."""
    places = {c.card: np.array([c.x_mm, c.y_mm, c.turn_rad]) for c in patch.cards}
    sheet = _sheet(photos, patch.views, patch.base, places)
    at = patch.grid.index(*sheet.grid.mesh_mm())
    cell = tuple(np.clip(np.rint(i).astype(int), 0, n - 1) for i, n in zip(at, patch.wood.shape, strict=True))
    return replace(sheet, wood=sheet.wood & patch.wood[cell])  # paper besides the cards is no wood


def _sheet(photos, views: tuple[View, ...], base: Base, places: dict[int, np.ndarray]) -> Sheet:
    outlines = _outlines(base, places)
    hull = cv2.convexHull(np.concatenate(outlines).astype(np.float32)).reshape(-1, 2)
    low, high = hull.min(axis=0), hull.max(axis=0)
    step = max(STEP_MM, float(np.sqrt((high - low).prod() / _MOST_CELLS)))
    grid = Grid.over((low[0], high[0]), (low[1], high[1]), cell_mm=step)
    covered = _filled(grid, [_grown(o) for o in outlines])
    laid = [_laid(p, v, base, grid) for p, v in zip(photos, views, strict=True)]
    return Sheet(
        grid=grid,
        base=base,
        views=tuple(views),
        places=places,
        rgb=np.array([rgb for rgb, _ in laid]),
        spoilt=np.array([spoilt for _, spoilt in laid]),
        wood=_filled(grid, [hull]) & ~covered,
        halves=tuple(_halves(grid, outlines)),
        pixel_mm=np.array([_pixel_mm(v, base) for v in views]),
    )


def _laid(photo: Photo, view: View, base: Base, grid: Grid) -> tuple[np.ndarray, np.ndarray]:
    """A photo's colours in linear light, and what it lost, on the grid."""
    shrink = max(1, int(grid.cell_mm / _pixel_mm(view, base) + 0.2))
    high, wide = (n // shrink for n in photo.light.shape)
    cut = np.s_[: high * shrink, : wide * shrink]
    coded = cv2.resize(photo.coded[cut], (wide, high), interpolation=cv2.INTER_AREA)
    lost = cv2.resize(photo.spoilt[cut].astype(np.uint8) * 255, (wide, high), interpolation=cv2.INTER_AREA)
    at = (_pixels(view, base, grid) + 0.5) / shrink - 0.5
    inside = ((at >= 0) & (at <= (wide - 1, high - 1))).all(axis=-1)
    column, row = (np.ascontiguousarray(at[..., i], np.float32) for i in (0, 1))
    linear = cv2.LUT(coded, _LINEAR[None])
    rgb = cv2.remap(linear, column, row, cv2.INTER_LINEAR)
    rgb[~inside] = np.nan
    return rgb, (cv2.remap(lost, column, row, cv2.INTER_LINEAR) > 12) | ~inside


def _pixels(view: View, base: Base, grid: Grid) -> np.ndarray:
    """(ny, nx, 2) pixel of every cell, by way of a coarser net."""
    net = Grid(
        x0_mm=grid.x0_mm - _COARSE * grid.cell_mm, y0_mm=grid.y0_mm - _COARSE * grid.cell_mm,
        cell_mm=grid.cell_mm * _COARSE, nx=grid.nx // _COARSE + 4, ny=grid.ny // _COARSE + 4,
    )  # fmt: skip
    pixels = view.project_px(base.points_mm(*net.mesh_mm())).astype(np.float32)
    rows, columns = np.indices(grid.shape, dtype=np.float32)
    return cv2.remap(pixels, columns / _COARSE + 1, rows / _COARSE + 1, cv2.INTER_LINEAR)


def _pixel_mm(view: View, base: Base) -> float:
    a, b, c = view.project_px(base.points_mm([0.0, 1.0, 0.0], [0.0, 0.0, 1.0]))
    return 1 / float(np.sqrt(np.linalg.norm(b - a) * np.linalg.norm(c - a)))


def _upright(settled: Settled) -> Settled:
    """Axes turned so that y points up the first photo at the origin."""
    view = settled.views[0]
    step = view.project_px(settled.base.points_mm([0, 1, 0], [0, 0, 1]))
    up = np.linalg.solve(np.stack([step[1] - step[0], step[2] - step[0]], axis=1), (0.0, -1.0))
    turn = np.arctan2(-up[0], up[1])
    c, s = np.cos(turn), np.sin(turn)
    axes = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]])
    places = settled.places.copy()
    places[:, :2] = places[:, :2] @ axes[:2, :2].T
    places[:, 2] -= turn
    return Settled(
        views=tuple(v.moved(axes, np.zeros(3)) for v in settled.views),
        cards=settled.cards, places=places, base=settled.base.turned(turn),
        rms_px=settled.rms_px, worst_px=settled.worst_px,
    )  # fmt: skip


def _outlines(base: Base, places: dict[int, np.ndarray]) -> list[np.ndarray]:
    """(4, 2) corners of each card's paper, seen from above: left low, right low, right high, left high."""
    middles = np.array(list(places.values()))
    e1, e2, _ = card_frames(base, middles)
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    outlines = []
    for i, number in enumerate(places):
        half = signs * np.array(cards.size(number).outline_mm) / 2
        outlines.append(middles[i, :2] + half[:, :1] * e1[i, :2] + half[:, 1:] * e2[i, :2])
    return outlines


def _grown(outline: np.ndarray) -> np.ndarray:
    out = outline - outline.mean(axis=0)
    return outline + out / np.linalg.norm(out, axis=1, keepdims=True) * _RIM_MM * np.sqrt(2)


def _halves(grid: Grid, outlines: list[np.ndarray]):
    """Each card in two, along its long side, less its rim."""
    for a, b, c, d in outlines:
        low, high = (a + b) / 2, (d + c) / 2
        for part in (np.array([a, low, high, d]), np.array([low, b, c, high])):
            middle = part.mean(axis=0)
            yield float(middle[0]), float(middle[1]), _filled(grid, [middle + 0.94 * (part - middle)])


def _filled(grid: Grid, polygons: list[np.ndarray]) -> np.ndarray:
    mask = np.zeros(grid.shape, np.uint8)
    for polygon in polygons:
        rows, columns = grid.index(polygon[:, 0], polygon[:, 1])
        cv2.fillPoly(mask, [np.round(np.stack([columns, rows], axis=1) * 16).astype(np.int32)], 1, shift=4)
    return mask > 0
