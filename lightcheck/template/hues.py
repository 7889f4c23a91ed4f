"""Hues: the colours of a template lit from the front and of the wood below it, and the rough edge."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.photo import Photo, srgb_decode
from lightcheck.template.curve import fit
from lightcheck.template.flat import Flat, Plane, lay

PITCH_MM = 0.4
RING_MM = (2.0, 9.0)  # about the cards, where the template's colour is read
COLUMN_MM = 2.0
NEAR_MM = 60.0  # columns this near to a card start below it
FAR_MM = 160.0  # the edge is looked for so far below the cards
GAP_MM = 30.0  # and the wood so far below the edge
CALM_MM = 3.0  # wood must go on for so long
LEAST_SHARE = 0.6  # of the columns in which wood is found below the template
DEEP_PX = 14.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hues:
    """(3,) linear light of template and wood.  deepest_mm: widest shadow line, roughly."""

    template: np.ndarray
    wood: np.ndarray
    deepest_mm: float


def colours(photo: Photo) -> np.ndarray:
    """(height, width, 3) float32 linear light of the channels."""
    return srgb_decode(np.arange(256) / 255).astype(np.float32)[photo.coded]


def likeness(seen: np.ndarray, hue: np.ndarray) -> np.ndarray:
    """(...,) 1 where a colour is this hue, lighter or darker, to 0 where it is another."""
    much = (seen @ hue) / (hue @ hue)
    off = np.linalg.norm(seen - much[..., None] * hue, axis=-1) / np.linalg.norm(hue)
    tone = np.clip((much - 0.45) / 0.2, 0, 1) * np.clip((1.9 - much) / 0.2, 0, 1)
    return tone * np.clip(2 - off / (0.16 * np.maximum(much, 0.3)), 0, 1)


def rough(colour: np.ndarray, plane: Plane) -> tuple[Flat, np.ndarray, Hues]:
    """The flat picture turned so that the wood lies below; (3, n) x, y, weight of the edge; the hues."""
    flat = lay(colour, plane, least_pitch=max(PITCH_MM, plane.mm_per_px))
    template = _ring(flat)
    found = [f for q in range(4) if (f := _below(flat.turned(q), template)) is not None]
    if not found:
        raise LightcheckError(
            "No daylight is seen: there is no light behind the template, and no wood of another colour "
            "below it.",
            "Put a bright, even sheet or a window behind the template, or photograph it so that its edge "
            "and the wood under it are in the picture.",
        )
    _, flat, points, hues = max(found, key=lambda f: f[0])
    return flat, points, hues


def _ring(flat: Flat) -> np.ndarray:
    """(3,) median colour about the cards."""
    pitch = float(flat.x_mm[1] - flat.x_mm[0])
    inside = np.zeros(flat.light.shape[:2], np.uint8)
    for outline in flat.plane.card_outlines_mm():
        at = np.round((outline - (flat.x_mm[0], flat.y_mm[0])) / pitch).astype(np.int32)
        cv2.fillConvexPoly(inside, at, 1)
    near, far = (
        cv2.dilate(inside, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * round(r / pitch) + 1,) * 2))
        for r in RING_MM
    )
    ring = (far > 0) & (near == 0) & (flat.light >= 0).all(axis=2)
    return np.median(flat.light[ring], axis=0).astype(float)


def _below(flat: Flat, template: np.ndarray) -> tuple[float, Flat, np.ndarray, Hues] | None:
    """Score, picture, edge and hues with the wood on this side; None where it is not."""
    columns = [_column(flat, x, template) for x in _columns(flat)]
    seen = [c for c in columns if c is not None]
    if len(seen) < max(8, LEAST_SHARE * len(columns)):
        return None
    x, y, gap = np.array([c[:3] for c in seen]).T
    wood = np.median([c[3] for c in seen], axis=0)
    same = np.array([likeness(c[3], wood) for c in seen]) > 0.5
    if same.mean() < LEAST_SHARE:
        return None
    curve = fit(x[same], y[same], np.ones(same.sum()), reach_mm=(x.min(), x.max()))
    off = np.abs(curve.spline(x) - y)
    if np.median(off) > 1.0:
        return None
    deepest = float(np.quantile(gap[same], 0.98)) + DEEP_PX * flat.plane.mm_per_px
    hues = Hues(template=template, wood=wood, deepest_mm=deepest)
    points = np.stack([x, y, (same & (off < 2.0)).astype(float)])
    return float(same.sum() * COLUMN_MM), flat, points[:, points[2] > 0], hues


def _columns(flat: Flat) -> np.ndarray:
    outlines = flat.plane.card_outlines_mm()
    return np.arange(min(o[:, 0].min() for o in outlines), max(o[:, 0].max() for o in outlines), COLUMN_MM)


def _column(flat: Flat, x: float, template: np.ndarray) -> tuple[float, float, float, np.ndarray] | None:
    """x, y of the edge, height of what lies between it and the wood, colour of the wood; or None."""
    pitch = float(flat.y_mm[1] - flat.y_mm[0])
    outlines = flat.plane.card_outlines_mm()
    near = [o for o in outlines if o[:, 0].min() - NEAR_MM < x < o[:, 0].max() + NEAR_MM]
    if not near:
        return None
    start = min(float(np.interp(x, *_lower(o))) for o in near)
    top = int((start - 1.5 - flat.y_mm[0]) / pitch)
    column = round((x - flat.x_mm[0]) / pitch)
    if not 0 <= column < len(flat.x_mm) or top < 5:
        return None
    seen = flat.light[max(0, top - round(FAR_MM / pitch)) : top, column][::-1].astype(float)
    seen = seen[: np.argmax((seen < 0).any(axis=1)) or None] if (seen < 0).any() else seen
    like = likeness(seen, template) > 0.5
    if len(like) < 20 or not like[:4].any():
        return None
    calm = max(2, round(1.0 / pitch))
    gone = np.flatnonzero(np.convolve(~like, np.ones(calm), "valid") == calm)
    if not len(gone):
        return None
    edge = int(gone[0])
    return _wood_below(seen, edge, template, (x, start - 1.5 - edge * pitch, pitch))


def _wood_below(seen: np.ndarray, edge: int, template: np.ndarray, place: tuple[float, float, float]):
    """The wood's colour below the edge, and how far down it begins."""
    x, y, pitch = place
    run, reach = round(CALM_MM / pitch), round(GAP_MM / pitch)
    bright = seen.mean(axis=1) > 0.25 * template.mean()
    bright &= likeness(seen, template) < 0.3
    for start in range(edge, min(edge + reach, len(seen) - run)):
        if bright[start : start + run].all():
            return x, y, (start - edge) * pitch, np.median(seen[start : start + run], axis=0)
    return None


def _lower(outline: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """x, y of the two lowest corners."""
    low = outline[np.argsort(outline[:, 1])[:2]]
    return tuple(low[np.argsort(low[:, 0])].T)
