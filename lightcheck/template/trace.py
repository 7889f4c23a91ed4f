"""Trace: from the rough strip to the edge and the daylight under it, for light from behind."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lightcheck.template.area import Cut, Sum, cut, rough_width, sums
from lightcheck.template.behind import in_strip, open_background, surface
from lightcheck.template.curve import Curve, fit
from lightcheck.template.flat import Flat, sample
from lightcheck.template.seek import Strip

ROUNDS = 3
BEYOND_MM = 250.0  # the edge is looked for so far beyond the last light
DARK_TAIL_MM = 6.0  # from here on the edge beyond the last light is tied to the wood beside the template
BESIDE_MM = (1.5, 6.0)  # where that wood is looked at, from the template's end
INSIDE_MM = (1.2, 3.0)  # where the template is dark above its edge
CORNER_MM = 1.0  # of the template's end that is left out: its corner is smeared
NARROW_PX = 0.7  # less light than this does not tell where the edge is
TOUCH_PX = 0.15  # less light than this is none


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """ends: for the low and the high x: "end" of the template, "frame" of the picture, or "dark".

    sigma_mm: (n,) of the sums, from light and dark levels.  whole: what should be said of all of it.
    touch_px: less light than this is none.
    """

    cut: Cut
    sums: Sum
    sigma_mm: np.ndarray
    ends: tuple[str, str]
    whole: tuple[str, ...]
    touch_px: float


def trace(picture: np.ndarray, flat: Flat, strip: Strip, *, bright: float) -> Trace:
    """Follow the edge and sum the light, each round from the edge found in the one before."""
    open_places = open_background(flat, bright=bright)
    deepest = float(np.quantile(strip.top_mm - strip.bottom_mm, 0.98)) + 12 * flat.plane.mm_per_px
    points = np.stack([strip.x_mm, strip.top_mm, np.ones(len(strip.x_mm))])
    behind = None
    for _ in range(ROUNDS):
        curve, ends = _laid(points, flat, strip, bright)
        made = cut(picture, flat.plane, curve, deepest_mm=deepest)
        light = np.full(len(made.x_mm), bright) if behind is None else behind.at(made.edge_mm)
        dark = float(np.nanmedian(made.light[:, made.across_mm < -made.reach_mm]))
        made = replace(made, width_mm=rough_width(made, light, dark))
        behind = surface(in_strip(made), open_places, made)
        found = sums(made, behind.at(made.places_mm()))
        points = _edges(made, found, points)
    whole = {"light behind uneven": behind.uneven,
             "no place wide enough to show the light behind": not behind.wide}  # fmt: skip
    width = np.nan_to_num(found.width_mm)
    sigma = np.hypot(behind.sigma(made.edge_mm) * width, found.dark_sigma * (width + 2 * made.reach_mm))
    return Trace(
        cut=made, sums=found, sigma_mm=sigma, ends=ends, whole=tuple(w for w, on in whole.items() if on),
        touch_px=TOUCH_PX,
    )  # fmt: skip


def _laid(points: np.ndarray, flat: Flat, strip: Strip, bright: float) -> tuple[Curve, tuple[str, str]]:
    """The curve through (3, n) x, y, weight, from end to end of the template."""
    reach = (strip.x_mm[0] - BEYOND_MM, strip.x_mm[-1] + BEYOND_MM)
    curve, ends = _ended(fit(*points, reach_mm=reach), flat, strip, bright)
    tied = _tied(curve, ends, flat, strip, bright)
    if not tied.shape[1]:
        return curve, ends
    return _ended(fit(*np.c_[points, tied], reach_mm=reach), flat, strip, bright)


def _edges(made: Cut, found: Sum, before: np.ndarray) -> np.ndarray:
    """(3, n) x, y, weight of the edges that the sums gave."""
    narrow = found.width_mm / made.mm_per_px
    firm = np.isfinite(found.width_mm) & (narrow > NARROW_PX) & (np.abs(found.edge_mm) < 3 * made.mm_per_px)
    if firm.sum() < 10:
        return before
    at = (made.edge_mm + made.down * found.edge_mm[:, None])[firm]
    return np.c_[at, np.minimum(narrow[firm] / 4, 1) ** 2].T


def _tied(curve: Curve, ends: tuple[str, str], flat: Flat, strip: Strip, bright: float) -> np.ndarray:
    """(3, k) x, y, weight of places on the wood beside the template, where no light leads to its end.

    The wood's outline against the light goes on under the template, with no light between them.
    """
    found = [np.zeros((3, 0))]
    for i, side in enumerate((-1, 1)):
        if ends[i] != "end" or abs(curve.x_mm[i] - strip.x_mm[-i]) < DARK_TAIL_MM:
            continue
        x = curve.x_mm[i] + side * (CORNER_MM + np.arange(*BESIDE_MM, 0.25))
        pitch = float(flat.x_mm[1] - flat.x_mm[0])
        down = np.arange(-6.0, 6.0, pitch)
        y = curve.spline(x)
        light = flat_at(flat, np.stack(np.broadcast_arrays(x[:, None], y[:, None] - down), -1))
        dark = (light >= 0) & (light < 0.5 * bright)
        seen = dark.any(axis=1) & ~dark[:, 0]
        y = y - down[np.argmax(dark, axis=1)] + pitch / 2
        found.append(np.stack([x[seen], y[seen], np.full(seen.sum(), 1.0)]))
    return np.concatenate(found, axis=1)


def _ended(curve: Curve, flat: Flat, strip: Strip, bright: float) -> tuple[Curve, tuple[str, str]]:
    """Cut the curve where the template ends: there its dark gives way to the light beside it."""
    ends, reach = [], []
    for side, start in ((-1, strip.x_mm[0]), (1, strip.x_mm[-1])):
        x = start + side * np.arange(0, BEYOND_MM, 0.25)
        up = -curve.down(x)
        above = curve.points(x)[:, None] + up[:, None] * np.linspace(*INSIDE_MM, 5)[None, :, None]
        light = np.median(flat_at(flat, above), axis=1)
        beyond, lit = light < 0, light > 0.4 * bright
        stop = np.argmax(beyond | lit) if (beyond | lit).any() else None
        if stop is None:
            ends.append("dark")
            reach.append(start)
        elif beyond[stop]:
            ends.append("frame")
            reach.append(x[max(stop - 4, 0)])
        else:
            ends.append("end")
            reach.append(x[stop] - side * CORNER_MM)
    return Curve(spline=curve.spline, x_mm=(float(reach[0]), float(reach[1]))), (ends[0], ends[1])


def flat_at(flat: Flat, places_mm: np.ndarray) -> np.ndarray:
    """Light, or colours, of the flat picture at (n, m, 2) places, negative beyond it."""
    pitch = flat.x_mm[1] - flat.x_mm[0]
    column = np.round((places_mm[..., 0] - flat.x_mm[0]) / pitch).astype(int)
    row = np.round((places_mm[..., 1] - flat.y_mm[0]) / pitch).astype(int)
    inside = (column >= 0) & (column < len(flat.x_mm)) & (row >= 0) & (row < len(flat.y_mm))
    light = flat.light[np.clip(row, 0, len(flat.y_mm) - 1), np.clip(column, 0, len(flat.x_mm) - 1)]
    return np.where(inside if light.ndim == 2 else inside[..., None], light, -1.0)


def burnt_share(clipped: np.ndarray, flat: Flat, made: Cut) -> np.ndarray:
    """(n,) share of the strip at each station in which a channel is clipped."""
    inside = (made.across_mm[None] > 0) & (made.across_mm[None] < np.nan_to_num(made.width_mm)[:, None])
    values = np.nan_to_num(sample(clipped, flat.plane, made.places_mm()))
    return (values * inside).sum(axis=1) / np.maximum(inside.sum(axis=1), 1)
