"""Full size: sheets at 1:1 to lay on the wood, with outlines to prick through and windows for the cards.

Paper does not stretch: on a round the map is first rolled out, each place as far along the wood from the
middle as it is. Exact on a flat and on a surface curved one way along or across the map.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightcheck.card.print import EDGE_MM, _draw_ruler
from lightcheck.card.size import size as card_size
from lightcheck.pattern.pages import _draw_joints
from lightcheck.pattern.plane import along, closed, rectangle
from lightcheck.pattern.tiles import FOOT_MM, LAP_MM, LEFT_MM, Tile, Tiles, share_out
from lightcheck.plan import wood as woods
from lightcheck.plan.product import LEAVE, REFUSED
from lightcheck.report import ink
from lightcheck.report.plan_words import Heading, count
from lightcheck.units import MM_PER_INCH

if TYPE_CHECKING:
    from lightcheck.plan import Plan, Task
    from lightcheck.plan.wood import Wood

PRICK_MM = 20.0  # from one prick to the next along an outline
_POINT_MM = MM_PER_INCH / 72
_STEP_MM = 5.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CardPlace:
    """Where a card lies on the rolled-out sheet. outline_mm: (4, 2)."""

    card: int
    x_mm: float
    y_mm: float
    outline_mm: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """The whole sheet before it is shared out: its outline and the cards on it."""

    sheet_mm: np.ndarray
    cards: tuple[CardPlace, ...]


def pdf(plan: Plan, heading: Heading, *, paper: str = "a4") -> bytes:
    """The sheets. paper: "a4" or "letter". The same plan gives the same bytes."""
    from reportlab.pdfgen.canvas import Canvas

    wood = woods.of(plan.stored)
    sheet = rolled_sheet(plan, wood)
    tiles = share_out(sheet, paper)
    wide, high = tiles.paper_mm
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(wide / _POINT_MM, high / _POINT_MM), invariant=1)
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setTitle(f"{heading.part or 'Working list'}: full size")
    canvas.setCreator("lightcheck")
    for tile in tiles.tiles:
        canvas.scale(1 / _POINT_MM, 1 / _POINT_MM)  # from here on in millimetres
        _draw_tile(canvas, (plan, heading, wood, sheet), tiles, tile)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def rolled_out(wood: Wood, places_mm: np.ndarray) -> np.ndarray:
    """(n, 2) places as far along the fair wood from the map's middle lines as they are. [mm]"""
    places = np.reshape(places_mm, (-1, 2)).astype(float)
    out = np.empty_like(places)
    for axis in (0, 1):
        steps = np.maximum(2, np.ceil(np.abs(places[:, axis]) / _STEP_MM).astype(int).max(initial=2) + 1)
        share = np.linspace(0, 1, int(steps))
        runs = np.repeat(places[:, None], len(share), axis=1)
        runs[..., axis] = places[:, None, axis] * share
        z = wood.fair_at(runs.reshape(-1, 2)).reshape(runs.shape[:2])
        pieces = np.hypot(np.diff(runs[..., axis], axis=1), np.diff(z, axis=1))
        out[:, axis] = np.sign(places[:, axis]) * pieces.sum(axis=1)
    return out


def rolled_sheet(plan: Plan, wood: Wood) -> Sheet:
    """The outline of the map and its cards, rolled out."""
    grid = plan.stored.grid
    half = grid.cell_mm / 2
    x, y = (grid.x_mm[0] - half, grid.x_mm[-1] + half), (grid.y_mm[0] - half, grid.y_mm[-1] + half)
    rim = closed(np.array([(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])]))
    way = along(rim)
    at = np.unique(np.concatenate([np.linspace(0, way[-1], 80, endpoint=False), way[:-1]]))
    rim = np.column_stack([np.interp(at, way, rim[:, i]) for i in (0, 1)])
    cards = []
    for place in plan.stored.cards:
        middle = rolled_out(wood, np.array([[place.x_mm, place.y_mm]]))[0]
        outline = rectangle(*middle, place.turn_rad, card_size(place.card).outline_mm)
        cards.append(CardPlace(card=place.card, x_mm=middle[0], y_mm=middle[1], outline_mm=outline))
    return Sheet(sheet_mm=rolled_out(wood, rim), cards=tuple(cards))


def pricks(outline_mm: np.ndarray) -> np.ndarray:
    """(n, 2) evenly spaced places along a closed outline. [mm]"""
    ring = closed(np.asarray(outline_mm, float))
    way = along(ring)
    at = np.linspace(0, way[-1], max(4, round(way[-1] / PRICK_MM)), endpoint=False)
    return np.column_stack([np.interp(at, way, ring[:, i]) for i in (0, 1)])


def _draw_tile(canvas, what: tuple, tiles: Tiles, tile: Tile) -> None:
    plan, heading, wood, sheet = what
    window = np.array(tiles.pitch_mm) + 2 * LAP_MM
    left, foot = EDGE_MM + LEFT_MM, EDGE_MM + FOOT_MM
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(left, foot, *window)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.translate(*(np.array([left, foot]) + LAP_MM - tiles.corner_mm(tile)))
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.25)
    ink.run(canvas, closed(sheet.sheet_mm))
    for card in sheet.cards:
        _draw_window(canvas, card)
    _draw_lines(canvas, plan, wood)
    for low in plan.lows:
        places = rolled_out(wood, low.spot.outline_mm)
        ink.hatched(canvas, places, 4.0, width=0.3)
        _words(
            canvas,
            places.mean(axis=0),
            f"{low.spot.number} LOW by {abs(low.spot.height_mm):.2f}",
            "DO NOT PLANE",
        )
    for task in plan.tasks:
        _draw_task(canvas, task, wood)
    for mark in plan.marks.of("fastener"):
        x, y = rolled_out(wood, mark.at_mm)[0]
        canvas.setLineWidth(0.4)
        canvas.circle(x, y, 4.0)
        ink.plus(canvas, (x, y), 4.0)
        canvas.setFont("Helvetica-Bold", 3.5)
        canvas.drawString(x + 5, y - 1.2, mark.words)
    _draw_joints(canvas, tiles, tile)
    canvas.restoreState()
    _draw_frame(canvas, heading, tiles, tile)


def _draw_window(canvas, card: CardPlace) -> None:
    """Where a card lies: cut it out, so that the paper drops over the card."""
    canvas.setLineWidth(0.35)
    canvas.setDash(3, 1.5)
    ink.run(canvas, closed(card.outline_mm))
    canvas.setDash()
    canvas.setFillGray(0)
    canvas.setFont("Helvetica-Bold", 6)
    canvas.drawCentredString(card.x_mm, card.y_mm + 1, f"card {card.card}")
    canvas.setFont("Helvetica", 3.5)
    canvas.drawCentredString(card.x_mm, card.y_mm - 5, "cut out along the dashes")


def _draw_lines(canvas, plan: Plan, wood: Wood) -> None:
    for mark in plan.marks.of("station", "centreline", "sheer", "stop", "crease", "chine", "rabbet"):
        run = mark.at_mm
        way = along(run)
        at = np.linspace(0, way[-1], max(2, round(way[-1] / 10)))
        places = rolled_out(wood, np.column_stack([np.interp(at, way, run[:, i]) for i in (0, 1)]))
        canvas.setDash(
            *([(8, 2, 1, 2)] if mark.kind == "centreline" else [(5, 3)] if mark.kind == "station" else [])
        )
        canvas.setLineWidth(0.5 if mark.kind in ("sheer", "stop") else 0.3)
        ink.run(canvas, places)
        canvas.setDash()
        canvas.setFont("Helvetica-Bold", 4)
        for share in (0.1, 0.5, 0.9):
            x, y = places[int(share * (len(places) - 1))]
            canvas.drawString(x + 1, y + 1, mark.words)


def _draw_task(canvas, task: Task, wood: Wood) -> None:
    outline = rolled_out(wood, task.outline_mm)
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.5)
    ink.run(canvas, closed(outline))
    canvas.setLineWidth(0.2)
    for place in pricks(outline):
        canvas.circle(*place, 1.1)
        ink.plus(canvas, place, 1.9)
    top = rolled_out(wood, np.array([[task.spot.x_mm, task.spot.y_mm]]))[0]
    if not task.part:
        ink.plus(canvas, top, 6.0)
    if task.do == LEAVE:
        second = "leave for the longboard"
    elif task.do == REFUSED:
        second = "DO NOT PLANE YET"
    else:
        second = f"{count(task)} x {task.tool.name}"
    at = outline.mean(axis=0) if task.part else top
    _words(canvas, at + np.array([0.0, 9.0]), f"{task.name} high by {task.spot.height_mm:.2f}", second)


def _words(canvas, at, first: str, second: str) -> None:
    """Two lines about a place, on white."""
    wide = max(
        canvas.stringWidth(first, "Helvetica-Bold", 5), canvas.stringWidth(second, "Helvetica-Bold", 4)
    )
    canvas.setFillGray(1)
    canvas.rect(at[0] - wide / 2 - 1, at[1] - 5.5, wide + 2, 11, stroke=0, fill=1)
    canvas.setFillGray(0)
    canvas.setFont("Helvetica-Bold", 5)
    canvas.drawCentredString(at[0], at[1] + 0.8, first)
    canvas.setFont("Helvetica-Bold", 4)
    canvas.drawCentredString(at[0], at[1] - 4.2, second)


def _draw_frame(canvas, heading: Heading, tiles: Tiles, tile: Tile) -> None:
    """Rulers both ways and what this sheet is, outside the window."""
    for name, x, y, turn in (
        ("x", EDGE_MM + LEFT_MM, EDGE_MM + 9.5, 0),
        ("y", EDGE_MM + 4.4, EDGE_MM + FOOT_MM, 90),
    ):
        canvas.saveState()
        canvas.translate(x, y)
        canvas.rotate(turn)
        _draw_ruler(canvas, name)
        canvas.restoreState()
    canvas.setFont("Helvetica-Bold", 3.0)
    canvas.drawString(
        EDGE_MM + LEFT_MM, EDGE_MM + 1,
        f"{heading.part or 'Working list'}, full size: sheet {tile.number} of {len(tiles.tiles)}. "
        "Print at 100 %, join on the marks, drop over the cards, prick through.",
    )  # fmt: skip
