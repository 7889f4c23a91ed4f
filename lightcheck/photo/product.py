"""What a photo is once it has been read: linear light, right way up, and what the phone wrote."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraFacts:
    """What the phone wrote about itself, None where it did not; no place, no serial number.

    frames: how many the phone merged into one, 0 where it merged but did not say.
    scene: "night" or "portrait" where the phone says so.  zoom: digital, 1 for none.
    balance: "auto" or "manual".  flash: whether it fired.  stated_px: (width, height) as the tags have it.
    """

    make: str | None = None
    model: str | None = None
    focal_35mm: float | None = None
    exposure_s: float | None = None
    iso: float | None = None
    f_number: float | None = None
    taken: str | None = None
    merged_frames: bool = False
    frames: int | None = None
    lens: str | None = None
    focal_mm: float | None = None
    zoom: float | None = None
    balance: str | None = None
    scene: str | None = None
    flash: bool | None = None
    stated_px: tuple[int, int] | None = None

    @property
    def phone(self) -> str | None:
        """Make and model as one name."""
        make, model = self.make or "", self.model
        return model if not model or model.lower().startswith(make.lower()) else f"{make} {model}"

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
    kind: "JPEG", "HEIF", "PNG", "TIFF", "WEBP", "MPO" or "raw", by content.
    written_px: (width, height) of the picture in the file, upright; larger than `size_px` where it
    was read at a reduced size. All places in a photo are counted in the pixels of `size_px`.
    """

    name: str
    sha256: str
    coded: np.ndarray
    light: np.ndarray
    spoilt: np.ndarray
    facts: CameraFacts
    kind: str = ""
    written_px: tuple[int, int] | None = None

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height). [px]"""
        return self.light.shape[1], self.light.shape[0]
