"""Curve: worst, mean and area above tolerance over all passes of a job."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.stored import StoredMap


@dataclass(frozen=True, slots=True, kw_only=True)
class PassFigures:
    """One pass. Heights in mm, each with sigma from the draws.

    name: of the map's folder.  hump_mm, hollow_mm: of the highest and the lowest cell, signed.
    worst_mm: the larger of the two, unsigned.  mean_mm: mean |height|.  over: share of the seen wood
    further from fair than the tolerance.  area_mm2: that share as an area.
    """

    name: str
    hump_mm: float
    hollow_mm: float
    worst_mm: float
    worst_sigma_mm: float
    mean_mm: float
    mean_sigma_mm: float
    over: float
    over_sigma: float
    area_mm2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """tolerance_mm: height above or below fair that is allowed.  passes: in order."""

    tolerance_mm: float
    passes: tuple[PassFigures, ...]


def curve(
    passes: Sequence[StoredMap], *, tolerance_mm: float | None = None, names: Sequence[str] | None = None
) -> Curve:
    """Worst, mean and area above tolerance of each map in turn.

    tolerance_mm: without it the least height of the first map.  names: without them the folders'.
    """
    if not passes:
        raise LightcheckError("There is no pass to draw.", "Give at least one folder of lightcheck map.")
    tolerance = passes[0].least_mm if tolerance_mm is None else float(tolerance_mm)
    if not tolerance > 0:
        raise LightcheckError("The tolerance must be above nothing.", "Use for example 0.2mm.")
    names = [p.folder.name for p in passes] if names is None else names
    return Curve(
        tolerance_mm=tolerance,
        passes=tuple(_figures(p, n, tolerance) for p, n in zip(passes, names, strict=True)),
    )


def _figures(stored: StoredMap, name: str, tolerance: float) -> PassFigures:
    seen = np.isfinite(stored.height_mm)
    if not seen.any():
        raise LightcheckError(f"{stored.folder} has no heights.", "Map that pass again.")
    heights = stored.height_mm[seen]
    draws = np.abs(stored.draws_mm[:, seen].astype(np.float32))
    over = float(np.mean(np.abs(heights) > tolerance))
    return PassFigures(
        name=name,
        hump_mm=float(heights.max()),
        hollow_mm=float(heights.min()),
        worst_mm=float(np.abs(heights).max()),
        worst_sigma_mm=float(np.nanstd(np.nanmax(draws, axis=1))),
        mean_mm=float(np.abs(heights).mean()),
        mean_sigma_mm=float(np.nanstd(np.nanmean(draws, axis=1))),
        over=over,
        over_sigma=float(np.nanstd(np.nanmean(draws > tolerance, axis=1))),
        area_mm2=float(over * seen.sum() * stored.grid.cell_mm**2),
    )
