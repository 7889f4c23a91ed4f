"""Reading: the numbers of one photo with their sigma, where it touches, and what should be trusted less."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicHermiteSpline
from scipy.ndimage import gaussian_filter1d, label

from lightcheck.template.frame import Frame
from lightcheck.template.lip import LEVEL, TURNED, Lip
from lightcheck.template.product import Flag, Touch
from lightcheck.template.trace import Trace

EVERY = 2  # stations to one row of the table
FLOOR_PX = 0.05  # template edge, cards and lens are not known better than this
SCALE_SIGMA = 0.002  # of the printed cards
BURNT_PX = 0.6  # a burnt-out light reads too wide by up to so much
TOUCH_SIGMA = 2.0  # less light than so much of its noise is none
RUN_IN = 12  # stations from which it is told how daylight runs into a dark stretch
HIDDEN_SHARE = 0.4  # where no light is seen the daylight is anything up to what the far lip hides
MAY_HIDE_MM = 0.05
LEAST_SPAN_MM = 3.0  # shorter stretches are not flagged


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """In the working frame, one row a millimetre.

    down: (n, 2) square to the edge, to the wood.  seen_mm: daylight before what the lip hides.
    dark: where no light is seen.
    """

    along_mm: np.ndarray
    edge_mm: np.ndarray
    down: np.ndarray
    daylight_mm: np.ndarray
    sigma_mm: np.ndarray
    seen_mm: np.ndarray
    dark: np.ndarray


def reading(traced: Trace, lip: Lip, burnt: np.ndarray) -> Reading:
    """Daylight and sigma, row by row."""
    made, found, pitch = traced.cut, traced.sums, traced.cut.mm_per_px
    seen = np.isfinite(found.width_mm)
    width = _steady(found.width_mm, seen)
    noise = _noise(found.width_mm, seen)
    dark = seen & (width < max(traced.touch_px * pitch, TOUCH_SIGMA * noise))
    closed = _bridged(dark, width + lip.hidden_mm, lip.hidden_mm)
    daylight = np.where(dark, closed, np.maximum(width, 0) + lip.hidden_mm)
    parts = [
        noise, FLOOR_PX * pitch, SCALE_SIGMA * daylight, lip.sigma_mm,
        traced.sigma_mm,
        burnt * BURNT_PX * pitch,
        np.where(dark, HIDDEN_SHARE * lip.hidden_mm, 0.0),
    ]  # fmt: skip
    sigma = np.sqrt(sum(np.square(np.nan_to_num(p)) for p in parts))
    edge = made.edge_mm - made.down * lip.hidden_mm[:, None]
    return Reading(
        along_mm=made.along_mm[::EVERY],
        edge_mm=edge[::EVERY],
        down=made.down[::EVERY],
        daylight_mm=np.where(seen, daylight, np.nan)[::EVERY],
        sigma_mm=np.where(seen, sigma, np.nan)[::EVERY],
        seen_mm=width[::EVERY],
        dark=dark[::EVERY],
    )


def _steady(width: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """Averaged over a row of the table, without what was not seen."""
    total = gaussian_filter1d(np.where(seen, width, 0.0), EVERY / 2)
    share = gaussian_filter1d(seen.astype(float), EVERY / 2)
    return np.where(seen, total / np.maximum(share, 1e-9), np.nan)


def _noise(width: np.ndarray, seen: np.ndarray) -> float:
    """Scatter from station to station, as it is left in a row of the table. [mm]"""
    steps = np.diff(width[seen], n=2) / np.sqrt(6)
    return float(1.4826 * np.median(np.abs(steps)) / np.sqrt(EVERY)) if len(steps) else 0.0


def _bridged(dark: np.ndarray, wide: np.ndarray, hides: np.ndarray) -> np.ndarray:
    """Daylight where no light is seen: anything from 0 to what the far lip hides.

    From both sides it goes on as it runs in; a stretch up to the template's end is taken to touch in its
    middle.
    """
    stretches, count = label(dark)
    closed = np.zeros(len(dark))
    for which in range(1, count + 1):
        at = np.flatnonzero(stretches == which)
        low, high = at[0] - 1, at[-1] + 1
        if low < RUN_IN or high + RUN_IN >= len(dark) or not np.isfinite(wide[[low, high]]).all():
            way = np.abs(at - at.mean()) / (len(at) / 2)
            closed[at] = hides[at] * way**2
            continue
        falls, rises = _slope(wide[low - RUN_IN : low]), _slope(wide[high + 1 : high + 1 + RUN_IN])
        slopes = [min(falls, 0.0), max(rises, 0.0)]
        run = CubicHermiteSpline([low, high], wide[[low, high]], slopes)(at)
        closed[at] = np.clip(run, 0.0, hides[at])
    return closed


def _slope(values: np.ndarray) -> float:
    """Rise from station to station."""
    seen = np.isfinite(values)
    return float(np.polyfit(np.flatnonzero(seen), values[seen], 1)[0]) if seen.sum() > 2 else 0.0


def touching(read: Reading, frame: Frame) -> tuple[Touch, ...]:
    """Stretches without light, in the template's own frame, by increasing x."""
    stretches, count = label(read.dark)
    places = frame.places(read.edge_mm)
    length = read.along_mm[-1]
    touches = []
    for which in range(1, count + 1):
        at = np.flatnonzero(stretches == which)
        low, high = read.along_mm[at[0]], read.along_mm[at[-1]]
        if frame.backwards:
            low, high = length - high, length - low
        least = at[read.daylight_mm[at] <= read.daylight_mm[at].min() + 1e-3]
        x, y = places[least].mean(axis=0)
        along = float(read.along_mm[least].mean())
        touches.append(
            Touch(
                from_mm=float(low), to_mm=float(high), along_mm=length - along if frame.backwards else along,
                x_mm=float(x), y_mm=float(y),
            )
        )  # fmt: skip
    return tuple(sorted(touches, key=lambda t: t.from_mm))


def flags(read: Reading, traced: Trace, lip: Lip, burnt: np.ndarray, frame: Frame) -> tuple[Flag, ...]:
    """What should be trusted less, and where."""
    aside = bool(np.abs(lip.aside).min() > TURNED)
    along = frame.order(read.along_mm, along=True)
    masks = {
        "phone not level with the edge": np.abs(lip.slope)[::EVERY] > LEVEL,
        "light behind burnt out": burnt[::EVERY] > 0.3,
        "no wood seen below": ~np.isfinite(read.daylight_mm),
        "no light: touching, or hidden behind the far lip": read.dark
        & (lip.hidden_mm[::EVERY] > MAY_HIDE_MM),
    }
    raised = [
        Flag(what=what, from_mm=float(along[a]), to_mm=float(along[b]))
        for what, mask in masks.items()
        for a, b in _spans(frame.order(mask))
    ]
    whole = (*traced.whole, *(["phone to one side of the template"] if aside else []))
    for side, end in zip((0, -1), traced.ends[:: -1 if frame.backwards else 1], strict=True):
        at = float(along[side])
        if end == "frame":
            raised.append(Flag(what="edge cut off by the frame", from_mm=at, to_mm=at))
        if end == "dark":
            raised.append(
                Flag(what="no light beyond: touching, or nothing bright behind", from_mm=at, to_mm=at)
            )
    raised += [Flag(what=w, from_mm=float(along[0]), to_mm=float(along[-1])) for w in whole]
    return tuple(raised)


def _spans(mask: np.ndarray) -> list[tuple[int, int]]:
    """First and last row of each stretch that is long enough."""
    stretches, count = label(mask)
    ends = [np.flatnonzero(stretches == which)[[0, -1]] for which in range(1, count + 1)]
    return [(int(a), int(b)) for a, b in ends if b - a + 1 >= LEAST_SPAN_MM]
