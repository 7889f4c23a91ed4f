"""Lows: hollows, and what it would cost to plane the wood down to them."""

from __future__ import annotations

import numpy as np

from lightcheck.pattern.plane import closed, distance, inside
from lightcheck.plan.product import Low, Where
from lightcheck.spots import Spot
from lightcheck.stored import StoredMap

EVERYWHERE = 0.1  # of the map, where the target lies nearest to the fair surface
WIDER = 1.0  # half widths beyond the half-height outline, to which the hollow is counted


def low(stored: StoredMap, spot: Spot, where: Where) -> Low:
    """What would have to come off round a hollow, and what filler or a shim would take instead.

    Round it: how far the cut-only target lies below the fair surface, over half the longest hump that still
    counts to either side, less what it lies lower all over the map: that is not on this hollow's account,
    nor is what goes deeper than this hollow is.
    """
    x, y = stored.grid.mesh_mm()
    cell_cm2 = (stored.grid.cell_mm / 10) ** 2
    cells = np.column_stack([x.ravel(), y.ravel()])
    height = np.asarray(stored.height_mm, float).ravel()
    lowered = np.asarray(stored.come_off_mm, float).ravel() - height  # fair surface down to the target
    if np.isfinite(lowered).any():
        lowered = lowered - np.nanquantile(lowered, EVERYWHERE)
    away = np.linalg.norm((cells - (spot.x_mm, spot.y_mm)) / stored.longest_mm, axis=1)
    ring = closed(spot.outline_mm)
    within = inside(cells, spot.outline_mm)
    near = within | (distance(cells, ring) <= WIDER * spot.width_mm / 2)
    around = (away <= 0.5) & ~near & np.isfinite(lowered)
    take = np.clip(lowered[around], 0.0, abs(spot.height_mm))
    fill = np.maximum(-np.nan_to_num(height[near]), 0.0)
    return Low(
        spot=spot,
        where=where,
        round_mm=float(take.max()) if take.size else 0.0,
        round_cm3=float(take.sum() / 10 * cell_cm2),
        over_mm=float(min(stored.longest_mm)),
        fill_mm=abs(spot.height_mm),
        fill_cm3=float(fill.sum() / 10 * cell_cm2),
    )
