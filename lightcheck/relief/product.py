"""What the solve gives back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.grid import Grid


@dataclass(frozen=True, slots=True, kw_only=True)
class LampFound:
    """A shot's lamp as the solve sees it: place and its sigma, (3,) each. [mm]"""

    kind: str
    spec: str
    place_mm: np.ndarray
    sigma_mm: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Relief:
    """Heights over the base.

    z_mm: (ny, nx), NaN outside the hull of the cards.  draws_mm: (n, ny, nx) float32 samples from the
    posterior, errors and all.  seen: (ny, nx) bool, cells that shading told something about.
    shots_at: (ny, nx) int, shots that count there.  lamps: one per shot that was used.
    response: slope of the phone's curve against the standard one, dark to light (1 = standard).
    ambient_share: light that is not the lamp's over the lamp's median light.
    noise: robust scatter of the log light about the solution.
    """

    grid: Grid
    z_mm: np.ndarray
    draws_mm: np.ndarray
    seen: np.ndarray
    shots_at: np.ndarray
    lamps: tuple[LampFound, ...]
    response: tuple[float, ...]
    ambient_share: float
    noise: float
