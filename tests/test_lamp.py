"""Lamps as people type them: read, placed with their doubt, or refused with what to do."""

import numpy as np
import pytest

from lightcheck import constants as const
from lightcheck import lamp
from lightcheck.errors import LightcheckError
from lightcheck.patch import Base

EYE = np.array([12.0, -8.0, 748.0])
PLACES = {0: (-230.0, -150.0), 1: (228.0, -155.0), 2: (232.0, 149.0), 3: (-225.0, 156.0), 7: (10.0, 2.0)}
FLAT = {n: np.array([x, y, 0.0]) for n, (x, y) in PLACES.items()}
BARREL = {n: Base(along_y=-1 / 1400).points_mm(x, y) for n, (x, y) in PLACES.items()}


def placed(text: str, centres=FLAT) -> lamp.Lamp:
    return lamp.place(lamp.read(text), centres_mm=centres, eye_mm=EYE)


def refusal(text: str, centres=FLAT) -> LightcheckError:
    with pytest.raises(LightcheckError) as caught:
        placed(text, centres)
    assert caught.value.problem.endswith((".", ")")) and caught.value.remedy.endswith(".")
    return caught.value


# --- forms ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("left,900mm,110mm", (-900, 0, 110)),
        ("right,850mm,120mm", (850, 0, 120)),
        ("top,900mm,110mm", (0, 900, 110)),
        ("bottom,1m,10cm", (0, -1000, 100)),
        (" Left , 36in , 4-1/2in ", (-914.4, 0, 114.3)),
        ("0deg,800mm,100mm", (800, 0, 100)),
        ("135deg,1000mm,120mm", (-707.107, 707.107, 120)),
        ("-90deg,800mm,100mm", (0, -800, 100)),
        ("210.5deg,500mm,60mm", (-430.81, -253.77, 60)),
    ],
)
def test_a_side_or_bearing_with_out_and_up(text, place):
    stood = placed(text)
    assert stood.kind == "lamp" and stood.rakes and stood.spec == text.strip()
    np.testing.assert_allclose(stood.place_mm, place, atol=0.01)


def test_doubt_of_a_side_word():
    """Ten millimetres out, six degrees beside, three up; the covariance turns with the bearing."""
    for text, beside in (("left,900mm,110mm", 1), ("top,900mm,110mm", 0)):
        wide = np.sqrt(np.diag(placed(text).cov_mm2))
        assert wide[beside] == pytest.approx(900 * np.radians(6), rel=1e-9)
        assert wide[1 - beside] == pytest.approx(10) and wide[2] == pytest.approx(3)
    cov = placed("45deg,900mm,110mm").cov_mm2
    along, beside = np.array([1, 1, 0]) / np.sqrt(2), np.array([-1, 1, 0]) / np.sqrt(2)
    assert along @ cov @ along == pytest.approx(10**2)
    assert beside @ cov @ beside == pytest.approx((900 * const.BEARING_SIGMA_RAD) ** 2)
    assert const.BEARING_SIGMA_RAD < const.SIDE_WORD_SIGMA_RAD == pytest.approx(np.radians(6))


def test_a_far_light():
    stood = placed("135deg,far,8deg")
    assert stood.kind == "far" and stood.rakes
    assert np.degrees(stood.elevation_rad) == pytest.approx(8)
    assert np.degrees(np.arctan2(stood.place_mm[1], stood.place_mm[0])) == pytest.approx(135)
    assert np.linalg.norm(stood.place_mm) >= 50_000  # light even to 2 % over the patch


def test_doubt_of_a_far_light_is_that_of_its_angles():
    stood = placed("90deg,far,10deg")
    away = np.linalg.norm(stood.place_mm)
    rng = np.random.default_rng(1)
    tried = rng.multivariate_normal(stood.place_mm, stood.cov_mm2, 4000)
    bearings, elevations = (
        np.arctan2(tried[:, 1], tried[:, 0]),
        np.arcsin(tried[:, 2] / np.linalg.norm(tried, axis=1)),
    )
    assert bearings.std() == pytest.approx(const.BEARING_SIGMA_RAD, rel=0.05)
    assert elevations.std() == pytest.approx(const.FAR_ELEVATION_SIGMA_RAD, rel=0.05)
    assert np.linalg.norm(tried, axis=1).std() < 0.01 * away


def test_flash_and_off():
    flash = placed("flash")
    assert flash.kind == "flash" and not flash.rakes
    np.testing.assert_allclose(flash.place_mm, EYE)
    assert np.sqrt(np.diag(flash.cov_mm2)) == pytest.approx(lamp.FLASH_OFFSET_SIGMA_MM)
    assert placed("OFF").kind == "off" and not placed("off").rakes


def test_a_lamp_is_read_only():
    with pytest.raises(ValueError, match="read-only"):
        placed("left,900mm,110mm").place_mm[0] = 0.0


# --- tape from the bulb to cards ------------------------------------------------------------------


def reaches(place, centres, cards=(0, 1, 2, 3), error=None, step: float = 1e-6) -> str:
    error = np.zeros(len(cards)) if error is None else error
    read = [np.linalg.norm(centres[n] - place) + e for n, e in zip(cards, error, strict=True)]
    return ",".join(f"{n}:{round(r / step) * step:.6f}mm" for n, r in zip(cards, read, strict=True))


on_both = pytest.mark.parametrize("centres", [FLAT, BARREL], ids=["flat", "barrel"])
LAMPS = [(-880.0, 60.0, 112.0), (500.0, -700.0, 90.0), (30.0, 820.0, 150.0), (-700.0, 250.0, 400.0)]


@on_both
@pytest.mark.parametrize("true", LAMPS)
def test_reaches_of_a_perfect_tape_meet_where_the_lamp_stood(true, centres, monkeypatch):
    """Trilateration itself: with a tape trusted to 0.05 mm that lamps are set low says nothing."""
    monkeypatch.setattr(const, "TAPE_REACH_SIGMA_MM", 0.05)
    for cards in ((0, 1, 2, 3), (0, 1, 2)):
        found = placed(reaches(true, centres, cards), centres)
        np.testing.assert_allclose(found.place_mm, true, atol=0.5)


@on_both
@pytest.mark.parametrize("true", LAMPS)
def test_exact_reaches_on_a_tape_of_usual_trust(true, centres):
    """How low lamps are set is one more weak reading: it moves the place by less than its sigma."""
    for cards in ((0, 1, 2, 3), (0, 1, 2)):
        found = placed(reaches(true, centres, cards), centres)
        assert (abs(found.place_mm - true) < np.sqrt(np.diag(found.cov_mm2))).all()


@on_both
@pytest.mark.parametrize("true", [*LAMPS[::3], (-850.0, 100.0, 250.0), (-500.0, 0.0, 300.0)])
def test_a_tape_misread_moves_the_lamp_no_further_than_it_says(true, centres):
    """Readings 6 mm off, as the tape's sigma says: errors over the sigma returned stay about 1.

    From 7 to 31 degrees high: that lamps are mostly set low must not pull a higher one down.
    """
    true, rng, off, rise = np.array(true), np.random.default_rng(3), [], []
    for _ in range(24):
        error = rng.normal(0, const.TAPE_REACH_SIGMA_MM, 5)
        found = placed(reaches(true, centres, tuple(PLACES), error), centres)
        miss = found.place_mm - true
        off.append(miss @ np.linalg.solve(found.cov_mm2, miss))
        rise.append(miss[2])
    assert 0.5 < np.mean(off) / 3 < 1.8  # chi squared of three
    assert abs(np.mean(rise)) < 0.16 * true[2]


def test_tape_readings_round_to_a_centimetre_still_serve():
    true = np.array([-880.0, 60.0, 112.0])
    found = placed(reaches(true, FLAT, step=10.0))
    sigma = np.sqrt(np.diag(found.cov_mm2))
    assert np.hypot(*(found.place_mm - true)[:2]) < 15
    assert (abs(found.place_mm - true) < 3 * sigma).all()
    assert sigma[2] > 20  # a tape along the wood hardly knows how high the bulb is


# --- refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "problem", "remedy"),
    [
        ("left,900,110mm", "'900' has no unit", "900mm or 900in"),
        ("left,900mm,110", "'110' has no unit", "110mm or 110in"),
        ("left,900mm,-10mm", "below the surface", "height above the wood"),
        ("left,900mm,0mm", "below the surface", "height above the wood"),
        ("left,0mm,100mm", "can not stand there", "left,900mm,110mm"),
        ("left,-900mm,100mm", "can not stand there", "left,900mm,110mm"),
        ("left,900m,100mm", "can not stand there", "left,900mm,110mm"),
        ("port,900mm,110mm", "'port' is neither a side nor an angle", "left, right, top, bottom"),
        ("135,900mm,110mm", "'135' is neither a side nor an angle", "135deg"),
        ("left,far,8", "'8' is neither a side nor an angle", "degrees"),
        ("left,far,0deg", "not above the surface", "between 0 and 90"),
        ("left,far,95deg", "not above the surface", "between 0 and 90"),
        ("left,far,-5deg", "not above the surface", "between 0 and 90"),
        ("left,900mm", "is not a lamp", "left,900mm,110mm"),
        ("left,900mm,110mm,2", "is not a lamp", "left,900mm,110mm"),
        ("", "is not a lamp", "left,900mm,110mm"),
        ("torch", "is not a lamp", "left,900mm,110mm"),
        ("left,nearby,110mm", "'nearby' is not a length", "900mm"),
        ("0:870mm,1:1120mm", "fewer than three cards", "three or more cards"),
        ("0:870mm,1:1120mm,1:900mm", "fewer than three cards", "three or more cards"),
        ("0:870mm,1:1120,2:990mm", "'1120' has no unit", "1120mm"),
        ("0:870mm,1:0mm,2:990mm", "reach of zero", "Measure again"),
        ("0:870mm,1:1120mm,9:990mm", "card 9, which is not in the photos", "Cards seen: 0, 1, 2, 3, 7"),
        ("0:870mm,1:2900mm,2:300mm,3:880mm", "do not meet in one place", "same bulb"),
    ],
)
def test_refused_with_what_to_do(text, problem, remedy):
    caught = refusal(text)
    assert problem in caught.problem and remedy in caught.remedy
