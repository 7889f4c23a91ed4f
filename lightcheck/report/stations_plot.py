"""Stations plot: what is left to come off round each section, one small picture for each station."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from lightcheck.report.plots import DPI, HOLLOW_HATCH, PEN, WIDTH_IN, png

if TYPE_CHECKING:
    from lightcheck.stations import Reading, StationTable

_LOOK = {
    "port": {"color": "#2c7bb6", "ls": "-", "marker": "s"},
    "starboard": {"color": "#b2560d", "ls": (0, (5, 2)), "marker": "o"},
    "": {"color": "black", "ls": "-", "marker": "o"},
}
_ACROSS = 3


def stations_png(result: StationTable) -> bytes:
    """All stations on one scale, from forward to aft."""
    import matplotlib

    stations = list(dict.fromkeys(r.where.station for r in result.readings))
    across = min(_ACROSS, len(stations))
    down = -(-len(stations) // across)
    with matplotlib.rc_context(PEN | {"font.size": 11}):
        figure = Figure(
            figsize=(WIDTH_IN, 2.9 * down + 0.7), dpi=DPI, layout="constrained", facecolor="white"
        )
        axes = figure.subplots(down, across, squeeze=False, sharey=True)
        for panel, station in zip(axes.flat, stations, strict=False):
            _panel(panel, [r for r in result.readings if r.where.station == station])
        for panel in axes.flat[len(stations) :]:
            panel.set_visible(False)
        for panel in axes[:, 0]:
            panel.set_ylabel("left to come off, mm")
        handles = {n: h for p in axes.flat for h, n in zip(*p.get_legend_handles_labels(), strict=True)}
        figure.legend(handles.values(), handles, loc="outside lower center", ncols=4, frameon=False)
        return png(figure)


def _panel(panel, readings: list[Reading]) -> None:
    """One station: a line for each side, give or take twice over as a band, low wood hatched."""
    for reading in readings:
        look = _LOOK[reading.where.side]
        girth, left, sigma = reading.girth_mm, reading.left_mm, reading.sigma_mm
        panel.fill_between(girth, left - 2 * sigma, left + 2 * sigma, color=look["color"], alpha=0.2, lw=0)
        name = (reading.where.side or "left") + ("" if reading.seated else ", lift not known")
        panel.plot(girth, left, ms=4, lw=1.6, label=name, **look)
        panel.fill_between(
            girth, left, 0, where=np.nan_to_num(left) < 0, facecolor="none",
            edgecolor=look["color"], hatch=HOLLOW_HATCH, lw=0,
        )  # fmt: skip
    first = readings[0]
    panel.axhline(0, color="black", lw=0.8, label="designed shape" if first.seated else "lowest place")
    panel.set_title(f"Station {first.where.station}", loc="left", size=12, weight="bold")
    panel.set_xlabel("mm round from the centreline" if first.from_centre else "mm along the template")
    panel.grid(color="#e4e4e4", lw=0.6)
    panel.set_axisbelow(True)
    for side in ("top", "right"):
        panel.spines[side].set_visible(False)
