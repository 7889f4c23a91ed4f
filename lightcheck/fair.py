"""The fair surface nearest to the relief, and the cut-only target below it.

Fairness is the absence of change in curvature: what is penalised is the third derivative, so every
quadratic surface (a barrel, a twist) passes untouched to its very edges.

    minimise  sum w (z - f)^2 + l^6 (f_xxx^2 + 3 f_xxy^2 + 3 f_xyy^2 + f_yyy^2),   l = cutoff / 2 pi

A wave as long as the cut-off comes out at half its height; the cut-off is twice the longest hump that
still counts, for at once that length a linear filter keeps only 60 % of a wide hump. With the second
derivative instead of the third, the same core is the spline filter of ISO 16610-22 (beta 0).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np
from scipy import ndimage, sparse
from scipy.sparse.linalg import splu

from lightcheck import crease
from lightcheck.crease import Creases
from lightcheck.grid import Grid, frozen
from lightcheck.relief import Relief

FLOOR_MM = 0.005  # no height is claimed to be surer than this
SHEET_CELLS = 2600  # the fair surface is smooth: a coarse sheet carries it
KNEE_MM = 0.02  # wood that stands off by more than this says little about where fair lies
WIDE_MM, ROUNDS = 0.4, 14
BELOW = 0.004  # weight of wood above the cut-only target, against 1 for wood below it


@dataclass(frozen=True, slots=True, kw_only=True)
class FairSurface:
    """Fair surface and what stands above it.

    fair_mm, target_mm: (ny, nx) over the base, NaN outside.  height_mm: (ny, nx) relief less fair,
    NaN where not seen.  sigma_mm: (ny, nx) of that height.  come_off_mm: (ny, nx) relief less target,
    NaN where not seen.  draws_mm: (n, ny, nx) float32 heights of the draws, each above its own fair surface.
    """

    fair_mm: np.ndarray
    target_mm: np.ndarray
    height_mm: np.ndarray
    sigma_mm: np.ndarray
    come_off_mm: np.ndarray
    draws_mm: np.ndarray


def surface(
    relief: Relief, *, longest_mm: tuple[float, float], order: int = 3, creases: Creases | None = None
) -> FairSurface:
    """Fair surface, cut-only target and heights of a relief and of its draws.

    longest_mm: longest hump that still counts, along x and along y.  order: of the derivative that is
    penalised.  creases: lines that it does not cross, areas that are meant to be flat.
    """
    creases = creases or Creases()
    sheet = _Sheet.over(relief, longest_mm, order, creases)
    bow, *bows = _quadratics(relief, creases)
    z = sheet.gather(relief.z_mm - bow)
    weight = sheet.robust(z)
    fair = bow + sheet.spread(sheet.solve(weight, z))
    rest = [sheet.gather(d - b) for d, b in zip(relief.draws_mm, bows, strict=True)]
    pulled = sheet.solve(weight, np.stack(rest, axis=1))
    draws = relief.draws_mm - np.array([b + sheet.spread(c) for b, c in zip(bows, pulled.T, strict=True)])
    target = bow + sheet.spread(sheet.under(z))
    target = target - max(0.0, float(np.nanquantile((target - relief.z_mm)[relief.seen], 0.995)))
    height = np.where(relief.seen, relief.z_mm - fair, np.nan)
    spread = np.sqrt(((draws - (relief.z_mm - fair)) ** 2).mean(axis=0))
    return FairSurface(
        fair_mm=frozen(fair),
        target_mm=frozen(np.minimum(target, relief.z_mm)),
        height_mm=frozen(height),
        sigma_mm=frozen(np.where(relief.seen, np.maximum(spread, FLOOR_MM), np.nan)),
        come_off_mm=frozen(np.where(relief.seen, np.maximum(relief.z_mm - target, 0.0), np.nan)),
        draws_mm=frozen(draws, np.float32),
    )


def _quadratics(relief: Relief, creases: Creases) -> np.ndarray:
    """(1 + n, ny, nx) quadratic parts of the relief and of its draws, by least squares. [mm]

    A quadratic is fair whatever the weights, so it goes round the coarse sheet untouched: the middle of
    a cut block at the edge is not the middle of its cells. So do the breaks along creases. Where something
    is meant to be flat, only what is flat there goes round.
    """
    x, y = (c / np.abs(c).max() for c in relief.grid.mesh_mm())
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    if creases:
        smooth = crease.flat_terms(creases, relief.grid) if creases.flats else terms
        terms = np.concatenate([smooth, crease.terms(creases, relief.grid)], axis=-1)
    known = np.concatenate([relief.z_mm[None], relief.draws_mm])[:, relief.seen]
    fit, *_ = np.linalg.lstsq(terms[relief.seen], known.T, rcond=None)
    return np.moveaxis(terms @ fit, -1, 0)


def fair_profile(height_mm: np.ndarray, *, step_mm: float, cutoff_mm: float, order: int = 3) -> np.ndarray:
    """The one-dimensional core without robust weights: (n,) heights to their fair line. [mm]

    order 2 is the spline filter of ISO 16610-22 with beta 0, transfer 1 / (1 + (cutoff / wave)^4).
    """
    number = len(height_mm)
    rise = np.diff(np.eye(number), order, axis=0) / step_mm**order
    stiff = (_sharp(cutoff_mm, step_mm)) ** (2 * order)
    return np.linalg.solve(np.eye(number) + stiff * rise.T @ rise, height_mm)


def _sharp(cutoff_mm: float, step_mm: float) -> float:
    """1 / (the discrete wave number at the cut-off), so that half passes there exactly. [mm]"""
    return step_mm / (2 * np.sin(np.pi * step_mm / cutoff_mm))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """A coarse sheet over the hull, with the penalty on it."""

    fine: Grid
    rows: np.ndarray
    columns: np.ndarray
    blocks: sparse.csr_array
    known: np.ndarray
    stiff: sparse.csc_array
    mesh: tuple
    shape: tuple

    @classmethod
    def over(cls, relief: Relief, longest_mm: tuple[float, float], order: int, creases: Creases) -> _Sheet:
        inside = np.isfinite(relief.z_mm)
        grid = relief.grid
        times = max(1, int(np.ceil(np.sqrt(inside.sum() / SHEET_CELLS))))
        shape = tuple(-(-n // times) for n in grid.shape)
        rows, columns = np.nonzero(inside)
        home = (rows // times) * shape[1] + columns // times
        used, cell_of = np.unique(home, return_inverse=True)
        known = relief.seen[inside]
        count = np.bincount(cell_of[known], minlength=len(used))
        share = np.where(known, 1.0 / np.maximum(count[cell_of], 1), 0.0)
        blocks = sparse.csr_array(
            (share, (cell_of, np.arange(len(cell_of)))), shape=(len(used), len(cell_of))
        )
        mask = np.zeros(shape, bool)
        mask.ravel()[used] = True
        step = grid.cell_mm * times
        lengths = [_sharp(2 * longest, step) for longest in longest_mm]
        places = _middles(grid, times, shape)
        cut = crease.cuts(creases, places) if creases else None
        stiff = _penalty(mask, step, lengths, order, cut)
        if creases.flats:
            stiff = (stiff + crease.flat_penalty(creases, places, _numbers(mask), step)).tocsc()
        return cls(
            fine=grid, rows=rows, columns=columns, blocks=blocks, known=count > 0, stiff=stiff,
            mesh=(mask, times), shape=shape,
        )  # fmt: skip

    def gather(self, sheet: np.ndarray) -> np.ndarray:
        """Block means of a fine sheet."""
        return self.blocks @ sheet[self.rows, self.columns]

    def solve(self, weight: np.ndarray, z: np.ndarray) -> np.ndarray:
        """Fair heights for weights; z (n,) or (n, k)."""
        weight = np.where(self.known, weight, 0.0) + 1e-9
        matrix = (sparse.diags_array(weight) + self.stiff).tocsc()
        options = {"SymmetricMode": True}
        factor = splu(matrix, permc_spec="MMD_AT_PLUS_A", options=options, diag_pivot_thresh=0.0)
        return factor.solve(weight[:, None] * z if z.ndim > 1 else weight * z)

    def robust(self, z: np.ndarray) -> np.ndarray:
        """Weights under which humps do not pull, from a wide start to a narrow end."""
        weight = np.ones(len(z))
        for step in range(ROUNDS):
            off = z - self.solve(weight, z)
            width = max(KNEE_MM, WIDE_MM * 0.7**step)
            weight = 1 / (1 + (off / width) ** 2) ** 2
        return weight

    def under(self, z: np.ndarray) -> np.ndarray:
        """The highest fair surface that hardly comes above the wood: an asymmetric fit."""
        weight = np.ones(len(z))
        for _ in range(30):
            fair = self.solve(weight, z)
            before, weight = weight, np.where(z < fair, 1.0, BELOW)
            if (weight == before).all():
                return fair
        return self.solve(weight, z)

    def spread(self, fair: np.ndarray) -> np.ndarray:
        """(ny, nx) fine sheet of fair heights, NaN outside."""
        mask, times = self.mesh
        whole = np.full(self.shape, np.nan)
        whole[mask] = fair
        whole = _continued(whole)
        at = [(i - (times - 1) / 2) / times for i in (self.rows, self.columns)]
        sheet = np.full(self.fine.shape, np.nan)
        sheet[self.rows, self.columns] = ndimage.map_coordinates(whole, at, order=3, mode="nearest")
        return sheet


def _continued(sheet: np.ndarray) -> np.ndarray:
    """Carry a quadratic on past the edge, so that interpolation near it stays smooth."""
    y, x = np.indices(sheet.shape) / max(sheet.shape)
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    known = np.isfinite(sheet)
    fit, *_ = np.linalg.lstsq(terms[known], sheet[known], rcond=None)
    rest = sheet - terms @ fit
    nearest = ndimage.distance_transform_edt(~known, return_distances=False, return_indices=True)
    return terms @ fit + rest[tuple(nearest)]


def _middles(grid: Grid, times: int, shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """Two (ny, nx) arrays: x and y of the middles of the blocks. [mm]"""
    shift = (times - 1) / 2 * grid.cell_mm
    return np.meshgrid(
        grid.x0_mm + shift + times * grid.cell_mm * np.arange(shape[1]),
        grid.y0_mm + shift + times * grid.cell_mm * np.arange(shape[0]),
    )


def _numbers(mask: np.ndarray) -> np.ndarray:
    """(ny, nx) number of each unknown, -1 outside."""
    number = np.full(mask.shape, -1)
    number[mask] = np.arange(mask.sum())
    return number


def _penalty(mask: np.ndarray, step: float, lengths: list[float], order: int, cut=None) -> sparse.csc_array:
    """Sum over mixed derivatives of one order, each where its whole stencil is inside, clear of creases."""
    number = _numbers(mask)
    total = sparse.csr_array((mask.sum(), mask.sum()))
    for along in range(order + 1):
        up = order - along
        stencil = np.outer(_difference(up), _difference(along))
        rows = _stencil_rows(number, stencil, cut)
        scale = lengths[0] ** along * lengths[1] ** up / step**order
        total = total + comb(order, along) * scale**2 * (rows.T @ rows)
    return total.tocsc()


def _difference(order: int) -> np.ndarray:
    """Coefficients of a repeated difference, (1, -3, 3, -1) for the third."""
    return np.array([(-1.0) ** k * comb(order, k) for k in range(order + 1)])


def _stencil_rows(number: np.ndarray, stencil: np.ndarray, cut=None) -> sparse.csr_array:
    """One row per place at which the whole stencil is inside and no crease runs through it."""
    windows = np.lib.stride_tricks.sliding_window_view(number, stencil.shape)
    windows = windows.reshape(-1, stencil.size)
    kept = (windows >= 0).all(1)
    if cut is not None:
        kept &= crease.whole(cut, stencil.shape).ravel()
    whole = windows[kept]
    rows = np.repeat(np.arange(len(whole)), stencil.size)
    values = np.tile(stencil.ravel(), len(whole))
    size = (len(whole), int(number.max()) + 1)
    return sparse.csr_array((values, (rows, whole.ravel())), shape=size)
