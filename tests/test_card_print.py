"""The printed sheet, measured in the rendered PDF and read back."""

import re

import cv2
import numpy as np
import pypdfium2
import pytest

from lightcheck import card
from lightcheck.card.print import sheet
from lightcheck.errors import LightcheckError
from lightcheck.photo import CameraFacts, Photo

DPI = 300
MM = 25.4 / DPI  # one pixel of the rendered page
PAPERS_MM = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}  # ISO 216; US Letter


def pages(pdf: bytes, dpi: int = DPI) -> list[np.ndarray]:
    document = pypdfium2.PdfDocument(pdf)
    try:
        drawn = [page.render(scale=dpi / 72, grayscale=True).to_numpy() for page in document]
        return [d.reshape(d.shape[:2]) for d in drawn]
    finally:
        document.close()


def as_photo(grey: np.ndarray) -> Photo:
    return Photo(
        name="sheet.png", sha256="", coded=np.dstack([grey] * 3),
        light=np.zeros(grey.shape, np.float32), spoilt=np.zeros(grey.shape, bool),
        facts=CameraFacts(),
    )  # fmt: skip


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_every_card_is_found(paper):
    found = {}
    for page in pages(sheet(range(35), paper=paper), dpi=200):
        found |= {s.card: s for s in card.find(as_photo(page))}
    assert sorted(found) == list(range(35))
    assert all(len(s.corners_px) == 8 for s in found.values())


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_cards_have_their_true_size(paper):
    """Corners right to 0.05 mm on paper, card to card to 0.05 mm too, both ways."""
    millimetres = np.array([25.4, -25.4]) / 600
    middles = {}
    for page in pages(sheet([0, 1, 2, 19, 20, 34], paper=paper), dpi=600):
        for seen in card.find(as_photo(page)):
            measured = seen.corners_px * millimetres
            middles[seen.card] = measured.mean(axis=0) - seen.corners_mm.mean(axis=0)
            assert abs(measured - middles[seen.card] - seen.corners_mm).max() < 0.05
    assert np.allclose(middles[1] - middles[0], (110, 0), atol=0.05)
    assert np.allclose(middles[2] - middles[0], (0, -70), atol=0.05)
    assert np.allclose(middles[34] - middles[20], (55, 0), atol=0.05)


@pytest.mark.parametrize("number", [0, 13, 20, 34])
def test_the_pattern_is_the_one_opencv_draws(number):
    """Against CharucoBoard.generateImage at a whole number of pixels per square."""
    square_mm = 20.0 if number < 20 else 10.0
    drawn = card.board(number).generateImage((5 * 48, 3 * 48), marginSize=0, borderBits=1)
    (page,) = pages(sheet([number]))
    (seen,) = card.find(as_photo(page))
    on_drawn = (seen.corners_mm * (1, -1) + np.array([2.5, 1.5]) * square_mm) * 48 / square_mm - 0.5
    to_drawn, _ = cv2.findHomography(seen.corners_px, on_drawn)
    laid = cv2.warpPerspective(page, to_drawn, (5 * 48, 3 * 48))
    near = np.ones((3, 3), np.uint8)
    inside = cv2.erode(drawn, near) == cv2.dilate(drawn, near)  # bits are 6 px wide
    assert inside.mean() > 0.6
    assert ((laid > 127) == (drawn > 127))[inside].all()


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_rulers_are_true_both_ways(paper):
    """Along x and along y: 101 ticks over 100 mm and 65 over 4 in (101.6 mm)."""
    (page,) = pages(sheet([0], paper=paper))
    for level in (page, np.rot90(page, -1)):
        row, first, last = longest_line(level)
        over = level[row - round(1.6 / MM) : row - round(0.8 / MM), first - 9 : last + 9]
        under = level[row + round(0.6 / MM) : row + round(1.2 / MM), first - 9 : last + 9]
        for strip, count, length in ((over, 101, 100.0), (under, 65, 101.6)):
            ticks = middles((strip < 200).all(axis=0))
            assert len(ticks) == count
            assert (ticks[-1] - ticks[0]) * MM == pytest.approx(length, abs=0.1)
            steps = np.diff(ticks) * MM
            assert abs(steps - length / (count - 1)).max() < 1.5 * MM


def longest_line(page: np.ndarray) -> tuple[int, int, int]:
    """(row, first, last) of the longest unbroken dark line between 95 and 105 mm."""
    best = (0, 0, 0)
    for row in np.flatnonzero((page < 200).sum(axis=1) * MM > 95):
        edges = np.flatnonzero(np.diff(np.r_[0, page[row] < 200, 0]))
        for first, last in zip(edges[::2], edges[1::2], strict=True):
            if 95 < (last - first) * MM < 105 and last - first > best[2] - best[1]:
                best = (int(row), int(first), int(last))
    return best


def middles(dark: np.ndarray) -> np.ndarray:
    """Middle of each dark run."""
    edges = np.flatnonzero(np.diff(np.r_[0, dark, 0]))
    return (edges[::2] + edges[1::2] - 1) / 2


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_page_size_and_margins(paper):
    document = pypdfium2.PdfDocument(sheet(range(35), paper=paper))
    sizes = [np.array(page.get_size()) * 25.4 / 72 for page in document]
    document.close()
    assert all(np.allclose(size, PAPERS_MM[paper], atol=0.05) for size in sizes)
    for page in pages(sheet(range(35), paper=paper), dpi=150):
        ink = np.argwhere(page < 240)
        blank = np.r_[ink.min(axis=0), np.array(page.shape) - 1 - ink.max(axis=0)] * 25.4 / 150
        assert blank.min() >= 10.0


def test_the_sheet_says_what_it_is_and_what_to_do():
    pdf = sheet([0, 21])
    document = pypdfium2.PdfDocument(pdf)
    words = " ".join(page.get_textpage().get_text_bounded() for page in document)
    document.close()
    for wanted in (
        "card 0",
        "card 21",
        "squares of 20 mm",
        "squares of 10 mm",
        "100 %",
        "--measured",
    ):
        assert wanted in words
    assert re.search(rb"/PrintScaling\s*/None", pdf)
    assert sheet([21, 0]) == pdf  # the same numbers, the same bytes


@pytest.mark.parametrize("numbers", [[], [35], [-1, 2]])
def test_numbers_that_no_card_has_are_refused(numbers):
    with pytest.raises(LightcheckError) as refusal:
        sheet(numbers)
    assert "--numbers" in refusal.value.remedy


def test_an_unknown_paper_is_refused():
    with pytest.raises(LightcheckError, match="paper"):
        sheet([0], paper="a3")
