"""Strip: patches of known black area, printed below a card, to measure the response of a phone.

A printer makes grey of black specks in a pattern of its own, as dark as it happens to come out. So the
patches hold no grey at all, only black lines on a raster of 600 to the inch: how much of the paper they
cover is known from geometry, and what is seen is paper and black mixed in that share, once the lines
are too fine for the camera.

    paper above   -------------------------------------        y = -41 mm from the middle of the card
    patches       |  | 4| 8| 2| 6|12| 8|##|   black dots
                  |  |10|20| 5|10|20|10|##|   of a line, and from one line to the next
    paper below   -------------------------------------        y = -55 mm

Toner spreads and light spreads in paper, so that lines read wide: by the same at every edge, and
therefore by twice as much of the paper where the lines stand twice as close. Patches that have the same
black area in lines of other kinds tell by how much (`tone`).
"""

from __future__ import annotations

from dataclasses import dataclass

from lightcheck.card.size import size
from lightcheck.units import MM_PER_INCH

DOT_MM = MM_PER_INCH / 600  # the raster of a common laser printer; 1200 to the inch holds it too
STEP_MM, WIDE_DOTS = 12.0, 280  # from patch to patch, and a patch: a whole number of lines of every kind
TOP_MM, HIGH_MM = -41.0, 14.0  # of the patches, from the middle of the card
PAPER_MM = 27.0  # added to the card's paper below
_ORDER = ((0, 10), (4, 10), (8, 20), (2, 5), (6, 10), (12, 20), (8, 10), (10, 10))


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """One patch: its middle across the card [mm], black dots of a line, and dots from line to line."""

    x_mm: float
    black: int
    pitch: int

    @property
    def coverage(self) -> float:
        """Share of the paper that is black, as drawn."""
        return self.black / self.pitch


PATCHES = tuple(
    Patch(x_mm=(i - (len(_ORDER) - 1) / 2) * STEP_MM, black=black, pitch=pitch)
    for i, (black, pitch) in enumerate(_ORDER)
)


def draw(canvas, card: int, corner_mm: tuple[float, float]) -> None:
    """The strip below a large card whose paper's lower left corner is at `corner_mm` on the page."""
    wide, high = size(card).outline_mm
    x, y = corner_mm
    canvas.setLineWidth(0.1)
    canvas.setStrokeGray(0.6)
    canvas.rect(x, y - PAPER_MM, wide, PAPER_MM)
    black = canvas.beginPath()
    for patch in PATCHES:
        first = round((x + wide / 2 + patch.x_mm) / DOT_MM - WIDE_DOTS / 2)  # on the raster of the page
        foot = y + high / 2 + TOP_MM - HIGH_MM
        lines = WIDE_DOTS // patch.pitch if patch.black else 0
        for line in range(lines):
            left = (first + line * patch.pitch) * DOT_MM
            black.rect(left, foot, patch.black * DOT_MM, HIGH_MM)
    canvas.setFillGray(0)
    canvas.drawPath(black, stroke=0, fill=1)
    canvas.setFont("Helvetica", 1.8)
    shares = ", ".join(f"{100 * p.coverage:.0f}" for p in PATCHES)
    canvas.drawString(x + 5, y - PAPER_MM + 0.8, f"grey strip of card {card}: black area {shares} %")
