"""Template: the daylight under a template or batten held on the wood, from one photo, in millimetres."""

from lightcheck.template.against import Design
from lightcheck.template.measure import Asked, measure
from lightcheck.template.outline import Outline
from lightcheck.template.outline import read as read_outline
from lightcheck.template.product import Daylight, Flag, Seat, StandOff, Touch
from lightcheck.template.seat import seat
from lightcheck.template.stored import read

__all__ = [
    "Asked",
    "Daylight",
    "Design",
    "Flag",
    "Outline",
    "Seat",
    "StandOff",
    "Touch",
    "measure",
    "read",
    "read_outline",
    "seat",
]
