"""Bench sheet: one page to tape on the mould, to be read at 1.5 m in black and white.

+----------------------------------+
| PART            side, pass, date |   the map as the builder faces the wood, bow arrow, stations,
| +------------------------------+ |   centreline and stop lines; humps outlined and numbered, lows
| |   map                   BOW> | |   hatched, fasteners, what was not seen
| +------------------------------+ |
| []  3  high by 0.74: 4 strokes   |   a box to tick for each, in the order of work
| ...                              |
+----------------------------------+
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np

from lightcheck.card.print import EDGE_MM, PAPERS_MM
from lightcheck.errors import LightcheckError
from lightcheck.plan.product import LEAVE, PLANE
from lightcheck.report import bench_map, ink
from lightcheck.report.plan_words import Heading, count, where_words
from lightcheck.units import MM_PER_INCH

if TYPE_CHECKING:
    from lightcheck.plan import Low, Plan, Task

# Letters as high as 10 minutes of arc at 1.5 m, twice the 5 minutes that a sound eye just reads
# (definition of visual acuity 1.0, from memory); capitals of Helvetica are 0.718 of the size (its metrics).
LEAST_SIZE_MM = 6.2
HEAD_MM, STRONG_MM = 8.5, 6.8
LINE_MM, GAP_MM = 6.9, 2.6
FOOT_MM = EDGE_MM + 9.5
LEAST_MAP_MM = 96.0  # of the page's height, for the map
LOW = "low"  # beside what a task may say to do
FONT, BOLD = "Helvetica", "Helvetica-Bold"
_POINT_MM = MM_PER_INCH / 72


def pdf(plan: Plan, heading: Heading, *, paper: str = "a4") -> bytes:
    """The page. paper: "a4" or "letter". The same plan gives the same bytes."""
    from reportlab.pdfgen.canvas import Canvas

    if paper not in PAPERS_MM:
        raise LightcheckError(f"'{paper}' is not a paper known here.", "Use a4 or letter.")
    wide, high = PAPERS_MM[paper]
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(wide / _POINT_MM, high / _POINT_MM), invariant=1)
    canvas.setTitle(f"{heading.part or 'Working list'}: working list")
    canvas.setCreator("lightcheck")
    canvas.scale(1 / _POINT_MM, 1 / _POINT_MM)  # from here on in millimetres
    left, room = EDGE_MM, wide - 2 * EDGE_MM
    top = _head(canvas, heading, left, high - EDGE_MM, room)
    grid = plan.stored.grid
    whole_map = bench_map.BAND_MM + room * grid.ny / grid.nx + 6.0
    spare = max(LEAST_MAP_MM, whole_map) - LEAST_MAP_MM
    rows, rest = _chosen(plan, heading, top - FOOT_MM - LEAST_MAP_MM, for_map=spare)
    below = FOOT_MM + sum(_tall(lines) for _, _, lines in rows)
    top = bench_map.draw(canvas, plan, heading, (left, top), (room, top - below - 3.0))
    for name, do, lines in rows:
        _row(canvas, (name, do), lines, (left, top), room)
        top -= _tall(lines)
    _foot(canvas, plan, (left, EDGE_MM + 1.5), room, rest)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _head(canvas, heading: Heading, left: float, top: float, room: float) -> float:
    """Part, side, pass and date; the height below which the map starts."""
    canvas.setFillGray(0)
    y = top - HEAD_MM * 0.8
    _fitted(canvas, heading.part or "Working list", (left, y), room, HEAD_MM)
    facts = [heading.side, f"pass {heading.one_pass}" if heading.one_pass else "", heading.date]
    words = ", ".join(f for f in facts if f)
    if words:
        y -= LINE_MM
        _fitted(canvas, words, (left, y), room, LEAST_SIZE_MM, font=FONT)
    return y - 2.5


def _chosen(
    plan: Plan, heading: Heading, room: float, *, for_map: float
) -> tuple[list[tuple[str, str, list[str]]], int]:
    """Rows that the page holds as (name, what to do, lines), and how many tasks it does not hold.

    What is left for the longboard comes after what is planed; lows, which are on the map, only where the
    map still has the whole width of the page. for_map: what it needs for that beyond its least height.
    """
    tasks = sorted(plan.tasks, key=lambda t: (t.do == LEAVE, t.number))
    wanted = [(t.name, t.do, _lines(t, heading), 0.0) for t in tasks]
    wanted += [(str(w.spot.number), LOW, _low_lines(w, heading), for_map) for w in plan.lows]
    rows = []
    for name, do, lines, kept_free in wanted:
        if _tall(lines) + kept_free > room:
            break
        room -= _tall(lines)
        rows.append((name, do, lines))
    return rows, max(len(tasks) - len(rows), 0)


def _tall(lines: list[str]) -> float:
    return LINE_MM * len(lines) + GAP_MM


def _foot(canvas, plan: Plan, at: tuple[float, float], room: float, rest: int) -> None:
    """What the hatching, the grey and the ring with a cross mean; how many tasks are not on the page."""
    said = []
    if rest:
        said.append(f"{rest} more: plan.html.")
    if not plan.tasks:
        said.append("No hump to plane.")
    if plan.lows:
        said.append("Hatched is low: DO NOT PLANE.")
    if not np.isfinite(plan.stored.height_mm).all():
        said.append("Grey: not seen.")
    if not plan.marks.of("fastener"):
        said.append("Look for fasteners first.")
    _fitted(canvas, " ".join(said), at, room, LEAST_SIZE_MM)


def _row(canvas, what: tuple[str, str], lines: list[str], corner: tuple[float, float], room: float) -> None:
    """A box to tick, crossed where nothing is to be planed, the number and the lines."""
    (name, do), (left, top) = what, corner
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.35)
    canvas.line(left, top, left + room, top)
    box = 8.0
    y = top - GAP_MM - box + 0.6
    canvas.setLineWidth(0.8)
    canvas.rect(left, y, box, box)
    if do not in (PLANE, LEAVE):
        canvas.line(left, y, left + box, y + box)
        canvas.line(left, y + box, left + box, y)
    x = left + box + 3
    ink.label(canvas, name, (x + 5.0, y + box / 2), hump=do != LOW)
    x += 13
    y = top - GAP_MM - STRONG_MM * 0.72
    for i, line in enumerate(lines):
        _fitted(canvas, line, (x, y), left + room - x, STRONG_MM if i == 0 else LEAST_SIZE_MM,
                font=BOLD if i == 0 else FONT)  # fmt: skip
        y -= LINE_MM


def _lines(task: Task, heading: Heading) -> list[str]:
    """What one task says: high by and how; where and how wide; where to stop."""
    spot = task.spot
    high = f"high by {spot.height_mm:.2f}"
    where = where_words(task.where, spot.place.replace(" mm", ""), heading, short=True).replace(" mm", "")
    extent = f"{task.long_mm:.0f} x {task.wide_mm:.0f}"
    if task.do == LEAVE:
        return [f"{high}: leave for the longboard", f"{where}; {extent}"]
    if task.do != PLANE:
        return [f"{high}: DO NOT PLANE YET", where, *_split(task.reason)]
    strokes = count(task)
    skew = f", {round(task.skew_rad * 57.2958)}° askew" if task.skew_rad > 1e-9 else ""
    first = f"{high}: {strokes} stroke{'s' if strokes != 1 else ''}, {task.tool.name}{skew}"
    lanes = f" in {task.lanes} lanes" if task.lanes > 1 else ""
    stop = f"take off {task.take_mm:.2f}, {task.stop[0].replace(' for the longboard', '')}"
    flat = [s.split(" (")[0] for s in task.stop[1:]]
    rest = [*flat, *(f"keep off {a.replace(' mm off', ' away')}" for a in task.avoid)]
    return [first, f"{where}; {extent}{lanes}", *_split("; ".join([stop, *rest[:3]]))]


def _low_lines(low: Low, heading: Heading) -> list[str]:
    spot = low.spot
    where = where_words(low.where, spot.place, heading, short=True).replace(" mm", "")
    return [f"low by {abs(spot.height_mm):.2f}: DO NOT PLANE", where]


def _split(words: str) -> list[str]:
    """A long reason on two lines at most."""
    if len(words) <= 52:
        return [words]
    after = min(len(words) // 2 + 8, 58)
    at = words.rfind("; ", 0, after) + 1  # between two sayings rather than inside one
    at = at if at > len(words) // 4 else words.rfind(" ", 0, after)
    return [words[:at], words[at + 1 :]]


def _fitted(
    canvas, words: str, at: tuple[float, float], room: float, size: float, *, font: str = BOLD
) -> None:
    """One line; squeezed by up to a fifth, and only then cut short, never smaller."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    squeeze = min(1.0, room / max(stringWidth(words, font, size), 1e-9))
    while squeeze < 0.8 and len(words) > 4:
        words = words[:-2].rstrip(" ,;.") + "…" if words.endswith("…") else words[:-1].rstrip(" ,;.") + "…"
        squeeze = min(1.0, room / max(stringWidth(words, font, size), 1e-9))
    text = canvas.beginText(*at)
    text.setFont(font, size)
    text.setHorizScale(100 * squeeze)
    text.textOut(words)
    canvas.drawText(text)
