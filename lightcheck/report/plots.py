"""Plots: the map and the sections, drawn from the finished product.

Colours are one diverging set whose two sides stay apart for colour-blind readers; hollows are
hatched, contours dashed below fair and every spot carries its sign, so that a grey print still
reads.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch as Swatch
from matplotlib.patches import Polygon
from PIL import Image

from lightcheck import card
from lightcheck.report.marks import outline, place_labels, spot_mark

if TYPE_CHECKING:
    from lightcheck.humpmap import HumpMap
    from lightcheck.patch import CardPlace
    from lightcheck.spots import Spot

COLOURS = "RdYlBu_r"
STEP_MM = 0.1
UNSEEN = "#d4d4d4"
UNSEEN_HATCH = "xxx"
HOLLOW_HATCH = "///"
TEMPLATE_LINE = {"color": "black", "lw": 1.6, "ls": (0, (7, 2, 1.5, 2))}
DPI = 140
SQUEEZE = 4  # of zlib: half the time of its usual 6, for files 2 % larger
WIDTH_IN = 10.0
MOST_SECTIONS = 3
PEN = {"hatch.linewidth": 0.6, "font.size": 12, "font.family": "DejaVu Sans"}


def map_png(result: HumpMap) -> bytes:
    """The map as the builder faces the wood: x to the right, y up."""
    import matplotlib

    with matplotlib.rc_context(PEN):
        grid = result.patch.grid
        x0, x1, y0, y1 = _frame(grid)
        tall = float(np.clip(WIDTH_IN * 0.86 * (y1 - y0) / (x1 - x0), 1.5, 11.0))
        figure = Figure(figsize=(WIDTH_IN, tall + 2.3), dpi=DPI, layout="constrained", facecolor="white")
        axes = figure.add_subplot()
        axes.set(xlim=(x0, x1), ylim=(y0, y1), aspect="equal", xticks=[], yticks=[])
        _heights(figure, axes, result)
        for place in result.patch.cards:
            draw_card(axes, place)
        for hold in result.relief.holds:
            axes.plot(hold.x_mm, hold.y_mm, color="white", lw=3.5, zorder=3.5)
            axes.plot(hold.x_mm, hold.y_mm, zorder=3.6, **TEMPLATE_LINE)
        for spot in result.spots:
            outline(axes, spot.outline_mm, hollow=spot.kind == "hollow")
        place_labels(axes, [(s, (s.x_mm, s.y_mm)) for s in result.spots], heights=True)
        _scale_bar(axes, x0, x1, y0, y1)
        _legend(figure, result)
        return png(figure)


def limit_mm(height_mm: np.ndarray) -> float:
    """End of the colour scale: the greatest height, up to a whole step. [mm]"""
    seen = np.abs(height_mm[np.isfinite(height_mm)])
    highest = float(seen.max()) if seen.size else 0.0
    return max(2 * STEP_MM, STEP_MM * np.ceil(round(highest / STEP_MM, 6)))


def contour_step_mm(limit: float, least: float) -> float:
    """Distance of contours, wide enough to stay readable and not under the least height. [mm]"""
    return next((s for s in (0.05, 0.1, 0.2, 0.5, 1.0) if s >= least - 1e-9 and limit / s <= 5), 2.0)


def sections_png(result: HumpMap) -> bytes | None:
    """Height along and across through the first few spots; None where there are none."""
    import matplotlib

    spots = sorted(result.spots, key=lambda s: -abs(s.height_mm))[:MOST_SECTIONS]
    if not spots:
        return None
    with matplotlib.rc_context(PEN | {"font.size": 11}):
        tall = 2.5 * len(spots) + 0.7
        figure = Figure(figsize=(WIDTH_IN, tall), dpi=DPI, facecolor="white")
        # places by hand: a layout that fits itself takes three times as long as the drawing
        figure.subplots_adjust(
            left=0.075, right=0.985, top=1 - 0.3 / tall, bottom=0.95 / tall, hspace=0.55, wspace=0.06
        )
        rows = figure.subplots(len(spots), 2, squeeze=False, sharey="row")
        for spot, (along, across) in zip(spots, rows, strict=True):
            _section(along, result, spot, along=True)
            _section(across, result, spot, along=False)
        handles, names = rows[0, 0].get_legend_handles_labels()
        figure.legend(handles, names, loc="lower center", ncols=5, frameon=False)
        return png(figure)


def draw_card(axes, place: CardPlace, *, numbered: bool = True) -> None:
    """A card as an outlined rectangle with its number."""
    half = np.array(card.size(place.card).outline_mm) / 2
    c, s = np.cos(place.turn_rad), np.sin(place.turn_rad)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half @ np.array([[c, s], [-s, c]])
    corners += (place.x_mm, place.y_mm)
    axes.add_patch(Polygon(corners, closed=True, facecolor="white", edgecolor="black", lw=1.2, zorder=4))
    if numbered:
        axes.text(
            place.x_mm, place.y_mm, f"card {place.card}", ha="center", va="center", color="black",
            size=11, zorder=5,
        )  # fmt: skip


def png(figure: Figure) -> bytes:
    """The figure as a PNG that says nothing about who or what made it."""
    buffer = io.BytesIO()
    picture = Image.fromarray(drawn(figure)[..., :3].copy())
    picture.save(buffer, "PNG", compress_level=SQUEEZE, dpi=(figure.dpi, figure.dpi))
    return buffer.getvalue()


def drawn(figure: Figure) -> np.ndarray:
    """(height, width, 4) uint8: the figure, drawn once (saving it would draw it twice)."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())


def _frame(grid) -> tuple[float, float, float, float]:
    half = grid.cell_mm / 2
    return grid.x_mm[0] - half, grid.x_mm[-1] + half, grid.y_mm[0] - half, grid.y_mm[-1] + half


def _heights(figure: Figure, axes, result: HumpMap) -> None:
    """Colours, hatches and contours."""
    grid, height = result.patch.grid, result.fair.height_mm
    limit = limit_mm(height)
    x0, x1, y0, y1 = _frame(grid)
    axes.add_patch(
        Polygon(
            [(x0, y0), (x1, y0), (x1, y1), (x0, y1)],
            facecolor=UNSEEN,
            edgecolor="#777777",
            hatch=UNSEEN_HATCH,
            lw=0,
        )
    )
    picture = axes.imshow(
        np.ma.masked_invalid(height), origin="lower", extent=(x0, x1, y0, y1), cmap=COLOURS,
        vmin=-limit, vmax=limit, interpolation="nearest", zorder=2,
    )  # fmt: skip
    step = contour_step_mm(limit, result.recipe.least_mm)
    low, high = (np.nanmin(height), np.nanmax(height)) if np.isfinite(height).any() else (0.0, 0.0)
    levels = [n * step for n in range(-9, 10) if n and low < n * step < high]
    if levels:
        axes.contour(
            grid.x_mm, grid.y_mm, height, levels=levels, colors="black", linewidths=0.7,
            linestyles=["dashed" if v < 0 else "solid" for v in levels], zorder=3,
        )  # fmt: skip
    if low < -result.recipe.least_mm / 2:
        axes.contourf(
            grid.x_mm, grid.y_mm, height, levels=[low - 1, -result.recipe.least_mm / 2],
            colors="none", hatches=[HOLLOW_HATCH], zorder=3,
        )  # fmt: skip
    bar = figure.colorbar(picture, ax=axes, orientation="horizontal", fraction=0.05, pad=0.02, aspect=45)
    bar.set_ticks(ticks := [n * step for n in range(-9, 10) if abs(n * step) < limit + 1e-9])
    bar.set_ticklabels(["0" if abs(t) < 1e-9 else f"{t:+.3g}" for t in ticks])
    bar.set_label("below fair (hollow)   ←   height in mm   →   above fair (hump)")


def _scale_bar(axes, x0: float, x1: float, y0: float, y1: float) -> None:
    """A bar of a round length under the map's lower left corner."""
    long = next(s for s in (1000, 500, 200, 100, 50, 20, 10) if s <= max(10.0, (x1 - x0) / 4))
    y = y0 - 0.035 * (y1 - y0)
    axes.plot([x0, x0 + long], [y, y], color="black", lw=4, solid_capstyle="butt", clip_on=False)
    axes.plot(
        [x0 + long / 2, x0 + long],
        [y, y],
        color="white",
        lw=2,
        solid_capstyle="butt",
        clip_on=False,
    )
    axes.text(x0 + long * 1.04, y, f"{long} mm", va="center", ha="left", size=12)


def _legend(figure: Figure, result: HumpMap) -> None:
    """What hatches, lines and marks mean."""
    step = contour_step_mm(limit_mm(result.fair.height_mm), result.recipe.least_mm)
    held = [Line2D([], [], label="template", **TEMPLATE_LINE)] if result.relief.holds else []
    figure.legend(
        handles=[
            spot_mark("hump", label="hump"),
            spot_mark("hollow", label="hollow"),
            Swatch(facecolor="#f2f2f2", edgecolor="black", hatch=HOLLOW_HATCH, label="below fair"),
            Swatch(facecolor=UNSEEN, edgecolor="#777777", hatch=UNSEEN_HATCH, label="not measured"),
            Line2D([], [], color="black", lw=0.7, label=f"every {step:g} mm, dashed below fair"),
            *held,
        ],
        loc="outside lower center", ncols=3 if held else 5, frameon=False, handlelength=1.8,
        columnspacing=1.4,
    )  # fmt: skip


def _section(axes, result: HumpMap, spot: Spot, *, along: bool) -> None:
    """One cut through the top of a spot; gaps stay open where nothing was seen."""
    grid, fair = result.patch.grid, result.fair
    row, column = (round(float(i)) for i in grid.index(spot.x_mm, spot.y_mm))
    row, column = np.clip(row, 0, grid.ny - 1), np.clip(column, 0, grid.nx - 1)
    cut = (row, slice(None)) if along else (slice(None), column)
    reach = grid.x_mm - spot.x_mm if along else grid.y_mm - spot.y_mm
    height, sigma = fair.height_mm[cut], fair.sigma_mm[cut]
    target = (fair.target_mm - fair.fair_mm)[cut]
    for times, shade, name in (
        (2, "#dcdcdc", "give or take twice over"),
        (1, "#ababab", "give or take"),
    ):
        axes.fill_between(
            reach, height - times * sigma, height + times * sigma, color=shade, lw=0, label=name
        )
    axes.plot(reach, height, color="black", lw=1.8, label="wood")
    axes.axhline(0, color="black", lw=0.8, label="fair")
    axes.plot(reach, target, color="black", lw=1.2, ls=(0, (5, 3)), label="planed down to")
    for start, end in _gaps(reach, ~np.isfinite(height)):
        axes.axvspan(start, end, facecolor=UNSEEN, edgecolor="#888888", hatch=UNSEEN_HATCH, lw=0)
    axes.plot(0, spot.height_mm, marker="v" if spot.kind == "hump" else "^", color="black", ms=7)
    axes.set_xlim(reach[0], reach[-1])
    sides = ("left", "right") if along else ("below", "above")
    axes.set_xlabel(f"{sides[0]}   ←   mm from the spot   →   {sides[1]}")
    axes.set_title(
        f"Spot {spot.number}, {'along' if along else 'across'}", loc="left", size=12, weight="bold"
    )
    if along:
        axes.set_ylabel("height, mm")
    axes.grid(color="#e4e4e4", lw=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _gaps(reach: np.ndarray, unseen: np.ndarray) -> list[tuple[float, float]]:
    """Runs of unseen cells as (start, end), half a cell beyond their centres."""
    half = (reach[1] - reach[0]) / 2 if len(reach) > 1 else 0.5
    turns = np.flatnonzero(np.diff(np.r_[0, unseen.astype(int), 0]))
    return [(reach[a] - half, reach[b - 1] + half) for a, b in zip(turns[::2], turns[1::2], strict=True)]
