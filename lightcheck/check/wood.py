"""Wood: gloss, damp or oiled places, fibres that shine from one side, and wood blurred by the phone.

Shiny wood sends light of the lamp's own colour: where it does, the wood is paler, and elsewhere in
each photo (two-colour model of reflection, textbook). Fibres that dip below the surface shine from one
side and not from the other, in stripes along the grain; a pair of lamps along the grain reads that as
slope, and a hump of ordinary shape does not make stripes.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import cv2
import numpy as np

from lightcheck.check.finding import AMBER, Finding, height_of_light
from lightcheck.check.lit import Lit
from lightcheck.check.sheet import Sheet
from lightcheck.lamp import Lamp
from lightcheck.photo import Photo

PALER = 0.07  # log of red over blue, between photos
PALE_SHARE = 0.08  # of the tiles
DAMP_LOG, DAMP_MM2 = 0.27, 2000.0  # darker than the wood round it, and how much of it: a knot is 250 mm2
ROUGH_SHINE = 0.1  # of the shine, that is not smooth and so reads as humps: own estimate
STRIPES = 0.015  # of light, lasting along the grain
BLURRED_DETAIL, BLURRED_SHARE = 0.67, 0.25  # fine detail over that of the sharpest photo; share of the tiles
LEAST_TILES = 20
OPPOSED_RAD, ALONG_RAD = np.radians(40), np.radians(50)
_LENGTH_MM, _FINE_MM, _BROAD_MM = 110.0, 3.0, 20.0


def gloss(photos: tuple[Photo, ...], found: Lit) -> Iterator[Finding]:
    """Wood whose colour changes from photo to photo."""
    if len(photos) < 2:
        return
    colour = found.colour[:, np.isfinite(found.colour).all(axis=0)]
    if not colour.size:
        return
    spread = np.ptp(colour - np.median(colour, axis=1, keepdims=True), axis=0)
    if (spread > PALER).mean() > PALE_SHARE:
        strong = float(np.quantile(spread, 0.95))
        yield Finding(
            name="glossy", severity=AMBER, sigma_mm=height_of_light(ROUGH_SHINE * strong),
            what=f"The wood shines, or the phone bends colours: {(spread > PALER).mean():.0%} of the wood "
            "changes colour with the lamp's place.",
            remedy="Measure before oil or varnish, or cut the shine with fine abrasive; light it from "
            "other sides.",
        )  # fmt: skip


def damp(sheet: Sheet) -> Iterator[Finding]:
    """A place that is darker than the rest in every photo, larger than any knot."""
    times = max(1, round(5.0 / sheet.grid.cell_mm))
    shape = tuple(n // times for n in sheet.grid.shape)
    sound = sheet.wood & ~sheet.spoilt.any(axis=0)
    with np.errstate(invalid="ignore"):
        tone = np.log(np.maximum(sheet.light, 1e-5)).mean(axis=0)
    small = cv2.resize(np.where(sound, tone, 0).astype(np.float32), shape[::-1], interpolation=cv2.INTER_AREA)
    share = cv2.resize(sound.astype(np.float32), shape[::-1], interpolation=cv2.INTER_AREA)
    tone = np.where(share > 0.5, small / np.maximum(share, 1e-3), np.nan)
    off = tone - smooth(tone)
    dark = cv2.morphologyEx(
        (np.nan_to_num(off) < -DAMP_LOG).astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3))
    )
    count, _, stats, _ = cv2.connectedComponentsWithStats(dark)
    sides = stats[1:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]] * sheet.grid.cell_mm * times
    areas = stats[1:, cv2.CC_STAT_AREA] * (sheet.grid.cell_mm * times) ** 2
    if count > 1 and (areas * (sides.min(axis=1) > 25)).max() > DAMP_MM2:
        yield Finding(
            name="damp or oiled", severity=AMBER, sigma_mm=None,
            what=f"A place of about {areas.max() / 100:.0f} square centimetres is much darker than the wood "
            "round it in every photo: damp, oil or a stain.",
            remedy="Let it dry and take the photos again: damp wood swells and shines.",
        )  # fmt: skip


def smooth(tone: np.ndarray) -> np.ndarray:
    """A robust cubic through the tone of the wood: the lamps' fall-off, and nothing smaller."""
    y, x = np.meshgrid(*(np.linspace(-1, 1, n) for n in tone.shape), indexing="ij")
    terms = np.stack([x**i * y**j for i in range(4) for j in range(4 - i)], axis=-1)
    known = np.isfinite(tone)
    weight = np.ones(known.sum())
    for _ in range(6):
        root = np.sqrt(weight)
        fit = np.linalg.lstsq(terms[known] * root[:, None], tone[known] * root, rcond=None)[0]
        left = tone[known] - terms[known] @ fit
        weight = 1 / (1 + (left / 0.15) ** 2)
    return terms @ fit


def stripes(sheet: Sheet, lamps: tuple[Lamp, ...]) -> Iterator[Finding]:
    """Stripes along the grain in what an opposed pair reads as slope."""
    bearings = [np.arctan2(lamp.place_mm[1], lamp.place_mm[0]) for lamp in lamps]
    for i, a in enumerate(lamps):
        for j in range(i + 1, len(lamps)):
            turn = abs(np.angle(np.exp(1j * (bearings[i] - bearings[j]))))
            if a.rakes and lamps[j].rakes and turn > np.pi - OPPOSED_RAD:
                lasting, grain = _lasting(sheet, i, j)
                along = abs(np.angle(np.exp(2j * (bearings[i] - grain)))) / 2 < ALONG_RAD
                if lasting > STRIPES and along:
                    yield _shining(lasting, a)
                    return


def _shining(lasting: float, lamp: Lamp) -> Finding:
    return Finding(
        name="shining fibres", severity=AMBER,
        sigma_mm=height_of_light(lasting, elevation_rad=lamp.elevation_rad),
        what=f"Stripes along the grain shine from one side and not from the other ({lasting:.1%} of the "
        "light): ribbon or reversing grain, which reads as slope.",
        remedy="Take a second pair with the lamp across the grain, or shoot again from the other end.",
    )  # fmt: skip


def _lasting(sheet: Sheet, i: int, j: int) -> tuple[float, float]:
    """Contrast of stripes that last along the grain, and the grain's direction in the sheet. [rad]"""
    sound = sheet.wood & ~sheet.spoilt[i] & ~sheet.spoilt[j]
    log = np.log(np.maximum(np.nan_to_num(sheet.light[[i, j]], nan=1e-5), 1e-5))
    grain = grain_direction(log.mean(axis=0), sound)
    high, wide = sound.shape
    about = cv2.getRotationMatrix2D((wide / 2, high / 2), np.degrees(grain), 1.0)
    slope, seen = (
        cv2.warpAffine(a.astype(np.float32), about, (wide, high), flags=cv2.INTER_LINEAR)
        for a in ((log[0] - log[1]) / 2 * sound, sound)
    )
    length = max(8, round(_LENGTH_MM / sheet.grid.cell_mm))
    parts = [np.s_[:, k : k + length] for k in range(0, wide - length + 1, length)]
    profiles = [_profile(slope[p], seen[p], sheet.grid.cell_mm) for p in parts]
    both = [(a * b)[np.isfinite(a * b)] for a, b in pairwise(profiles)]
    shared = np.concatenate(both) if both else np.zeros(0)
    return (float(np.sqrt(max(shared.mean(), 0.0))) if len(shared) > 60 else 0.0), grain


def _profile(slope: np.ndarray, seen: np.ndarray, cell_mm: float) -> np.ndarray:
    """Mean along the grain, of widths between plough and plank across it; NaN where too little is seen."""
    share = seen.mean(axis=1)
    mean = np.where(share > 0.6, slope.mean(axis=1) / np.maximum(share, 1e-3), np.nan)
    known = np.isfinite(mean)
    if known.sum() < 60:
        return np.full(len(mean), np.nan)

    def blur(width_mm: float) -> np.ndarray:
        sigma = width_mm / cell_mm
        filled = np.where(known, mean, 0).astype(np.float32)[None]
        weight = cv2.GaussianBlur(known.astype(np.float32)[None], (0, 0), sigma)[0]
        return cv2.GaussianBlur(filled, (0, 0), sigma)[0] / np.maximum(weight, 1e-3)

    return np.where(known, blur(_FINE_MM) - blur(_BROAD_MM), np.nan)


def grain_direction(log: np.ndarray, sound: np.ndarray) -> float:
    """Direction in which the grain runs, by the structure tensor of its fine detail. [rad]"""
    fine = (log - cv2.GaussianBlur(log, (0, 0), 4)).astype(np.float32)
    inner = cv2.erode(sound.astype(np.uint8), np.ones((9, 9))) > 0
    gx, gy = (cv2.Sobel(fine, cv2.CV_32F, dx, 1 - dx)[inner] for dx in (1, 0))
    across = 0.5 * np.arctan2(2 * (gx * gy).mean(), (gx**2).mean() - (gy**2).mean())
    return float(across + np.pi / 2)


def painted_blur(photos: tuple[Photo, ...], sheet: Sheet, lamps: tuple[Lamp, ...]) -> Iterator[Finding]:
    """Wood that is smooth in one photo and not in another: painted blur, or grain taken for noise."""
    lit = [n for n in range(len(photos)) if not lamps or lamps[n].kind != "off"]
    if len(lit) < 2:
        return
    detail = np.array([_detail(sheet, n) for n in lit])
    detail = detail[:, np.isfinite(detail).all(axis=0)]
    if detail.shape[1] < LEAST_TILES:
        return
    share = (detail < BLURRED_DETAIL * detail.max(axis=0)).mean(axis=1)
    worst = int(np.argmax(share))
    if share[worst] > BLURRED_SHARE:
        yield Finding(
            name="smoothed wood", severity=AMBER, photo=photos[lit[worst]].name, sigma_mm=None,
            what=f"{share[worst]:.0%} of the wood is smoother in it than in the other photos, though the "
            "cards are sharp: the phone painted blur on, or took grain for noise.",
            remedy="Use the plain photo mode: no portrait, no beauty filter, no noise removal.",
        )  # fmt: skip


def _detail(sheet: Sheet, n: int) -> np.ndarray:
    """Spread of the fine detail of the log light in tiles of 30 mm; NaN where little is sound."""
    log = np.log(np.maximum(np.nan_to_num(sheet.light[n], nan=1e-5), 1e-5)).astype(np.float32)
    sound = cv2.erode((sheet.wood & ~sheet.spoilt[n]).astype(np.uint8), np.ones((5, 5))).astype(np.float32)
    fine = (log - cv2.GaussianBlur(log, (0, 0), 3)) ** 2 * sound
    across = max(1, round(30.0 / sheet.grid.cell_mm))
    size = tuple(s // across for s in sheet.grid.shape[::-1])
    power, share = (cv2.resize(a, size, interpolation=cv2.INTER_AREA) for a in (fine, sound))
    return np.where(share > 0.5, np.sqrt(power / np.maximum(share, 1e-3)), np.nan)
