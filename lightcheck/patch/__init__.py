"""Patch: the stretch of surface in the photos, laid on a millimetre grid.

Cards give the phone's place for every shot, the scale and the base shape in one bundle adjustment;
each photo is then warped once onto a fine sheet and averaged over cells. Frame: origin at the mean
of the card centres, x to the right and y up as the first photo shows them there, z out of the wood.
"""

from lightcheck.patch.base import Base
from lightcheck.patch.lay import CardPlace, Patch, lay_out, lay_out_square_on
from lightcheck.patch.view import SquareOn, View

__all__ = ["Base", "CardPlace", "Patch", "SquareOn", "View", "lay_out", "lay_out_square_on"]
