"""Change: one pass against the next, and all passes in a row.

The second map is laid on the first by the wood that stayed (`register`), levelled on it (`level`), and
every spot is measured again on the draws of both (`states`). Stored maps in, a Change out.
"""

from lightcheck.change.compare import compare
from lightcheck.change.curve import Curve, PassFigures, curve
from lightcheck.change.product import Change, Hung, Registration, SpotChange, State
from lightcheck.change.register import register

__all__ = [
    "Change", "Curve", "Hung", "PassFigures", "Registration", "SpotChange", "State", "compare", "curve",
    "register",
]  # fmt: skip
