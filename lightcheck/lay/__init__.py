"""Lay: straightedge, batten, longboard and planking laid on the wood by computation."""

from lightcheck.lay.batten import Batten, Held, batten, batten_over
from lightcheck.lay.bench import run_on
from lightcheck.lay.longboard import Board, longboard, longboard_over
from lightcheck.lay.planking import SHOWS, Planking, planking_over, transfer
from lightcheck.lay.product import TOUCH_MM, Laid, Over, Stretch
from lightcheck.lay.reading import curve_mm
from lightcheck.lay.stiffness import SPECIES, Timber, bending_nmm2, timber
from lightcheck.lay.straightedge import straightedge, straightedge_over
from lightcheck.lay.wood import Wood, plain, wood
from lightcheck.lay.worst import worst_gap

__all__ = [
    "SHOWS",
    "SPECIES",
    "TOUCH_MM",
    "Batten",
    "Board",
    "Held",
    "Laid",
    "Over",
    "Planking",
    "Stretch",
    "Timber",
    "Wood",
    "batten",
    "batten_over",
    "bending_nmm2",
    "curve_mm",
    "longboard",
    "longboard_over",
    "plain",
    "planking_over",
    "run_on",
    "straightedge",
    "straightedge_over",
    "timber",
    "transfer",
    "wood",
    "worst_gap",
]
