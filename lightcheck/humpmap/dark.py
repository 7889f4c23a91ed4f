"""The light that is not the lamp's, taken off with a photo made with the lamp off."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lightcheck.grid import frozen
from lightcheck.lamp import Lamp
from lightcheck.patch import Patch
from lightcheck.photo import Photo

LEAST_LAMP_SHARE = 0.15  # of a cell's light that must be the lamp's, after ambient is taken off


def lit_only(patch: Patch, lamps: tuple[Lamp, ...], photos: tuple[Photo, ...]):
    """Take the lamp-off frame's light from the others, scaled by exposure, and leave it out."""
    lit = [i for i, a in enumerate(lamps) if a.kind != "off"]
    log_light = np.array(patch.log_light)
    for dark in (i for i, a in enumerate(lamps) if a.kind == "off"):
        for shot in lit:
            ratio = _exposure_ratio(photos[shot], photos[dark])
            rest = 1 - ratio * np.exp(log_light[dark] - log_light[shot])
            with np.errstate(invalid="ignore", divide="ignore"):
                cleaned = log_light[shot] + np.log(np.where(rest > LEAST_LAMP_SHARE, rest, np.nan))
            log_light[shot] = np.where(np.isfinite(log_light[dark]), cleaned, log_light[shot])
    kept = replace(
        patch,
        log_light=frozen(log_light[lit]),
        fine_log_light=frozen(patch.fine_log_light[lit], np.float32),
        off_axis=frozen(patch.off_axis[lit]),
        views=tuple(patch.views[i] for i in lit),
        misfit_mm=tuple(patch.misfit_mm[i] for i in lit),
        likeness=tuple(patch.likeness[i] for i in lit),
        names=tuple(patch.names[i] for i in lit),
    )
    return kept, tuple(lamps[i] for i in lit)


def _exposure_ratio(shot: Photo, dark: Photo) -> float:
    """Gain of a shot over that of the lamp-off frame; 1 where the phone did not write it down."""
    if shot.facts.gain and dark.facts.gain:
        return shot.facts.gain / dark.facts.gain
    return 1.0
