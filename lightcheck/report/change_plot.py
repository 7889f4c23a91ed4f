"""Change plot: before, after and what changed, on one colour scale.

What lies inside the noise is dotted, so that nobody reads a change into it; what is below fair, or
went down, is hatched as on the map.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch as Swatch
from matplotlib.patches import Polygon

from lightcheck.report.marks import place_labels, spot_mark
from lightcheck.report.plots import (
    COLOURS,
    DPI,
    HOLLOW_HATCH,
    PEN,
    UNSEEN,
    UNSEEN_HATCH,
    contour_step_mm,
    draw_card,
    limit_mm,
    png,
)

if TYPE_CHECKING:
    from lightcheck.change import Change

NOISE_HATCH = ".."
WIDE_IN, TALLEST_IN = 13.0, 15.0
LONG = 2.2  # patches longer than this against their width are stacked
SURE = 2.0  # sigmas


class _Mark(NamedTuple):
    """What a label needs of a spot."""

    number: int
    kind: str
    height_mm: float


def change_png(result: Change) -> bytes:
    """The picture: before and after above, the change below and larger."""
    import matplotlib

    grid = result.grid
    ratio = grid.ny / grid.nx
    long = ratio < 1 / LONG
    limit = max(limit_mm(s) for s in (result.before_mm, result.after_mm, result.change_mm))
    step = contour_step_mm(limit, result.least_mm)
    heights = [ratio] * 3 if long else [ratio * 0.5, ratio * 0.95]
    tall = min(TALLEST_IN, WIDE_IN * 0.94 * sum(heights) + 3.2)
    layout = [["before"], ["after"], ["change"]] if long else [["before", "after"], ["change", "change"]]
    with matplotlib.rc_context(PEN):
        figure = Figure(figsize=(WIDE_IN, tall), dpi=DPI, layout="constrained", facecolor="white")
        figure.get_layout_engine().set(rect=(0, 0, 1, 1 - 0.3 / tall))  # else the upper titles are cut off
        panels = figure.subplot_mosaic(layout, height_ratios=heights)
        titles = _titles(result)
        cards = dict(zip(("before", "after"), result.cards, strict=True))
        for name, axes in panels.items():
            sheet = getattr(result, f"{name}_mm")
            picture = _sheet(axes, result, sheet, limit=limit, step=step)
            axes.set_title(titles[name], loc="left", size=14, weight="bold")
            for place in cards.get(name, ()):
                draw_card(axes, place)
        _noise(panels["change"], result)
        for name, axes in panels.items():
            place_labels(axes, _marks(result, name), heights=True)
        _bar(figure, picture, list(panels.values()), limit, step)
        _legend(figure, step)
        return png(figure)


def _titles(result: Change) -> dict[str, str]:
    before, after = result.names
    if result.mirror:
        return {
            "before": f"This side: {before}",
            "after": f"Other side, mirrored: {after}",
            "change": "Other side less this side",
        }
    return {
        "before": f"Before: {before}",
        "after": f"After: {after}, laid on before",
        "change": "Change: after less before",
    }


def _sheet(axes, result: Change, sheet: np.ndarray, *, limit: float, step: float):
    """Colours, hatches and contours of one sheet; returns the picture for the colour bar."""
    grid = result.grid
    half = grid.cell_mm / 2
    x0, x1, y0, y1 = grid.x_mm[0] - half, grid.x_mm[-1] + half, grid.y_mm[0] - half, grid.y_mm[-1] + half
    axes.set(xlim=(x0, x1), ylim=(y0, y1), aspect="equal", xticks=[], yticks=[])
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    axes.add_patch(Polygon(corners, facecolor=UNSEEN, edgecolor="#777777", hatch=UNSEEN_HATCH, lw=0))
    picture = axes.imshow(
        np.ma.masked_invalid(sheet), origin="lower", extent=(x0, x1, y0, y1), cmap=COLOURS,
        vmin=-limit, vmax=limit, interpolation="nearest", zorder=2,
    )  # fmt: skip
    seen = sheet[np.isfinite(sheet)]
    low, high = (float(seen.min()), float(seen.max())) if seen.size else (0.0, 0.0)
    levels = [n * step for n in range(-9, 10) if n and low < n * step < high]
    if levels:
        axes.contour(
            grid.x_mm, grid.y_mm, sheet, levels=levels, colors="black", linewidths=0.7,
            linestyles=["dashed" if v < 0 else "solid" for v in levels], zorder=3,
        )  # fmt: skip
    if low < -result.least_mm / 2:
        axes.contourf(
            grid.x_mm, grid.y_mm, sheet, levels=[low - 1, -result.least_mm / 2],
            colors="none", hatches=[HOLLOW_HATCH], zorder=3,
        )  # fmt: skip
    return picture


def _noise(axes, result: Change) -> None:
    """Dots over all that changed by no more than twice its sigma."""
    with np.errstate(invalid="ignore"):
        times = np.abs(result.change_mm) / result.sigma_mm
    if np.nanmin(times, initial=np.inf) < SURE:
        axes.contourf(
            result.grid.x_mm, result.grid.y_mm, times, levels=[-1, SURE], colors="none",
            hatches=[NOISE_HATCH], zorder=3,
        )  # fmt: skip


def _marks(result: Change, name: str) -> list[tuple[_Mark, tuple[float, float]]]:
    marks = []
    for row in result.spots:
        value = getattr(row, f"{name}_mm")
        if np.isfinite(value):
            kind = row.kind if name == "before" else "hollow" if value < 0 else "hump"
            marks.append((_Mark(row.spot, kind, value), (row.x_mm, row.y_mm)))
    return marks


def _bar(figure: Figure, picture, panels: list, limit: float, step: float) -> None:
    bar = figure.colorbar(picture, ax=panels, orientation="horizontal", fraction=0.04, pad=0.02, aspect=55)
    bar.set_ticks(ticks := [n * step for n in range(-9, 10) if abs(n * step) < limit + 1e-9])
    bar.set_ticklabels(["0" if abs(t) < 1e-9 else f"{t:+.3g}" for t in ticks])
    bar.set_label("below fair, or went down   ←   mm, the same for all three   →   above fair, or went up")


def _legend(figure: Figure, step: float) -> None:
    figure.legend(
        handles=[
            spot_mark("hump", label="above fair, or up"),
            spot_mark("hollow", label="below fair, or down"),
            Swatch(facecolor="#f2f2f2", edgecolor="black", hatch=HOLLOW_HATCH, label="below, or went down"),
            Swatch(facecolor="#f2f2f2", edgecolor="black", hatch=NOISE_HATCH, label="inside the noise"),
            Swatch(facecolor=UNSEEN, edgecolor="#777777", hatch=UNSEEN_HATCH, label="not seen both times"),
            Line2D([], [], color="black", lw=0.7, label=f"every {step:g} mm, dashed below"),
        ],
        loc="outside lower center", ncols=3, frameon=False, handlelength=1.8, columnspacing=1.3,
    )  # fmt: skip
