"""Plan plot: the map with what is to do on it, in colours that grey printing keeps apart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch as Swatch
from matplotlib.patches import Polygon

from lightcheck.plan.product import LEAVE, PLANE, REFUSED
from lightcheck.report.marks import outline
from lightcheck.report.plan_words import Heading
from lightcheck.report.plots import (
    COLOURS,
    DPI,
    HOLLOW_HATCH,
    PEN,
    UNSEEN,
    UNSEEN_HATCH,
    WIDTH_IN,
    draw_card,
    limit_mm,
    png,
)

if TYPE_CHECKING:
    from lightcheck.plan import Plan

_LOOKS = {
    "station": ((0, (6, 4)), 1.2), "centreline": ((0, (12, 3, 3, 3)), 1.6), "sheer": ("-", 2.6),
    "stop": ("-", 2.6), "crease": ("-", 1.4), "chine": ("-", 1.4), "rabbet": ("-", 1.4),
}  # fmt: skip


def plan_png(plan: Plan, heading: Heading) -> bytes:
    """The map as the builder faces the wood."""
    import matplotlib

    grid = plan.stored.grid
    half = grid.cell_mm / 2
    frame = (grid.x_mm[0] - half, grid.x_mm[-1] + half, grid.y_mm[0] - half, grid.y_mm[-1] + half)
    with matplotlib.rc_context(PEN):
        tall = float(np.clip(WIDTH_IN * (frame[3] - frame[2]) / (frame[1] - frame[0]), 1.5, 11.0))
        figure = Figure(figsize=(WIDTH_IN, tall + 1.1), dpi=DPI, layout="constrained", facecolor="white")
        axes = figure.add_subplot()
        axes.set(xlim=frame[:2], ylim=frame[2:], aspect="equal", xticks=[], yticks=[])
        _ground(axes, plan, frame)
        for place in plan.stored.cards:
            draw_card(axes, place)
        for low in plan.lows:
            outline(axes, low.spot.outline_mm, hollow=True)
            if len(low.spot.outline_mm) >= 3:
                axes.add_patch(Polygon(low.spot.outline_mm, fill=False, hatch=HOLLOW_HATCH, lw=0, zorder=4))
        _marks(axes, plan)
        _tasks(axes, plan)
        for low in plan.lows:
            _number(axes, str(low.spot.number), (low.spot.x_mm, low.spot.y_mm), hump=False)
        if heading.bow:
            _bow(axes, heading.bow)
        _legend(figure, plan)
        return png(figure)


def _ground(axes, plan: Plan, frame) -> None:
    height = plan.stored.height_mm
    limit = limit_mm(height)
    axes.add_patch(
        Polygon(
            [(frame[0], frame[2]), (frame[1], frame[2]), (frame[1], frame[3]), (frame[0], frame[3])],
            facecolor=UNSEEN, edgecolor="#777777", hatch=UNSEEN_HATCH, lw=0,
        )
    )  # fmt: skip
    axes.imshow(
        np.ma.masked_invalid(height), origin="lower", extent=frame, cmap=COLOURS, vmin=-limit, vmax=limit,
        interpolation="nearest", alpha=0.75, zorder=2,
    )  # fmt: skip
    axes.imshow(
        np.ma.masked_invalid(np.where(np.isfinite(height), 1.0, np.nan)), origin="lower", extent=frame,
        cmap="gray", vmin=0, vmax=1, zorder=1.5,
    )  # fmt: skip


def _marks(axes, plan: Plan) -> None:
    for mark in plan.marks.of(*_LOOKS):
        dash, width = _LOOKS[mark.kind]
        axes.plot(*mark.at_mm.T, color="black", ls=dash, lw=width, zorder=5)
        name = {"centreline": "centreline", "station": f"station {mark.name}"}.get(mark.kind, mark.kind)
        upright = np.ptp(mark.at_mm[:, 1]) > np.ptp(mark.at_mm[:, 0])
        end = mark.at_mm[mark.at_mm[:, 1 if upright else 0].argmax()]
        x, y = np.clip(end, *np.array([axes.get_xlim(), axes.get_ylim()]).T)
        box = {"boxstyle": "square,pad=0.15", "fc": "white", "ec": "none"}
        place = {"ha": "center", "va": "top"} if upright else {"ha": "right", "va": "bottom"}
        axes.text(x, y, name, size=11, bbox=box, zorder=8, **place)
    for mark in plan.marks.of("fastener"):
        axes.plot(*mark.at_mm[0], marker="o", ms=13, mfc="white", mec="black", mew=1.6, zorder=10)
        axes.plot(*mark.at_mm[0], marker="x", ms=8, color="black", mew=1.6, zorder=10)
    for mark in plan.marks.of("leave", "no lower", "flat", "bevel"):
        axes.add_patch(Polygon(mark.area_mm, fill=False, ec="black", ls=":", lw=1.6, zorder=6))
        axes.text(*mark.area_mm.mean(axis=0), mark.kind, size=10, ha="center", va="center", zorder=8)


def _tasks(axes, plan: Plan) -> None:
    for task in plan.tasks:
        outline(axes, task.outline_mm, hollow=False)
        middle = task.outline_mm.mean(axis=0)
        if task.do == PLANE:
            way = np.array([np.cos(task.turn_rad), np.sin(task.turn_rad)])
            half = max(task.long_mm / 2, 25.0)
            side = np.array([-way[1], way[0]]) * 14 * (-1 if way[0] >= 0 else 1)
            style = "-|>" if task.grain == "as marked" else "<|-|>"
            axes.annotate(
                "", middle + side + half * way, xytext=middle + side - half * way, zorder=8,
                arrowprops={"arrowstyle": style, "lw": 2.2, "color": "black", "mutation_scale": 18},
            )  # fmt: skip
        if task.do == REFUSED:
            axes.plot(*middle, marker="x", ms=34, color="black", mew=3, zorder=8)
        at = middle if task.part else (task.spot.x_mm, task.spot.y_mm)
        _number(axes, task.name, at, hump=True)


def _number(axes, name: str, at, *, hump: bool) -> None:
    box = {
        "boxstyle": "circle,pad=0.2" if hump else "square,pad=0.3",
        "fc": "black",
        "ec": "white",
        "lw": 1.2,
    }
    axes.text(
        *at, name, color="white", size=14, weight="bold", ha="center", va="center", bbox=box, zorder=9
    )  # fmt: skip


def _bow(axes, bow: str) -> None:
    at = {"left": (0.01, 0.985), "right": (0.99, 0.985), "up": (0.01, 0.985), "down": (0.01, 0.02)}[bow]
    arrows = {"left": "◀ BOW", "right": "BOW ▶", "up": "▲ BOW", "down": "▼ BOW"}
    axes.text(
        *at, arrows[bow], transform=axes.transAxes, size=14, weight="bold", zorder=11,
        ha="right" if bow == "right" else "left", va="bottom" if bow == "down" else "top",
        bbox={"boxstyle": "square,pad=0.2", "fc": "white", "ec": "black"},
    )  # fmt: skip


def _legend(figure: Figure, plan: Plan) -> None:
    handles = [
        Line2D([], [], color="black", lw=2, label="high"),
        Swatch(facecolor="white", edgecolor="black", hatch=HOLLOW_HATCH, ls="--", label="low: do not plane"),
        Swatch(facecolor=UNSEEN, edgecolor="#777777", hatch=UNSEEN_HATCH, label="not measured"),
    ]
    if any(t.do in (REFUSED, LEAVE) for t in plan.tasks):
        handles.append(Line2D([], [], ls="", marker="x", ms=11, color="black", mew=2.5, label="not yet"))
    if plan.marks.of("fastener"):
        handles.append(Line2D([], [], ls="", marker="o", ms=10, mfc="white", mec="black", label="fastener"))
    figure.legend(handles=handles, loc="outside lower center", ncols=5, frameon=False)
