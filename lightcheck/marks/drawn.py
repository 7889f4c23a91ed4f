"""Drawn: marks from coloured lines that the builder drew on a copy of wood.png.

The picture is grey, so whatever has a colour was drawn. Which colour stands for what, the builder says:
`red = fastener, 3mm deep`. A blob is a point, a line is traced along its middle, a closed ring is an area.
An arrow runs to its thicker end: draw a head, or a dot.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy import ndimage

from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid
from lightcheck.marks.product import ARROWS, KINDS, LINES, POINTS, Mark
from lightcheck.marks.typed import _extras

HUES_DEG = {"red": 0, "orange": 30, "yellow": 60, "green": 120, "cyan": 180, "blue": 230, "magenta": 300}
LEAST_CHROMA = 70  # of 255 between the strongest and the weakest colour of a pixel
LEAST_MM = 2.5  # smaller specks are not marks
POINT_MM = 14.0  # a blob no longer than this is a point
HEAD = 1.35  # times thicker an arrow's head is than its tail
TRACE_MM = 8.0  # between the places of a traced line
PICTURES = ("PNG", "JPEG", "TIFF", "BMP", "WEBP")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """A colour and what it stands for; the rest as for `Mark`."""

    colour: str
    kind: str
    name: str
    rest: dict


def read_pen(text: str) -> Pen:
    """Understand 'blue = crease, dies out' or 'red = fastener, 3mm deep'."""
    match = re.fullmatch(
        rf"\s*([a-z]+)\s*[=:]\s*({'|'.join(KINDS)})(?:\s+([^,]{{1,40}}?))?\s*((?:,[^,]+)*)", text.lower()
    )
    if not match or match[1] not in HUES_DEG:
        raise LightcheckError(
            f"'{text[:60]}' does not say what a colour stands for.",
            f"Type it like 'blue = crease'. Colours: {', '.join(HUES_DEG)}. Marks: {', '.join(KINDS)}.",
        )
    return Pen(colour=match[1], kind=match[2], name=match[3] or "", rest=_extras(match[4]))


def of_drawing(path: str | Path, pens: tuple[Pen, ...], grid: Grid) -> tuple[Mark, ...]:
    """Marks drawn on a copy of wood.png. grid: the sheet that the copy shows, whole.

    Refuses a picture of another shape, a colour that stands for nothing and one that was not used.
    """
    colour = _picture(Path(path), grid)
    strong = colour.max(axis=2).astype(int) - colour.min(axis=2)
    cell = grid.nx * grid.cell_mm / colour.shape[1]
    joined = ndimage.binary_closing(np.pad(strong >= LEAST_CHROMA, 3), iterations=2)[3:-3, 3:-3]
    shades = _named(colour)
    labels, count = ndimage.label(joined, np.ones((3, 3)))
    used, marks = set(), []
    for number, where in enumerate(ndimage.find_objects(labels), start=1):
        piece = labels[where] == number
        if count == 0 or piece.sum() * cell**2 < LEAST_MM**2:
            continue
        shade = shades[where][piece & (strong[where] >= LEAST_CHROMA)]
        name = list(HUES_DEG)[int(np.bincount(shade, minlength=len(HUES_DEG)).argmax())]
        pen = next((p for p in pens if p.colour == name), None)
        corner = np.array([where[1].start, where[0].start])
        if pen is None:
            raise _unknown(name, colour, corner, grid)
        used.add(name)
        marks.append(_mark(pen, piece, corner, cell, grid))
    idle = [p.colour for p in pens if p.colour not in used]
    if idle:
        raise LightcheckError(
            f"Nothing {idle[0]} is drawn in {Path(path).name}.",
            "Draw with a full, bright colour, at least 2 mm wide, on a copy of wood.png.",
        )
    return tuple(marks)


def _picture(path: Path, grid: Grid) -> np.ndarray:
    """(ny, nx, 3) uint8, row 0 the lowest y."""
    from PIL import Image

    try:
        with Image.open(path, formats=PICTURES) as picture:
            wide, high = picture.size
            if abs(wide / high - grid.nx / grid.ny) > 0.02 * grid.nx / grid.ny:
                raise LightcheckError(
                    f"{path.name} is not the whole of wood.png: it is {wide} x {high} pixels.",
                    f"Draw on a copy of the map's wood.png ({grid.nx} x {grid.ny}) and do not crop it.",
                )
            if min(wide, high) < 50:
                raise LightcheckError(f"{path.name} is too small.", "Draw on a copy of wood.png as it is.")
            return np.asarray(picture.convert("RGB"))[::-1]
    except (OSError, ValueError, Image.DecompressionBombError):
        raise LightcheckError(
            f"{path} can not be read as a picture.", "Give a PNG or JPEG drawn on a copy of wood.png."
        ) from None


def _named(colour: np.ndarray) -> np.ndarray:
    """(ny, nx) number of the nearest colour name by hue."""
    from skimage.color import rgb2hsv

    hue = 360 * rgb2hsv(colour)[..., 0]
    away = np.stack([abs((hue - h + 180) % 360 - 180) for h in HUES_DEG.values()])
    return away.argmin(axis=0)


def _mark(pen: Pen, piece: np.ndarray, corner: np.ndarray, cell: float, grid: Grid) -> Mark:
    """One drawn piece as a mark. corner: its lower left pixel (column, row).  cell: mm per pixel."""
    low = np.array([grid.x0_mm, grid.y0_mm]) - grid.cell_mm / 2
    rows, columns = np.nonzero(piece)
    middle = np.array([columns.mean(), rows.mean()])
    small = max(np.ptp(columns), np.ptp(rows)) * cell <= POINT_MM
    if pen.kind in POINTS or (small and pen.kind not in (*ARROWS, *LINES)):
        places = middle[None]
    elif pen.kind in (*ARROWS, *LINES):
        places = _traced(piece, cell)
        if pen.kind in ARROWS:
            places = _headed(places, piece, pen)[[0, -1]]
    else:
        places = _ring(piece, cell)
    at = low + (places + corner + 0.5) * cell
    return Mark(kind=pen.kind, at_mm=at, name=pen.name, **pen.rest)


def _traced(piece: np.ndarray, cell: float) -> np.ndarray:
    """(n, 2) column, row along the middle of a line, by the longest way through its skeleton."""
    from skimage.graph import MCP_Geometric
    from skimage.morphology import skeletonize

    thin = skeletonize(np.pad(piece, 1))[1:-1, 1:-1]
    rows, columns = np.nonzero(thin)
    cost = np.where(thin, 1.0, -1.0)
    start = (int(rows[0]), int(columns[0]))
    for _ in range(2):  # the far end from anywhere, then the far end from there
        ways = MCP_Geometric(cost)
        reach, _ = ways.find_costs([start])
        reach = np.where(np.isfinite(reach), reach, -1)
        start = np.unravel_index(int(reach.argmax()), reach.shape)
    path = np.array(ways.traceback(start))[:, ::-1].astype(float)
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    steps = np.linspace(0, along[-1], max(2, round(along[-1] * cell / TRACE_MM) + 1))
    # skeletons are short of both ends by half the line's thickness; that is less than a pencil line
    return np.stack([np.interp(steps, along, path[:, i]) for i in (0, 1)], axis=1)


def _headed(places: np.ndarray, piece: np.ndarray, pen: Pen) -> np.ndarray:
    """The line turned so that it ends at its thicker end."""
    thick = ndimage.distance_transform_edt(np.pad(piece, 1))[1:-1, 1:-1]
    third = max(1, len(places) // 3)
    at = np.clip(np.round(places).astype(int), 0, np.array(piece.shape[::-1]) - 1)
    ends = [
        max(thick[max(r - 2, 0) : r + 3, max(c - 2, 0) : c + 3].max() for c, r in part)
        for part in (at[:third], at[-third:])
    ]
    if max(ends) < HEAD * min(ends):
        raise LightcheckError(
            f"A {pen.colour} line drawn for the {pen.kind} has no head.",
            "Draw an arrow head or a thick dot at the end that the plane runs to.",
        )
    return places if ends[1] >= ends[0] else places[::-1]


def _ring(piece: np.ndarray, cell: float) -> np.ndarray:
    """(n, 2) column, row round a ring or a filled blob."""
    from skimage import measure

    whole = ndimage.binary_fill_holes(piece)
    outline = max(measure.find_contours(np.pad(whole.astype(float), 1), 0.5), key=len) - 1
    step = max(1, round(TRACE_MM / cell / 2))
    return outline[:-1:step, ::-1]


def _unknown(name: str, colour: np.ndarray, corner: np.ndarray, grid: Grid) -> LightcheckError:
    share = corner / np.array(colour.shape[1::-1])
    x = grid.x0_mm + share[0] * grid.nx * grid.cell_mm
    y = grid.y0_mm + share[1] * grid.ny * grid.cell_mm
    return LightcheckError(
        f"Something {name} is drawn near {x:.0f}mm,{y:.0f}mm, and {name} stands for nothing.",
        f"Say what it stands for: --colour '{name} = crease', or rub it out.",
    )
