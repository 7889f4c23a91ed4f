"""Grey strips: measured in the rendered sheet, and read back from made-up photos of made-up prints."""

import cv2
import numpy as np
import pypdfium2
import pytest
from click.testing import CliRunner

from lightcheck import card
from lightcheck.card import grey, strip, tone
from lightcheck.card.print import sheet
from lightcheck.cli.main import main
from lightcheck.errors import LightcheckError
from lightcheck.photo import CameraFacts, Photo, srgb_decode
from lightcheck.photo.curve import srgb_encode
from lightcheck.photo.slope import LogSlope

DPI = 1200
PX = DPI / 25.4
LEFT_MM, TOP_MM, ROUND_MM = 30.5, 10.5, 4.0  # of the first card on its page, and what is kept round it


def inked(number: int = 0, grey_strip: bool = True) -> np.ndarray:
    """True where a perfect printer of 1200 dots per inch lays ink, round the first card of a sheet."""
    document = pypdfium2.PdfDocument(sheet([number], grey=[number] if grey_strip else []))
    page = document[0]
    wide, high = (v * 25.4 / 72 for v in page.get_size())
    cut = [LEFT_MM, high - TOP_MM - 97, wide - LEFT_MM - 110, TOP_MM]
    crop = [(c - ROUND_MM) * 72 / 25.4 for c in cut]
    picture = page.render(scale=DPI / 72, grayscale=True, crop=crop).to_numpy().squeeze()
    document.close()
    return picture < 128


@pytest.fixture(scope="module")
def ink():
    return inked()


@pytest.fixture(scope="module")
def paper(ink):
    """Reflectance of a print on made-up paper.

    Toner runs 0.021 mm over its edges and lets 22 % pass; light spreads in the paper partly near and
    partly far, which is not the spread that the model has.
    """
    passed = 1 - 0.78 * cv2.dilate(ink.astype(np.float32), np.ones((3, 3)))
    near, far = (cv2.GaussianBlur(passed, (0, 0), mm * PX) for mm in (0.04, 0.12))
    return 0.82 * passed * (0.6 * near + 0.4 * far)


def photographed(paper, *, light=(0.9, 0.6), response=None, mm_per_px=0.3, seed=1) -> Photo:
    """A phone's picture, seen a little aslant. light: at the left and at the right end."""
    high, wide = paper.shape
    over, scale = 3, 3 / (mm_per_px * PX)
    size = (int(wide * scale * 1.25) // over * over, int(high * scale * 1.35) // over * over)
    corners = np.float32([[0, 0], [wide, 0], [wide, high], [0, high]])
    seen = corners * scale + np.float32([[60, 50], [40, 60], [45, 70], [70, 50]])
    to_px = cv2.getPerspectiveTransform(corners, seen)
    fine = cv2.GaussianBlur(paper.astype(np.float32), (0, 0), 0.4 / scale)
    large = cv2.warpPerspective(fine, to_px, size, flags=cv2.INTER_LINEAR, borderValue=0.3)
    lens = cv2.GaussianBlur(large, (0, 0), 0.45 * over)
    true = cv2.resize(lens, (size[0] // over, size[1] // over), interpolation=cv2.INTER_AREA)
    true = true * np.linspace(*light, true.shape[1])
    true *= 1 + 0.004 * np.random.default_rng(seed).standard_normal(true.shape)
    code = np.round(255 * srgb_encode(true if response is None else response(true))).astype(np.uint8)
    return Photo(
        name="made-up.png", sha256="", coded=np.dstack([code] * 3),
        light=srgb_decode(code / 255).astype(np.float32), spoilt=(code >= 252) | (code <= 4),
        facts=CameraFacts(),
    )  # fmt: skip


def strips(paper, **more) -> tuple[grey.Strip, ...]:
    photo = photographed(paper, **more)
    return grey.find(photo, card.find(photo))


def s_shaped(true):
    """Up to a third off in local contrast, up in the middle and down at both ends."""
    return np.exp(np.log(true) + 0.25 * np.sin(1.3 * (np.log(true) + 1.0)))


# --- the print --------------------------------------------------------------------------------------


def test_the_black_area_on_the_sheet_is_what_is_said(ink):
    middle = np.array([110 / 2, 70 / 2]) + ROUND_MM
    for patch in strip.PATCHES:
        x = (middle[0] + patch.x_mm) * PX
        y = (middle[1] - strip.TOP_MM + strip.HIGH_MM / 2) * PX
        half = round(10 * strip.DOT_MM * 20 / 2 * PX)  # ten whole lines of the widest kind
        cut = ink[round(y - 4 * PX) : round(y + 4 * PX), round(x) - half : round(x) + half]
        assert cut.mean() == pytest.approx(patch.coverage, abs=0.012)


def test_grey_cards_come_on_sheets_of_their_own_each_number_once():
    document = pypdfium2.PdfDocument(sheet(range(4), grey=[1, 8]))
    words = [page.get_textpage().get_text_bounded() for page in document]
    document.close()
    assert len(words) == 2
    assert "cards 0, 2, 3 " in words[0] and "grey" not in words[0]
    assert "cards 1, 8 " in words[1] and "grey strip of card 8" in words[1] and "600 dots" in words[1]


def test_a_sheet_without_grey_is_as_it_was():
    assert sheet(range(8)) == sheet(range(8), grey=())


# --- reading ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("mm_per_px", [0.2, 0.35])
def test_a_strip_is_read_to_the_light_that_its_patches_send(ink, paper, mm_per_px):
    """Within 2 sigma, and 1.5 %, of the mean reflectance in the picture of the print itself."""
    (seen,) = strips(paper, mm_per_px=mm_per_px)
    assert seen.card == 0 and seen.coverage.tolist() == [0, 0.4, 0.4, 0.4, 0.6, 0.6, 0.8, 1]
    middle = np.array([110 / 2, 70 / 2]) + ROUND_MM
    for i, patch in enumerate(strip.PATCHES):
        x, y = (middle + np.array([patch.x_mm, strip.HIGH_MM / 2 - strip.TOP_MM])) * PX
        half = round(4 * 20 * strip.DOT_MM * PX)  # whole lines
        window = np.s_[round(y - 4.5 * PX) : round(y + 4.5 * PX), round(x) - half : round(x) + half]
        off = seen.light_log[i] - seen.paper_log[i] - np.log(paper[window].mean() / 0.82)
        assert abs(off) < max(2 * seen.sigma[i], 0.015)


def test_the_lamps_fall_off_along_the_strip_does_not_enter(paper):
    even, falling = strips(paper, light=(0.7, 0.7)), strips(paper, light=(0.9, 0.3))
    ratios = [one.light_log - one.paper_log for (one,) in (even, falling)]
    assert abs(ratios[0] - ratios[1]).max() < 0.02


def test_patches_that_lost_their_measure_are_left_blank(paper):
    (seen,) = strips(paper, light=(0.05, 0.02))  # the black is crushed
    assert np.isnan(seen.sigma[-1]) and np.isfinite(seen.sigma[:4]).all()


def test_an_ordinary_card_has_no_strip():
    white = np.where(inked(grey_strip=False), 0.05, 0.82).astype(np.float32)
    photo = photographed(white)
    sightings = card.find(photo)
    assert len(sightings) == 1 and grey.find(photo, sightings) == ()
    with pytest.raises(LightcheckError, match="no grey strip") as refusal:
        grey.read(photo, sightings[0])
    assert "--grey" in refusal.value.remedy


def test_a_strip_cut_off_by_the_frame_is_not_read(paper):
    photo = photographed(paper[: round(80 * PX)])
    assert grey.find(photo, card.find(photo)) == ()


# --- the response -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("response", "slope"),
    [
        (None, np.ones_like),
        (lambda x: x**1.2, lambda log: np.full_like(log, 1 / 1.2)),
        (s_shaped, None),
    ],
    ids=["standard", "steeper", "S-shaped"],
)
def test_the_response_of_a_phone_is_found(paper, response, slope):
    """Two strips in different light. Within 2.5 sigma at every knot and 8 % at the typical one."""
    seen = strips(paper, response=response) + strips(paper, response=response, light=(0.3, 0.2), seed=2)
    found = tone.response(seen)
    if slope is None:
        true = np.linspace(-7, 0, 4001)
        out = np.log(s_shaped(np.exp(true)))
        expected = np.interp(found.light_log, out, np.gradient(true, out))
        assert np.ptp(expected) > 0.5
    else:
        expected = slope(found.light_log)
    off = found.slope - expected
    assert (abs(off) < 2.5 * found.sigma).all()
    assert np.median(abs(off)) < 0.08 and np.median(found.sigma) < 0.08
    if slope is None:  # and its shape
        assert np.corrcoef(found.slope, expected)[0, 1] > 0.95


def test_lines_follow_the_laws_of_halftones_at_both_ends():
    """Murray and Davies where light stays where it fell, Yule and Nielsen (n = 2) where it spreads far."""
    area = np.array([0.2, 0.5, 0.8, 1.0])
    wide, narrow = np.full(4, 1e3), np.full(4, 1e-3)
    here, _ = tone._printed(area, wide, 0.0, 0.05, 0.04)
    spread, _ = tone._printed(area, narrow, 0.0, 0.05, 0.04)
    assert np.exp(here) == pytest.approx(1 - area + 0.04 * area, abs=0.01)
    assert np.exp(spread) == pytest.approx((1 - area + np.sqrt(0.04) * area) ** 2, abs=1e-6)


def test_too_few_patches_are_refused(paper):
    with pytest.raises(LightcheckError, match="Only 0 patches"):
        tone.response(())


def test_a_slope_is_carried_on_beyond_its_ends():
    found = LogSlope(light_log=np.array([-2.0, -1, 0]), slope=np.array([2.0, 1, 1]), sigma=np.full(3, 0.1))
    assert found.true_log([-3, -2, -1.5, -1, 0, 1]) == pytest.approx([-2, 0, 0.875, 1.5, 2.5, 3.5])


# --- the command ------------------------------------------------------------------------------------


def test_the_command_prints_strips_and_refuses_small_cards(tmp_path):
    run = CliRunner().invoke
    result = run(main, ["cards", "--grey", "0,1", "-o", str(tmp_path / "c.pdf")])
    assert result.exit_code == 0 and (tmp_path / "c.pdf").read_bytes() == sheet(range(8), grey=(0, 1))
    result = run(main, ["cards", "--grey", "20", "-o", str(tmp_path / "d.pdf")])
    assert result.exit_code == 1 and "too small for a grey strip" in result.stderr
    assert len(result.stderr.splitlines()) == 2 and not (tmp_path / "d.pdf").exists()
