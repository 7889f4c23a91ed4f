"""Shadow: a thing of known thickness on the wood tells where the light came from.

Its shadow's length and direction give elevation and bearing there; two shadows in one photo give the
lamp's place. Set against tape and solve it shows a lamp's height misread, which no flat patch reveals.
"""

from lightcheck.shadow.fit import Shadow, elevation_rad, lit_share, measure
from lightcheck.shadow.look import about, covered, find, uncovered
from lightcheck.shadow.place import CrossCheck, LampSeen, combined, cross_check, lamp_place
from lightcheck.shadow.things import ShadowSpec, Thing, coins, read, thing
from lightcheck.shadow.window import Setting

__all__ = [
    "CrossCheck", "LampSeen", "Setting", "Shadow", "ShadowSpec", "Thing", "about", "coins", "combined",
    "covered", "cross_check", "elevation_rad", "find", "lamp_place", "lit_share", "measure", "read", "thing",
    "uncovered",
]  # fmt: skip
