"""Search: rough places of AFTER's wood on BEFORE's, by correlation over all shifts at many turns."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from scipy import fft

from lightcheck.change.grain import Grain

LEAST_OVERLAP = 0.35  # of the smaller piece of wood
TOP = 4  # places handed on from each turn
RIVAL_MM = 6.0  # peaks nearer than this are one


@dataclass(frozen=True, slots=True, kw_only=True)
class Rough:
    """A likely place: place in AFTER = turn(place in BEFORE) + shift.

    score: correlation of the detail, in units of what unlike wood gives were every cell by itself.
    """

    score: float
    turn_rad: float
    shift_mm: np.ndarray


def rough_places(
    before: Grain,
    after: Grain,
    *,
    turns_rad: Iterable[float],
    about: Callable[[float], np.ndarray] | None = None,
    reach_mm: float = np.inf,
) -> list[Rough]:
    """The likeliest places, best first.

    about: turn -> (2,) shift that the search is centred on; only shifts within reach_mm of it count.
    """
    fixed: dict[tuple, np.ndarray] = {}
    found: list[Rough] = []
    for turn in turns_rad:
        centre = None if about is None else about(float(turn))
        found += _at_turn(fixed, before, after, float(turn), (centre, reach_mm))
    return sorted(found, key=lambda r: -r.score)


def _at_turn(fixed: dict, before: Grain, after: Grain, turn: float, limit: tuple) -> list[Rough]:
    """Best few shifts at one turn. fixed: transforms of BEFORE by shape, kept from turn to turn."""
    cell = before.grid.cell_mm
    detail, seen, corner = turned_back(after, turn, cell)
    shape = tuple(_roomy(a + b) for a, b in zip(before.grid.shape, detail.shape, strict=True))
    if shape not in fixed:
        fixed[shape] = _transforms(before.detail, before.seen, shape)
    product = fixed[shape].conj() * _transforms(detail, seen, shape)
    alike, overlap = fft.irfft2(product, shape)
    score = alike / np.sqrt(np.maximum(overlap, 1.0))
    score[overlap < LEAST_OVERLAP * min(before.seen.sum(), after.seen.sum())] = -np.inf
    # cell (r, c) of BEFORE lies on cell (r + rows, c + columns) of the sheet turned back
    rows, columns = (np.fft.fftfreq(n, 1 / n) for n in shape)
    moved_y = corner[1] + rows * cell - before.grid.y0_mm
    moved_x = corner[0] + columns * cell - before.grid.x0_mm
    centre, reach = limit
    if centre is not None:
        want = np.asarray(centre) @ _turned(turn)  # turned back
        away = np.hypot(moved_y[:, None] - want[1], moved_x[None, :] - want[0])
        score[away > reach] = -np.inf
    return _peaks(score, moved_x, moved_y, turn, cell)


def _roomy(length: int) -> int:
    """A quick length for the transform, in coarse steps so that neighbouring turns share one."""
    return fft.next_fast_len(-(-length // 32) * 32, real=True)


def _transforms(detail: np.ndarray, seen: np.ndarray, shape: tuple) -> np.ndarray:
    return fft.rfft2(np.stack([detail, seen.astype(np.float32)]), shape)


def _turned(turn: float) -> np.ndarray:
    c, s = np.cos(turn), np.sin(turn)
    return np.array([[c, -s], [s, c]])


def _peaks(score, moved_x, moved_y, turn: float, cell: float) -> list[Rough]:
    found = []
    half = int(RIVAL_MM / cell)
    for _ in range(TOP):
        row, column = np.unravel_index(int(np.argmax(score)), score.shape)
        best = float(score[row, column])
        if not np.isfinite(best):
            break
        shift = _turned(turn) @ np.array([moved_x[column], moved_y[row]])
        found.append(Rough(score=best, turn_rad=turn, shift_mm=shift))
        rows = (np.arange(-half, half + 1) + row) % score.shape[0]
        columns = (np.arange(-half, half + 1) + column) % score.shape[1]
        score[np.ix_(rows, columns)] = -np.inf
    return found


def turned_back(after: Grain, turn: float, cell: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """AFTER's sheet turned by -turn about its frame's origin: detail, seen, (2,) place of its first cell."""
    c, s = np.cos(turn), np.sin(turn)
    grid = after.grid
    x, y = (np.array(v)[[0, -1]] for v in (grid.x_mm, grid.y_mm))
    corners = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2) @ _turned(turn)
    low, high = corners.min(axis=0), corners.max(axis=0)
    nx, ny = (int(np.ceil((b - a) / cell)) + 1 for a, b in zip(low, high, strict=True))
    bx, by = np.meshgrid(low[0] + cell * np.arange(nx), low[1] + cell * np.arange(ny))
    rows, columns = grid.index(c * bx - s * by, s * bx + c * by)
    maps = (columns.astype(np.float32), rows.astype(np.float32))
    detail = cv2.remap(after.detail, *maps, cv2.INTER_LINEAR, borderValue=0.0)
    seen = cv2.remap(after.seen.astype(np.uint8), *maps, cv2.INTER_NEAREST, borderValue=0) > 0
    return detail * seen, seen, low
