"""Raw: the sensor's own values, in line with the light, without the phone's tone curve.

Nothing is brightened, sharpened or fitted to the picture: black level off, white balance as the phone
chose it, colours turned to linear sRGB. Large sensors are read at half size, two by two points to one.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.photo import facts, kinds
from lightcheck.photo.decode import LEAST_SIDE_PX, MOST_PIXELS, Decoded

INSTALL = "pip install 'lightcheck[raw]'"


def decode_raw(path: Path, content: bytes, most_px: float) -> Decoded:
    """Codes of a raw file, linear. Refuses, with what to install, where no reader for raw is there."""
    try:
        import rawpy
    except ImportError:
        raise LightcheckError(
            f"{path.name} is a raw file, and the reader for raw files is not installed.",
            f"Install it: {INSTALL}. Or use the JPEG or HEIC of the same shot.",
        ) from None
    try:
        with rawpy.imread(io.BytesIO(content)) as raw:
            size = raw.sizes.width * raw.sizes.height
            _refuse_size(path, raw)
            half = size > most_px
            codes = raw.postprocess(
                gamma=(1, 1), no_auto_bright=True, output_bps=16, use_camera_wb=True,
                half_size=half, adjust_maximum_thr=0.0,
                demosaic_algorithm=rawpy.DemosaicAlgorithm.LINEAR,
            )  # fmt: skip
    except rawpy.LibRawError as error:
        raise _unread(path, error) from None
    except (OSError, ValueError, MemoryError, RuntimeError) as error:
        raise kinds.broken(path, error) from None
    codes = codes if codes.shape[2] == 3 else codes[..., [0, 0, 0]]  # a sensor without colours
    times = 2 if half else 1
    return Decoded(
        codes=codes,
        tables=[np.linspace(0, 1, 65536)] * 3,
        facts=facts.from_tiff(content),
        kind="raw",
        written_px=(codes.shape[1] * times, codes.shape[0] * times),
    )


def _refuse_size(path: Path, raw) -> None:
    wide, high = raw.sizes.width, raw.sizes.height
    if wide * high > MOST_PIXELS:
        raise kinds.too_large(path, MOST_PIXELS)
    if min(wide, high) < LEAST_SIDE_PX:
        raise LightcheckError(f"{path.name} is only {wide} x {high} pixels.", "Use the photo itself.")


def _unread(path: Path, error: Exception) -> LightcheckError:
    words = " ".join(str(error.args[0] if error.args else error).split())[:60].strip("b'")
    return LightcheckError(
        f"{path.name} is a raw file that can not be read here ({words}).",
        "Set the phone's raw to lossless or most compatible, or use the JPEG or HEIC of the same shot.",
    )
