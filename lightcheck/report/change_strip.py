"""Change strip: every pass of a job side by side on one colour scale, over the curve of what is left."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from lightcheck.errors import LightcheckError
from lightcheck.report.plots import COLOURS, DPI, HOLLOW_HATCH, PEN, UNSEEN, UNSEEN_HATCH, limit_mm, png

if TYPE_CHECKING:
    from lightcheck.change import Curve
    from lightcheck.stored import StoredMap

MOST = 8  # maps that can still be read beside each other
WIDE_IN = 12.0


def strip(passes: Sequence[StoredMap], curve: Curve) -> bytes:
    """The picture. More than MOST passes: the first and the latest; the curve always shows all."""
    import matplotlib

    if not passes or len(passes) != len(curve.passes):
        raise LightcheckError(
            f"There are {len(passes)} maps and a curve of {len(curve.passes)}.",
            "Draw the curve of the same passes.",
        )
    shown = list(range(len(passes)))
    shown = shown if len(shown) <= MOST else [0, *shown[-(MOST - 1) :]]
    limit = max(limit_mm(passes[i].height_mm) for i in shown)
    tall = max(passes[i].grid.ny / passes[i].grid.nx for i in shown) * WIDE_IN / max(len(shown), 2)
    with matplotlib.rc_context(PEN | {"font.size": 11}):
        figure = Figure(figsize=(WIDE_IN, tall + 5.1), dpi=DPI, layout="constrained", facecolor="white")
        top, low = figure.subfigures(2, 1, height_ratios=[tall + 1.3, 3.8])
        maps = top.subplots(1, max(len(shown), 2), squeeze=False)[0]
        for axes, i in zip(maps, shown, strict=False):
            picture = _map(axes, passes[i], limit)
            axes.set_title(f"{i + 1}: {curve.passes[i].name}", loc="left", size=12, weight="bold")
        for axes in maps[len(shown) :]:
            axes.set_visible(False)
        bar = top.colorbar(
            picture, ax=list(maps), orientation="horizontal", fraction=0.08, pad=0.03, aspect=60
        )
        bar.set_label("below fair   ←   mm, the same for all   →   above fair")
        _curves(low, curve)
        return png(figure)


def _map(axes, stored: StoredMap, limit: float):
    grid, half = stored.grid, stored.grid.cell_mm / 2
    extent = (grid.x_mm[0] - half, grid.x_mm[-1] + half, grid.y_mm[0] - half, grid.y_mm[-1] + half)
    axes.set(xticks=[], yticks=[], aspect="equal")
    axes.add_patch(
        Rectangle(
            (0, 0),
            1,
            1,
            transform=axes.transAxes,
            fc=UNSEEN,
            ec="#777777",
            hatch=UNSEEN_HATCH,
            lw=0,
            zorder=-1,
        )  # under the map
    )
    picture = axes.imshow(
        np.ma.masked_invalid(stored.height_mm), origin="lower", extent=extent, cmap=COLOURS, vmin=-limit,
        vmax=limit, interpolation="nearest",
    )  # fmt: skip
    if np.nanmin(stored.height_mm, initial=0.0) < -stored.least_mm / 2:
        axes.contourf(
            grid.x_mm, grid.y_mm, stored.height_mm, levels=[-1e3, -stored.least_mm / 2], colors="none",
            hatches=[HOLLOW_HATCH],
        )  # fmt: skip
    return picture


def _curves(figure, curve: Curve) -> None:
    """Worst and mean on the left, area beyond the tolerance on the right; bars are give or take twice."""
    heights, area = figure.subplots(1, 2)
    at = np.arange(1, len(curve.passes) + 1)

    def of(name: str) -> np.ndarray:
        return np.array([getattr(p, name) for p in curve.passes])

    look = {"capsize": 4, "ms": 8, "lw": 1.8, "color": "black"}
    heights.errorbar(at, of("worst_mm"), 2 * of("worst_sigma_mm"), marker="o", label="worst", **look)
    heights.errorbar(
        at, of("mean_mm"), 2 * of("mean_sigma_mm"), marker="s", mfc="white", ls="--", label="mean", **look
    )
    heights.axhline(
        curve.tolerance_mm, color="black", lw=1, ls=":", label=f"tolerance {curve.tolerance_mm:g}"
    )
    heights.set(ylabel="from fair, mm", ylim=(0, None))
    area.errorbar(at, 100 * of("over"), 200 * of("over_sigma"), marker="D", label="beyond tolerance", **look)
    area.set(ylabel="share of the wood, %", ylim=(0, None))
    for axes in (heights, area):
        axes.set(xticks=at, xlabel="pass", xlim=(0.5, len(at) + 0.5))
        axes.legend(frameon=False, loc="lower left", bbox_to_anchor=(0, 1), ncols=3)
        axes.grid(color="#e4e4e4", lw=0.6)
        axes.set_axisbelow(True)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
