"""Response: how the phone answered to light, as far as it is known before the relief is solved.

The solve finds the phone's response along with the relief; this is what it starts from, and how far it
may go: a mean and a sigma of the curve's log slope at every level of light.
"""

from lightcheck.response.choose import choose
from lightcheck.response.kept import KeptResponse, keep, listed, shown_folder
from lightcheck.response.product import USUAL_SIGMA, Response

__all__ = ["USUAL_SIGMA", "KeptResponse", "Response", "choose", "keep", "listed", "shown_folder"]
