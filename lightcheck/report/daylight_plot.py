"""Daylight plot: the daylight along the edge, and where it lies under the template."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from lightcheck.report.plots import DPI, PEN, UNSEEN, UNSEEN_HATCH, WIDTH_IN, draw_card, png

if TYPE_CHECKING:
    from lightcheck.template import Daylight

INK, LIGHT, DOUBT = "#1a1a1a", "#e8a33d", "#7f7f7f"
OFF = "#2c7bb6"
_TIMES = (1, 2, 5, 10, 20, 50)
_TALL_SHARE = 0.07  # of the template's width that the widest daylight is drawn


def daylight_png(result: Daylight) -> bytes:
    """Along the edge above, on the template below; with an outline the stand-off between them."""
    import matplotlib

    rows = [2.6, 2.2] if result.stand_off is None else [2.4, 2.4, 2.2]
    with matplotlib.rc_context(PEN | {"font.size": 11}):
        figure = Figure(figsize=(WIDTH_IN, sum(rows) + 0.9), dpi=DPI, layout="constrained", facecolor="white")
        panels = figure.subplots(len(rows), 1, gridspec_kw={"height_ratios": rows})
        _along(panels[0], result)
        if result.stand_off is not None:
            _off(panels[1], result)
        _place(panels[-1], result)
        return png(figure)


def _along(panel, result: Daylight) -> None:
    along, width, sigma = result.along_mm, result.daylight_mm, result.sigma_mm
    panel.fill_between(along, 0, width, color=LIGHT, alpha=0.55, lw=0, label="daylight")
    for i, side in enumerate((np.maximum(width - 2 * sigma, 0), width + 2 * sigma)):
        name = "give or take twice over" if i else None
        panel.plot(along, side, color=INK, lw=0.9, ls=(0, (2, 2)), label=name)
    panel.plot(along, width, color=INK, lw=1.4)
    top = float(np.nanmax(width + 2 * sigma, initial=0.2)) * 1.25
    panel.set_ylim(-0.09 * top, top)
    panel.set_xlim(along[0], along[-1])
    for i, touch in enumerate(result.touching):
        panel.plot(
            [touch.from_mm, touch.to_mm], [0, 0], color=INK, lw=4, solid_capstyle="butt",
            label="no light" if i == 0 else None,
        )  # fmt: skip
        panel.plot(touch.along_mm, -0.04 * top, marker="^", color=INK, ms=8)
    _unseen(panel, along, ~np.isfinite(width))
    at = result.largest
    if at is not None and width[at] > 0:
        left = along[at] > 0.8 * along[-1]
        panel.annotate(
            f"{width[at]:.2f} mm", (along[at], width[at]), xytext=(-6 if left else 6, 8),
            textcoords="offset points", ha="right" if left else "left", weight="bold", size=12,
            bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": "none", "alpha": 0.9},
        )  # fmt: skip
    panel.set_ylabel("daylight, mm")
    panel.set_xlabel("mm along the edge")
    _plain(panel)
    panel.legend(loc="upper right", ncols=3, frameon=False, fontsize=10)


def _off(panel, result: Daylight) -> None:
    off, along = result.stand_off, result.along_mm
    values, sigma = (off.shape_mm, off.shape_sigma_mm) if off.unknown else (off.off_mm, off.sigma_mm)
    panel.fill_between(along, values - 2 * sigma, values + 2 * sigma, color=DOUBT, alpha=0.35, lw=0)
    panel.plot(along, values, color=OFF, lw=1.6)
    panel.fill_between(
        along, values, 0, where=np.nan_to_num(values) < 0, facecolor="none", edgecolor=OFF, hatch="///", lw=0
    )
    panel.axhline(0, color=INK, lw=0.9)
    panel.set_xlim(along[0], along[-1])
    less = f" less an unknown {' and '.join(off.unknown)}" if off.unknown else ""
    panel.set_title(
        f"Wood off its designed shape{less}: above the line proud, hatched inside", loc="left", size=11
    )
    panel.set_ylabel("stands off, mm")
    panel.set_xlabel("mm along the edge")
    _plain(panel)


def _place(panel, result: Daylight) -> None:
    """The edge on the template, with the daylight drawn so many times wider."""
    edge, width = result.edge_mm, np.nan_to_num(result.daylight_mm)
    wide = float(np.ptp(edge[:, 0]))
    times = max([t for t in _TIMES if t * max(float(width.max()), 0.01) <= _TALL_SHARE * wide] or [1])
    step = np.gradient(edge, axis=0)
    down = np.stack([step[:, 1], -step[:, 0]], -1) / np.maximum(np.hypot(*step.T), 1e-9)[:, None]
    wood = edge + down * (times * width)[:, None]
    ring = np.concatenate([edge, wood[::-1]])
    panel.fill(*ring.T, color=LIGHT, alpha=0.55, lw=0)
    panel.plot(*edge.T, color=INK, lw=1.4)
    panel.plot(*wood.T, color=INK, lw=0.9, ls=(0, (4, 2)))
    for place in result.cards:
        draw_card(panel, place)
    for touch in result.touching:
        panel.plot(touch.x_mm, touch.y_mm - 0.02 * wide, marker="^", color=INK, ms=8)
    panel.set_aspect("equal")
    panel.set(xticks=[], yticks=[])
    panel.margins(0.02, 0.06)
    for side in panel.spines.values():
        side.set_visible(False)
    shown = f"daylight drawn {times} times wider" if times > 1 else "daylight drawn as it is"
    panel.set_title(f"The template's face: edge (full line), wood (dashed), {shown}", loc="left", size=11)


def _unseen(panel, along: np.ndarray, blank: np.ndarray) -> None:
    """Hatch what was not seen."""
    turns = np.flatnonzero(np.diff(np.r_[0, blank.astype(int), 0]))
    for start, end in zip(turns[::2], turns[1::2], strict=True):
        panel.axvspan(
            along[start], along[end - 1], facecolor=UNSEEN, edgecolor="white", hatch=UNSEEN_HATCH, lw=0
        )


def _plain(panel) -> None:
    panel.grid(color="#e4e4e4", lw=0.6)
    panel.set_axisbelow(True)
    for side in ("top", "right"):
        panel.spines[side].set_visible(False)
