"""Pattern: full-size patterns of the stations' templates, with places for cards.

The edge of a template is the designed surface of the wood, and the template lies outside it: it is held
against the wood with its tick on the centreline. Drawn on tiled paper (PDF), as SVG and DXF at true size,
and as an outline of points that a photo of the template is read with.
"""

from lightcheck.pattern.outline import outline_csv
from lightcheck.pattern.product import Cut, Mark, Pattern, make
from lightcheck.pattern.sheet import CardSpot

__all__ = ["CardSpot", "Cut", "Mark", "Pattern", "make", "outline_csv"]
