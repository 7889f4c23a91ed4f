"""Lamp: the sketch of where to put it, and the curve of what it can show.

Lines differ in kind and are named where they run, so that a grey print reads as well.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from lightcheck.report.plots import DPI, PEN, png

if TYPE_CHECKING:
    from lightcheck.humpmap import HumpMap
    from lightcheck.reach import Reach, Stand

WIDE_IN = 10.0
DIM = "#d4d4d4"  # what can not be told
WOOD = "#e8dcc4"


def sketch_png(stand: Stand) -> bytes:
    """Side view to scale: wood, lamp, and the light at the near end, the middle and the far end."""
    import matplotlib

    with matplotlib.rc_context(PEN):
        half, out, up = stand.patch_mm / 2, stand.out_mm, stand.up_mm
        unit = (out + half) / 100  # of the picture, about a hundredth of its width
        left, right, top = -out - 17 * unit, half + 10 * unit, max(up + 6 * unit, 21 * unit)
        drop = 19 * unit
        figure = Figure(
            figsize=(WIDE_IN, WIDE_IN * (top + drop) / (right - left)), dpi=DPI, facecolor="white"
        )
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set(xlim=(left, right), ylim=(-drop, top), aspect="equal")
        axes.axis("off")
        _wood(axes, stand, thick=2.5 * unit)
        _rays(axes, stand, unit)
        _lamp(axes, stand, unit)
        _measures(axes, stand, unit)
        return png(figure)


def _wood(axes, stand: Stand, *, thick: float) -> None:
    half = stand.patch_mm / 2
    axes.fill([-half, half, half, -half], [0, 0, -thick, -thick], fc=WOOD, ec="black", lw=1.2, zorder=2)
    axes.text(0, -thick / 2, "patch", ha="center", va="center", size=10, zorder=3)
    axes.plot([-stand.out_mm * 1.1, -half], [0, 0], color="black", lw=0.8, ls=(0, (2, 3)))


def _lamp(axes, stand: Stand, unit: float) -> None:
    x, y = -stand.out_mm, stand.up_mm
    shade = [(x, y + 2.6 * unit), (x - 3 * unit, y + 1.5 * unit), (x - 3 * unit, y - 1.5 * unit),
             (x, y - 2.6 * unit)]  # fmt: skip
    axes.add_patch(Polygon(shade, closed=True, fc="black", ec="black", zorder=4))
    axes.plot(x, y, marker="o", ms=9, mfc="white", mec="black", zorder=5)
    arrow = {"arrowstyle": "<->", "color": "black", "lw": 1.0, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (x - 5 * unit, 0), xytext=(x - 5 * unit, y), arrowprops=arrow)
    axes.plot([x - 6 * unit, x], [y, y], color="black", lw=0.6, zorder=1)
    up = stand.set_mm[1]
    axes.text(x - 6 * unit, y / 2, f"{up} mm\nup", ha="right", va="center", size=12)


def _rays(axes, stand: Stand, unit: float) -> None:
    half, ends = stand.patch_mm / 2, ("near end", "middle", "far end")
    styles = "-", (0, (6, 2)), (0, (2, 2))
    for at, where, elevation, shown, style in zip(
        (-half, 0.0, half), ends, stand.elevation_rad, stand.contrast, styles, strict=True
    ):
        axes.plot([-stand.out_mm, at], [stand.up_mm, 0], color="black", lw=1.0, ls=style, zorder=1)
        high = stand.up_mm * (at + half) / (stand.out_mm + half) + 8.5 * unit
        axes.plot([at, at], [0, high], color="black", lw=0.6, zorder=1)
        text = f"{where}: {np.degrees(elevation):.1f}°\n±{100 * shown:.1f} % of light"
        axes.text(at, high, text, ha="center", va="bottom", size=10.5, zorder=6,
                  bbox={"fc": "white", "ec": "none", "pad": 1})  # fmt: skip


def _measures(axes, stand: Stand, unit: float) -> None:
    """Distances, and in words what shows and what stays dark."""
    x, low = -stand.out_mm, -6 * unit
    arrow = {"arrowstyle": "<->", "color": "black", "lw": 1.0, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (x, low), xytext=(0, low), arrowprops=arrow)
    for at in (x, 0):
        axes.plot([at, at], [low - unit, -2.5 * unit], color="black", lw=0.6)
    axes.text(x / 2, low, f"{stand.set_mm[0]} mm out, to the middle of the patch", ha="center", va="center",
              size=12, bbox={"fc": "white", "ec": "none", "pad": 2})  # fmt: skip
    words = (
        f"Drawn to scale, to see {stand.see_mm:g} mm across {stand.across_mm:.0f} mm: it lightens the wood "
        "on its near side and darkens it\non its far side by the shares above. "
        f"About {stand.least_mm:.2f} mm is the least that can be told at that width.\n"
        f"Humps that wide and over {stand.shadow_mm:.1f} mm high hide their own back at the far end. "
        "Then the same from the other side."
    )
    axes.text(0.5, 0.03, words, transform=axes.transAxes, ha="center", va="bottom", size=11, linespacing=1.5)


def reach_png(reach: Reach, *, spots: tuple = (), least_mm: float | None = None) -> bytes:
    """The detection limit as a curve of height against width, both on logarithmic scales.

    spots: (width_mm at the foot, height_mm) of what was found: dots are humps, squares hollows.
    least_mm: least height asked for.
    """
    import matplotlib

    with matplotlib.rc_context(PEN):
        figure = Figure(figsize=(WIDE_IN * 0.8, 4.6), dpi=DPI, layout="constrained", facecolor="white")
        axes = figure.add_subplot()
        width, least = reach.width_mm, reach.least_mm
        low = 0.4 * min(float(least.min()), least_mm or np.inf)
        high = max(3.0, 8 * float(least.min()))
        axes.set(xscale="log", yscale="log", xlim=(width[0], width[-1]), ylim=(low, high))
        axes.fill_between(width, low, np.minimum(least, high), color=DIM, lw=0, zorder=1)
        axes.plot(width, least, color="black", lw=2.2, zorder=3)
        axes.plot(width, reach.worst_mm, color="black", lw=1.2, ls=(0, (5, 3)), zorder=3)
        axes.plot(width, reach.shadow_mm, color="black", lw=1.2, ls=(0, (1, 2)), zorder=3)
        if least_mm is not None:
            axes.axhline(least_mm, color="black", lw=0.8, zorder=2)
        for across, height in spots:
            shape = "o" if height > 0 else "s"
            at = float(np.clip(across, width[0], width[-1])), float(np.clip(abs(height), low, high))
            axes.plot(*at, marker=shape, mfc="black", mec="white", ms=8, zorder=7, clip_on=False)
        _named(axes, reach, least_mm, bool(spots))
        return png(figure)


def reach_of(result: HumpMap) -> Reach:
    """Detection limit for the lamps of a map, as the solve found them, on a flat patch of its size."""
    from lightcheck import reach

    grid = result.patch.grid
    places = [a.place_mm for a in result.relief.lamps]
    size = grid.nx * grid.cell_mm, grid.ny * grid.cell_mm
    noise = result.relief.noise  # one photo leaves nothing over to tell it by
    return reach.limits(places, patch_mm=size, noise=noise if np.isfinite(noise) else 0.0)


def limit_png(result: HumpMap, reach: Reach) -> bytes:
    """The curve for a map, with its own spots on it (their width at the foot is twice that listed)."""
    spots = tuple((2 * s.width_mm, s.height_mm) for s in result.spots)
    return reach_png(reach, spots=spots, least_mm=result.recipe.least_mm)


def limit_words(reach: Reach, least_mm: float) -> str:
    """What the curve says, in a sentence or two, for a page."""
    width = min(100.0, float(reach.width_mm[-1]))
    said = f"With these lamps about {reach.least_at(width):.2g} mm is the least that can be told"
    told = reach.width_mm[reach.worst_mm <= least_mm]
    if not len(told):
        return (
            f"{said} of a hump {width:.0f} mm across. The {least_mm:g} mm asked for can not be told: set the "
            "lamps lower, or use more of them."
        )
    return (
        f"{said} of a hump {width:.0f} mm across; the {least_mm:g} mm asked for can be told from "
        f"{told[0]:.0f} to {told[-1]:.0f} mm across, everywhere on the patch."
    )


def _named(axes, reach: Reach, least_mm: float | None, spots: bool) -> None:
    """Names where the lines run, and the scales."""
    low, high = axes.get_ylim()
    wide = reach.width_mm
    middle = float(np.sqrt(wide[0] * wide[-1]))
    plain = {"ha": "center", "zorder": 6, "bbox": {"fc": "white", "ec": "none", "pad": 1}}
    axes.text(middle, low * 1.1, "too low to be told", size=12, ha="center", va="bottom", zorder=6)
    axes.text(wide[0] * 1.06, reach.worst_mm[0] * 1.12,
              "least that can be told (dashed: towards the edge)",
              size=10.5, **plain | {"ha": "left"}, va="bottom")  # fmt: skip
    shown = reach.shadow_mm < high
    if shown.any():
        at = wide[shown][-1], reach.shadow_mm[shown][-1]
        right = at[0] < middle
        axes.annotate("higher than this it hides its own back", at,
                      xytext=(14 if right else -14, -2), textcoords="offset points", size=10.5,
                      **plain | {"ha": "left" if right else "right"}, va="top")  # fmt: skip
    if least_mm is not None:
        away = least_mm / reach.worst_mm[0]
        over = not 0.6 < away < 1
        axes.text(wide[-1] * 0.98, least_mm * (1.05 if over else 0.95), "least height asked for", size=10.5,
                  **plain | {"ha": "right"}, va="bottom" if over else "top")  # fmt: skip
    note = ". Dots: humps found; squares: hollows" if spots else ""
    axes.set_xlabel(f"width at the foot, mm{note}")
    axes.set_ylabel("height, mm")
    _scales(axes, wide)


def _scales(axes, wide: np.ndarray) -> None:
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter, NullLocator

    axes.xaxis.set_minor_locator(NullLocator())
    axes.set_xticks(wide, [f"{w:.0f}" for w in wide])
    axes.yaxis.set_major_locator(LogLocator(subs=(1, 2, 5)))
    axes.yaxis.set_minor_formatter(NullFormatter())
    axes.yaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
    axes.grid(color="#e4e4e4", lw=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
