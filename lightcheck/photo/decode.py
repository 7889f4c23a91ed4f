"""Decode: the bytes of a file become codes, upright and no larger than is needed.

| kind | what turns it upright | what makes it small |
|---|---|---|
| JPEG, MPO | the orientation tag, once | the decoder itself, by 2, 4 or 8 |
| HEIC | the container, while it is decoded; the tag then reads 1 and is left alone | boxes |
| TIFF | the reader, while loading; the tag is looked at afterwards | boxes |
| PNG, WebP | the tag | boxes |
| raw | the raw reader | half size, two by two sensor points to one |
"""

from __future__ import annotations

import io
import threading
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.photo import facts, kinds
from lightcheck.photo.curve import curves
from lightcheck.photo.product import CameraFacts

MOST_PIXELS = 220e6  # a 200 MP phone file is read, a decompression bomb is not
MOST_WHOLE_PIXELS = 110e6  # of kinds whose decoders need the whole picture in memory
LEAST_SIDE_PX = 200
_BAND_ROWS = 64
DRAFT_SHARE = 0.7  # of the pixels wanted is enough, where a decoder shrinks by whole steps
_HDR_CURVES = (16, 18)  # ITU-T H.273 transfer characteristics: PQ and HLG
_LINEAR_CURVE = 8  # ITU-T H.273
_TURNS = {  # EXIF 2.32, Orientation: what brings the stored rows and columns upright
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.transpose(1, 0, 2),
    6: lambda a: a[::-1].transpose(1, 0, 2),
    7: lambda a: a[::-1, ::-1].transpose(1, 0, 2),
    8: lambda a: a[:, ::-1].transpose(1, 0, 2),
}
_OPENING = threading.Lock()  # Pillow's limit on pixels is one for the whole program


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoded:
    """codes: (height, width, 3) uint8 or uint16, upright.  tables: linear light of every code."""

    codes: np.ndarray
    tables: list[np.ndarray]
    facts: CameraFacts
    kind: str
    written_px: tuple[int, int]


def decode(path: Path, content: bytes, most_px: float) -> Decoded:
    """Codes of any kind of picture that is read by Pillow or OpenCV."""
    image = _open(path, content, kinds.kind(content))
    _refuse_hdr(path, image)
    try:
        if _sixteen(image):
            deep = _sixteen_bits(image, content, most_px)
            if deep is not None:
                return deep
        return _eight_bits(image, most_px)
    except LightcheckError:
        raise
    except Exception as error:  # decoders raise many kinds on damaged files
        raise kinds.broken(path, error) from None


def _open(path: Path, content: bytes, kind: str):
    """The picture behind the bytes, not yet decoded."""
    import pi_heif
    from PIL import Image, UnidentifiedImageError

    most = MOST_PIXELS if kind == "JPEG" else MOST_WHOLE_PIXELS
    with _OPENING:
        pi_heif.register_heif_opener()
        limit, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, int(MOST_PIXELS)  # Pillow stops at 179 MP
        try:
            image = Image.open(io.BytesIO(content))
        except Image.DecompressionBombError:
            raise kinds.too_large(path, most) from None
        except UnidentifiedImageError:
            raise kinds.unread(path, kind) from None
        except Exception as error:  # decoders raise many kinds on damaged headers
            raise kinds.broken(path, error) from None
        finally:
            Image.MAX_IMAGE_PIXELS = limit
    if image.width * image.height > most:
        raise kinds.too_large(path, most)
    if min(image.size) < LEAST_SIDE_PX:
        raise LightcheckError(
            f"{path.name} is only {image.width} x {image.height} pixels.",
            "Use the photo itself, not a thumbnail or a copy sent by a messenger.",
        )
    return image


def _refuse_hdr(path: Path, image) -> None:
    profile = image.info.get("nclx_profile") or {}
    if profile.get("transfer_characteristics") in _HDR_CURVES and not image.info.get("icc_profile"):
        raise LightcheckError(
            f"{path.name} is coded for HDR screens; its light can not be told well enough.",
            "Turn HDR pictures off in the camera, or use JPEG or raw.",
        )


def _eight_bits(image, most_px: float) -> Decoded:
    """Through Pillow, made small as early as its kind allows."""
    written = image.size
    fit = (written[0] * written[1] / (DRAFT_SHARE * most_px)) ** -0.5
    if written[0] * written[1] > most_px:
        image.draft(None, (int(written[0] * fit), int(written[1] * fit)))  # does nothing but to JPEGs
    image.load()
    exif = _exif(image)
    whole = image
    if image.mode.startswith("I"):
        image = _top_bits(image)
    times = int((image.width * image.height / most_px) ** 0.5 + 1e-9)
    if times > 1:
        image = image.convert("RGB").reduce(times)
    codes = _codes(image if image.mode == "RGB" else image.convert("RGB"))
    turned = _upright(_fitted(codes, most_px), exif)
    return Decoded(
        codes=turned,
        tables=_tables(whole, 256),
        facts=facts.read(exif),
        kind=image_kind(whole),
        written_px=_as_turned(written, turned),
    )


def _codes(image) -> np.ndarray:
    """(height, width, 3) uint8, copied band by band: as one piece it would be copied three times over."""
    codes = np.empty((image.height, image.width, 3), np.uint8)
    for top in range(0, image.height, _BAND_ROWS):
        rows = min(_BAND_ROWS, image.height - top)
        codes[top : top + rows] = image.crop((0, top, image.width, top + rows))
    return codes


def image_kind(image) -> str:
    """Kind of a picture that Pillow opened."""
    return str(image.format or "").replace("AVIF", "HEIF")


def _exif(image):
    from PIL import Image

    try:
        return image.getexif()
    except Exception:  # a broken tag block must not cost the photo
        return Image.Exif()


def _top_bits(image):
    """A 16-bit grey picture as 8 bits, by its own top bits."""
    from PIL import Image

    return Image.fromarray((np.asarray(image).astype(np.uint32) >> 8).astype(np.uint8))


def _tables(image, steps: int) -> list[np.ndarray]:
    profile = image.info.get("nclx_profile") or {}
    icc = image.info.get("icc_profile")
    if not icc and profile.get("transfer_characteristics") == _LINEAR_CURVE:
        return [np.linspace(0, 1, steps)] * 3
    return curves(icc, steps=steps)


def _sixteen(image) -> bool:
    """Whether the file holds 16 bits for each value."""
    if image.format == "PNG":
        return image.mode.startswith("I;16") or (bool(image.tile) and "16" in str(image.tile[0][3]))
    if image.format == "TIFF":
        bits = image.tag_v2.get(258)
        return (bits[0] if isinstance(bits, tuple) and bits else bits) == 16
    return False


def _sixteen_bits(image, content: bytes, most_px: float) -> Decoded | None:
    """Through OpenCV, which keeps all 16 bits; None where it does not read the file."""
    import cv2

    image.load()  # Pillow tells a damaged file; OpenCV would fill it up with black
    written, exif = image.size, _exif(image)
    try:
        codes = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_UNCHANGED)
    except cv2.error:
        return None
    if codes is None or codes.dtype != np.uint16 or codes.shape[1::-1] != written:
        return None
    codes = codes[..., None] if codes.ndim == 2 else codes
    codes = codes[..., [2, 1, 0]] if codes.shape[2] >= 3 else codes[..., [0, 0, 0]]
    codes = _fitted(np.ascontiguousarray(codes), most_px)
    turned = codes if image.format == "TIFF" else _upright(codes, exif)  # OpenCV turns a TIFF itself
    return Decoded(
        codes=turned,
        tables=_tables(image, 65536),
        facts=facts.read(exif),
        kind=image_kind(image),
        written_px=_as_turned(written, turned),
    )


def _fitted(codes: np.ndarray, most_px: float) -> np.ndarray:
    """Shrunk by area to the size that is needed; the shape is kept to a pixel."""
    import cv2

    high, wide = codes.shape[:2]
    fit = (high * wide / most_px) ** -0.5
    if fit > 0.98:  # not worth the loss of a second sampling
        return codes
    return cv2.resize(codes, (int(wide * fit), int(high * fit)), interpolation=cv2.INTER_AREA)


def _upright(codes: np.ndarray, exif) -> np.ndarray:
    turn = _TURNS.get(exif.get(0x0112))
    return codes if turn is None else np.ascontiguousarray(turn(codes))


def _as_turned(written: tuple[int, int], codes: np.ndarray) -> tuple[int, int]:
    """The written size, its sides swapped where the picture was turned by a quarter."""
    high, wide = codes.shape[:2]
    lies, lay = wide > high, written[0] > written[1]
    return written if lies == lay or wide == high else (written[1], written[0])
