"""Printed sheets: cards at true size as vectors, with rulers to check them by.

+--------------------------------------+   landscape, all inside margins of 10 mm
| r |  card 0          |  card 1       |   x: along the long side of the cards
| u |------------------+---------------|   y: along the short side
| l |  card 2          |  card 3       |
| y |------------------+---------------|   large cards: 4 to a sheet, small ones: 16
|      ruler x    what to do           |
+--------------------------------------+
"""

from __future__ import annotations

import io

import numpy as np

from lightcheck import constants as const
from lightcheck.card import strip
from lightcheck.card.size import board, dictionary, size
from lightcheck.errors import LightcheckError
from lightcheck.units import MM_PER_INCH

PAPERS_MM = {"a4": const.A4_MM, "letter": const.LETTER_MM}  # upright (short, long)
_NAMES = {"a4": "A4", "letter": "Letter"}
EDGE_MM = 10.5  # home printers leave up to so much blank: common practice, no source
STRIP_MM = 20.0  # at the left, for the upright ruler
RULER_MM = 100.0
RULER_IN = 4
_POINT_MM = MM_PER_INCH / 72
_FIRST_RULER_MM = 6.0  # from the cards down to the level ruler
_TEXT_MM = 4.0  # from line to line
_ADVICE = (
    "Print at 100 % (actual size), black on matt white paper. Not 'fit to page'.",
    "Measure both 100 mm rulers. If they are not 100 mm, say so: lightcheck map ... --measured X,Y"
    " (for example --measured 99.4mm,99.6mm).",
    "Cut along the thin lines and keep the white margin.",
    "Glue each card to something flat and stiff. On curved wood lay it as plain paper, so that it"
    " bends with the wood.",
    "Lay four or more round the patch, each number once. Hold them with small weights, not with"
    " tape or glue on the wood.",
)
_GREY_ADVICE = (
    "Grey strips are lines of pure black: laser printer, 600 dots per inch or more, no saving of toner, no"
    " 'smoothing'. One at each end."
)


def sheet(numbers, *, paper: str = "a4", grey=()) -> bytes:
    """A PDF with these cards at true size, large ones first. paper: "a4" or "letter".

    grey: numbers of cards that get a grey strip, on sheets of their own at the end. The same numbers
    give the same bytes. Refuses numbers that no card has, and a strip for a small card.
    """
    from reportlab.pdfgen.canvas import Canvas

    numbers = _checked([*numbers, *grey])
    _check_grey(grey)
    if paper not in PAPERS_MM:
        raise LightcheckError(f"'{paper}' is not a paper known here.", "Use a4 or letter.")
    high, wide = PAPERS_MM[paper]
    page = io.BytesIO()
    canvas = Canvas(page, pagesize=(wide / _POINT_MM, high / _POINT_MM), invariant=1)
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setTitle("lightcheck cards " + ", ".join(map(str, numbers)))
    canvas.setCreator("lightcheck")
    sheets = _sheets(numbers, wide, high, grey)
    for i, cards in enumerate(sheets, start=1):
        canvas.scale(1 / _POINT_MM, 1 / _POINT_MM)  # from here on in millimetres
        _draw_sheet(canvas, cards, high)
        for card, x, y in cards:
            if card in grey:
                strip.draw(canvas, card, (x, y))
        names = ", ".join(str(card) for card, _, _ in cards)
        title = f"cards {names}   {_NAMES[paper]} landscape, sheet {i} of {len(sheets)}"
        _advise(canvas, title, high, (_GREY_ADVICE, *_ADVICE) if cards[0][0] in grey else _ADVICE)
        canvas.showPage()
    canvas.save()
    return page.getvalue()


def _checked(numbers) -> list[int]:
    """Card numbers in order, each once."""
    numbers = list(numbers)
    bad = [n for n in numbers if n not in const.CARD_NUMBERS]
    if bad or not numbers:
        wrong = f"There is no card {bad[0]}." if bad else "No card number was given."
        raise LightcheckError(wrong, "Large cards are numbered 0 to 19, small ones 20 to 34: --numbers 0-7.")
    return sorted({int(n) for n in numbers})


def _check_grey(grey) -> None:
    small = [n for n in grey if n >= const.SMALL_CARDS_FROM]
    if small:
        raise LightcheckError(
            f"Card {small[0]} is too small for a grey strip.", "Take large ones, numbers 0 to 19: --grey 0,1."
        )


def _sheets(numbers: list[int], wide: float, high: float, grey) -> list[list[tuple[int, float, float]]]:
    """Cards of each sheet with their lower left corners. [mm]"""
    sheets = []
    large = [n for n in numbers if n < const.SMALL_CARDS_FROM and n not in grey]
    small = [n for n in numbers if n >= const.SMALL_CARDS_FROM]
    for cards in (large, small, [n for n in numbers if n in grey]):
        if not cards:
            continue
        card_wide, card_high = size(cards[0]).outline_mm
        across = int((wide - 2 * EDGE_MM - STRIP_MM) // card_wide)
        down = 1 if cards[0] in grey else int(2 * size(0).outline_mm[1] // card_high)
        places = [
            (EDGE_MM + STRIP_MM + column * card_wide, high - EDGE_MM - (row + 1) * card_high)
            for row in range(down)
            for column in range(across)
        ]
        for start in range(0, len(cards), len(places)):
            batch = cards[start : start + len(places)]
            sheets.append([(n, *at) for n, at in zip(batch, places, strict=False)])
    return sheets


def _draw_sheet(canvas, cards: list[tuple[int, float, float]], high: float) -> None:
    for card, x, y in cards:
        canvas.saveState()
        canvas.translate(x, y)
        _draw_card(canvas, card)
        canvas.restoreState()
    below = high - EDGE_MM - 2 * size(0).outline_mm[1]
    canvas.saveState()
    canvas.translate(EDGE_MM + STRIP_MM, below - _FIRST_RULER_MM)
    _draw_ruler(canvas, "x")
    canvas.restoreState()
    canvas.saveState()
    canvas.translate(EDGE_MM + 8, below + 2)
    canvas.rotate(90)
    _draw_ruler(canvas, "y")
    canvas.restoreState()


def _draw_card(canvas, card: int) -> None:
    """One card with its lower left paper corner at (0, 0)."""
    measures = size(card)
    wide, high = measures.outline_mm
    canvas.setLineWidth(0.1)
    canvas.setStrokeGray(0.6)
    canvas.rect(0, 0, wide, high)
    top = high - measures.margin_mm
    black, white = canvas.beginPath(), canvas.beginPath()
    for x, y, side in _dark_squares(card):
        black.rect(measures.margin_mm + x, top - y - side, side, side)
    for x, y, length, side in _light_bits(card):
        white.rect(measures.margin_mm + x, top - y - side, length, side)
    canvas.setFillGray(0)
    canvas.drawPath(black, stroke=0, fill=1)
    canvas.setFillGray(1)
    canvas.drawPath(white, stroke=0, fill=1)
    _draw_words(canvas, card, measures)


def _dark_squares(card: int) -> list[tuple[float, float, float]]:
    """(x, y, side) of the squares of the chessboard and the markers; y down from the top. [mm]"""
    measures = size(card)
    squares = [
        (column * measures.square_mm, row * measures.square_mm, measures.square_mm)
        for row in range(const.CARD_ROWS)
        for column in range(const.CARD_COLUMNS)
        if (row + column) % 2 == 0
    ]
    corners = np.asarray(board(card).getObjPoints())[:, 0, :2]
    return squares + [(float(x), float(y), measures.marker_mm) for x, y in corners]


def _light_bits(card: int) -> list[tuple[float, float, float, float]]:
    """(x, y, length, height) of runs of white bits in the markers; y down from the top. [mm]"""
    import cv2

    runs, words = [], dictionary()
    bit = size(card).marker_mm / (words.markerSize + 2)  # a rim of one black bit all round
    this = board(card)
    for corners, number in zip(this.getObjPoints(), np.ravel(this.getIds()), strict=True):
        left, top = (float(v) for v in np.asarray(corners)[0, :2])
        rows = cv2.aruco.Dictionary.getBitsFromByteList(
            words.bytesList[int(number) : int(number) + 1], words.markerSize
        )
        for row, bits in enumerate(rows):
            for column, value in enumerate(bits):
                if value:
                    runs.append((left + (column + 1) * bit, top + (row + 1) * bit, bit, bit))
    return runs


def _draw_words(canvas, card: int, measures) -> None:
    """The card's number and parameters in its lower white margin, and the number in the upper."""
    wide, high = measures.outline_mm
    large, small = 0.6 * measures.margin_mm, 0.36 * measures.margin_mm
    low = 0.28 * measures.margin_mm
    first = const.MARKERS_PER_CARD * card
    canvas.setFillGray(0)
    canvas.setFont("Helvetica-Bold", large)
    canvas.drawString(measures.margin_mm, low, f"card {card}")
    canvas.drawRightString(wide - measures.margin_mm, high - measures.margin_mm + low, f"card {card}")
    canvas.setFont("Helvetica", small)
    canvas.drawRightString(
        wide - measures.margin_mm,
        low,
        f"lightcheck, {const.CARD_COLUMNS} x {const.CARD_ROWS} squares of "
        f"{measures.square_mm:g} mm, markers {measures.marker_mm:g} mm, "
        f"4X4_250 numbers {first}-{first + 6}",
    )


def _draw_ruler(canvas, name: str) -> None:
    """100 mm above a line and 4 in below it, from (0, 0) to the right."""
    canvas.setStrokeGray(0)
    canvas.setFillGray(0)
    canvas.setLineWidth(0.12)
    canvas.line(0, 0, RULER_IN * MM_PER_INCH, 0)
    for mm in range(round(RULER_MM) + 1):
        canvas.line(mm, 0, mm, 4.0 if mm % 10 == 0 else 3.0 if mm % 5 == 0 else 2.0)
    for sixteenth in range(RULER_IN * 16 + 1):
        x = sixteenth * MM_PER_INCH / 16
        canvas.line(x, 0, x, -4.0 if sixteenth % 16 == 0 else -3.0 if sixteenth % 8 == 0 else -1.6)
    canvas.setFont("Helvetica", 2.2)
    for mm in range(0, round(RULER_MM), 10):
        canvas.drawString(mm + 0.4, 2.5, str(mm))
    for inch in range(RULER_IN):
        canvas.drawString(inch * MM_PER_INCH + 0.4, -4.2, str(inch))
    canvas.drawString(RULER_IN * MM_PER_INCH + 1.0, 1.2, f"{name}: {RULER_MM:.0f} mm")
    canvas.drawString(RULER_IN * MM_PER_INCH + 1.0, -3.2, f"{RULER_IN} in")


def _advise(canvas, title: str, high: float, advice: tuple[str, ...]) -> None:
    """What is on the sheet and what to do with it, at the foot."""
    left = EDGE_MM + STRIP_MM
    top = high - EDGE_MM - 2 * size(0).outline_mm[1] - _FIRST_RULER_MM - 9.5
    canvas.setFont("Helvetica-Bold", 3.2)
    canvas.drawString(left, top, f"lightcheck {title}")
    canvas.setFont("Helvetica", 3.0)
    for line, words in enumerate(advice, start=1):
        canvas.drawString(left, top - line * _TEXT_MM, words)
