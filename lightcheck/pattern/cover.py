"""Cover: the first page of a pattern: what it is, how the sheets join, the offsets in mm, what is unfair."""

from __future__ import annotations

import textwrap

import numpy as np

from lightcheck.card.print import EDGE_MM, _draw_ruler
from lightcheck.offsets import Fairness, Slip
from lightcheck.pattern.drawing import words
from lightcheck.pattern.plane import closed
from lightcheck.pattern.product import Pattern
from lightcheck.pattern.tiles import Tiles

_TEXT_MM, _STEP_MM = 3.1, 4.3
_MOST_SLIPS = 8
_ADVICE = (
    "Print at 100 % (actual size), not 'fit to page'. Check the 100 mm rulers both ways on every sheet.",
    "Lay the sheets so that the lettered marks meet, cut along the grey joint of one and tape it over the "
    "other. Check with a long rule: the grey crosses stand 100 mm apart.",
    "Glue it to ply or hardboard, saw the back, and cut to the edge line. The tick stands on the "
    "centreline of the work, the sheet square to it, on the station line.",
    "The cards stay on the template: a photo of it then measures itself with the outline file.",
)


def draw_cover(canvas, pattern: Pattern, tiles: Tiles) -> None:
    """The first page, on a canvas in millimetres."""
    wide, high = tiles.paper_mm
    left, y = EDGE_MM + 14.0, high - EDGE_MM - 5
    canvas.setFont("Helvetica-Bold", 5.2)
    title, *rest = words(pattern)
    canvas.drawString(left, y, title)
    columns = _columns(wide - left - EDGE_MM)
    lines = [rest[0], *pattern.notes, rest[-1], *_cards(pattern, tiles)]
    y = _text(canvas, lines, left, y - 7, columns)
    y = _slips(canvas, pattern, left, y - 2, columns)
    table_top = y - 3
    bottom = _points(canvas, pattern, left, table_top)
    lying = wide > high
    box = (left + 82, EDGE_MM + 44, wide - EDGE_MM, table_top + 2) if lying or bottom < 120 else (
        left, EDGE_MM + 48, wide - EDGE_MM, bottom - 4
    )  # fmt: skip
    _plan(canvas, pattern, tiles, box)
    _text(canvas, list(_ADVICE), left, EDGE_MM + 38, columns)
    canvas.saveState()
    canvas.translate(left, EDGE_MM + 5)
    _draw_ruler(canvas, "x")
    canvas.restoreState()
    canvas.saveState()
    canvas.translate(EDGE_MM + 5, EDGE_MM + 10)
    canvas.rotate(90)
    _draw_ruler(canvas, "y")
    canvas.restoreState()


def slip_words(slip: Slip) -> str:
    """One unfair offset in words."""
    side = "outside" if slip.off_mm > 0 else "inside"
    off = f"{abs(slip.off_mm):.1f} mm {side} the batten's curve (give or take {slip.sigma_mm:.1f})"
    perhaps = f"; {slip.perhaps}" if slip.perhaps else ""
    return (
        f"station {slip.station}, {slip.line}: {slip.kind} {slip.typed_mm:g} lies {off}; "
        f"the {slip.seen} would have {slip.fair_mm:.0f}{perhaps}"
    )


def fair_words(fairness: Fairness) -> str:
    """How many offsets were judged and how many of them are not fair."""
    if not fairness.judged:
        return f"None of the table's {fairness.numbers} numbers has enough others beside it to be judged."
    count = len(fairness.slips)
    unfair = "none is unfair" if not count else "1 is not fair" if count == 1 else f"{count} are not fair"
    return (
        f"Of the table's {fairness.numbers} numbers {fairness.judged} could be judged by battens: {unfair}."
    )


def _columns(wide_mm: float) -> int:
    return int(wide_mm / (0.5 * _TEXT_MM))


def _text(canvas, lines: list[str], x: float, y: float, columns: int) -> float:
    canvas.setFont("Helvetica", _TEXT_MM)
    for line in lines:
        for part in textwrap.wrap(line, columns) or [""]:
            canvas.drawString(x, y, part)
            y -= _STEP_MM
    return y


def _cards(pattern: Pattern, tiles: Tiles) -> list[str]:
    if not pattern.cards:
        return ["No cards."]
    numbers = " and ".join(str(c.card) for c in pattern.cards)
    loose = [str(c.card) for c in pattern.cards if c.card not in tiles.whole]
    more = f" Card {' and '.join(loose)} is on the last sheet, to be glued on." if loose else ""
    return [
        f"Cards {numbers} are printed in their places.{more}" if len(loose) < len(pattern.cards) else more
    ]


def _slips(canvas, pattern: Pattern, x: float, y: float, columns: int) -> float:
    """Offsets that are not fair, those of this station first."""
    slips = sorted(pattern.fairness.slips, key=lambda s: s.station != pattern.section.station)
    if not slips:
        return _text(canvas, [fair_words(pattern.fairness)], x, y, columns)
    canvas.setFont("Helvetica-Bold", _TEXT_MM)
    canvas.drawString(x, y, f"{fair_words(pattern.fairness)} Look for a slip of the pencil:")
    lines = [slip_words(s) for s in slips[:_MOST_SLIPS]]
    if len(slips) > _MOST_SLIPS:
        lines.append(f"and {len(slips) - _MOST_SLIPS} more")
    return _text(canvas, lines, x, y - _STEP_MM, columns)


def _points(canvas, pattern: Pattern, x: float, y: float) -> float:
    """The offsets of the station in mm and how far each lies off the batten."""
    canvas.setFont("Helvetica-Bold", _TEXT_MM)
    for place, head in zip((0, 42, 60, 78), ("Offsets in mm", "out", "up", "off"), strict=True):
        (canvas.drawRightString if place else canvas.drawString)(x + place, y, head)
    canvas.setFont("Helvetica", _TEXT_MM)
    for point, off in zip(pattern.section.points, pattern.section.off_mm, strict=True):
        y -= _STEP_MM
        canvas.drawString(x, y, point.line)
        canvas.drawRightString(x + 42, y, f"{point.x_mm:.1f}")
        canvas.drawRightString(x + 60, y, f"{point.y_mm:.1f}")
        canvas.drawRightString(x + 78, y, f"{off:+.1f}")
    return y


def _plan(canvas, pattern: Pattern, tiles: Tiles, box: tuple[float, float, float, float]) -> None:
    """The sheet in small, with the joints and the numbers of the tiles."""
    pitch = np.array(tiles.pitch_mm)
    corners = np.array([tiles.corner_mm(t) for t in tiles.tiles])
    low, high = corners.min(axis=0), corners.max(axis=0) + pitch
    room = np.array([box[2] - box[0], box[3] - box[1]])
    scale = float((room / (high - low)).min())
    canvas.saveState()
    canvas.translate(box[0], box[3] - scale * (high - low)[1])
    canvas.scale(scale, scale)
    canvas.translate(*-low)
    canvas.setLineWidth(0.1 / scale)
    canvas.setStrokeGray(0.5)
    canvas.setFont("Helvetica", 4 / scale)
    for tile, corner in zip(tiles.tiles, corners, strict=True):
        canvas.rect(*corner, *pitch)
        canvas.drawString(corner[0] + 2 / scale, corner[1] + 2 / scale, str(tile.number))
    canvas.setStrokeGray(0)
    for run, width in (
        (closed(pattern.sheet_mm), 0.2),
        (pattern.edge.at_mm, 0.6),
        *((closed(c.outline_mm), 0.2) for c in pattern.cards),
    ):
        canvas.setLineWidth(width / scale)
        path = canvas.beginPath()
        path.moveTo(*run[0])
        for point in run[1:]:
            path.lineTo(*point)
        canvas.drawPath(path)
    canvas.restoreState()
