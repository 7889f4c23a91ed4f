"""Creases: lines that the fair surface does not cross, and areas that are meant to be flat.

    stencil  o o o o      a third difference that would reach across a crease is left out, so the
                 /        surface may break there; past the end of a crease that dies out the
            o o / o o     stencils close again

The break itself, |distance from the crease|, goes round the coarse sheet untouched as quadratics do. A
crease runs on to the edge of the map; only one that dies out ends where it was drawn to end.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import sparse

from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid

MOVED_MM = 3.0  # that cards may lie off before marks are taken to be of another map
FLAT_TIMES = 3.0  # lengths of a flat, over which its second differences are held at nothing
_FAR_MM = 1e5
_ALIKE = 0.02  # sine of the angle between bevels of one run
_AGAIN = "Mark this map anew with lightcheck mark."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crease:
    """A line not to fair across. at_mm: (n, 2).  dies_out: it fades to nothing at its last point."""

    at_mm: np.ndarray
    dies_out: bool = False

    @property
    def run_mm(self) -> np.ndarray:
        """(n, 2) the line, carried straight on past the ends that do not die out. [mm]"""
        run = np.array(self.at_mm, float)
        first = run[0] + (run[0] - run[1]) / max(np.linalg.norm(run[0] - run[1]), 1e-9) * _FAR_MM
        last = run[-1] + (run[-1] - run[-2]) / max(np.linalg.norm(run[-1] - run[-2]), 1e-9) * _FAR_MM
        return np.concatenate([first[None], run, run[-1:] if self.dies_out else last[None]])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Flat:
    """An area meant to be flat. outline_mm: (n, 2).  across_rad: flat in this direction only (a bevel)."""

    outline_mm: np.ndarray
    across_rad: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Creases:
    """All that the fair surface must respect. cards: (number, x, y) where they lay when it was marked."""

    lines: tuple[Crease, ...] = ()
    flats: tuple[Flat, ...] = ()
    cards: tuple[tuple[int, float, float], ...] = ()

    def __bool__(self) -> bool:
        """Whether there is anything."""
        return bool(self.lines or self.flats)

    def on(self, cards) -> Creases:
        """The same in the frame of a map with these cards. Refuses one in which they lie otherwise."""
        if not self or not self.cards:
            return self
        turn, shift = carried(self.cards, cards)
        angle = float(np.arctan2(turn[1, 0], turn[0, 0]))
        return Creases(
            lines=tuple(Crease(at_mm=c.at_mm @ turn.T + shift, dies_out=c.dies_out) for c in self.lines),
            flats=tuple(
                Flat(
                    outline_mm=f.outline_mm @ turn.T + shift,
                    across_rad=None if f.across_rad is None else f.across_rad + angle,
                )
                for f in self.flats
            ),
            cards=tuple((c.card, float(c.x_mm), float(c.y_mm)) for c in cards),
        )


def carried(was: tuple[tuple[int, float, float], ...], cards) -> tuple[np.ndarray, np.ndarray]:
    """Turn (2, 2) and shift (2,) from one map to another by the cards that are on both, by least squares.

    was: (number, x, y).  cards: (card, x_mm, y_mm).  Refuses cards that lie otherwise to each other.
    """
    now = {c.card: (c.x_mm, c.y_mm) for c in cards}
    both = [((x, y), now[n]) for n, x, y in was if n in now]
    if len(both) < 2:
        raise LightcheckError(
            "The marks belong to another map: fewer than two of their cards are on this one.", _AGAIN
        )
    then, here = (np.array(side, float) for side in zip(*both, strict=True))
    u, _, vt = np.linalg.svd((then - then.mean(axis=0)).T @ (here - here.mean(axis=0)))
    turn = vt.T @ np.diag([1.0, np.sign(np.linalg.det(vt.T @ u.T))]) @ u.T
    shift = here.mean(axis=0) - turn @ then.mean(axis=0)
    off = float(np.linalg.norm(then @ turn.T + shift - here, axis=1).max())
    if off > MOVED_MM:
        raise LightcheckError(
            f"The marks belong to another map: a card lies {off:.0f} mm from where it lay.", _AGAIN
        )
    return turn, shift


def terms(creases: Creases, grid: Grid) -> np.ndarray:
    """(ny, nx, k) heights of the breaks themselves, two for each crease: alike and changing along it."""
    x, y = grid.mesh_mm()
    at = np.column_stack([x.ravel(), y.ravel()])
    found = []
    for crease in creases.lines:
        away, along = _from(at, crease.run_mm)
        inner = np.clip(along - _FAR_MM, 0.0, None)
        length = np.linalg.norm(np.diff(crease.at_mm, axis=0), axis=1).sum()
        share = inner / length
        fades = (np.clip(1 - share, 0, 1), np.clip(1 - share, 0, 1) ** 2) if crease.dies_out else (1.0, share)
        found += [(away * f / length).reshape(grid.shape) for f in fades]
    return np.stack(found, axis=-1) if found else np.empty((*grid.shape, 0))


def flat_terms(creases: Creases, grid: Grid) -> np.ndarray:
    """(ny, nx, k) surfaces that every flat leaves alone: planes, and the round along bevels of one run."""
    x, y = grid.mesh_mm()
    found = [np.ones_like(x), x, y]
    across = [f.across_rad for f in creases.flats]
    if None not in across and all(abs(np.sin(a - across[0])) < _ALIKE for a in across):
        found.append((y * np.cos(across[0]) - x * np.sin(across[0])) ** 2)
    found = [f / np.abs(f).max() for f in found]
    return np.stack(found, axis=-1)


def cuts(creases: Creases, mesh: tuple[np.ndarray, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Links between neighbouring cells that a crease or the rim of a flat crosses.

    mesh: x and y of the cells (ny, nx). Returns (ny, nx - 1) of level links and (ny - 1, nx) of upright ones.
    """
    cells = np.stack(mesh, axis=-1)
    runs = [c.run_mm for c in creases.lines]
    runs += [np.concatenate([f.outline_mm, f.outline_mm[:1]]) for f in creases.flats]
    level = np.zeros((cells.shape[0], cells.shape[1] - 1), bool)
    upright = np.zeros((cells.shape[0] - 1, cells.shape[1]), bool)
    for run in runs:
        for a, b in pairwise(run):
            level |= _crossed(cells[:, :-1], cells[:, 1:], a, b)
            upright |= _crossed(cells[:-1], cells[1:], a, b)
    return level, upright


def whole(cut: tuple[np.ndarray, np.ndarray], shape: tuple[int, int]) -> np.ndarray:
    """(rows, columns) bool: windows of this shape that no crease runs through."""
    level, upright = cut
    tall, wide = shape
    ny, nx = level.shape[0], upright.shape[1]
    broken = np.zeros((ny - tall + 1, nx - wide + 1), bool)
    if wide > 1:
        view = np.lib.stride_tricks.sliding_window_view(level, (tall, wide - 1))
        broken |= view.any(axis=(2, 3))
    if tall > 1:
        view = np.lib.stride_tricks.sliding_window_view(upright, (tall - 1, wide))
        broken |= view.any(axis=(2, 3))
    return ~broken


def flat_penalty(
    creases: Creases, mesh: tuple[np.ndarray, np.ndarray], number: np.ndarray, step_mm: float
) -> sparse.csr_array:
    """Second differences within the flats, squared. number: (ny, nx) of the unknowns, -1 outside."""
    count = int(number.max()) + 1
    total = sparse.csr_array((count, count))
    cells = np.stack(mesh, axis=-1).reshape(-1, 2)
    for flat in creases.flats:
        inside = _inside(cells, flat.outline_mm).reshape(number.shape) & (number >= 0)
        size = float(np.ptp(flat.outline_mm, axis=0).max())
        scale = (FLAT_TIMES * size / step_mm) ** 2
        for stencil in _bends(flat.across_rad):
            windows = np.lib.stride_tricks.sliding_window_view(np.where(inside, number, -1), stencil.shape)
            windows = windows.reshape(-1, stencil.size)[:, stencil.ravel() != 0]
            held = windows[(windows >= 0).all(axis=1)]
            values = np.tile(scale * stencil.ravel()[stencil.ravel() != 0], len(held))
            rows = np.repeat(np.arange(len(held)), held.shape[1])
            part = sparse.csr_array((values, (rows, held.ravel())), shape=(len(held), count))
            total = total + part.T @ part
    return total


def _bends(across_rad: float | None) -> list[np.ndarray]:
    """Second differences: all of them, or the one in a direction."""
    xx = np.array([[0, 0, 0], [1, -2, 1], [0, 0, 0]], float)
    xy = np.array([[1, 0, -1], [0, 0, 0], [-1, 0, 1]], float) / 4
    if across_rad is None:
        return [xx, xx.T, 2**0.5 * xy]
    c, s = np.cos(across_rad), np.sin(across_rad)
    return [c * c * xx + 2 * c * s * xy + s * s * xx.T]


def _crossed(starts: np.ndarray, ends: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Whether links start-end cross the piece a-b; a link that starts on it is crossed."""

    def side(p, q, r):
        return (q[..., 0] - p[..., 0]) * (r[..., 1] - p[..., 1]) - (q[..., 1] - p[..., 1]) * (
            r[..., 0] - p[..., 0]
        )

    return ((side(a, b, starts) > 0) != (side(a, b, ends) > 0)) & (
        (side(starts, ends, a) > 0) != (side(starts, ends, b) > 0)
    )


def _from(at: np.ndarray, run: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n,) distance from a run, and how far along it the nearest place is. [mm]"""
    best, along = np.full(len(at), np.inf), np.zeros(len(at))
    start = 0.0
    for a, b in pairwise(run):
        length = float(np.linalg.norm(b - a))
        if length < 1e-9:
            continue
        way = (b - a) / length
        share = np.clip((at - a) @ way, 0, length)
        away = np.linalg.norm(at - a - share[:, None] * way, axis=1)
        along = np.where(away < best, start + share, along)
        best = np.minimum(best, away)
        start += length
    return best, along


def _inside(points: np.ndarray, polygon: np.ndarray) -> np.ndarray:
    x, y = points[:, 0, None], points[:, 1, None]
    x0, y0 = polygon.T
    x1, y1 = np.roll(polygon, -1, axis=0).T
    spans = (y0 > y) != (y1 > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        meets = x < x0 + (y - y0) / (y1 - y0) * (x1 - x0)
    return (spans & meets).sum(axis=1) % 2 == 1
