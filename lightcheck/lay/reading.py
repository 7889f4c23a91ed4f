"""Reading: the wood's curve under a template, from the folder that lightcheck daylight wrote.

Only daylight.csv is looked at: along_mm, x_mm, y_mm of the template's edge and daylight_mm square to it,
in the template's frame (y away from the wood).
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from lightcheck.errors import LightcheckError


def curve_mm(folder: str | Path) -> tuple[np.ndarray, np.ndarray]:
    """x (m,) increasing and height (m,) of the wood. Refuses a folder that is no reading, or too short."""
    path = Path(folder) / "daylight.csv"
    try:
        with path.open(newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        edge = np.array([[float(r["x_mm"]), float(r["y_mm"])] for r in rows])
        light = np.array([float(r["daylight_mm"] or "nan") for r in rows])
    except (OSError, KeyError, ValueError, TypeError):
        raise LightcheckError(
            f"{folder} is not the result folder of a template reading.",
            "Give the folder named after -o of lightcheck daylight.",
        ) from None
    seen = np.isfinite(light)
    if seen.sum() < 10:
        raise LightcheckError(
            f"Next to nothing was seen under the template of {folder}.", "Take its photo again."
        )
    ahead = np.gradient(edge, axis=0)
    square = np.column_stack([-ahead[:, 1], ahead[:, 0]]) / np.linalg.norm(ahead, axis=1, keepdims=True)
    square[square[:, 1] < 0] *= -1  # away from the wood
    x, height = (edge - light[:, None] * square)[seen].T
    order = np.argsort(x)
    return x[order], height[order]
