"""Bench map: the map on the bench sheet, in black and white, large enough to find one's way on the wood."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightcheck.card.size import size as card_size
from lightcheck.pattern.plane import rectangle
from lightcheck.plan.product import PLANE, REFUSED
from lightcheck.report import ink
from lightcheck.report.ink import BOLD, WORDS_MM
from lightcheck.report.plan_words import Heading

if TYPE_CHECKING:
    from lightcheck.plan import Plan, Task

BAND_MM = 9.0  # above the map, for station names and the bow arrow
HATCH_MM = 3.0
_BESIDE = ((0, 0), (0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1), (0, 2), (2, 0))
_BOW = {"left": (-1, 0), "right": (1, 0), "up": (0, 1), "down": (0, -1)}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    """From the map's millimetres to the page's."""

    x0: float
    y0: float
    scale: float
    low: np.ndarray
    wide: float
    high: float

    def at(self, places_mm) -> np.ndarray:
        """(n, 2) places on the page."""
        return (np.reshape(places_mm, (-1, 2)) - self.low) * self.scale + (self.x0, self.y0)


def draw(
    canvas, plan: Plan, heading: Heading, corner: tuple[float, float], room: tuple[float, float]
) -> float:
    """Draw the map as large as fits, its upper left corner there; the height below which the page goes on."""
    frame = _frame(plan, corner, room)
    canvas.saveState()
    _unseen(canvas, plan, frame)
    _clipped(canvas, frame, lambda: _inside(canvas, plan, frame))
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.6)
    canvas.rect(frame.x0, frame.y0, frame.wide, frame.high)
    _lines(canvas, plan, frame)
    _labels(canvas, plan, frame)
    _bow(canvas, heading, frame)
    canvas.restoreState()
    return frame.y0 - 3.0


def _frame(plan: Plan, corner, room) -> _Frame:
    grid = plan.stored.grid
    half = grid.cell_mm / 2
    low = np.array([grid.x_mm[0], grid.y_mm[0]]) - half
    span = np.array([grid.nx, grid.ny]) * grid.cell_mm
    scale = min(room[0] / span[0], (room[1] - BAND_MM) / span[1])
    wide, high = span * scale
    x0 = corner[0] + (room[0] - wide) / 2
    return _Frame(x0=x0, y0=corner[1] - BAND_MM - high, scale=scale, low=low, wide=wide, high=high)


def _clipped(canvas, frame: _Frame, paint) -> None:
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(frame.x0, frame.y0, frame.wide, frame.high)
    canvas.clipPath(clip, stroke=0, fill=0)
    paint()
    canvas.restoreState()


def _unseen(canvas, plan: Plan, frame: _Frame) -> None:
    """Grey where nothing was measured, one bar for each run of cells."""
    grid = plan.stored.grid
    unseen = ~np.isfinite(plan.stored.height_mm)
    cell = grid.cell_mm * frame.scale
    canvas.setFillGray(0.8)
    bars = canvas.beginPath()
    for row in range(grid.ny):
        edges = np.flatnonzero(np.diff(np.r_[0, unseen[row].astype(int), 0]))
        for start, end in zip(edges[::2], edges[1::2], strict=True):
            bars.rect(frame.x0 + start * cell, frame.y0 + row * cell, (end - start) * cell, cell * 1.02)
    canvas.drawPath(bars, stroke=0, fill=1)


def _inside(canvas, plan: Plan, frame: _Frame) -> None:
    """Cards, lows, humps and marks that lie on the wood."""
    for place in plan.stored.cards:
        corners = rectangle(place.x_mm, place.y_mm, place.turn_rad, card_size(place.card).outline_mm)
        ink.polygon(canvas, frame.at(corners), fill=1.0, width=0.4)
        canvas.setFillGray(0)
        canvas.setFont("Helvetica", WORDS_MM)
        x, y = frame.at((place.x_mm, place.y_mm))[0]
        canvas.drawCentredString(x, y - WORDS_MM * 0.36, f"{place.card}")
    for low in plan.lows:
        ink.hatched(canvas, frame.at(low.spot.outline_mm), HATCH_MM)
    for task in plan.tasks:
        ink.polygon(canvas, frame.at(task.outline_mm), fill=None, width=1.3 if task.do == PLANE else 0.6)
        if task.do == REFUSED:
            ink.cross(canvas, frame.at(task.outline_mm))
        if task.do == PLANE:
            _stroke(canvas, task, frame)
    for mark in plan.marks.of("leave", "no lower", "flat", "bevel"):
        canvas.setDash(1.2, 1.2)
        ink.polygon(canvas, frame.at(mark.area_mm), fill=None, width=0.6)
        canvas.setDash()
        wide = canvas.stringWidth(mark.kind, BOLD, WORDS_MM)
        x, y = frame.at(mark.area_mm).mean(axis=0)
        canvas.setFont(BOLD, WORDS_MM)
        ink.tagged(canvas, mark.kind, (x - wide / 2, y - WORDS_MM * 0.36), wide)


def _lines(canvas, plan: Plan, frame: _Frame) -> None:
    """Stations dashed with their names over the map, centreline in long and short, stop lines heavy."""
    looks = {"station": ((3, 2), 0.5), "centreline": ((9, 2, 2, 2), 0.9)}
    for mark in plan.marks.of("station", "centreline", "sheer", "stop", "crease", "chine", "rabbet"):
        dash, width = looks.get(mark.kind, ((), 1.6 if mark.kind in ("sheer", "stop") else 0.9))
        places = frame.at(mark.at_mm)
        canvas.setDash(*([dash] if dash else []))
        canvas.setLineWidth(width)
        _clipped(canvas, frame, lambda places=places: ink.run(canvas, places))
        canvas.setDash()
        name = {"station": mark.name or "?", "centreline": "CL"}.get(mark.kind, mark.kind)
        _named(canvas, name, places, frame)


def _named(canvas, name: str, places: np.ndarray, frame: _Frame) -> None:
    """The line's name: above the map for an upright line, inside at its right end for a level one."""
    canvas.setFont(BOLD, WORDS_MM)
    wide = canvas.stringWidth(name, BOLD, WORDS_MM)
    upright = np.ptp(places[:, 1]) > np.ptp(places[:, 0])
    if upright:
        x = float(np.clip(places[places[:, 1].argmax(), 0], frame.x0, frame.x0 + frame.wide))
        canvas.setFillGray(0)
        canvas.drawCentredString(x, frame.y0 + frame.high + 1.6, name)
        return
    end = places[places[:, 0].argmax()]
    x = min(end[0], frame.x0 + frame.wide) - wide - 1.5
    y = float(np.clip(end[1], frame.y0 + 1, frame.y0 + frame.high - WORDS_MM))
    ink.tagged(canvas, name, (x, y + 0.8), wide)


def _labels(canvas, plan: Plan, frame: _Frame) -> None:
    """Numbers: humps in a ring at their top, lows in a square; moved aside from metal and each other."""
    metal = [frame.at(m.at_mm)[0] for m in plan.marks.of("fastener")]
    taken = [(x, 3.0) for x in metal]
    wanted = [(str(w.spot.number), frame.at((w.spot.x_mm, w.spot.y_mm))[0], False) for w in plan.lows]
    for task in plan.tasks:
        at = task.outline_mm.mean(axis=0) if task.part else (task.spot.x_mm, task.spot.y_mm)
        wanted.append((task.name, frame.at(at)[0], True))
    for name, wish, hump in wanted:
        half = ink.half_of(name)
        low = np.array([frame.x0, frame.y0]) + half
        at = np.clip(wish, low, low + np.array([frame.wide, frame.high]) - 2 * half)
        tries = (at + np.array(s) * (half + 4.0) for s in _BESIDE)
        free = next((t for t in tries if all(np.hypot(*(t - o)) > half + r for o, r in taken)), at)
        taken.append((free, half))
        if np.hypot(*(free - wish)) > 0.1:
            canvas.setFillGray(0)
            canvas.circle(*wish, 0.8, stroke=0, fill=1)
        ink.label(canvas, name, free, hump=hump)
    for place in metal:
        ink.fastener(canvas, place)


def _bow(canvas, heading: Heading, frame: _Frame) -> None:
    """An arrow towards the bow, over the map at the bow's end."""
    if heading.bow not in _BOW:
        return
    dx, dy = _BOW[heading.bow]
    y = frame.y0 + frame.high + BAND_MM / 2 + 0.6
    wide = canvas.stringWidth("BOW", BOLD, WORDS_MM)
    canvas.setFont(BOLD, WORDS_MM)
    canvas.setFillGray(0)
    x = frame.x0 + 1 if heading.bow == "left" else frame.x0 + frame.wide - wide - 13
    words, tip = (x + 11, x + 5) if heading.bow == "left" else (x, x + wide + 7)
    canvas.drawString(words, y - WORDS_MM * 0.36, "BOW")
    ink.arrow(canvas, (tip - 4 * dx, y - 3.5 * dy), (tip + 5 * dx, y + 3.5 * dy), width=1.4)


def _stroke(canvas, task: Task, frame: _Frame) -> None:
    """The way of the strokes, beside the number."""
    middle = frame.at(task.outline_mm.mean(axis=0))[0]
    way = np.array([np.cos(task.turn_rad), np.sin(task.turn_rad)])
    side = np.array([-way[1], way[0]]) * 6.5 * (-1 if way[0] >= 0 else 1)
    half = max(9.0, task.long_mm * frame.scale / 2)
    ink.arrow(canvas, middle + side - half * way, middle + side + half * way, width=0.9,
          both=task.grain != "as marked")  # fmt: skip
