"""What is known of a phone's response, and how it is shrunk towards the standard curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.photo.slope import LogSlope

RAW, STRIP, BRACKET, KEPT, STANDARD = "raw", "grey strip", "bracket", "kept", "standard"
USUAL_SIGMA = 0.07  # of the curve's log slope where nothing was measured
PHONES_SIGMA = 0.25  # of phones' log slopes about the standard curve: own estimate
FADE_LOG = 0.5  # beyond what was measured, so far on it is worth nothing: own estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """What is known of the response of a set of shots.

    source: "raw", "grey strip", "bracket", "kept" or "standard".  curve: as measured, None where nothing
    was.  more_sigma: of the slope, on top of the curve's own.  bent: for each shot, whether the phone put
    a tone curve on it; raw has none.  phone: make and model, "" where not told.  sentence: for the reader.
    """

    source: str
    curve: LogSlope | None = None
    more_sigma: float = 0.0
    bent: tuple[bool, ...]
    phone: str = ""
    sentence: str = ""

    @property
    def measured(self) -> bool:
        """Whether it was measured on this set of photos."""
        return self.source in (STRIP, BRACKET)

    def at(self, light_log: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean and sigma of slope - 1 at these logarithms of decoded light; slope as in `LogSlope`.

        With s the sigma of the measured slope m, wider beyond the ends of what was measured, and p that of
        phones about the standard curve, the mean is m p^2 / (p^2 + s^2): the standard curve's own prior
        against the measurement (two normal distributions multiplied). Never wider than the usual sigma:
        more room costs a pair of photos height.
        """
        at = np.asarray(light_log, float)
        if self.curve is None:
            return np.zeros(at.shape), np.full(at.shape, USUAL_SIGMA)
        curve = self.curve
        slope, sigma = (np.interp(at, curve.light_log, v) for v in (curve.slope, curve.sigma))
        beyond = np.abs(at - np.clip(at, curve.light_log[0], curve.light_log[-1]))
        square = sigma**2 + self.more_sigma**2 + (PHONES_SIGMA * beyond / FADE_LOG) ** 2
        share = PHONES_SIGMA**2 / (PHONES_SIGMA**2 + square)
        return share * (slope - 1), np.minimum(np.sqrt(share * square), USUAL_SIGMA)
