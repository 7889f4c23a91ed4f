"""Recipe and HumpMap: what was asked for, and the result for one patch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.check import Finding
from lightcheck.fair import FairSurface
from lightcheck.patch import Patch
from lightcheck.photo import Photo
from lightcheck.relief import Relief
from lightcheck.response import Response
from lightcheck.shadow import CrossCheck
from lightcheck.spots import Spot


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """What was asked for.

    photos: paths as typed.  lamps: as typed, one per photo.  longest_mm: longest hump that still counts,
    along x and across it.  least_mm: least height worth listing.  scale_mm_px: instead of cards.
    measured_mm: x and y of the printed 100 mm ruler.  card_thickness_mm: of stiff cards, 0 for paper.
    templates: readings with their places, as typed.  shadows: things on the wood that cast one, as typed.
    marks: path of marks.toml, or None.  brackets: paths of one scene at several exposures, from which the
    phone's response is read.  kept_response: whether one kept of this phone counts.
    """

    photos: tuple[str, ...]
    lamps: tuple[str, ...]
    longest_mm: tuple[float, float] = (400.0, 400.0)
    least_mm: float = 0.1
    scale_mm_px: float | None = None
    measured_mm: tuple[float, float] = (100.0, 100.0)
    card_thickness_mm: float = 0.0
    templates: tuple[str, ...] = ()
    shadows: tuple[str, ...] = ()
    marks: str | None = None
    brackets: tuple[str, ...] = ()
    kept_response: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class HumpMap:
    """The result for one patch.

    photos: all of them, lamp-off frames too, in the order typed.  warnings: sentences for the reader.
    without_mm: (ny, nx) heights as they would be without the templates, None where there are none.
    findings: what was found about the photos.
    shadows: lamps by their shadows, set against tape and solve.
    response: what was known of the phone's before the solve.
    """

    recipe: Recipe
    photos: tuple[Photo, ...]
    patch: Patch
    relief: Relief
    fair: FairSurface
    spots: tuple[Spot, ...]
    warnings: tuple[str, ...]
    without_mm: np.ndarray | None = None
    findings: tuple[Finding, ...] = ()
    shadows: tuple[CrossCheck, ...] = ()
    response: Response | None = None
