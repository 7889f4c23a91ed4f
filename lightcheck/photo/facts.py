"""Facts: what the phone wrote beside the picture, as far as it is there and makes sense.

Nothing here is ever required. Place, serial numbers and free text other than the names of phone and
lens are not read at all.
"""

from __future__ import annotations

import math

from lightcheck.photo.product import CameraFacts

NIGHT = 3  # EXIF 2.32, SceneCaptureType
MERGED = (2, 3)  # EXIF 2.32, CompositeImage: general, and taken while shooting
_PORTRAIT = (7, 8)  # CustomRendered as one large maker of phones uses it, from memory
_MOST_FRAMES = 1000


def read(exif) -> CameraFacts:
    """Facts from a Pillow Exif."""
    try:
        detail = exif.get_ifd(0x8769)
        first = {tag: exif.get(tag) for tag in (0x010F, 0x0110)}
    except Exception:  # a broken tag block must not cost the photo
        return CameraFacts()
    iso = detail.get(0x8827)
    return CameraFacts(
        make=_text(first[0x010F]),
        model=_text(first[0x0110]),
        focal_35mm=_positive(detail.get(0xA405)),
        exposure_s=_positive(detail.get(0x829A)),
        iso=_positive(iso[0] if isinstance(iso, tuple) and iso else iso),
        f_number=_positive(detail.get(0x829D)),
        taken=_text(detail.get(0x9003)),
        merged_frames=detail.get(0xA460) in MERGED,
        frames=_frames(detail),
        lens=_text(detail.get(0xA434)),
        focal_mm=_positive(detail.get(0x920A)),
        zoom=_positive(detail.get(0xA404)),
        balance={0: "auto", 1: "manual"}.get(_whole(detail.get(0xA403))),
        scene=_scene(detail),
        flash=_flash(detail.get(0x9209)),
        stated_px=_stated(detail),
    )


def from_tiff(content: bytes) -> CameraFacts:
    """Facts of a raw file that is built like a TIFF; empty ones where it is not."""
    from PIL import Image

    exif = Image.Exif()
    try:
        exif.load(b"Exif\0\0" + content)
    except Exception:  # raw files come in many builds; the picture matters more
        return CameraFacts()
    return read(exif)


def _frames(detail) -> int | None:
    """How many were merged; 0 where it says that some were but not how many, None where none."""
    if detail.get(0xA460) not in MERGED:
        return None
    counts = detail.get(0xA461)
    first = _whole(counts[0] if isinstance(counts, tuple) and counts else counts)
    return first if first is not None and 1 < first < _MOST_FRAMES else 0


def _scene(detail) -> str | None:
    if _whole(detail.get(0xA406)) == NIGHT:
        return "night"
    return "portrait" if _whole(detail.get(0xA401)) in _PORTRAIT else None


def _flash(value) -> bool | None:
    number = _whole(value)
    return None if number is None else bool(number & 1)


def _stated(detail) -> tuple[int, int] | None:
    wide, high = (_whole(detail.get(tag)) for tag in (0xA002, 0xA003))
    return (wide, high) if wide and high and min(wide, high) > 0 else None


def _whole(value) -> int | None:
    try:
        return int(value)
    except (TypeError, ValueError, OverflowError, ZeroDivisionError):
        return None


def _text(value) -> str | None:
    if value is None or isinstance(value, (bytes, tuple)):
        return None
    printable = "".join(c for c in str(value) if c.isprintable())
    return printable.strip()[:60] or None


def _positive(value) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None
