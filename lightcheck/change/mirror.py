"""Mirror: a stored map as it would be seen in a mirror, left and right changed over.

Port and starboard, each photographed the same way up from outside, are each other's mirror image. The
wood is another piece, so only cards at mirrored places tell where it lies.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lightcheck.grid import Grid, frozen
from lightcheck.patch import CardPlace
from lightcheck.spots import Spot
from lightcheck.stored import StoredMap


def mirror(stored: StoredMap) -> StoredMap:
    """The map with x turned into -x. What a mirror does to facts (lamps, shots) is left as it was."""
    grid = stored.grid
    sheets = ("height_mm", "sigma_mm", "come_off_mm", "fair_mm", "z_mm")
    return replace(
        stored,
        grid=Grid(
            x0_mm=-float(grid.x_mm[-1]), y0_mm=grid.y0_mm, cell_mm=grid.cell_mm, nx=grid.nx, ny=grid.ny
        ),
        **{name: frozen(getattr(stored, name)[:, ::-1]) for name in sheets},
        draws_mm=frozen(stored.draws_mm[:, :, ::-1], np.float32),
        wood=frozen(stored.wood[:, ::-1], np.uint8),
        cards=tuple(_card(c) for c in stored.cards),
        spots=tuple(_spot(s) for s in stored.spots),
    )


def _card(place: CardPlace) -> CardPlace:
    return replace(place, x_mm=-place.x_mm, turn_rad=float(np.pi - place.turn_rad))


def _spot(spot: Spot) -> Spot:
    return replace(
        spot,
        x_mm=-spot.x_mm,
        turn_rad=float((np.pi - spot.turn_rad) % np.pi),
        outline_mm=frozen(spot.outline_mm * (-1, 1)),
    )
