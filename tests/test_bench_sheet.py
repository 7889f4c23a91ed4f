"""The bench sheet is one page to be read at 1.5 m, and the full-size sheets are true to size."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from laid import CARDS
from planned import SMOOTHER, hump, wood

from lightcheck import marks, plan
from lightcheck.card.size import size as card_size
from lightcheck.errors import LightcheckError
from lightcheck.plan import Wish
from lightcheck.plan import wood as woods
from lightcheck.report import bench_sheet, full_size
from lightcheck.report.plan_words import Heading

pdfium = pytest.importorskip("pypdfium2")
POINT_MM = 25.4 / 72
HEADING = Heading(part="Wrenlet bottom panel", side="port", bow="left", one_pass="2", date="2031-02-03")
SAID = (
    "fastener at 100mm,0mm, 0.1mm deep",
    "station 3 from -50mm,-150mm to -50mm,150mm",
    "centreline from -240mm,-60mm to 240mm,-60mm",
    "grain from -100mm,0mm to 100mm,0mm",
)


def many(number):
    return [
        hump(-200 + 400 * i / max(number - 1, 1), 30 * (-1) ** i, 0.9, 40, number=i + 1)
        for i in range(number)
    ]


def made(*spots, said=SAID, base=None):
    found = marks.Marks(marks=tuple(marks.read_mark(t, CARDS) for t in said))
    return plan.make(wood(*spots, base=base), found, Wish(tools=(SMOOTHER,)))


def pages(pdf):
    document = pdfium.PdfDocument(pdf)
    return document, [document[i] for i in range(len(document))]


def letters(page):
    """(text, size in mm) of each piece of text on a page."""
    found = []
    for piece in page.get_objects(filter=(pdfium.raw.FPDF_PAGEOBJ_TEXT,), max_depth=3):
        left, bottom, right, top = piece.get_bounds()
        found.append(((right - left) * POINT_MM, (top - bottom) * POINT_MM))
    return found


def text_of(page):
    return page.get_textpage().get_text_range()


SPOTS = (hump(-150, 60, 0.6, 100, 60), hump(100, 0, 0.7, 80, number=2), hump(0, 80, -0.4, 80, number=3))


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210, 297)), ("letter", (215.9, 279.4))])
def test_it_is_one_page_with_all_that_the_bench_asks_for(paper, size_mm):
    document, (page,) = pages(bench_sheet.pdf(made(*SPOTS), HEADING, paper=paper))
    assert np.array(page.get_size()) * POINT_MM == pytest.approx(np.array(size_mm), abs=0.05)
    text = " ".join(text_of(page).split())
    for words in (
        "Wrenlet bottom panel", "port, pass 2, 2031-02-03", "BOW", "CL",
        "high by 0.60: 8 strokes, smoothing plane", "100 forward of st. 3", "girth CL 120",
        "leave 0.30 mm", "DO NOT PLANE YET",
        "would reach the fastener",
        "Hatched is low: DO NOT PLANE.", "low by 0.40: DO NOT PLANE",
    ):  # fmt: skip
        assert words in text, words
    document.close()


def test_every_letter_can_be_read_at_a_metre_and_a_half():
    """Capitals as high as 10 minutes of arc: 4.36 mm; a sound eye just reads 5 (visual acuity 1.0)."""
    least = 1500 * math.tan(math.radians(10 / 60))
    assert least < bench_sheet.LEAST_SIZE_MM * 0.718  # Helvetica's capitals
    document, (page,) = pages(bench_sheet.pdf(made(*SPOTS), HEADING))
    sizes = [tall for _, tall in letters(page)]
    assert len(sizes) > 10
    # words in small letters only, without ascender or capital, do not occur; digits are 0.71 high
    assert min(sizes) > 0.98 * least
    document.close()


def test_it_is_black_and_white_and_stays_within_what_printers_print():
    edge = hump(238, 100, 0.5, 60, number=4)  # its number would stand beyond the frame
    document, (page,) = pages(bench_sheet.pdf(made(*SPOTS, edge), HEADING))
    picture = np.asarray(page.render(scale=2).to_pil().convert("RGB")).astype(int)
    assert (np.ptp(picture, axis=2) == 0).all()
    margin = round(9.0 / POINT_MM * 2)
    rim = np.ones(picture.shape[:2], bool)
    rim[margin:-margin, margin:-margin] = False
    assert (picture[rim] == 255).all()
    document.close()


def test_more_than_the_page_holds_is_counted_not_squeezed():
    document, (page,) = pages(bench_sheet.pdf(made(*many(12)), HEADING))
    text = text_of(page)
    boxes = text.count("high by")
    assert 4 <= boxes < 12
    assert f"{12 - boxes} more: plan.html." in text
    document.close()


def test_a_fair_board_says_so():
    document, (page,) = pages(bench_sheet.pdf(made(said=()), Heading()))
    text = text_of(page)
    assert "No hump to plane." in text
    assert "Look for fasteners first." in text
    document.close()


def test_the_same_plan_gives_the_same_bytes():
    result = made(*SPOTS)
    assert bench_sheet.pdf(result, HEADING) == bench_sheet.pdf(result, HEADING)
    assert full_size.pdf(result, HEADING) == full_size.pdf(result, HEADING)


def test_a_paper_that_is_not_known_is_refused():
    for make in (bench_sheet.pdf, full_size.pdf):
        with pytest.raises(LightcheckError, match="not a paper"):
            make(made(), HEADING, paper="a3")


# --- full size ----------------------------------------------------------------------------------------------


def test_full_size_sheets_are_true_to_size():
    """The window of card 0 lies whole on its sheet; its dashes are as far apart as the card is large."""
    result = made(*SPOTS)
    document, sheets = pages(full_size.pdf(result, HEADING))
    home = next(p for p in sheets if "card 0" in text_of(p))
    wide, high = card_size(0).outline_mm
    boxes = [
        np.array(o.get_bounds()) * POINT_MM
        for o in home.get_objects(filter=(pdfium.raw.FPDF_PAGEOBJ_PATH,), max_depth=3)
    ]
    pen = 2 * 0.35  # pdfium counts the width of the line on either side
    sizes = [(b[2] - b[0] - pen, b[3] - b[1] - pen) for b in boxes]
    assert any(w == pytest.approx(wide, abs=0.05) and h == pytest.approx(high, abs=0.05) for w, h in sizes)
    text = "\n".join(map(text_of, sheets))
    for words in (
        "1 high by 0.60",
        "8 x smoothing plane",
        "DO NOT PLANE YET",
        "3 LOW by 0.40",
        "fastener 0.1 mm down",
    ):
        assert words in text
    for card in range(4):
        assert f"card {card}" in text
    document.close()


def test_a_barrel_is_rolled_out():
    """Radius 1400 mm along x: 300 mm out is an arc of 1400 asin(300 / 1400)."""
    rolled = full_size.rolled_out(
        woods.of(wood(base={"along_x": -1 / 1400})), np.array([[300.0, 50.0], [-200.0, 0.0]])
    )
    assert rolled[0] == pytest.approx((1400 * math.asin(300 / 1400), 50.0), abs=0.02)
    assert rolled[1, 0] == pytest.approx(-1400 * math.asin(200 / 1400), abs=0.02)


def test_pricks_stand_evenly_on_the_outline():
    ring = 50 * np.stack([np.cos(a := np.linspace(0, 2 * np.pi, 200, endpoint=False)), np.sin(a)], axis=1)
    places = full_size.pricks(ring)
    assert np.linalg.norm(places, axis=1) == pytest.approx(50.0, abs=0.05)
    apart = np.linalg.norm(np.diff(places, axis=0), axis=1)
    assert apart == pytest.approx(full_size.PRICK_MM, abs=1.0)


def test_a_task_planed_in_parts_is_drawn_in_parts():
    result = made(
        hump(0, 0, 0.8, 240, 80),
        said=("grain from -200mm,0mm to -10mm,0mm", "grain from 200mm,0mm to 10mm,0mm"),
    )
    document, (page,) = pages(bench_sheet.pdf(result, HEADING))
    assert {"1a", "1b"} <= set(text_of(page).split())
    document.close()


def test_the_sheet_does_not_need_a_name():
    heading = SimpleNamespace(part="", side="", bow="", one_pass="", date="")
    document, (page,) = pages(bench_sheet.pdf(made(*SPOTS, said=()), heading))
    assert "Working list" in text_of(page)
    document.close()
