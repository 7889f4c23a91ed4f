"""Front: a template lit from the front, of another colour than the wood, and the shadow line under it.

    template T  |  shadow line D  |  wood W        every pixel = a T + b W + c D,   a + b + c = 1
                                                   daylight = sum of c,  edge = where the sum of a ends

No lens smear is lost in the sums, but wood near the edge is dimmed by the template standing over it, and
counts as a little shadow: the reading is good to some tenths, and its sigma says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from lightcheck.errors import LightcheckError
from lightcheck.template.area import DARK_ALONG_MM, DARK_PX, FINE, REACH_PX, STATION_MM, Cut, Sum
from lightcheck.template.curve import Curve, fit
from lightcheck.template.flat import Flat, sample
from lightcheck.template.hues import Hues, likeness
from lightcheck.template.trace import CORNER_MM, INSIDE_MM, Trace, flat_at

ROUNDS = 3
BEYOND_MM = 250.0
NO_GAP_SHADE = 0.06  # of the wood's light: a shadow line too thin to show its own dark, own estimate
WIDE_PX = 10.0
WOOD_REACH_PX, WOOD_PX = 3.5, 3.0  # wood is read close by: it is dimmed towards the template
# wood dimmed close to the template counts as so much shadow more, in doubt by so much, and the width by so
# large a share (measured on rendered photos)
DIM_PX, DIM_SIGMA_PX, SHADE_SHARE = 0.35, 0.35, 0.03
TOUCH_PX = 0.45
LEAST_APART = 0.25  # template and wood must differ by this share of their light


def trace(colour: np.ndarray, flat: Flat, points: np.ndarray, hues: Hues) -> Trace:
    """Follow the edge between two colours and sum the shadow line.

    colour: (height, width, 3) linear light.  flat: the same laid on the plane.  points: (3, n) x, y and
    weight of the rough edge.
    """
    for _ in range(ROUNDS):
        curve, ends = _laid(points, flat, hues)
        made, profiles = _cut(colour, flat, curve, hues)
        share, levels = _unmixed(made, profiles, hues)
        found = _sums(made, share, levels)
        at = made.edge_mm + made.down * np.nan_to_num(found.edge_mm)[:, None]
        firm = np.isfinite(found.width_mm) & (np.abs(found.edge_mm) < 4 * made.mm_per_px)
        if firm.sum() > 20:
            points = np.c_[at[firm], np.ones(firm.sum())].T
    width = np.nan_to_num(found.width_mm)
    sigma = np.hypot(DIM_SIGMA_PX * made.mm_per_px, SHADE_SHARE * width)
    return Trace(cut=made, sums=found, sigma_mm=sigma, ends=ends, whole=(), touch_px=TOUCH_PX)


def _laid(points: np.ndarray, flat: Flat, hues: Hues) -> tuple[Curve, tuple[str, str]]:
    """The curve through the points, cut where the template's colour ends."""
    low, high = points[0].min(), points[0].max()
    curve = fit(*points, reach_mm=(low - BEYOND_MM, high + BEYOND_MM))
    ends, reach = [], []
    for side, start in ((-1, low), (1, high)):
        x = start - side * 4 + side * np.arange(0, BEYOND_MM, 0.25)
        above = curve.points(x)[:, None] - curve.down(x)[:, None] * np.linspace(*INSIDE_MM, 5)[None, :, None]
        seen = flat_at(flat, above)
        beyond = (seen < 0).any(axis=(1, 2))
        other = likeness(seen, hues.template).mean(axis=1) < 0.5
        stop = np.argmax(beyond | other) if (beyond | other).any() else len(x) - 1
        ends.append("frame" if beyond[stop] else "end")
        reach.append(x[max(stop - 4, 0)] if beyond[stop] else x[stop] - side * CORNER_MM)
    return Curve(spline=curve.spline, x_mm=(float(reach[0]), float(reach[1]))), (ends[0], ends[1])


def _cut(colour: np.ndarray, flat: Flat, curve: Curve, hues: Hues) -> tuple[Cut, np.ndarray]:
    """Profiles square to the edge; light is the mean of the channels, profiles (n, m, 3) the colours."""
    pitch = flat.plane.mm_per_px
    rim = (REACH_PX + DARK_PX + 1) * pitch
    x, along = curve.stations(STATION_MM)
    across = np.arange(-rim, hues.deepest_mm + rim, pitch / FINE)
    edge, down = curve.points(x), curve.down(x)
    profiles = sample(colour, flat.plane, edge[:, None] + down[:, None] * across[None, :, None])
    made = Cut(
        x_mm=x, along_mm=along, edge_mm=edge, down=down, across_mm=across, light=profiles.mean(axis=2),
        width_mm=_rough(profiles, across, hues, pitch), mm_per_px=pitch,
    )  # fmt: skip
    return made, profiles


def _rough(profiles: np.ndarray, across: np.ndarray, hues: Hues, pitch: float) -> np.ndarray:
    """(n,) from the edge to where the wood's colour begins and stays; NaN where it does not."""
    wood = likeness(profiles, hues.wood) > 0.5
    wood &= across[None] > -2 * pitch
    calm = 3 * FINE
    run = np.cumsum(np.pad(wood, ((0, 0), (1, calm))), axis=1)
    stays = (run[:, calm:] - run[:, :-calm])[:, : wood.shape[1]] == calm
    some = stays.any(axis=1)
    return np.where(some, np.maximum(across[np.argmax(stays, axis=1)], 0), np.nan)


@dataclass(frozen=True, slots=True)
class _Share:
    template: np.ndarray
    dark: np.ndarray
    window: np.ndarray


def _unmixed(made: Cut, profiles: np.ndarray, hues: Hues) -> tuple[_Share, np.ndarray]:
    """Shares of template and shadow at every sample, and (n, 2) light of template and wood."""
    reach, band, u = made.reach_mm, DARK_PX * made.mm_per_px, made.across_mm[None]
    width = np.nan_to_num(made.width_mm)[:, None]
    below = width + WOOD_REACH_PX * made.mm_per_px
    template = _level(profiles, (u < -reach) & (u > -reach - band))
    wood = _level(profiles, (u > below) & (u < below + WOOD_PX * made.mm_per_px))
    if np.linalg.norm(np.nanmedian(template - wood, axis=0)) < LEAST_APART * np.nanmedian(wood):
        raise _alike()
    dark = _dark(made, profiles, wood)
    a, b = template - dark, wood - dark
    aa, ab, bb = (a * a).sum(-1), (a * b).sum(-1), (b * b).sum(-1)
    det = np.maximum(aa * bb - ab**2, 1e-12)
    seen = profiles - dark
    pa, pb = np.einsum("nmc,nc->nm", seen, a), np.einsum("nmc,nc->nm", seen, b)
    of_template = (pa * bb[:, None] - pb * ab[:, None]) / det[:, None]
    of_wood = (pb * aa[:, None] - pa * ab[:, None]) / det[:, None]
    window = (u >= -reach) & (u <= below)
    share = _Share(of_template, 1 - of_template - of_wood, window)
    return share, np.stack([template.mean(-1), wood.mean(-1)], -1)


def _level(profiles: np.ndarray, where: np.ndarray) -> np.ndarray:
    """(n, 3) colour in a band beside the strip, steadied along the edge."""
    where = np.broadcast_to(where, profiles.shape[:2])
    inside = where[..., None] & np.isfinite(profiles)
    total = np.where(inside, profiles, 0).sum(axis=1)
    count = inside.sum(axis=1)
    steps = DARK_ALONG_MM / STATION_MM
    smooth = gaussian_filter1d(total, steps, axis=0, mode="nearest")
    return smooth / np.maximum(gaussian_filter1d(count.astype(float), steps, axis=0, mode="nearest"), 1e-9)


def _dark(made: Cut, profiles: np.ndarray, wood: np.ndarray) -> np.ndarray:
    """(3,) colour of the shadow line, from where it is wide; else a share of the wood's light."""
    pitch, u, width = made.mm_per_px, made.across_mm[None], np.nan_to_num(made.width_mm)[:, None]
    middle = (np.abs(u - width / 2) < pitch) & (width > WIDE_PX * pitch)
    if middle.sum() > 40:
        return np.nanquantile(profiles[middle], 0.3, axis=0)
    return NO_GAP_SHADE * np.nanmedian(wood, axis=0)


def _sums(made: Cut, share: _Share, levels: np.ndarray) -> Sum:
    step = made.mm_per_px / FINE
    whole = np.isfinite(made.width_mm) & np.isfinite(np.where(share.window, share.dark, 0)).all(axis=1)
    dark = np.where(share.window, share.dark, 0.0)
    of_template = np.where(share.window, share.template, 0.0)
    return Sum(
        width_mm=np.where(whole, np.nan_to_num(dark).sum(axis=1) * step - DIM_PX * made.mm_per_px, np.nan),
        edge_mm=np.where(whole, np.nan_to_num(of_template).sum(axis=1) * step - made.reach_mm, np.nan),
        dark=levels,
        share=dark,
        dark_sigma=np.zeros(len(dark)),
    )


def _alike() -> LightcheckError:
    return LightcheckError(
        "Template and wood look alike, so that no shadow line can be told between them.",
        "Put a bright, even sheet or a window behind the template, or paint its face another colour.",
    )
