"""Lay plot: one tool on one line: the wood, the tool on it, the daylight between, where it rests.

The wood is grey with a black edge, the tool a broad line, daylight dotted between them; what is doubtful
is hatched. Nothing hangs on colour alone. Heights are stretched, and the axis says so by its numbers.
"""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from lightcheck.lay import TOUCH_MM, Laid
from lightcheck.report.plots import DPI, PEN, UNSEEN, UNSEEN_HATCH, WIDTH_IN, png

TOOL, LIGHT = "#2c7bb6", "#fee090"
_DOUBT_HATCH = "\\\\\\"
_APART = 0.06  # of the line, between labels of pushes


def line_png(one: Laid) -> bytes:
    """Above: the section. Below: daylight with give or take twice over, and what is cut or bridged."""
    import matplotlib

    with matplotlib.rc_context(PEN | {"font.size": 11}):
        figure = Figure(figsize=(WIDTH_IN, 6.4), dpi=DPI, layout="constrained", facecolor="white")
        section, light = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
        _section(section, one)
        _light(light, one)
        shown = np.isfinite(one.wood_mm) | np.isfinite(one.tool_mm)
        first, last = one.along_mm[shown][[0, -1]]
        section.set_xlim(first - 0.03 * (last - first), last + 0.03 * (last - first))
        for axes in (section, light):
            _doubts(axes, one)
            axes.grid(color="#e4e4e4", lw=0.6)
            axes.set_axisbelow(True)
            for side in ("top", "right"):
                axes.spines[side].set_visible(False)
        handles = {n: h for a in (section, light)
                   for h, n in zip(*a.get_legend_handles_labels(), strict=True)}  # fmt: skip
        figure.legend(handles.values(), handles, loc="outside lower center", ncols=4, frameon=False)
        return png(figure)


def _section(axes, one: Laid) -> None:
    at, wood, tool = one.along_mm, one.wood_mm, one.tool_mm
    under = np.isfinite(tool)
    both = np.concatenate([tool[under], wood[under & np.isfinite(wood)]])
    margin = max(0.1, 0.12 * float(np.ptp(both)))
    low, high = both.min() - 1.6 * margin, both.max() + 1.2 * margin
    axes.fill_between(at, wood, low, color="#c9c9c9", lw=0, label="wood")
    axes.plot(at, wood, color="black", lw=1.6)
    axes.fill_between(
        at, tool, wood, where=np.nan_to_num(one.daylight_mm) > TOUCH_MM, facecolor=LIGHT,
        edgecolor="#8a6d1f", hatch="..", lw=0, label="daylight",
    )  # fmt: skip
    axes.plot(at, tool, color=TOOL, lw=3, solid_capstyle="butt", label=one.tool.split(",")[0])
    _marks(axes, one, margin)
    axes.set_ylim(low, high)
    axes.set_ylabel("height, mm")
    axes.set_title(one.tool[0].upper() + one.tool[1:], loc="left", size=12, weight="bold")


def _marks(axes, one: Laid, margin: float) -> None:
    """Where it rests, from below; where a hand or a typed point holds it, from above; with the force."""
    there = np.isfinite(one.tool_mm)
    for held, mark, name in ((False, "^", "rests here"), (True, "v", "held here")):
        side = 1 if held else -1
        stretches = [s for s in one.touching if (s.what in ("held by hand", "typed point")) == held]
        if not stretches:
            continue
        at = np.array([(s.from_mm + s.to_mm) / 2 for s in stretches])
        height = np.interp(at, one.along_mm[there], one.tool_mm[there])
        axes.plot(at, height + side * 0.3 * margin, ls="", marker=mark, color="black", ms=8, label=name)
        pushes = [(x, y, s.force_n) for s, x, y in zip(stretches, at, height, strict=True) if s.force_n]
        for x, y, force in _told_apart(pushes, _APART * float(np.ptp(one.along_mm))):
            axes.annotate(
                f"{abs(force):.0f} N{' down' if force < 0 else ''}", (x, y + side * 0.6 * margin),
                ha="center", va="bottom" if held else "top", size=10,
                bbox={"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.8},
            )  # fmt: skip


def _told_apart(pushes: list, apart_mm: float) -> list[tuple[float, float, float]]:
    """Pushes (x, y, force) too near each other for their labels are told as one, in their middle."""
    groups: list[list] = []
    for push in sorted(pushes):
        if groups and push[0] - groups[-1][0][0] < apart_mm and push[2] * groups[-1][-1][2] > 0:
            groups[-1].append(push)
        else:
            groups.append([push])
    return [(*np.mean([p[:2] for p in g], axis=0), sum(p[2] for p in g)) for g in groups]


def _light(axes, one: Laid) -> None:
    at, light, sigma = one.along_mm, one.daylight_mm, np.nan_to_num(one.sigma_mm)
    axes.fill_between(
        at, np.maximum(light - 2 * sigma, 0), light + 2 * sigma, color="#dddddd", lw=0,
        label="give or take twice over",
    )  # fmt: skip
    axes.plot(at, light, color="black", lw=1.6, label="daylight as it lies")
    worst = one.worst_mm
    axes.plot(one.worst_along_mm, worst, marker="v", ls="", color="black", ms=8)
    doubt = f" ±{max(one.worst_sigma_mm, 0.01):.2f}" if np.isfinite(one.worst_sigma_mm) else ""
    axes.annotate(
        f"{worst:.2f}{doubt} mm", (one.worst_along_mm, worst), xytext=(0, 12), textcoords="offset points",
        ha="center", weight="bold", bbox=dict(boxstyle="round,pad=0.2", fc="white", ec="black", lw=0.8),
    )  # fmt: skip
    top = 1.6 * max(worst, 2 * TOUCH_MM)
    if np.isfinite(one.least_mm).any():
        axes.plot(at, one.least_mm, color=TOOL, lw=1.4, ls=(0, (5, 2)), label="least, as it is moved along")
        _strip(axes, one, -0.22 * top)
        axes.set_ylim(-0.32 * top, top)
    else:
        axes.set_ylim(-0.04 * top, top)
    axes.set_ylabel("daylight, mm")
    axes.set_xlabel("mm along the line")


def _strip(axes, one: Laid, low: float) -> None:
    """Where a longboard cuts, and where it bridges, moved over the whole line."""
    cut = np.nan_to_num(one.least_mm, nan=9.0) < TOUCH_MM
    bridged = np.isfinite(one.least_mm) & ~cut
    untouched = np.isfinite(one.wood_mm) & ~cut & ~bridged
    for mask, look in (
        (cut, {"facecolor": "black", "label": "cut"}),
        (bridged, {"facecolor": "white", "edgecolor": "black", "hatch": "///", "label": "bridged"}),
        (untouched, {"facecolor": "white", "edgecolor": "#888888", "label": "untouched"}),
    ):
        axes.fill_between(one.along_mm, low, low / 3, where=mask, lw=0.6, step="mid", **look)


def _doubts(axes, one: Laid) -> None:
    for s in one.doubtful:
        blind = s.what == "wood not seen"
        axes.axvspan(
            s.from_mm, max(s.to_mm, s.from_mm + 1), lw=0, alpha=0.55, facecolor=UNSEEN if blind else "white",
            edgecolor="#666666", hatch=UNSEEN_HATCH if blind else _DOUBT_HATCH, zorder=0.5,
            label=s.what,
        )  # fmt: skip
