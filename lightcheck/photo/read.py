"""Read: from a file to a Photo, or a refusal that names the file and a way out."""

from __future__ import annotations

import hashlib
import logging
import warnings
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.photo import kinds
from lightcheck.photo.curve import linear, srgb_encode
from lightcheck.photo.decode import Decoded, decode
from lightcheck.photo.product import Photo
from lightcheck.photo.raw import decode_raw

MOST_PX = 16e6  # more than this no map needs: 0.2 mm to a pixel over a metre. Larger files are shrunk.
THREADS = 2
logging.getLogger("PIL").addHandler(logging.NullHandler())  # it would talk about odd tags on its own
_BLACK = 0.004  # linear light: where even the brightest of the picture is below it, nothing was lit
_SHOWN_LEVEL, _MOST_BRIGHTER = 0.85, 16.0  # how a raw picture is brightened for showing


def load(path: str | Path, *, most_px: float = MOST_PX) -> Photo:
    """Read a photo, shrunk to `most_px` pixels. Refuses what is no picture, broken, empty or too large."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about odd tags; what matters is refused below
        return _load(Path(path), most_px)


def load_all(paths: Iterable[str | Path], *, most_px: float = MOST_PX) -> tuple[Photo, ...]:
    """Read several photos, two at a time, in their order. Refuses as `load` does, the first one first."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with ThreadPoolExecutor(THREADS) as pool:
            return tuple(pool.map(lambda path: _load(Path(path), most_px), paths))


def _load(path: Path, most_px: float) -> Photo:
    content = _content(path)
    decoded = (decode_raw if kinds.kind(content) == "raw" else decode)(path, content, most_px)
    light, spoilt = linear(decoded.codes, decoded.tables)
    if float(np.quantile(light[::7, ::7], 0.999)) < _BLACK:
        raise LightcheckError(
            f"{path.name} is black.", "Check that the lamp was on and take the photo again."
        )
    return Photo(
        name=path.name,
        sha256=hashlib.sha256(content).hexdigest(),
        coded=_locked(_shown(decoded, light)),
        light=_locked(light),
        spoilt=_locked(spoilt),
        facts=decoded.facts,
        kind=decoded.kind,
        written_px=decoded.written_px,
    )


def _content(path: Path) -> bytes:
    """The bytes of the file, or a refusal that names the trouble."""
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise LightcheckError(f"{path} is not there.", "Check the name and the folder.") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise LightcheckError(
            f"{path.name} can not be read ({why}).", "Check the file and its permissions."
        ) from None
    if not content:
        raise LightcheckError(f"{path.name} is empty (0 bytes).", "Copy it from the phone again.")
    return content


def _shown(decoded: Decoded, light: np.ndarray) -> np.ndarray:
    """(height, width, 3) uint8 as people look at it; a raw picture is brightened for that."""
    codes = decoded.codes
    if codes.dtype == np.uint8:
        return codes
    brighter = 1.0
    if decoded.kind == "raw":
        level = float(np.quantile(light[::7, ::7], 0.99))
        brighter = float(np.clip(_SHOWN_LEVEL / max(level, 1e-6), 1.0, _MOST_BRIGHTER))
    tables = [np.round(255 * srgb_encode(t * brighter)).astype(np.uint8) for t in decoded.tables]
    return np.stack([table[codes[..., i]] for i, table in enumerate(tables)], axis=-1)


def _locked(array: np.ndarray) -> np.ndarray:
    """Read-only, without the copy: nobody else holds it."""
    array = np.ascontiguousarray(array)
    if not array.flags.owndata and array.base is not None and not array.flags.writeable:
        return array
    array.setflags(write=False)
    return array
