"""Photo: a file from a phone becomes linear light, right way up.

The kind of file is told by its content, never by its name. Whatever the orientation tag says, the
picture comes out as the person held the phone. Coded values are decoded with the curve of the
embedded profile (sRGB and Display P3 share one); the result is proportional to the light that
reached the sensor as far as the phone let it be.
"""

from __future__ import annotations

import hashlib
import io
import struct
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lightcheck import constants as const
from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen

MOST_PIXELS = 220e6  # a 200 MP phone file is read, a decompression bomb is not
CLIP_CODE = 252 / 255  # at or above this a channel has lost its measure
DARK_CODE = 4 / 255  # at or below this too
_TIFF_LONG_SIDE_TAG = 0xA405  # EXIF FocalLengthIn35mmFilm


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraFacts:
    """What the phone wrote about itself, None where it did not; no place, no serial number."""

    model: str | None = None
    focal_35mm: float | None = None
    exposure_s: float | None = None
    iso: float | None = None
    f_number: float | None = None
    taken: str | None = None
    merged_frames: bool = False

    @property
    def gain(self) -> float | None:
        """Coded light per unit of light on the wood, up to a constant of the phone."""
        if not (self.exposure_s and self.iso and self.f_number):
            return None
        return self.exposure_s * self.iso / self.f_number**2


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """One photo, upright.

    name: file name without its folder.  sha256: of the file.
    coded: (height, width, 3) uint8, as shown.  light: (height, width) float32, linear, 1 = white.
    spoilt: (height, width) bool, clipped or crushed in some channel.
    """

    name: str
    sha256: str
    coded: np.ndarray
    light: np.ndarray
    spoilt: np.ndarray
    facts: CameraFacts

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height). [px]"""
        return self.light.shape[1], self.light.shape[0]


def load(path: str | Path) -> Photo:
    """Read a photo. Refuses what is no picture, is broken, empty or far too large."""
    path = Path(path)
    content = _content(path)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about odd tags; what matters is refused below
        image = _open(path, content)
        facts, curves = _facts(image), _curves(image)
        coded = _upright(path, image)
    light, spoilt = _linear(coded, curves)
    if float(np.quantile(light[::7, ::7], 0.999)) < 0.004:
        raise LightcheckError(
            f"{path.name} is black.", "Check that the lamp was on and take the photo again."
        )
    return Photo(
        name=path.name,
        sha256=hashlib.sha256(content).hexdigest(),
        coded=frozen(coded, np.uint8),
        light=frozen(light, np.float32),
        spoilt=frozen(spoilt, bool),
        facts=facts,
    )


def srgb_decode(coded: np.ndarray) -> np.ndarray:
    """Linear light of coded values 0-1 (IEC 61966-2-1)."""
    coded = np.asarray(coded, float)
    curve = ((coded + const.SRGB_OFFSET) / (1 + const.SRGB_OFFSET)) ** const.SRGB_POWER
    return np.where(coded <= const.SRGB_BREAK, coded / const.SRGB_SLOPE, curve)


def _content(path: Path) -> bytes:
    """The bytes of the file, or a refusal that names the trouble."""
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise LightcheckError(f"{path} is not there.", "Check the name and the folder.") from None
    except OSError as error:
        raise LightcheckError(
            f"{path.name} can not be read ({error.strerror}).",
            "Check the file and its permissions.",
        ) from None
    if not content:
        raise LightcheckError(f"{path.name} is empty (0 bytes).", "Copy it from the phone again.")
    return content


def _open(path: Path, content: bytes):
    """The picture behind the bytes, not yet decoded."""
    import pi_heif
    from PIL import Image, UnidentifiedImageError

    pi_heif.register_heif_opener()
    limit, Image.MAX_IMAGE_PIXELS = (
        Image.MAX_IMAGE_PIXELS,
        int(MOST_PIXELS),
    )  # Pillow stops at 179 MP
    try:
        image = Image.open(io.BytesIO(content))
    except Image.DecompressionBombError:
        raise _too_large(path) from None
    except UnidentifiedImageError:
        raise LightcheckError(
            f"{path.name} is not a picture that can be read here.",
            "Use the photo as the phone wrote it: JPEG, HEIC, PNG or TIFF.",
        ) from None
    except Exception as error:  # decoders raise many kinds on damaged headers
        raise _broken(path, error) from None
    finally:
        Image.MAX_IMAGE_PIXELS = limit
    if image.width * image.height > MOST_PIXELS:
        raise _too_large(path)
    if min(image.size) < 200:
        raise LightcheckError(
            f"{path.name} is only {image.width} x {image.height} pixels.",
            "Use the photo itself, not a thumbnail or a copy sent by a messenger.",
        )
    return image


def _too_large(path: Path) -> LightcheckError:
    return LightcheckError(
        f"{path.name} claims to be larger than {MOST_PIXELS / 1e6:.0f} megapixels.",
        "Set the phone to 12 or 24 megapixels, or check where the file came from.",
    )


def _broken(path: Path, error: Exception) -> LightcheckError:
    return LightcheckError(
        f"{path.name} is damaged or cut short ({str(error)[:60] or type(error).__name__}).",
        "Copy it from the phone again.",
    )


def _upright(path: Path, image) -> np.ndarray:
    """(height, width, 3) uint8, turned as the tag says.

    A HEIC turns itself while it is decoded and then says "1"; its `original_orientation` must not
    be applied again. Pillow turns a TIFF while loading it, so the tag is looked at after loading.
    """
    from PIL import ImageOps

    try:
        image.load()
        if image.mode.startswith("I;16") or image.mode == "I":
            image = _eight_bits(image)
        return np.asarray(ImageOps.exif_transpose(image).convert("RGB"))
    except Exception as error:  # decoders raise many kinds on damaged files
        raise _broken(path, error) from None


def _eight_bits(image):
    """A 16-bit grey picture as 8 bits, by its own top bits."""
    from PIL import Image

    return Image.fromarray((np.asarray(image).astype(np.uint32) >> 8).astype(np.uint8))


def _facts(image) -> CameraFacts:
    """EXIF, as far as it is there and makes sense; never required."""
    try:
        exif = image.getexif()
        detail = exif.get_ifd(0x8769)
    except Exception:  # a broken tag block must not cost the photo
        return CameraFacts()
    iso = detail.get(0x8827)
    return CameraFacts(
        model=_text(exif.get(0x0110)),
        focal_35mm=_positive(detail.get(_TIFF_LONG_SIDE_TAG)),
        exposure_s=_positive(detail.get(0x829A)),
        iso=_positive(iso[0] if isinstance(iso, tuple) and iso else iso),
        f_number=_positive(detail.get(0x829D)),
        taken=_text(detail.get(0x9003)),
        merged_frames=detail.get(0xA460) in (2, 3),
    )


def _text(value) -> str | None:
    return str(value).strip("\0 ")[:60] or None if value is not None else None


def _positive(value) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if np.isfinite(number) and number > 0 else None


def _curves(image) -> list[np.ndarray]:
    """Three decoding tables of 256 values: the embedded profile's own curves, else sRGB."""
    codes = np.linspace(0, 1, 256)
    try:
        profile = image.info["icc_profile"]
        with np.errstate(all="ignore"):
            curves = [_icc_curve(profile, tag, codes) for tag in (b"rTRC", b"gTRC", b"bTRC")]
    except (KeyError, IndexError, ValueError, TypeError, struct.error):
        return [srgb_decode(codes)] * 3
    sound = all(np.isfinite(c).all() and (np.diff(c) >= 0).all() and c[-1] > 0.5 for c in curves)
    return curves if sound else [srgb_decode(codes)] * 3


def _icc_curve(profile: bytes, wanted: bytes, codes: np.ndarray) -> np.ndarray:
    """One tone curve of a matrix profile (ICC.1:2022, 10.6 and 10.18)."""
    count = struct.unpack_from(">I", profile, 128)[0]
    tags = {
        t: o
        for t, o, _ in (struct.unpack_from(">4sII", profile, 132 + 12 * i) for i in range(min(count, 100)))
    }
    at = tags[wanted]
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


def _linear(coded: np.ndarray, curves: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Linear luminance and the mask of pixels that lost their measure in any channel."""
    tables = [(w * c).astype(np.float32) for w, c in zip(const.LUMINANCE, curves, strict=True)]
    light = sum(table[coded[..., i]] for i, table in enumerate(tables))
    top, low = round(CLIP_CODE * 255), round(DARK_CODE * 255)
    highest = coded.max(axis=2)
    spoilt = (highest >= top) | (highest <= low)
    return light, spoilt
