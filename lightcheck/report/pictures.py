"""Pictures: the wood as the phone saw it, the wood laid on the grid, and where the lamps stood."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import cv2
import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse
from PIL import Image

from lightcheck import lamp
from lightcheck.report.marks import outline, place_labels
from lightcheck.report.plots import DPI, PEN, SQUEEZE, draw_card, drawn, png
from lightcheck.report.tables import shots

if TYPE_CHECKING:
    from lightcheck.humpmap import HumpMap
    from lightcheck.patch import Patch

MOST_PX = 1600
CROP_MARGIN = 0.06  # of the patch, kept round it
WIDE_IN = 8.0  # of the plan
BLUR_MM = 20.0  # light of the lamp varies more slowly than this, grain faster


def wood_png(patch: Patch) -> bytes:
    """The wood on the fine grid, evenly lit, 8-bit grey, top row first; 0 where not seen."""
    even = np.zeros(patch.fine_log_light.shape[1:], np.float32)
    count = np.zeros_like(even)
    for sheet in patch.fine_log_light:
        seen = np.isfinite(sheet)
        even += np.where(seen, sheet - _wide_mean(sheet, patch), 0)
        count += seen
    grey = np.zeros(even.shape, np.uint8)
    seen = count > 0
    if seen.any():
        light = np.exp(even[seen] / count[seen])
        low, high = np.quantile(light[:: max(1, light.size // 200_000)], (0.002, 0.998))
        grey[seen] = np.clip(1 + 254 * (light - low) / max(high - low, 1e-6), 1, 255)
    buffer = io.BytesIO()
    per_inch = 25.4 / (patch.grid.cell_mm / patch.times)
    Image.fromarray(grey[::-1]).save(buffer, "PNG", compress_level=SQUEEZE, dpi=(per_inch, per_inch))
    return buffer.getvalue()


def _wide_mean(sheet: np.ndarray, patch: Patch) -> np.ndarray:
    """Gaussian mean over BLUR_MM of what is seen, worked out on the coarse grid."""
    small = (patch.grid.nx, patch.grid.ny)
    seen = np.isfinite(sheet).astype(np.float32)
    parts = [cv2.resize(p, small, interpolation=cv2.INTER_AREA) for p in (np.where(seen > 0, sheet, 0), seen)]
    total, weight = (cv2.GaussianBlur(p, (0, 0), BLUR_MM / patch.grid.cell_mm) for p in parts)
    mean = (total / np.maximum(weight, 1e-6)).astype(np.float32)
    return cv2.resize(mean, sheet.shape[::-1], interpolation=cv2.INTER_LINEAR)


def photo_jpeg(result: HumpMap) -> bytes:
    """The first photo, made anew and smaller, with the outlines and numbers of the spots."""
    import matplotlib

    photo, view, base = result.photos[_first(result)], result.patch.views[0], result.patch.base
    coded, corner, scale = _cropped(photo.coded, result)
    tall, wide = coded.shape[:2]
    with matplotlib.rc_context(PEN):
        figure = Figure(figsize=(wide / DPI, tall / DPI), dpi=DPI, facecolor="none")
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set(xlim=(-0.5, wide - 0.5), ylim=(tall - 0.5, -0.5))
        axes.axis("off")
        labels = []
        for spot in result.spots:
            at = view.project_px(base.points_mm(*spot.outline_mm.T))
            outline(axes, (at - corner + 0.5) * scale - 0.5, hollow=spot.kind == "hollow")
            top = view.project_px(base.points_mm(spot.x_mm, spot.y_mm))
            labels.append((spot, tuple((top - corner + 0.5) * scale - 0.5)))
        place_labels(axes, labels, heights=False)
        over = Image.fromarray(drawn(figure))
    picture, buffer = Image.fromarray(coded), io.BytesIO()
    picture.paste(over, mask=over)  # laid over here, for drawn as an image it would be sampled anew
    picture.save(buffer, "JPEG", quality=85)
    return buffer.getvalue()


def _cropped(coded: np.ndarray, result: HumpMap) -> tuple[np.ndarray, np.ndarray, float]:
    """The part round the patch, at most MOST_PX long; its corner in the photo [px], its scale."""
    grid, view = result.patch.grid, result.patch.views[0]
    rim_x, rim_y = np.meshgrid(np.linspace(*grid.x_mm[[0, -1]], 9), np.linspace(*grid.y_mm[[0, -1]], 9))
    rim = view.project_px(result.patch.base.points_mm(rim_x, rim_y)).reshape(-1, 2)
    margin = CROP_MARGIN * np.ptp(rim, axis=0).max()
    limit = np.array(coded.shape[1::-1])
    low = np.clip(rim.min(axis=0) - margin, 0, limit - 2).astype(int)
    high = np.clip(rim.max(axis=0) + margin, low + 2, limit).astype(int)
    part = coded[low[1] : high[1], low[0] : high[0]]
    scale = min(1.0, MOST_PX / max(part.shape[:2]))
    size = tuple(max(1, round(n * scale)) for n in part.shape[1::-1])
    return cv2.resize(part, size, interpolation=cv2.INTER_AREA), low, scale


def _first(result: HumpMap) -> int:
    """Which photo the patch's first view belongs to."""
    names = [p.name for p in result.photos]
    return names.index(result.patch.names[0]) if result.patch.names[0] in names else 0


def lamps_png(result: HumpMap) -> bytes | None:
    """Plan of the lamps round the patch, as typed and as found; None where there were none."""
    import matplotlib

    numbered = [(n, s.found) for n, s in enumerate(shots(result), start=1) if s.found is not None]
    numbered = [(n, f) for n, f in numbered if f.kind in ("lamp", "far")]
    found = [f for _, f in numbered]
    if not found:
        return None
    grid = result.patch.grid
    reach = max([np.hypot(f.place_mm[0], f.place_mm[1]) for f in found if f.kind == "lamp"] + [0.0])
    reach = 1.25 * max(reach, np.hypot(np.ptp(grid.x_mm), np.ptp(grid.y_mm)) * 0.6)
    with matplotlib.rc_context(PEN):
        figure = Figure(figsize=(WIDE_IN, WIDE_IN), dpi=110, layout="constrained", facecolor="white")
        axes = figure.add_subplot()
        _draw_wood(axes, result)
        for number, one in numbered:
            _draw_lamp(axes, result, one, number=number, reach=reach)
        ys = [f.place_mm[1] for f in found if f.kind == "lamp"] + [*grid.y_mm[[0, -1]]]
        pad = 0.16 * reach
        low, high = min(ys) - pad, max(ys) + pad
        if any(f.kind == "far" for f in found):
            low, high = -reach, reach
        axes.set(xlim=(-reach, reach), ylim=(low, high), aspect="equal", xticks=[], yticks=[])
        figure.set_size_inches(
            WIDE_IN, float(np.clip(WIDE_IN * (high - low) / (2 * reach), 2.0, WIDE_IN)) + 0.6
        )
        handles, names = axes.get_legend_handles_labels()
        unique = dict(zip(names, handles, strict=True))
        figure.legend(unique.values(), unique.keys(), loc="outside lower center", ncols=3, frameon=False)
        return png(figure)


def _draw_wood(axes, result: HumpMap) -> None:
    grid = result.patch.grid
    x0, x1, y0, y1 = grid.x_mm[0], grid.x_mm[-1], grid.y_mm[0], grid.y_mm[-1]
    axes.fill([x0, x1, x1, x0], [y0, y0, y1, y1], facecolor="#eeeeee", edgecolor="black", lw=1)
    for place in result.patch.cards:
        draw_card(axes, place, numbered=False)
        axes.text(place.x_mm, place.y_mm, str(place.card), ha="center", va="center", size=9, zorder=5)


def _draw_lamp(axes, result: HumpMap, found, *, number: int, reach: float) -> None:
    """Open ring as typed, filled disc as found with its give or take; far light as an arrow."""
    if found.kind == "far":
        towards = found.place_mm[:2] / max(np.hypot(*found.place_mm[:2]), 1e-9)
        axes.annotate(
            f"photo {number}, far", towards * reach * 0.55, xytext=towards * reach * 0.88,
            ha="center", arrowprops={"arrowstyle": "-|>", "lw": 2, "color": "black"},
        )  # fmt: skip
        return
    x, y = found.place_mm[:2]
    typed = _typed_place(result, found.spec)
    if typed is not None:
        axes.plot([typed[0], x], [typed[1], y], color="black", lw=0.8)
        axes.plot(
            *typed[:2],
            ls="",
            marker="o",
            ms=13,
            mfc="white",
            mec="black",
            mew=1.6,
            label="lamp as typed",
        )
    spread = Ellipse(
        (x, y), 2 * found.sigma_mm[0], 2 * found.sigma_mm[1], fc="#bbbbbb", ec="#777777", zorder=1
    )
    axes.add_patch(spread)
    axes.plot(x, y, ls="", marker="o", ms=8, color="black", label="lamp as found (grey: give or take)")
    side = 1 if y >= 0 else -1
    axes.annotate(
        f"photo {number}\n{found.place_mm[2]:.0f} mm up", (x, y + side * found.sigma_mm[1]),
        xytext=(0, side * 12), textcoords="offset points", ha="center",
        va="bottom" if side > 0 else "top",
    )  # fmt: skip


def _typed_place(result: HumpMap, spec: str) -> np.ndarray | None:
    """Where the typed words put the lamp. [mm]"""
    base = result.patch.base
    centres = {c.card: base.points_mm(c.x_mm, c.y_mm) for c in result.patch.cards}
    read = lamp.read(spec)
    if {n for n, _ in read.reaches_mm} - set(centres):
        return None
    return lamp.place(read, centres_mm=centres, eye_mm=np.zeros(3)).place_mm
