"""Curve: from coded values to linear light, and back for showing.

The embedded profile's own tone curves are used where it has sound ones (ICC.1:2022), else the sRGB
curve, which Display P3 shares.
"""

from __future__ import annotations

import struct

import numpy as np

from lightcheck import constants as const

CLIP_CODE = 252 / 255  # at or above this a channel has lost its measure
DARK_CODE = 4 / 255  # at or below this too
_BAND_ROWS = 64  # a band of rows stays in the processor's own memory: three times as fast


def srgb_decode(coded: np.ndarray) -> np.ndarray:
    """Linear light of coded values 0-1 (IEC 61966-2-1)."""
    coded = np.asarray(coded, float)
    curve = ((coded + const.SRGB_OFFSET) / (1 + const.SRGB_OFFSET)) ** const.SRGB_POWER
    return np.where(coded <= const.SRGB_BREAK, coded / const.SRGB_SLOPE, curve)


def srgb_encode(linear: np.ndarray) -> np.ndarray:
    """Coded values of linear light 0-1 (IEC 61966-2-1)."""
    linear = np.clip(np.asarray(linear, float), 0, 1)
    curve = (1 + const.SRGB_OFFSET) * linear ** (1 / const.SRGB_POWER) - const.SRGB_OFFSET
    return np.where(linear <= const.SRGB_BREAK / const.SRGB_SLOPE, linear * const.SRGB_SLOPE, curve)


def curves(profile: bytes | None, *, steps: int = 256) -> list[np.ndarray]:
    """Three decoding tables of so many values: the profile's own curves, else sRGB."""
    codes = np.linspace(0, 1, steps)
    try:
        with np.errstate(all="ignore"):
            found = [_icc_curve(profile, tag, codes) for tag in (b"rTRC", b"gTRC", b"bTRC")]
    except (KeyError, IndexError, ValueError, TypeError, struct.error):
        return [srgb_decode(codes)] * 3
    sound = all(np.isfinite(c).all() and (np.diff(c) >= 0).all() and 0.5 < c[-1] < 1.5 for c in found)
    return found if sound else [srgb_decode(codes)] * 3


def _icc_curve(profile: bytes, wanted: bytes, codes: np.ndarray) -> np.ndarray:
    """One tone curve of a matrix or grey profile (ICC.1:2022, 10.6 and 10.18)."""
    count = struct.unpack_from(">I", profile, 128)[0]
    entries = (struct.unpack_from(">4sII", profile, 132 + 12 * i) for i in range(min(count, 100)))
    tags = {tag: offset for tag, offset, _ in entries}
    at = tags[wanted] if wanted in tags else tags[b"kTRC"]
    kind, number = profile[at : at + 4], struct.unpack_from(">I", profile, at + 8)[0]
    if kind == b"curv":
        if number == 0:
            return codes
        table = np.frombuffer(profile, ">u2", number, at + 12).astype(float)
        if number == 1:
            return codes ** (table[0] / 256)
        return np.interp(codes, np.linspace(0, 1, number), table / 65535)
    if kind != b"para":
        raise ValueError(kind)
    form = number >> 16
    sizes = (1, 3, 4, 5, 7)
    g, a, b, c, d, e, f = np.r_[np.frombuffer(profile, ">i4", sizes[form], at + 12) / 65536, np.zeros(7)][:7]
    if form == 0:
        return codes**g
    if form in (1, 2):
        return np.where(codes >= -b / a, np.maximum(a * codes + b, 0) ** g + c, c)
    return np.where(codes >= d, np.maximum(a * codes + b, 0) ** g + e, c * codes + f)


def linear(codes: np.ndarray, tables: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Linear luminance and the mask of pixels that lost their measure in any channel.

    codes: (height, width, 3) uint8 or uint16.  tables: three, a value for every code.
    """
    weighted = [(w * t).astype(np.float32) for w, t in zip(const.LUMINANCE, tables, strict=True)]
    light, spoilt = np.empty(codes.shape[:2], np.float32), np.empty(codes.shape[:2], bool)
    band = _band if codes.dtype == np.uint8 else _deep_band
    for top in range(0, len(codes), _BAND_ROWS):
        rows = slice(top, top + _BAND_ROWS)
        band(codes[rows], weighted, light[rows], spoilt[rows])
    return light, spoilt


def _band(codes: np.ndarray, weighted: list[np.ndarray], light: np.ndarray, spoilt: np.ndarray) -> None:
    import cv2

    table = np.stack(weighted, axis=-1)[None]
    light[:] = cv2.transform(cv2.LUT(codes, table), np.ones((1, 3), np.float32))
    below = cv2.inRange(codes, (0, 0, 0), (round(CLIP_CODE * 255) - 1,) * 3)
    crushed = cv2.inRange(codes, (0, 0, 0), (round(DARK_CODE * 255),) * 3)
    np.equal(cv2.bitwise_and(below, cv2.bitwise_not(crushed)), 0, out=spoilt)


def _deep_band(codes: np.ndarray, weighted: list[np.ndarray], light: np.ndarray, spoilt: np.ndarray) -> None:
    light[:] = sum(table[codes[..., i]] for i, table in enumerate(weighted))
    highest = codes.max(axis=2)
    spoilt[:] = (highest >= round(CLIP_CODE * 65535)) | (highest <= round(DARK_CODE * 65535))
