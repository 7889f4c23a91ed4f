"""Window: the part of the sheet about a thing, and the thing's own place in it.

The thing shows as an outline of known shape; edges of all shots vote for where it lies.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid
from lightcheck.patch import Base
from lightcheck.shadow.things import Thing

FLAT = Base()
SEARCH_MM = 15.0  # a place is typed to so much


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """How the sheet was seen: the photo's name, the wood's base shape, the phone's lens if known, (3,)."""

    photo: str = "the photo"
    base: Base = FLAT
    eye_mm: np.ndarray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The part of the sheet about the thing."""

    grid: Grid
    log_light: np.ndarray
    others: np.ndarray
    thing: Thing
    at_mm: np.ndarray
    setting: Setting

    @classmethod
    def about(cls, sheets, grid: Grid, at_mm, *, thing: Thing, setting: Setting) -> Window:
        """Cut out what the thing and its longest shadow may cover; sheets: the shot and the others."""
        log_light, others = sheets
        reach = SEARCH_MM + max(thing.length_mm, thing.width_mm) + thing.thick_mm / np.tan(np.radians(2.5))
        row, column = (float(v) for v in grid.index(*at_mm))
        if not (0 <= row < grid.ny and 0 <= column < grid.nx):
            raise LightcheckError(
                f"{thing.name} at {at_mm[0]:.0f}, {at_mm[1]:.0f} mm lies outside the cards.",
                "Lay it on the wood between the cards, and give its place: at 80mm,40mm from card 2.",
            )
        n = int(reach / grid.cell_mm)
        low = [max(0, round(v) - n) for v in (row, column)]
        high = [min(s, round(v) + n + 1) for v, s in zip((row, column), grid.shape, strict=True)]
        cut = slice(low[0], high[0]), slice(low[1], high[1])
        part = Grid(
            x0_mm=float(grid.x_mm[low[1]]), y0_mm=float(grid.y_mm[low[0]]), cell_mm=grid.cell_mm,
            nx=high[1] - low[1], ny=high[0] - low[0],
        )  # fmt: skip
        return cls(
            grid=part, log_light=log_light[cut], others=others[(slice(None), *cut)], thing=thing,
            at_mm=at_mm, setting=setting,
        )  # fmt: skip

    def middle(self) -> tuple[np.ndarray, float]:
        """(2,) middle of the thing and its turn, where most edges of all shots lie on its outline."""
        edges = [_edges(s, self.grid.cell_mm) for s in (self.log_light, *self.others)]
        turns = [0.0] if self.thing.kind == "disc" else np.radians(np.arange(0, 180, 5))
        best, step = (0.0, self.at_mm, 0.0), 1.25
        offsets = np.arange(-SEARCH_MM, SEARCH_MM + 0.1, step)
        for turn in turns:
            score = self._votes(edges, self.at_mm + _lattice(offsets), turn, every=2)
            top = int(np.argmax(score))
            best = max(
                best, (float(score[top]), self.at_mm + _lattice(offsets)[top], turn), key=lambda b: b[0]
            )
        for step, swing in ((0.25, 2.0), (0.1, 0.5)):
            _, place, turn = best
            near = place + _lattice(np.arange(-5, 6) * step)
            for t in [turn] if self.thing.kind == "disc" else turn + np.radians(np.arange(-2, 3) * swing):
                score = self._votes(edges, near, t)
                top = int(np.argmax(score))
                best = max(best, (float(score[top]), near[top], t), key=lambda b: b[0])
        return best[1] - self._lean(best[1]), float(best[2])

    def _votes(self, edges: list, places: np.ndarray, turn: float, every: int = 1) -> np.ndarray:
        """(k,) how well the outline about each place lies on edges that run along it."""
        points, normals = (part[::every] for part in self.thing.outline_mm(turn))
        at = places[:, None, :] + points
        rows, columns = self.grid.index(at[..., 0], at[..., 1])
        total = np.zeros(len(places))
        for by_x, by_y in edges:
            parts = [
                ndimage.map_coordinates(e, [rows, columns], order=1, mode="nearest") for e in (by_x, by_y)
            ]
            total += np.abs(parts[0] * normals[:, 0] + parts[1] * normals[:, 1]).mean(axis=1)
        return total

    def _lean(self, place: np.ndarray) -> np.ndarray:
        """(2,) how far the phone sees the top beside the foot."""
        if self.setting.eye_mm is None:
            return np.zeros(2)
        eye, high = np.asarray(self.setting.eye_mm, float), self.thing.thick_mm
        high = high / 2 if self.thing.kind == "dowel" else high
        return (place - eye[:2]) * high / (eye[2] - high)


def _edges(sheet: np.ndarray, cell_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Slopes of the light itself (in its logarithm blur moves an edge to its dark side), held to a size."""
    light = np.exp(np.nan_to_num(sheet - np.nanmedian(sheet), nan=0.0))
    soft = ndimage.gaussian_filter(np.minimum(light, 3.0), 0.6 / cell_mm)
    by_y, by_x = np.gradient(soft, cell_mm)
    size = np.hypot(by_x, by_y)
    held = np.minimum(size, 0.15) / np.maximum(size, 1e-9)
    return by_x * held, by_y * held


def tone(others: np.ndarray) -> np.ndarray:
    """The wood's own tone: the brightest of the others, each levelled, so that no shadow counts."""
    if not len(others):
        return np.float64(0.0)
    y, x = (i - n / 2 for i, n in zip(np.indices(others.shape[1:]), others.shape[1:], strict=True))
    level = []
    for sheet in others:
        by_y, by_x = (np.nanmedian(g) for g in np.gradient(sheet))
        even = sheet - by_x * x - by_y * y
        level.append(even - np.nanmedian(even))
    return np.fmax.reduce(level)


def _lattice(offsets: np.ndarray) -> np.ndarray:
    return np.stack(np.meshgrid(offsets, offsets), axis=-1).reshape(-1, 2)
