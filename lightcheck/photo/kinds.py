"""Kinds of file, told by content; and the refusals that every reader shares."""

from __future__ import annotations

import struct
from pathlib import Path

from lightcheck.errors import LightcheckError

RAW_PHOTOMETRIC = (32803, 34892)  # mosaic and linear raw: Adobe DNG 1.7, chapter 6
DNG_VERSION, PHOTOMETRIC, SUB_IFDS = 50706, 262, 330
_MOST_IFDS, _MOST_TAGS = 12, 400
_HEIF_BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")
KINDS = "JPEG, HEIC, PNG, TIFF, WebP, or raw (DNG)"


def kind(content: bytes) -> str:
    """JPEG, PNG, TIFF, WEBP, HEIF, raw, or "" for what is none of these."""
    if content[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if content[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "WEBP"
    if content[4:8] == b"ftyp":
        return "HEIF" if content[8:12] in _HEIF_BRANDS else "raw" if content[8:11] == b"crx" else ""
    if content[:4] in (b"II*\0", b"MM\0*"):
        return "raw" if _holds_raw(content) else "TIFF"
    return ""


def _holds_raw(content: bytes) -> bool:
    """Whether any picture in a TIFF-like file is sensor values, or it calls itself a DNG."""
    if content[8:10] == b"CR":  # a TIFF whose header goes on with this is a raw file
        return True
    order = "<" if content[:2] == b"II" else ">"
    offsets, seen = [struct.unpack_from(order + "I", content, 4)[0]] if len(content) > 8 else [], set()
    while offsets and len(seen) < _MOST_IFDS:
        at = offsets.pop()
        if at in seen:
            continue
        seen.add(at)
        for tag, values in _tags(content, at, order):
            if tag == DNG_VERSION or (tag == PHOTOMETRIC and values and values[0] in RAW_PHOTOMETRIC):
                return True
            if tag == SUB_IFDS:
                offsets += values[:_MOST_IFDS]
    return False


def _tags(content: bytes, at: int, order: str):
    """(tag, whole-number values) of one directory, as far as it lies inside the file (TIFF 6.0)."""
    sizes = {1: "B", 3: "H", 4: "I", 13: "I"}
    try:
        count = min(struct.unpack_from(order + "H", content, at)[0], _MOST_TAGS)
        for entry in range(at + 2, at + 2 + 12 * count, 12):
            tag, form, number = struct.unpack_from(order + "HHI", content, entry)
            letter = sizes.get(form)
            if letter is None or tag not in (DNG_VERSION, PHOTOMETRIC, SUB_IFDS):
                continue
            number = min(number, _MOST_IFDS)
            fits = number * struct.calcsize(letter) <= 4
            place = entry + 8 if fits else struct.unpack_from(order + "I", content, entry + 8)[0]
            yield tag, struct.unpack_from(f"{order}{number}{letter}", content, place)
    except struct.error:
        return


def unread(path: Path, kind: str) -> LightcheckError:
    """What no reader knows: damaged where its kind was told, else no picture."""
    if kind:
        return broken(path, ValueError("its header"))
    return LightcheckError(
        f"{path.name} is not a picture that can be read here.",
        f"Use the photo as the phone wrote it: {KINDS}.",
    )


def too_large(path: Path, most_pixels: float) -> LightcheckError:
    """A picture beyond what may be read."""
    return LightcheckError(
        f"{path.name} claims to be larger than {most_pixels / 1e6:.0f} megapixels.",
        "Set the phone to 12 or 24 megapixels, or check where the file came from.",
    )


def broken(path: Path, error: Exception) -> LightcheckError:
    """A file that its reader gave up on."""
    words = " ".join(str(error).split())[:60] or type(error).__name__
    return LightcheckError(f"{path.name} is damaged or cut short ({words}).", "Copy it from the phone again.")
