"""Relief: height of the surface over the patch's base shape, from all shots in one solve."""

from lightcheck.relief.product import LampFound, Relief
from lightcheck.relief.solve import solve

__all__ = ["LampFound", "Relief", "solve"]
