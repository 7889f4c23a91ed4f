"""Grain: raised grain under a lamp across it, and grain that reverses, told by lamps that disagree.

Ridges of raised grain or torn fibres shade themselves: the same fine stripes are bright from one side
and dark from the other, where colour would be alike in both.

Where fibres run out of the surface the wood shines towards one end. A pair of lamps along the grain
reads that as slope, a pair across it does not. Slopes p, q of any true surface have no curl:

    dp/dy - dq/dx = 0                    textbook (mixed derivatives are equal)

so what curl is left, turned back into slope by one Poisson equation, is shine and not wood.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from scipy.fft import dctn, idctn

from lightcheck.check.finding import AMBER, Finding, height_of_light
from lightcheck.check.lamps import log_light
from lightcheck.check.sheet import Sheet
from lightcheck.check.wood import grain_direction, smooth
from lightcheck.lamp import Lamp

ROUGH = 0.03  # rms of log light that turns with the lamp, 3-10 mm wide
ROUGH_SHARE = 0.05  # of it, that self-shadowing leaves over the width of a hump: own estimate
ACROSS_RAD = np.radians(45)
REVERSED, REVERSED_MM2 = 0.02, 1500.0  # of light, and how much of the wood
CELL_MM = 4.0
_FINE_MM, _BROAD_MM, _SOFT_MM = 1.2, 5.0, 10.0
_LEAST_TURN = 0.2  # smaller over larger singular value of the lamps' directions: fewer do not cross


def rough(sheet: Sheet, lamps: tuple[Lamp, ...]) -> Iterator[Finding]:
    """Fine stripes that change sides with the lamp, in the pair that shows them most."""
    raking = [i for i, lamp in enumerate(lamps) if lamp.rakes]
    if len(raking) < 2:
        return
    log = np.log(np.maximum(np.nan_to_num(sheet.light[raking], nan=1e-5), 1e-5)).astype(np.float32)
    sound = sheet.wood & ~sheet.spoilt[raking].any(axis=0)
    inner = cv2.erode(sound.astype(np.uint8), np.ones((13, 13))) > 0
    if inner.sum() < 3000:
        return
    bands = np.array([_band(one, sheet.grid.cell_mm) for one in log])[:, inner]
    turned = np.sqrt((bands - bands.mean(axis=0)).var(axis=1) * len(raking) / (len(raking) - 1))
    worst = int(np.argmax(turned))
    if turned[worst] > ROUGH:
        lamp = lamps[raking[worst]]
        grain = grain_direction(log.mean(axis=0), sound)
        bearing = np.arctan2(lamp.place_mm[1], lamp.place_mm[0])
        off = abs(np.angle(np.exp(2j * (bearing - grain)))) / 2
        yield _rough(float(turned[worst]), off > ACROSS_RAD, lamp)


def _rough(turned: float, across: bool, lamp: Lamp) -> Finding:
    return Finding(
        name="rough grain", severity=AMBER,
        sigma_mm=height_of_light(ROUGH_SHARE * turned, elevation_rad=lamp.elevation_rad),
        what=f"Fine stripes of {turned:.0%} of the light change sides with the lamp: raised or torn grain"
        + (", and the lamp shines across it." if across else "."),
        remedy="Brush the wood and scrape it lightly"
        + (", or set the lamps along the grain." if across else "; set the lamp a little higher."),
    )  # fmt: skip


def _band(log: np.ndarray, cell_mm: float) -> np.ndarray:
    fine, broad = (cv2.GaussianBlur(log, (0, 0), width / cell_mm) for width in (_FINE_MM, _BROAD_MM))
    return fine - broad


def reversing(sheet: Sheet, lamps: tuple[Lamp, ...]) -> Iterator[Finding]:
    """Where lamps on crossing sides disagree about the slope."""
    raking = [i for i, lamp in enumerate(lamps) if lamp.rakes]
    if len(raking) < 3:
        return
    log, sound, x, y = _coarse(sheet, raking)
    ways = [_way(sheet, lamps[i], x, y) for i in raking]
    slopes = _slopes(sheet, [lamps[i] for i in raking], (log, sound, x, y), np.array(ways))
    if slopes is None:
        return
    shine = _shine(slopes, sound) / np.tan(np.mean([lamps[i].elevation_rad for i in raking]))
    where = (shine > REVERSED) & sound
    area, part = _largest(where)
    area *= CELL_MM**2
    if area > REVERSED_MM2:
        share = float(np.median(shine[part]))
        yield Finding(
            name="reversing grain", severity=AMBER, sigma_mm=height_of_light(share),
            what=f"On about {area / 100:.0f} square centimetres the lamps disagree about the slope "
            f"({share:.0%} of the light): reversing or end grain shines towards one end there.",
            remedy="Trust that place to a straightedge. Lamps across the grain tell it better than along it.",
        )  # fmt: skip


def _coarse(sheet: Sheet, raking: list[int]) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(n, my, mx) log light in cells of 4 mm, which of them are sound, and their places."""
    times = max(1, round(CELL_MM / sheet.grid.cell_mm))
    my, mx = (n // times for n in sheet.grid.shape)
    cut = np.s_[..., : my * times, : mx * times]

    def mean(a: np.ndarray) -> np.ndarray:
        return cv2.resize(a[cut].astype(np.float32), (mx, my), interpolation=cv2.INTER_AREA)

    usable = sheet.wood & ~sheet.spoilt[raking].any(axis=0)
    share = mean(usable)
    light = np.log(np.maximum(np.nan_to_num(sheet.light[raking], nan=1e-5), 1e-5))
    log = np.array([mean(np.where(usable, one, 0)) for one in light]) / np.maximum(share, 1e-3)
    x, y = (mean(m) for m in sheet.grid.mesh_mm())
    return log, share > 0.6, x, y


def _way(sheet: Sheet, lamp: Lamp, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """(2, my, mx) change of the log light with dz/dx and dz/dy."""
    reach = lamp.place_mm - sheet.base.points_mm(x, y)
    faced = (sheet.base.normal(x, y) * reach).sum(-1)
    faced = np.where(faced > 1, faced, np.nan)
    return -np.moveaxis(reach[..., :2], -1, 0) / faced


def _slopes(sheet: Sheet, lamps: list[Lamp], laid: tuple, ways: np.ndarray) -> np.ndarray | None:
    """(2, my, mx) slopes by least squares, free of the wood's tone; None where the lamps do not cross."""
    log, sound, x, y = laid
    at = np.stack([x.ravel(), y.ravel()], axis=1)
    flat = np.array([log_light(sheet.base, lamp.place_mm, at).reshape(x.shape) for lamp in lamps])
    seen = sound & np.isfinite(ways).all(axis=(0, 1)) & np.isfinite(flat).all(axis=0)
    off = np.where(seen, log - flat, np.nan)
    off = np.array([one - smooth(one) for one in off - off.mean(axis=0)])
    ways = ways - ways.mean(axis=0)
    squares = np.einsum("ni...,nj...->...ij", ways, ways)
    middle = np.linalg.svd(np.nanmean(squares[seen], axis=0), compute_uv=False)
    if np.sqrt(middle[1] / middle[0]) < _LEAST_TURN:
        return None
    squares[~seen] = np.eye(2)
    both = np.nan_to_num(np.einsum("ni...,n...->...i", ways, np.nan_to_num(off)))[..., None]
    slopes = np.where(seen[..., None], np.linalg.solve(squares, both)[..., 0], 0.0)
    return np.moveaxis(slopes, -1, 0)


def _shine(slopes: np.ndarray, sound: np.ndarray) -> np.ndarray:
    """(my, mx) slope that no surface can have: the curl, turned back into slope."""
    sigma = _SOFT_MM / CELL_MM
    share = cv2.GaussianBlur(sound.astype(np.float32), (0, 0), sigma)
    p, q = (cv2.GaussianBlur(s.astype(np.float32), (0, 0), sigma) / np.maximum(share, 0.05) for s in slopes)
    curl = np.gradient(p, CELL_MM, axis=0) - np.gradient(q, CELL_MM, axis=1)
    inner = cv2.erode((share > 0.95).astype(np.uint8), np.ones((3, 3))) > 0
    stream = _poisson(np.where(inner, curl, 0.0))
    return np.hypot(*np.gradient(stream, CELL_MM))


def _poisson(right: np.ndarray) -> np.ndarray:
    """f with Laplacian f = right, level at the rim, on cells of CELL_MM."""
    waves = [2 * (np.cos(np.pi * np.arange(n) / n) - 1) for n in right.shape]
    total = np.add.outer(*waves) / CELL_MM**2
    total[0, 0] = np.inf
    return idctn(dctn(right, norm="ortho") / total, norm="ortho")


def _largest(where: np.ndarray) -> tuple[float, np.ndarray]:
    """Cells of the largest connected place, and the place."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(where.astype(np.uint8))
    if count < 2:
        return 0.0, where
    best = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    return float(stats[best, cv2.CC_STAT_AREA]), labels == best
