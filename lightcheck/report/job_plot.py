"""Job plot: the worst gap under each of the builder's straightedges from pass to pass, and what is allowed.

Lines differ by dash and by mark as well as by colour, so that a grey print still reads.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from lightcheck.report.plots import DPI, PEN, WIDTH_IN, png

if TYPE_CHECKING:
    from lightcheck.job import Row, Tolerance

_LOOKS = (
    {"color": "black", "ls": "-", "marker": "o"},
    {"color": "#2c7bb6", "ls": (0, (5, 2)), "marker": "s"},
    {"color": "#b2560d", "ls": (0, (1, 1.5)), "marker": "^"},
    {"color": "#5d3a9b", "ls": (0, (6, 2, 1, 2)), "marker": "D"},
)


def gaps_png(rows: list[Row], tolerances: tuple[Tolerance, ...]) -> bytes:
    """A small graph for each tolerance over the passes that were judged; bars are give or take twice."""
    import matplotlib

    across = min(len(tolerances), 3)
    down = -(-len(tolerances) // across)
    with matplotlib.rc_context(PEN | {"font.size": 11}):
        figure = Figure(figsize=(WIDTH_IN, 3.2 * down), dpi=DPI, layout="constrained", facecolor="white")
        panels = figure.subplots(down, across, squeeze=False)
        for axes in panels.flat[len(tolerances) :]:
            axes.set_visible(False)
        for axes, look, tolerance in zip(panels.flat, _LOOKS * len(tolerances), tolerances, strict=False):
            _panel(axes, rows, tolerance, look)
        for axes in panels[:, 0]:
            axes.set_ylabel("worst gap, mm")
        return png(figure)


def _panel(axes, rows: list[Row], tolerance: Tolerance, look: dict) -> None:
    found = [
        (row.one.number, within)
        for row in rows if row.readiness
        for within in row.readiness.within if within.tolerance == tolerance
    ]  # fmt: skip
    numbers, worst = [n for n, _ in found], [w.worst_mm for _, w in found]
    bars = [2 * w.sigma_mm for _, w in found]
    top = 1.15 * max([*(w + b for w, b in zip(worst, bars, strict=True)), 1.5 * tolerance.height_mm])
    axes.errorbar(numbers, worst, yerr=bars, capsize=4, ms=7, lw=1.8, **look)
    axes.axhspan(0, tolerance.height_mm, facecolor="#e6e6e6", lw=0)
    axes.axhline(tolerance.height_mm, color="black", lw=1)
    axes.annotate(
        f"allowed: {tolerance.height_mm:g}", (0, tolerance.height_mm), xycoords=("axes fraction", "data"),
        xytext=(4, -3), textcoords="offset points", ha="left", va="top", size=10,
    )  # fmt: skip
    axes.set_title(f"Under a straightedge of {tolerance.over_mm:g} mm", loc="left", size=12, weight="bold")
    axes.set(xlabel="pass", ylim=(0, top), xlim=(min(numbers) - 0.5, max(numbers) + 0.5))
    axes.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=8))
    axes.grid(color="#e4e4e4", lw=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
