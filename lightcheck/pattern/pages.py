"""Pages: the pattern as a PDF at true size, tiled over sheets of paper, with real cards in their places."""

from __future__ import annotations

import io
import string

import numpy as np

from lightcheck.card.print import EDGE_MM, _draw_card, _draw_ruler
from lightcheck.pattern import drawing as draw
from lightcheck.pattern.cover import draw_cover
from lightcheck.pattern.drawing import Drawing
from lightcheck.pattern.plane import closed, distance, inside
from lightcheck.pattern.product import Pattern
from lightcheck.pattern.tiles import FOOT_MM, LAP_MM, LEFT_MM, Tile, Tiles, share_out
from lightcheck.units import MM_PER_INCH

_POINT_MM = MM_PER_INCH / 72
GRID_MM, CROSS_MM = 100.0, 3.0  # small crosses all over, to be checked with a long rule
_NAMES_MM = 12.0  # from the edge stand the names of its marks
_MARK_MM = 3.5  # radius of a matching mark
_DASH = {draw.CENTRELINE: (8, 2, 1, 2), draw.WATERLINES: (4, 2)}
_WIDTH_MM = {draw.EDGE: 0.25, draw.SHEET: 0.25, draw.MARKS: 0.25}


def pdf(pattern: Pattern, *, paper: str = "a4") -> bytes:
    """The PDF: a first page that tells what it is, then the tiles, then cards that a joint would cut.

    The same pattern gives the same bytes.
    """
    from reportlab.pdfgen.canvas import Canvas

    tiles = share_out(pattern, paper)
    wide, high = tiles.paper_mm
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(wide / _POINT_MM, high / _POINT_MM), invariant=1)
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setTitle(f"{pattern.title}, station {pattern.section.station}")
    canvas.setCreator("lightcheck")
    canvas.scale(1 / _POINT_MM, 1 / _POINT_MM)  # from here on in millimetres
    draw_cover(canvas, pattern, tiles)
    canvas.showPage()
    drawn = draw.drawing(pattern)
    for tile in tiles.tiles:
        canvas.scale(1 / _POINT_MM, 1 / _POINT_MM)
        _draw_tile(canvas, pattern, drawn, tiles, tile)
        canvas.showPage()
    for spot in pattern.cards:
        if spot.card not in tiles.whole:
            canvas.scale(1 / _POINT_MM, 1 / _POINT_MM)
            _draw_loose_card(canvas, spot.card, high)
            canvas.showPage()
    canvas.save()
    return out.getvalue()


def _draw_tile(canvas, pattern: Pattern, drawn: Drawing, tiles: Tiles, tile: Tile) -> None:
    window = np.array(tiles.pitch_mm) + 2 * LAP_MM
    left, foot = EDGE_MM + LEFT_MM, EDGE_MM + FOOT_MM
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(left, foot, *window)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.translate(*(np.array([left, foot]) + LAP_MM - tiles.corner_mm(tile)))
    _draw_crosses(canvas, pattern, tiles.corner_mm(tile), tiles.pitch_mm)
    for spot in pattern.cards:
        if spot.card in tiles.whole:
            canvas.saveState()
            canvas.translate(*spot.outline_mm[0])
            canvas.rotate(float(np.degrees(spot.turn_rad)))
            _draw_card(canvas, spot.card)
            canvas.restoreState()
        else:
            canvas.setFont("Helvetica", 4)
            canvas.drawCentredString(spot.x_mm, spot.y_mm, f"glue card {spot.card} here")
    _draw_strokes(canvas, drawn)
    _draw_joints(canvas, tiles, tile)
    canvas.restoreState()
    _draw_frame(canvas, pattern, tiles, tile)


def _draw_strokes(canvas, drawn: Drawing) -> None:
    canvas.setStrokeGray(0)
    canvas.setFillGray(0)
    for stroke in drawn.strokes:
        canvas.setDash(*([_DASH[stroke.layer]] if stroke.layer in _DASH else []))
        canvas.setLineWidth(_WIDTH_MM.get(stroke.layer, 0.15))
        path = canvas.beginPath()
        path.moveTo(*stroke.at_mm[0])
        for point in stroke.at_mm[1:]:
            path.lineTo(*point)
        canvas.drawPath(path)
    canvas.setDash()
    for label in drawn.labels:
        canvas.saveState()
        canvas.translate(label.x_mm, label.y_mm)
        canvas.rotate(float(np.degrees(label.turn_rad)))
        canvas.setFont("Helvetica-Bold" if label.text.startswith("STATION") else "Helvetica", label.size_mm)
        canvas.drawString(0, 0, label.text)
        canvas.restoreState()


def _draw_crosses(canvas, pattern: Pattern, corner: np.ndarray, pitch: tuple[float, float]) -> None:
    """Grey crosses at every 100 mm out from the centreline and up from the base line, clear of cards."""
    canvas.setStrokeGray(0.45)
    canvas.setFillGray(0.45)
    canvas.setLineWidth(0.1)
    canvas.setFont("Helvetica", 1.8)
    first = np.ceil((corner - LAP_MM) / GRID_MM) * GRID_MM
    last = corner + pitch + LAP_MM
    rims = [closed(c.outline_mm) for c in pattern.cards]
    for x in np.arange(first[0], last[0], GRID_MM) + 0.0:
        for y in np.arange(first[1], last[1], GRID_MM) + 0.0:
            at = np.array([[x, y]])
            if any(inside(at, r[:-1])[0] or distance(at, r)[0] < 2 * CROSS_MM for r in rims):
                continue
            canvas.line(x - CROSS_MM, y, x + CROSS_MM, y)
            canvas.line(x, y - CROSS_MM, x, y + CROSS_MM)
            words = np.array([[x + 1.0, y + 1.0], [x + 18.0, y + 1.0]])
            if distance(words, pattern.edge.at_mm).min() > _NAMES_MM:
                canvas.drawString(x + 0.6, y + 0.6, f"{x:.0f} out, {y:.0f} up")


def _draw_joints(canvas, tiles: Tiles, tile: Tile) -> None:
    """The joints round a tile, and on each that has a neighbour two marks with their letter."""
    corner, pitch = tiles.corner_mm(tile), np.array(tiles.pitch_mm)
    canvas.setStrokeGray(0.5)
    canvas.setLineWidth(0.1)
    canvas.rect(*corner, *pitch)
    canvas.setStrokeGray(0)
    canvas.setFillGray(0)
    canvas.setFont("Helvetica-Bold", 2.2)
    for axis, step in ((0, -1), (0, 1), (1, -1), (1, 1)):
        column, row = tile.column + step * (axis == 0), tile.row + step * (axis == 1)
        if tiles.at(column, row) is None:
            continue
        for which, share in enumerate((0.25, 0.75)):
            at = corner + share * pitch
            at[axis] = corner[axis] + pitch[axis] * (step > 0)
            _draw_mark(canvas, at, mark_name(tiles, tile, tiles.at(column, row)) + "12"[which])


def mark_name(tiles: Tiles, one: Tile, other: Tile) -> str:
    """Letters of the joint between two tiles: the same from both sides."""
    joints = [
        (a.number, b.number)
        for a in tiles.tiles
        for b in tiles.tiles
        if a.number < b.number and abs(a.column - b.column) + abs(a.row - b.row) == 1
    ]
    index = joints.index(tuple(sorted((one.number, other.number))))
    letters = string.ascii_uppercase
    return letters[index % 26] if index < 26 else letters[index // 26 - 1] + letters[index % 26]


def _draw_mark(canvas, at: np.ndarray, name: str) -> None:
    x, y = (float(v) for v in at)
    canvas.setLineWidth(0.15)
    canvas.circle(x, y, _MARK_MM)
    canvas.line(x - _MARK_MM - 1, y, x + _MARK_MM + 1, y)
    canvas.line(x, y - _MARK_MM - 1, x, y + _MARK_MM + 1)
    canvas.drawString(x + 0.4, y + 0.5, name)


def _draw_frame(canvas, pattern: Pattern, tiles: Tiles, tile: Tile) -> None:
    """Rulers both ways and what this sheet is, outside the window."""
    canvas.saveState()
    canvas.translate(EDGE_MM + LEFT_MM, EDGE_MM + 9.5)
    _draw_ruler(canvas, "x")
    canvas.restoreState()
    canvas.saveState()
    canvas.translate(EDGE_MM + 4.4, EDGE_MM + FOOT_MM)
    canvas.rotate(90)
    _draw_ruler(canvas, "y")
    canvas.restoreState()
    beside = [
        f"{name} sheet {other.number}"
        for name, c, r in (("left", -1, 0), ("right", 1, 0), ("above", 0, 1), ("below", 0, -1))
        if (other := tiles.at(tile.column + c, tile.row + r))
    ]
    canvas.setFont("Helvetica-Bold", 3.0)
    title = f"{pattern.title}, station {pattern.section.station}: sheet {tile.number} of {len(tiles.tiles)}"
    canvas.drawString(EDGE_MM + LEFT_MM, EDGE_MM + 1, f"{title}   ({', '.join(beside) or 'alone'})")


def _draw_loose_card(canvas, card: int, high: float) -> None:
    """A card on a sheet of its own."""
    canvas.saveState()
    canvas.translate(EDGE_MM + LEFT_MM, high - EDGE_MM - 80)
    _draw_card(canvas, card)
    canvas.restoreState()
    canvas.setFont("Helvetica", 3.4)
    canvas.drawString(
        EDGE_MM + LEFT_MM, high - EDGE_MM - 88,
        f"A joint runs through the place of card {card}: cut this one out and glue it into its outline.",
    )  # fmt: skip
