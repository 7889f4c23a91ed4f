"""Reach: what a lamp can show, where to put it, and what it leaves in the dark."""

from lightcheck.reach.contrast import contrast, hidden_mm, lit_over_crown_mm, shadow_height_mm
from lightcheck.reach.limit import LISTED_MM, SURE, Reach, limits
from lightcheck.reach.stand import Stand, stand

__all__ = [
    "LISTED_MM",
    "SURE",
    "Reach",
    "Stand",
    "contrast",
    "hidden_mm",
    "limits",
    "lit_over_crown_mm",
    "shadow_height_mm",
    "stand",
]
