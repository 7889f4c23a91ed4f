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
class HoldFound:
    """A template in the solve. x_mm, y_mm: (k,) places.  left_mm: (k,) reading less relief, after the
    template's own lift, rock and slide.  trust: (k,) weight of each place, 1 full, 0 thrown out.
    slide_mm, slide_sigma_mm: how far it stood along its line from where it was said to stand.
    """

    name: str
    x_mm: np.ndarray
    y_mm: np.ndarray
    left_mm: np.ndarray
    trust: np.ndarray
    slide_mm: float
    slide_sigma_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Relief:
    """Heights over the base.

    z_mm: (ny, nx), NaN outside the hull of the cards.  draws_mm: (n, ny, nx) float32 samples from the
    posterior, errors and all.  seen: (ny, nx) bool, cells that shading told something about.
    shots_at: (ny, nx) int, shots that count there.  lamps: one per shot that was used.
    response: slope of the phone's curve against the standard one, dark to light (1 = standard).
    ambient_share: light that is not the lamp's over the lamp's median light.
    noise: robust scatter of the log light about the solution.
    holds: templates that held it.  height_factor, height_factor_sigma: of all lamps' heights as typed;
    found from the templates, 1 and 0 without any.
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
    holds: tuple[HoldFound, ...] = ()
    height_factor: float = 1.0
    height_factor_sigma: float = 0.0
