"""Nuisances: all that changes the light besides the relief, as columns of the same system.

    gain       per shot, smooth, low order: the lamp's lobe, local tone mapping
    vignetting shared by all shots of one phone, in the picture's own coordinates
    response   shape of the phone's tone curve against the standard one, shared
    ambient    light that is not the lamp's, shared by the raking shots
    lamp       where each lamp really stood, within what a tape and a side word are worth
    base       what the cards missed of the base's curvature
    tone       wood that is darker on one side of the patch than on the other
    seat       lift, rock and slide of each template

Each has an honest prior and the data choose. Cutting polynomials off the data beforehand costs two to
five times the error; fitting all that rendered photos contain with these columns left under 0.3 % of
light in the smooth part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.legendre import legval

from lightcheck.relief.scene import Scene

GAIN_SIGMA = (3.0, 0.005, 0.003, 0.002)  # log gain by degree; degree 0 is the exposure
VIGNETTING_SIGMA = 0.3  # corners of phone pictures are down by up to this
TONE_SIGMA = 0.04
RESPONSE_SIGMA = 0.07  # of the curve's log slope at each knot
NO_FALL_OFF_SIGMA = 0.005  # without a near lamp nothing tells the curve's scale
RESPONSE_RANGE = (-0.45, 0.6)  # no phone's curve is known to be further off
KNOTS = 4
AMBIENT = 0.04  # share of the lamp's median light in a darkened shop: own estimate
AMBIENT_SIGMA = 0.05  # share of the lamp's median light
CURVATURE_SIGMA_MM = 0.1  # over the half size of the patch
TONE_DEGREES = (1, 2, 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Nuisances:
    """Columns that do not change from step to step, and the response basis.

    group: (m,) name of each unknown.  expected, sigma: (m,) its prior.
    fixed: (f, s, n) columns of the first f.
    response: (k, s, n) curve pieces at the measured levels, hats: (k, s, n) their slopes there.
    lamp_root: (s, 3, 3) Cholesky factors of the lamps' covariances.  bowls: (3, n) base shapes.
    """

    group: np.ndarray
    expected: np.ndarray
    sigma: np.ndarray
    fixed: np.ndarray
    response: np.ndarray
    hats: np.ndarray
    lamp_root: np.ndarray
    bowls: np.ndarray

    def of(self, name: str) -> np.ndarray:
        """(m,) bool, unknowns of one group."""
        return self.group == name


def describe(scene: Scene) -> Nuisances:
    """Set up the columns of a scene."""
    names, sigmas, columns = _fixed(scene)
    pieces, hats = _response(scene.measured)
    shots = len(scene.lamps)
    names += ["response"] * len(pieces) + ["ambient"] + ["lamp"] * 3 * shots + ["base"] * 3
    near = any(lamp.kind == "lamp" for lamp in scene.lamps)
    sigmas += (
        [RESPONSE_SIGMA if near else NO_FALL_OFF_SIGMA] * len(pieces) + [AMBIENT_SIGMA] + [1.0] * 3 * shots
    )
    sigmas += [CURVATURE_SIGMA_MM] * 3
    if scene.holds:
        names += ["seat"] * 3 * len(scene.holds)
        sigmas += [s for hold in scene.holds for s in hold.seat_sigma]
    x, y = scene.across
    roots = [np.linalg.cholesky(lamp.cov_mm2 + 1e-9 * np.eye(3)) for lamp in scene.lamps]
    return Nuisances(
        group=np.array(names),
        expected=np.where(np.array(names) == "ambient", AMBIENT, 0.0),
        sigma=np.array(sigmas),
        fixed=np.array(columns),
        response=pieces,
        hats=hats,
        lamp_root=np.array(roots),
        bowls=np.array([x * x - 1 / 3, y * y - 1 / 3, x * y]),
    )


def _fixed(scene: Scene) -> tuple[list, list, list]:
    """Gain per shot, vignetting and the tone of the wood."""
    shots, cells = scene.measured.shape
    names, sigmas, columns = [], [], []
    for degree, shape in _polynomials(scene.across, len(GAIN_SIGMA) - 1):
        for shot in range(shots):
            column = np.zeros((shots, cells))
            column[shot] = shape
            names.append("gain")
            sigmas.append(GAIN_SIGMA[degree])
            columns.append(column)
        if degree in TONE_DEGREES:
            names.append("tone")
            sigmas.append(TONE_SIGMA)
            columns.append(np.tile(shape, (shots, 1)))
    for power in (1, 2):
        names.append("vignetting")
        sigmas.append(VIGNETTING_SIGMA)
        columns.append(scene.off_axis**power)
    return names, sigmas, columns


def _polynomials(across: np.ndarray, most: int):
    """(degree, (n,) Legendre product) up to a degree."""
    x, y = across
    for degree in range(most + 1):
        for i in range(degree + 1):
            yield degree, legval(x, [0] * i + [1]) * legval(y, [0] * (degree - i) + [1])


def _response(measured: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Curve pieces whose slopes are hats over the range of levels, and the hats themselves."""
    knots = np.linspace(*np.nanquantile(measured, (0.03, 0.97)), KNOTS)
    level = np.nan_to_num(measured)
    fine = np.linspace(min(knots[0], level.min()) - 0.1, max(knots[-1], level.max()) + 0.1, 600)
    pieces, hats = [], []
    for one in np.eye(KNOTS):
        slope = np.interp(fine, knots, one)
        rise = np.r_[0, np.cumsum((slope[1:] + slope[:-1]) / 2 * np.diff(fine))]
        pieces.append(np.interp(level, fine, rise - np.interp(0, fine, rise)))
        hats.append(np.interp(level, knots, one))
    return np.array(pieces), np.array(hats)
