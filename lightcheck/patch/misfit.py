"""The small misfit left between shots, measured on the wood's own grain.

After the bundle two shots still differ by a fraction of a millimetre (lens, base shape, paper).
Grain is the same wood in both, so the misfit is found by matching it: a smooth displacement, a
quadratic in x and y, fitted by Gauss-Newton to the fine detail of the logarithm of light. Fine
detail only, for there the lamp's shading is weak; one global fit, so that grain running one way
does not leave the other direction to chance cell by cell.
"""

from __future__ import annotations

import cv2
import numpy as np

_DETAIL_MM = 2.5  # detail is what this blur takes away
_ROUNDS = ((2.0, 3), (0.6, 4))  # (pre-blur in mm, Gauss-Newton steps)
SPARE = 2  # half the fineness each way is plenty for twelve unknowns
_LEAST_LIKENESS = 0.2  # correlation of the grain below which the woods are not the same


def displacement_mm(log_light: np.ndarray, reference: np.ndarray, *, cell_mm: float, seen: np.ndarray):
    """Where the shot's detail lies, less where the reference's lies.

    log_light, reference: (ny, nx) on one sheet of `cell_mm`.  seen: (ny, nx) bool, usable wood.
    Returns ((ny, nx, 2) displacement along x and y in mm, likeness of the grain from -1 to 1).
    """
    whole = log_light.shape
    log_light, reference = (_reduced(p) for p in (log_light, reference))
    seen, cell_mm = seen[::SPARE, ::SPARE], cell_mm * SPARE
    basis = _basis(log_light.shape)
    weights = np.zeros((basis.shape[0], 2))
    likeness = 0.0
    terms = basis[:, seen]
    for blur_mm, steps in _ROUNDS:
        shot, first = (_detail(p, blur_mm / cell_mm, cell_mm) for p in (log_light, reference))
        for _ in range(steps):
            shift = np.tensordot(basis, weights.astype(np.float32), (0, 0))
            step, likeness = _step(_sample(shot, shift), first[seen], terms, seen)
            weights = weights + step
    if likeness < _LEAST_LIKENESS:
        weights = np.zeros_like(weights)
    return _displaced(whole, weights * cell_mm), likeness


def _reduced(picture: np.ndarray) -> np.ndarray:
    high, wide = picture.shape
    size = (-(-wide // SPARE), -(-high // SPARE))
    return cv2.resize(picture.astype(np.float32), size, interpolation=cv2.INTER_AREA)


def _detail(log_light: np.ndarray, blur_px: float, cell_mm: float) -> np.ndarray:
    fine = cv2.GaussianBlur(log_light.astype(np.float32), (0, 0), max(blur_px, 0.5))
    return fine - cv2.GaussianBlur(fine, (0, 0), 2 * _DETAIL_MM / cell_mm + blur_px)


def _basis(shape: tuple[int, int]) -> np.ndarray:
    """(6, ny, nx) polynomials up to degree 2 on -1..1."""
    y, x = np.meshgrid(*(np.linspace(-1, 1, n, dtype=np.float32) for n in shape), indexing="ij")
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y])


def _displaced(shape: tuple[int, int], weights: np.ndarray) -> np.ndarray:
    """(ny, nx, 2) displacement of all cells for (6, 2) weights of `_basis`."""
    y, x = (np.linspace(-1, 1, n)[:, None] for n in shape)
    one, by_x, by_y, by_xx, by_xy, by_yy = weights
    of_column = (one + by_x * x + by_xx * x**2).astype(np.float32)
    of_row = (by_y * y + by_yy * y**2).astype(np.float32)
    return of_column[None] + of_row[:, None] + (by_xy * x).astype(np.float32) * y.astype(np.float32)[:, None]


def _sample(picture: np.ndarray, shift_px: np.ndarray) -> np.ndarray:
    rows, columns = np.indices(picture.shape, dtype=np.float32)
    return cv2.remap(
        picture,
        columns + shift_px[..., 0].astype(np.float32),
        rows + shift_px[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )


def _step(shot: np.ndarray, first: np.ndarray, terms: np.ndarray, seen: np.ndarray):
    """One Gauss-Newton step of the displacement, and how alike the detail is.

    first, terms: (n,) and (6, n), of the seen cells only.
    """
    gy, gx = np.gradient(shot)
    shot = shot[seen]
    gain = float((shot * first).sum() / max((first * first).sum(), 1e-12))
    error = gain * first - shot
    scale = 1.4826 * float(np.median(np.abs(error))) + 1e-9
    trust = 1 / (1 + (error / (2 * scale)) ** 2)
    columns = np.concatenate([terms * gx[seen], terms * gy[seen]])
    trusted = columns * trust
    normal = trusted @ columns.T
    normal += np.eye(len(normal)) * 1e-4 * np.trace(normal) / len(normal)
    step = np.linalg.solve(normal, trusted @ error)
    shot, first = shot * np.sqrt(trust), first * np.sqrt(trust)
    spread = np.sqrt((shot * shot).sum() * (first * first).sum()) + 1e-12
    return step.reshape(2, -1).T, float((shot * first).sum() / spread)
