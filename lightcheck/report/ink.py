"""Ink: how things are drawn on paper in black and white, in millimetres, with reportlab's canvas."""

from __future__ import annotations

import numpy as np

LABEL_MM = 7.0  # letters of a spot's number
WORDS_MM = 6.2
BOLD = "Helvetica-Bold"


def tagged(canvas, words: str, at: tuple[float, float], wide: float) -> None:
    """Words on a white ground."""
    canvas.setFillGray(1)
    canvas.rect(at[0] - 0.6, at[1] - 0.8, wide + 1.2, WORDS_MM * 0.92, stroke=0, fill=1)
    canvas.setFillGray(0)
    canvas.drawString(*at, words)


def fastener(canvas, place: np.ndarray) -> None:
    """A ring with a cross in it, as a slotted head is seen."""
    x, y = (float(v) for v in place)
    canvas.setLineWidth(0.8)
    canvas.setStrokeGray(0)
    canvas.setFillGray(1)
    canvas.circle(x, y, 2.4, stroke=1, fill=1)
    canvas.line(x - 1.7, y - 1.7, x + 1.7, y + 1.7)
    canvas.line(x - 1.7, y + 1.7, x + 1.7, y - 1.7)


def half_of(name: str) -> float:
    """Half the size of a number's ring or square. [mm]"""
    return max(4.2, 0.32 * LABEL_MM * len(name) + 1.2)


def label(canvas, name: str, at, *, hump: bool) -> None:
    """A number, black on white: in a ring for a hump, in a square for a low."""
    x, y = (float(v) for v in at)
    half = half_of(name)
    canvas.setFillGray(1)
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.8)
    if hump:
        canvas.circle(x, y, half, stroke=1, fill=1)
    else:
        canvas.rect(x - half, y - half, 2 * half, 2 * half, stroke=1, fill=1)
    canvas.setFillGray(0)
    canvas.setFont(BOLD, LABEL_MM)
    canvas.drawCentredString(x, y - LABEL_MM * 0.36, name)


def arrow(canvas, start, end, *, width: float, both: bool = False) -> None:
    """An arrow with a filled head; with heads at both ends where the way is not known."""
    start, end = np.asarray(start, float), np.asarray(end, float)
    canvas.setLineWidth(width)
    canvas.setStrokeGray(0)
    canvas.setFillGray(0)
    way = (end - start) / max(np.linalg.norm(end - start), 1e-9)
    across = np.array([-way[1], way[0]])
    canvas.line(*(start + (3 * way if both else 0)), *(end - 3 * way))
    for tip, back in ((end, -way), (start, way)) if both else ((end, -way),):
        head = canvas.beginPath()
        head.moveTo(*tip)
        head.lineTo(*(tip + 4 * back + 2 * across))
        head.lineTo(*(tip + 4 * back - 2 * across))
        head.close()
        canvas.drawPath(head, stroke=0, fill=1)


def hatched(canvas, places: np.ndarray, step: float, *, width: float = 0.5) -> None:
    """A closed outline hatched aslant, dashed round."""
    if len(places) < 3:
        return
    canvas.saveState()
    clip = path(canvas, places)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.setStrokeGray(0)
    canvas.setLineWidth(width)
    low, high = places.min(axis=0), places.max(axis=0)
    tall = high[1] - low[1]
    for x in np.arange(low[0] - tall, high[0] + step, step):
        canvas.line(x, low[1], x + tall, high[1])
    canvas.restoreState()
    canvas.setDash(2, 1.2)
    polygon(canvas, places, fill=None, width=0.7)
    canvas.setDash()


def cross(canvas, places: np.ndarray) -> None:
    """An oblique cross over all of an outline."""
    low, high = places.min(axis=0), places.max(axis=0)
    canvas.setLineWidth(0.9)
    canvas.line(*low, *high)
    canvas.line(low[0], high[1], high[0], low[1])


def polygon(canvas, places: np.ndarray, *, fill: float | None, width: float) -> None:
    """A closed outline. fill: grey from 0 to 1, None leaves it open."""
    if len(places) < 2:
        return
    canvas.setStrokeGray(0)
    canvas.setLineWidth(width)
    if fill is not None:
        canvas.setFillGray(fill)
    canvas.drawPath(path(canvas, places), stroke=1, fill=int(fill is not None))


def path(canvas, places: np.ndarray):
    """A closed path to draw or to clip by."""
    drawn = canvas.beginPath()
    drawn.moveTo(*places[0])
    for place in places[1:]:
        drawn.lineTo(*place)
    drawn.close()
    return drawn


def run(canvas, places: np.ndarray) -> None:
    """An open line through places."""
    drawn = canvas.beginPath()
    drawn.moveTo(*places[0])
    for place in places[1:]:
        drawn.lineTo(*place)
    canvas.drawPath(drawn)


def plus(canvas, at, half: float) -> None:
    """An upright cross at a place."""
    x, y = (float(v) for v in at)
    canvas.line(x - half, y, x + half, y)
    canvas.line(x, y - half, x, y + half)
