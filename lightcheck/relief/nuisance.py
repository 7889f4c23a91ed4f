"""Nuisances: all that changes the light besides the relief, as columns of the same system.

    gain       per shot, smooth, low order: local tone mapping, what a lamp's lobe has of its own
    lobe       how a lamp dims away from where it points: power of the cosine, one for the lamp, one for
               the flash
    contrast   phones that even out light by place: less contrast at one end of the picture than at the other
    gloss      what a satin surface sends off like a rough mirror, shared by all shots
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
from lightcheck.response import USUAL_SIGMA, Response

GAIN_SIGMA = (3.0, 0.005, 0.003, 0.002)  # log gain by degree; degree 0 is the exposure
LOBE, LOBE_SIGMA = 1.0, 0.7  # a bare bulb 0, a frosted disc 1, a reflector more: own estimate
CONTRAST_SIGMA = 0.03  # at one end of the patch against its middle: phones even light out by place
GLOSS_ROUGHNESS, GLOSS_SIGMA = (0.3, 0.5), 0.03  # slopes of its facets; share of a mirror: own estimate
DIFFUSE = 0.45  # reflectance of bare wood, to set the mirror against
VIGNETTING_SIGMA = 0.3  # corners of phone pictures are down by up to this
TONE_SIGMA = 0.04
RESPONSE_SIGMA = USUAL_SIGMA  # of the curve's log slope at each knot
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
    stretch: (m,) share by which a unit of each raises every height and leaves the photos as they are.
    lamp_root: (s, 3, 3) Cholesky factors of the lamps' covariances.  bowls: (3, n) base shapes.
    """

    group: np.ndarray
    expected: np.ndarray
    sigma: np.ndarray
    fixed: np.ndarray
    response: np.ndarray
    hats: np.ndarray
    stretch: np.ndarray
    lamp_root: np.ndarray
    bowls: np.ndarray

    def of(self, name: str) -> np.ndarray:
        """(m,) bool, unknowns of one group."""
        return self.group == name


def describe(scene: Scene, response: Response | None = None) -> Nuisances:
    """Set up the columns of a scene. response: what is known of the phone's, None for nothing."""
    names, sigmas, columns = _fixed(scene)
    bent = np.array(response.bent if response else (True,) * len(scene.lamps))
    knots, pieces, hats = _response(scene.measured, bent)
    shots = len(scene.lamps)
    names += ["response"] * len(pieces) + ["ambient"] + ["lamp"] * 3 * shots + ["base"] * 3
    slopes, slope_sigmas = _slopes(scene, response, knots)
    sigmas += [*slope_sigmas, AMBIENT_SIGMA] + [1.0] * 3 * shots
    sigmas += [CURVATURE_SIGMA_MM] * 3
    if scene.holds:
        names += ["seat"] * 3 * len(scene.holds)
        sigmas += [s for hold in scene.holds for s in hold.seat_sigma]
    x, y = scene.across
    roots = [np.linalg.cholesky(lamp.cov_mm2 + 1e-9 * np.eye(3)) for lamp in scene.lamps]
    group = np.array(names)
    expected = np.where(group == "ambient", AMBIENT, 0.0)
    expected[group == "response"] = slopes
    expected[group == "lobe"] = LOBE
    return Nuisances(
        group=group,
        expected=expected,
        sigma=np.array(sigmas),
        fixed=np.array(columns),
        response=pieces,
        hats=hats,
        stretch=_stretch(group, hats, scene),
        lamp_root=np.array(roots),
        bowls=np.array([x * x - 1 / 3, y * y - 1 / 3, x * y]),
    )


def _stretch(group: np.ndarray, hats: np.ndarray, scene: Scene) -> np.ndarray:
    """(m,) for the curve its mean over the wood, for ambient light its share."""
    stretch = np.where(group == "ambient", 1.0, 0.0)
    stretch[group == "response"] = hats[:, scene.usable].mean(axis=1)
    return stretch


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
    for kind in ("lamp", "flash"):
        column = _lobe(scene, kind)
        if column.any():
            names.append("lobe")
            sigmas.append(LOBE_SIGMA)
            columns.append(column)
    for place in scene.across:
        names.append("contrast")
        sigmas.append(CONTRAST_SIGMA)
        columns.append(np.nan_to_num(scene.measured) * place)
    for roughness in GLOSS_ROUGHNESS:
        names.append("gloss")
        sigmas.append(GLOSS_SIGMA)
        columns.append(_gloss(scene, roughness))
    for power in (1, 2):
        names.append("vignetting")
        sigmas.append(VIGNETTING_SIGMA)
        columns.append(scene.off_axis**power)
    return names, sigmas, columns


def _lobe(scene: Scene, kind: str) -> np.ndarray:
    """(s, n) log cosine of the angle from where each lamp of this kind points: the middle of the patch."""
    column = np.zeros(scene.measured.shape)
    for shot, lamp in enumerate(scene.lamps):
        if lamp.kind == kind:
            to = scene.facing.place_mm - lamp.place_mm
            axis = -lamp.place_mm / np.linalg.norm(lamp.place_mm)
            column[shot] = np.log(np.clip(to @ axis / np.linalg.norm(to, axis=-1), 0.1, 1.0))
    return column


def _gloss(scene: Scene, roughness: float) -> np.ndarray:
    """(s, n) light of a rough mirror over that of matt wood: its facets, without their shadows.

    Strongest where lamp, wood and lens come nearest to a mirror: at the lamp's end of the patch.
    """
    column, facing = np.zeros(scene.measured.shape), scene.facing
    for shot, (lamp, eye) in enumerate(zip(scene.lamps, scene.eyes_mm, strict=True)):
        if eye is None:
            continue
        to_lamp, to_eye = (_unit(place - facing.place_mm) for place in (lamp.place_mm, eye))
        cosine = (_unit(to_lamp + to_eye) * facing.normal).sum(-1)
        lit, seen = (np.clip((way * facing.normal).sum(-1), 0.02, 1) for way in (to_lamp, to_eye))
        column[shot] = facets(cosine, roughness) / (4 * lit * seen) * np.pi / DIFFUSE
    return column


def facets(cosine: np.ndarray, roughness: float) -> np.ndarray:
    """Share of facets per solid angle at a cosine from the surface's normal (Beckmann's distribution)."""
    return np.exp((1 - cosine**-2) / roughness**2) / (np.pi * roughness**2 * cosine**4)


def _unit(way: np.ndarray) -> np.ndarray:
    return way / np.linalg.norm(way, axis=-1, keepdims=True)


def _polynomials(across: np.ndarray, most: int):
    """(degree, (n,) Legendre product) up to a degree."""
    x, y = across
    for degree in range(most + 1):
        for i in range(degree + 1):
            yield degree, legval(x, [0] * i + [1]) * legval(y, [0] * (degree - i) + [1])


def _slopes(scene: Scene, response: Response | None, knots: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and sigma of the curve's log slope, less 1, at the knots."""
    if response is None or response.curve is None:
        means, sigmas = np.zeros(KNOTS), np.full(KNOTS, RESPONSE_SIGMA)
    else:
        means, sigmas = response.at(knots + scene.level)
    near = any(lamp.kind == "lamp" for lamp in scene.lamps)
    return means, sigmas if near else np.minimum(sigmas, NO_FALL_OFF_SIGMA)


def _response(measured: np.ndarray, bent: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Knots, curve pieces whose slopes are hats over the range of levels, and the hats themselves.

    bent: (s,) shots that have a curve; the others' pieces are nothing.
    """
    knots = np.linspace(*np.nanquantile(measured[bent] if bent.any() else measured, (0.03, 0.97)), KNOTS)
    level = np.nan_to_num(measured)
    fine = np.linspace(min(knots[0], level.min()) - 0.1, max(knots[-1], level.max()) + 0.1, 600)
    pieces, hats = [], []
    for one in np.eye(KNOTS):
        slope = np.interp(fine, knots, one)
        rise = np.r_[0, np.cumsum((slope[1:] + slope[:-1]) / 2 * np.diff(fine))]
        pieces.append(np.interp(level, fine, rise - np.interp(0, fine, rise)))
        hats.append(np.interp(level, knots, one))
    return knots, np.array(pieces) * bent[:, None], np.array(hats) * bent[:, None]
