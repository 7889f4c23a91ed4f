"""Lay map: one tool over the whole map, as the builder faces the wood.

Daylight is darker the wider it is, in one hue that keeps its order in grey; what a longboard cuts is left
white and dotted. What shows through planking has a sign, and looks as humps and hollows do on the map.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch as Swatch
from matplotlib.patches import Polygon

from lightcheck.lay import TOUCH_MM, Over
from lightcheck.report.marks import outline, place_labels, spot_mark
from lightcheck.report.plots import (
    COLOURS,
    DPI,
    HOLLOW_HATCH,
    PEN,
    UNSEEN,
    UNSEEN_HATCH,
    WIDTH_IN,
    contour_step_mm,
    draw_card,
    limit_mm,
    png,
)

if TYPE_CHECKING:
    from lightcheck.stored import StoredMap

DAYLIGHT = "YlOrBr"
CUT_HATCH = "..."
UNTOUCHED, UNTOUCHED_HATCH = "#f4f4f4", "--"


def over_png(stored: StoredMap, one: Over) -> bytes:
    """The sheet with cards, spots and a bar for the way the tool lay."""
    import matplotlib

    with matplotlib.rc_context(PEN):
        grid, half = one.grid, one.grid.cell_mm / 2
        frame = (grid.x_mm[0] - half, grid.x_mm[-1] + half, grid.y_mm[0] - half, grid.y_mm[-1] + half)
        share = (frame[3] - frame[2]) / (frame[1] - frame[0])
        tall = float(np.clip(WIDTH_IN * 0.86 * share, 1.5, 11.0))
        figure = Figure(figsize=(WIDTH_IN, tall + 2.5), dpi=DPI, layout="constrained", facecolor="white")
        axes = figure.add_subplot()
        axes.set(xlim=frame[:2], ylim=frame[2:], aspect="equal", xticks=[], yticks=[])
        title = f"{one.tool[0].upper()}{one.tool[1:]}: {one.what}"
        figure.suptitle(title, x=0.02, ha="left", size=13, weight="bold")
        _sheet(figure, axes, one, frame, np.isfinite(stored.height_mm))
        for place in stored.cards:
            draw_card(axes, place)
        for spot in stored.spots:
            outline(axes, spot.outline_mm, hollow=spot.kind == "hollow")
        place_labels(axes, [(s, (s.x_mm, s.y_mm)) for s in stored.spots], heights=False)
        _worst(axes, one)
        figure.legend(handles=_legend(stored, one), loc="outside lower center", ncols=4, frameon=False)
        return png(figure)


def _sheet(figure: Figure, axes, one: Over, frame, seen) -> None:
    x0, x1, y0, y1 = frame
    signed = one.what == "shows through"
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    axes.add_patch(Polygon(corners, facecolor=UNSEEN, edgecolor="#777777", hatch=UNSEEN_HATCH, lw=0))
    if one.cuts is not None:
        axes.contourf(
            one.grid.x_mm, one.grid.y_mm, (seen & np.isnan(one.value_mm)).astype(float),
            levels=[0.5, 1.5], colors=UNTOUCHED, hatches=[UNTOUCHED_HATCH], zorder=1.5,
        )  # fmt: skip
    limit = limit_mm(one.value_mm)
    picture = axes.imshow(
        np.ma.masked_invalid(one.value_mm), origin="lower", extent=frame, zorder=2, interpolation="nearest",
        cmap=COLOURS if signed else DAYLIGHT, vmin=-limit if signed else 0, vmax=limit,
    )  # fmt: skip
    step = contour_step_mm(limit, 0.05)
    known = np.isfinite(one.value_mm)
    low, high = (one.value_mm[known].min(), one.value_mm[known].max()) if known.any() else (0.0, 0.0)
    levels = [n * step for n in range(-9, 10) if n and low < n * step < high]
    if levels:
        axes.contour(
            one.grid.x_mm, one.grid.y_mm, one.value_mm, levels=levels, colors="black", linewidths=0.7,
            linestyles=["dashed" if v < 0 else "solid" for v in levels], zorder=3,
        )  # fmt: skip
    hatched = (low - 1, -0.05, HOLLOW_HATCH) if signed else (-1.0, TOUCH_MM, CUT_HATCH)
    if (signed or one.cuts is not None) and low < hatched[1]:
        axes.contourf(
            one.grid.x_mm, one.grid.y_mm, one.value_mm, levels=hatched[:2], colors="none",
            hatches=[hatched[2]], zorder=3,
        )  # fmt: skip
    bar = figure.colorbar(picture, ax=axes, orientation="horizontal", fraction=0.05, pad=0.02, aspect=45)
    words = {"shows through": "shows as a hollow   ←   mm   →   shows as a hump"}
    bar.set_label(words.get(one.what, f"{one.what} under it, mm"))


def _worst(axes, one: Over) -> None:
    for colour, width in (("white", 4.5), ("black", 2.0)):
        axes.plot(*one.worst_place_mm, marker="D", ms=26, mfc="none", mec=colour, mew=width, zorder=4)


def _legend(stored: StoredMap, one: Over) -> list:
    step = contour_step_mm(limit_mm(one.value_mm), 0.05)
    sign = "-" if one.worst_mm < 0 else "+" if one.what == "shows through" else ""
    handles = [
        Line2D([], [], ls="", marker="D", ms=11, mfc="none", mec="black", mew=2,
               label=f"most: {sign}{abs(one.worst_mm):.2f} mm"),
        Line2D([], [], color="black", lw=0.7, label=f"every {step:g} mm"),
        Swatch(facecolor=UNSEEN, edgecolor="#777777", hatch=UNSEEN_HATCH, label="not measured"),
    ]  # fmt: skip
    if one.cuts is not None:
        handles.append(Swatch(facecolor="#ffffe5", edgecolor="black", hatch=CUT_HATCH, label="cut"))
        handles.append(
            Swatch(facecolor=UNTOUCHED, edgecolor="black", hatch=UNTOUCHED_HATCH, label="untouched")
        )
    if one.what == "shows through":
        look = {"facecolor": "#f2f2f2", "edgecolor": "black", "hatch": HOLLOW_HATCH}
        handles.append(Swatch(**look, label="shows as a hollow"))
    if stored.spots:
        handles += [spot_mark(kind, label=kind) for kind in ("hump", "hollow")]
    return handles
