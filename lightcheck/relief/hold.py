"""Hold: a template's reading laid on the patch, by which the relief hangs at its true level.

A template sits on the high spots, so its reading knows the wood's form along one line but not how high
the template stands: lift and rock stay unknown unless it was seated on marks. With w the wood's points
in the template's own frame (edge less daylight),

    base + z  =  w_y + lift + rock (w_x + w_y dz/ds) - slide dz/ds      at s = w_x + place along the line

Shading alone hardly sees waves of 300-600 mm and takes its scale from the lamp's height; both are pinned
here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from lightcheck.relief.cells import Cells

STEP_MM = 8.0  # one equation per so much of the line: readings nearer than a cell say the same
ALIKE_MM = 40.0  # errors of a reading are alike over so much of the edge: own estimate
LEAST_SIGMA_MM = 0.02  # wood's own surface under a line and a patch of cells
SEAT_SIGMA = (20.0, 0.1, 3.0)  # lift in mm, rock, slide in mm: unknown, unknown, placed by eye
LEAST_POINTS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """k equations along one line of the patch.

    x_mm, y_mm: (k,) places.  reading_mm: (k,) wood's height over the base, but for lift, rock and
    slide.  sigma_mm: (k,).  seat: (k, 3) what lift, rock and slide do to the reading.  seat_sigma: (3,).
    trust: (k,) weight of each place, None where all count in full.
    """

    name: str
    x_mm: np.ndarray
    y_mm: np.ndarray
    reading_mm: np.ndarray
    sigma_mm: np.ndarray
    seat: np.ndarray
    seat_sigma: np.ndarray
    trust: np.ndarray | None = None

    @property
    def trusted_sigma_mm(self) -> np.ndarray:
        """(k,) sigma, wider where a place is trusted less."""
        return self.sigma_mm if self.trust is None else self.sigma_mm / np.sqrt(self.trust)


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """All holds on the cells of a scene, each row over its sigma: rows z + seat b = reading.

    rows: (k, n).  seat: (k, 3 h).  reading: (k,).  owner: (k,) which hold a row belongs to.
    place: (k,) which of that hold's places.
    """

    rows: sparse.csr_array
    seat: np.ndarray
    reading: np.ndarray
    owner: np.ndarray
    place: np.ndarray


def held(holds: tuple[Hold, ...], cells: Cells) -> Held:
    """Equations of the holds on these cells; places off the cells are left out."""
    rows, seats, readings, owners, places = [], [], [], [], []
    for number, hold in enumerate(holds):
        weights, on = _between(cells, hold.x_mm, hold.y_mm)
        sigma = hold.trusted_sigma_mm[on]
        seat = np.zeros((on.sum(), 3 * len(holds)))
        seat[:, 3 * number : 3 * number + 3] = -hold.seat[on] / sigma[:, None]
        rows.append(sparse.diags_array(1 / sigma) @ weights[on])
        seats.append(seat)
        readings.append(hold.reading_mm[on] / sigma)
        owners.append(np.full(on.sum(), number))
        places.append(np.flatnonzero(on))
    return Held(
        rows=sparse.vstack(rows).tocsr() if rows else sparse.csr_array((0, cells.count)),
        seat=np.concatenate(seats) if seats else np.zeros((0, 0)),
        reading=np.concatenate(readings) if readings else np.zeros(0),
        owner=np.concatenate(owners) if owners else np.zeros(0, int),
        place=np.concatenate(places) if places else np.zeros(0, int),
    )


def _between(cells: Cells, x_mm: np.ndarray, y_mm: np.ndarray) -> tuple[sparse.csr_array, np.ndarray]:
    """(k, n) bilinear weights of the four cells round each place, and (k,) whether all four are there."""
    number = np.full(np.array(cells.inside.shape) + 2, -1)
    number[1:-1, 1:-1][cells.inside] = np.arange(cells.count)
    row, column = cells.grid.index(x_mm, y_mm)
    row, column = (
        np.clip(c, -0.99, size - 0.01) for c, size in zip((row, column), cells.inside.shape, strict=True)
    )
    low = np.floor([row, column]).astype(int)
    part = np.array([row, column]) - low
    corners = np.array([(0, 0), (0, 1), (1, 0), (1, 1)])
    homes = number[low[0] + 1 + corners[:, :1], low[1] + 1 + corners[:, 1:]]
    weights = np.prod(np.abs(1 - corners[:, :, None] - part), axis=1)
    on = (homes >= 0).all(0)
    owners = np.tile(np.arange(len(row)), 4)
    matrix = sparse.csr_array(
        (weights.ravel(), (owners, np.maximum(homes, 0).ravel())), shape=(len(row), cells.count)
    )
    return matrix, on
