"""Marks: how a spot is drawn on a picture.

A hump's number stands in a disc, a hollow's in a square.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.lines import Line2D
from matplotlib.patheffects import Stroke, withStroke

if TYPE_CHECKING:
    from lightcheck.spots import Spot

_BESIDE = (
    (0, 0),
    (0, 1),
    (0, -1),
    (1, 0),
    (-1, 0),
    (1, 1),
    (-1, 1),
    (1, -1),
    (-1, -1),
    (0, 2),
    (0, -2),
)


def spot_mark(kind: str, *, label: str) -> Line2D:
    """Legend handle for the numbers of humps or hollows."""
    return Line2D(
        [],
        [],
        ls="",
        marker="s" if kind == "hollow" else "o",
        ms=12,
        mfc="black",
        mec="white",
        label=label,
    )


def outline(axes, outline_xy: np.ndarray, *, hollow: bool) -> None:
    """A closed outline, black with a white rim to show on light and dark; hollows dashed."""
    if len(outline_xy) < 3:
        return
    closed = np.concatenate([outline_xy, outline_xy[:1]])
    (line,) = axes.plot(*closed.T, color="black", lw=2.0, ls=(0, (4, 2)) if hollow else "-", zorder=6)
    line.set_path_effects([Stroke(linewidth=4.2, foreground="white"), withStroke(linewidth=0)])


def place_labels(axes, spots: list[tuple[Spot, tuple[float, float]]], *, heights: bool) -> None:
    """Number every spot at its place, moved aside where labels would cover each other.

    heights: print the signed height beside the number.
    """
    pixels = axes.transData.transform
    taken: list[np.ndarray] = []
    figure = axes.figure
    if layout := figure.get_layout_engine():
        layout.execute(figure)
    axes.apply_aspect()
    size = np.array([96 if heights else 40, 30 if heights else 40]) * figure.dpi / 100
    for spot, place in spots:
        at = pixels(place)
        shifts = [np.array(b) * size for b in _BESIDE]
        free = next((s for s in shifts if all((abs(at + s - t) >= size).any() for t in taken)), shifts[0])
        taken.append(at + free)
        _label(axes, spot, place, free * 72 / figure.dpi, heights=heights)


def _label(axes, spot: Spot, place, shift_pt: np.ndarray, *, heights: bool) -> None:
    badge = {
        "boxstyle": "square,pad=0.3" if spot.kind == "hollow" else "circle,pad=0.25",
        "fc": "black",
        "ec": "white",
        "lw": 1.2,
    }
    anchor = {
        "xycoords": "data",
        "textcoords": "offset points",
        "va": "center",
        "annotation_clip": False,
    }
    if abs(shift_pt).max() > 0:
        axes.plot(*place, marker="o", ms=4, mfc="black", mec="white", zorder=7)
    left = shift_pt - np.array([20 if heights else 0, 0])
    if heights:
        text = f"{spot.height_mm:+.2f}"
        box = {"boxstyle": "round,pad=0.2", "fc": "white", "ec": "black", "lw": 0.8}
        axes.annotate(
            text,
            place,
            xytext=left + np.array([15, 0]),
            ha="left",
            weight="bold",
            size=12,
            bbox=box,
            zorder=8,
            **anchor,
        )
    axes.annotate(
        str(spot.number), place, xytext=left, ha="center", color="white", weight="bold",
        size=11 if heights else 14, bbox=badge,
        zorder=9, **anchor,
    )  # fmt: skip
