"""Lip: what the thickness of the template, and the wood itself, hide from a phone that is not level.

           phone                      c: the phone, z before the face with the cards
             o- - - - - _ _           s: how far below the edge the phone stands, square to it, over z
    face |========|far      - - _
         |template|lip            the far lip of a square edge hides   thick * s   where s > 0
         |________|                (seen from above the near lip is the edge that is seen)
      ~~~~ daylight ~~~~

Whatever side the phone is off to, the wood's own roundness lengthwise may hide R s^2 / 2 more; R is not
known, so this goes into sigma and never into the reading.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

WOOD_RADIUS_MM = 400.0  # lengthwise roundness that may hide light from a phone off level: own estimate
SOFT_LIP = 0.2  # share of the correction that is in doubt: the underside is lit, the corner not sharp
UNDERSIDE_SHARE = 0.4
LEVEL = 0.03  # a phone further off the edge's level than this, over its distance, is flagged
TURNED = 0.2  # and one that stands further to the side than this


@dataclass(frozen=True, slots=True, kw_only=True)
class Lip:
    """hidden_mm: (n,) daylight behind the far lip.  sigma_mm: (n,).  slope: (n,) the phone below the edge.

    aside: (n,) the phone to one side, over its distance too.
    """

    hidden_mm: np.ndarray
    sigma_mm: np.ndarray
    slope: np.ndarray
    aside: np.ndarray


def hidden(
    edge_mm: np.ndarray, down: np.ndarray, *, eye_mm: np.ndarray, eye_cov_mm2: np.ndarray, thick_mm: float
) -> Lip:
    """What is hidden at (n, 2) places of the edge as seen, with (n, 2) unit vectors to the wood.

    Of a far lip at depth t the plane of the face shows E + (C - E) t / c, so that the near lip lies
    (C - E) t / c further from the wood, counted square to the edge.
    """
    away = eye_mm[:2] - edge_mm
    slope = (down * away).sum(-1) / eye_mm[2]
    reach = np.c_[down, -slope] / eye_mm[2]  # how the slope changes with the phone's place
    slope_sigma = np.sqrt(np.einsum("ni,ij,nj->n", reach, eye_cov_mm2, reach))
    hides = thick_mm * np.maximum(slope, 0.0)
    # near level it is not certain which lip is seen
    unsure = thick_mm * slope_sigma * np.clip(0.5 + slope / np.maximum(slope_sigma, 1e-9), 0, 1)
    wood = WOOD_RADIUS_MM * (slope**2 + slope_sigma**2) / 2
    sigma = np.sqrt(unsure**2 + (SOFT_LIP * hides) ** 2 + wood**2)
    aside = (down[:, 1] * away[:, 0] - down[:, 0] * away[:, 1]) / eye_mm[2]
    return Lip(hidden_mm=hides, sigma_mm=sigma, slope=slope, aside=aside)


def in_shadow(lip: Lip) -> Lip:
    """The same lit from the front: the template's underside is dark, and is seen as part of the shadow line.

    It hides nothing then; how much of it the wood lights up is in doubt (on rendered photos a quarter to
    a half of it was seen too much).
    """
    doubt = UNDERSIDE_SHARE * lip.hidden_mm
    return replace(lip, hidden_mm=np.zeros_like(lip.hidden_mm), sigma_mm=np.hypot(lip.sigma_mm, doubt))
