"""Outline: the edge of a template as points, so that a photo of it measures itself.

# station,4                      lines that start with # say what belongs to the edge
# face,aft                       the face that lies on the station
# proud,3.0                      roughing wood that the edge leaves on [mm]
# tick,0.000,52.000              where the centreline meets it
# card,4,591.2,345.6,67.50       number, middle, turn counter-clockwise from x [mm, degrees]
x_mm,y_mm                        then points in order from the centreline to the sheer:
0.0000,52.0000                   x out from the centreline, y up
"""

from __future__ import annotations

import numpy as np

from lightcheck import __version__
from lightcheck.pattern.plane import thinned
from lightcheck.pattern.product import Pattern

WITHIN_MM = 0.002  # the points keep to the edge


def outline_csv(pattern: Pattern) -> str:
    """The outline file of a pattern."""
    cut, (x, y) = pattern.cut, pattern.tick_mm
    lines = [
        f"# lightcheck {__version__} outline of a template: {_plain(pattern.title)}",
        f"# station,{_plain(pattern.section.station)}",
        f"# face,{pattern.face}",
        f"# planking,{cut.planking_mm:g}",
        f"# proud,{cut.proud_mm:g}",
        f"# tick,{x:.3f},{y:.3f}",
    ]
    lines += [
        f"# card,{c.card},{c.x_mm:.3f},{c.y_mm:.3f},{np.degrees(c.turn_rad):.4f}" for c in pattern.cards
    ]
    run = thinned(np.asarray(pattern.edge.at_mm), within=WITHIN_MM)
    return "\n".join([*lines, "x_mm,y_mm", *(f"{px:.4f},{py:.4f}" for px, py in run)]) + "\n"


def _plain(text: str) -> str:
    """One line without commas."""
    return " ".join(text.replace(",", " ").split())
