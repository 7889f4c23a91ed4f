"""Daylight: what one photo of a template on the wood says, in millimetres.

y ^   ______________________        the template's own frame: origin midway between its cards,
  |  |  [card 0]  [card 1]  |       x from the lower card number to the higher,
  |  |______________________|       y away from the wood
  |   ~~~~~~ daylight ~~~~~~
  |___wood____________________> x
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.patch import CardPlace

UNKNOWN = float("inf")  # sigma of what nothing holds


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """Why a stretch should be trusted less: from and to are places along the edge. [mm]"""

    what: str
    from_mm: float
    to_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Touch:
    """A stretch where template and wood meet; x, y of its middle."""

    from_mm: float
    to_mm: float
    along_mm: float
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """How the template was held in its place, as the builder says.

    marks: those that were used.  lift, side: sigma of the template's place away from the wood and along
    it.  rock: sigma of its turn in its own plane.  Infinite where no mark holds it.
    """

    marks: tuple[str, ...] = ()
    lift_sigma_mm: float = UNKNOWN
    side_sigma_mm: float = UNKNOWN
    rock_sigma_rad: float = UNKNOWN

    @property
    def held(self) -> bool:
        """Whether lift and rock are both known."""
        return bool(np.isfinite(self.lift_sigma_mm) and np.isfinite(self.rock_sigma_rad))


@dataclass(frozen=True, slots=True, kw_only=True)
class StandOff:
    """How far the wood stands off its designed shape, square to it; + proud of it, - inside it.

    design_mm: (n, 2) places on the designed outline, in the outline's frame.  off_mm, sigma_mm: (n,),
    as if the template sat at its designed place; the sigma counts what the marks leave open, and what
    nothing holds is named in `unknown` instead.  shape_mm, shape_sigma_mm: (n,) the same less the
    best lift, side shift and rock among the unknown ones: what is left does not depend on them.
    cut_mm: (n,) how far the template's own edge lies off the outline, + into the wood.
    face_mm: what was taken off because the far face lies on the station.
    """

    source: str
    design_mm: np.ndarray
    off_mm: np.ndarray
    sigma_mm: np.ndarray
    shape_mm: np.ndarray
    shape_sigma_mm: np.ndarray
    cut_mm: np.ndarray
    unknown: tuple[str, ...]
    face_mm: float
    tied_by: str
    mirrored: bool
    station: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Daylight:
    """One reading of one template or batten.

    along_mm: (n,) along the edge from its lowest x.  edge_mm: (n, 2) x, y on the template's edge.
    daylight_mm: (n,) square to the edge; 0 touching, NaN unseen.  sigma_mm: (n,) of it.
    light: "back" or "front".  held: "template" or "batten".  eye_mm: (3,) the phone in the frame of the
    template, z towards it from the face with the cards.  eye_sigma_mm: (3,).
    """

    photo: str
    sha256: str
    light: str
    held: str
    thick_mm: float
    cards: tuple[CardPlace, ...]
    along_mm: np.ndarray
    edge_mm: np.ndarray
    daylight_mm: np.ndarray
    sigma_mm: np.ndarray
    touching: tuple[Touch, ...] = ()
    flags: tuple[Flag, ...] = ()
    seat: Seat = field(default_factory=Seat)
    stand_off: StandOff | None = None
    eye_mm: np.ndarray
    eye_sigma_mm: np.ndarray
    mm_per_px: float
    others: tuple[CardPlace, ...] = ()

    def __post_init__(self) -> None:
        """Refuse arrays that do not belong together: a fault of the program or a changed file."""
        n = len(self.along_mm)
        shapes = {self.daylight_mm.shape, self.sigma_mm.shape}
        if self.edge_mm.shape != (n, 2) or shapes != {(n,)} or n < 1:
            raise LightcheckError(
                "The columns of this reading are not of one length.", "Measure the photo again."
            )

    @property
    def largest(self) -> int | None:
        """Index of the widest daylight, None where nothing was seen."""
        return int(np.nanargmax(self.daylight_mm)) if np.isfinite(self.daylight_mm).any() else None
