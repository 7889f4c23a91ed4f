"""HumpMap: the whole walk, from photos to a list of spots."""

from lightcheck.humpmap.make import make
from lightcheck.humpmap.product import HumpMap, Recipe

__all__ = ["HumpMap", "Recipe", "make"]
