"""Relief: height of the surface over the patch's base shape, from all shots in one solve."""

from lightcheck.relief.gauge import hang
from lightcheck.relief.hold import Hold
from lightcheck.relief.product import HoldFound, LampFound, Relief
from lightcheck.relief.solve import solve

__all__ = ["Hold", "HoldFound", "LampFound", "Relief", "hang", "solve"]
