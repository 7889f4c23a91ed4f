"""Brackets: the response from exposures of one scene, against what was put in and against OpenCV."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from lightcheck.errors import LightcheckError
from lightcheck.photo import CameraFacts, Photo, bracket, srgb_decode
from lightcheck.photo.curve import srgb_encode
from lightcheck.photo.slope import LogSlope, hats

SIZE = (400, 600)


def s_shaped(true):
    """Up to a third off in local contrast."""
    return np.exp(np.log(true) + 0.25 * np.sin(1.3 * (np.log(true) + 1.0)))


def scene(*, seed=3) -> np.ndarray:
    """Made-up wood under a raking lamp: bright on one side, an eighth of it on the other, with grain."""
    rng = np.random.default_rng(seed)
    grain = cv2.GaussianBlur(rng.standard_normal(SIZE), (0, 0), 6, sigmaY=1.5)
    fall_off = np.geomspace(0.9, 0.11, SIZE[1])[None]
    return fall_off * np.exp(0.05 * grain / grain.std())


def photo(true, exposure: float, *, response=None, seed=0) -> Photo:
    """A phone's picture; exposure: against 1/50 s."""
    light = true * exposure * (1 + 0.004 * np.random.default_rng(seed).standard_normal(true.shape))
    code = np.round(255 * srgb_encode(light if response is None else response(light))).astype(np.uint8)
    return Photo(
        name=f"made-up-{seed}.png", sha256="", coded=np.dstack([code] * 3),
        light=srgb_decode(code / 255).astype(np.float32), spoilt=(code >= 252) | (code <= 4),
        facts=CameraFacts(exposure_s=exposure / 50, iso=100, f_number=1.8),
    )  # fmt: skip


def bracketed(exposures, **more) -> tuple[Photo, ...]:
    return tuple(photo(scene(), e, seed=i, **more) for i, e in enumerate(exposures))


def true_slope(response, light_log) -> np.ndarray:
    true = np.linspace(-8, 0.3, 4001)
    out = np.log(response(np.exp(true)))
    return np.interp(light_log, out, np.gradient(true, out))


@pytest.mark.parametrize("exposures", [(1, 0.4), (1, 0.5, 0.2)])
@pytest.mark.parametrize(
    "response", [lambda x: x, lambda x: x**1.2, s_shaped], ids=["standard", "steep", "S"]
)
def test_the_slope_that_was_put_in_is_found(exposures, response):
    """Within 2.5 sigma everywhere, and 3 % at the typical place."""
    found = bracket.response(bracketed(exposures, response=response))
    off = found.slope - true_slope(response, found.light_log)
    assert (abs(off) < 2.5 * found.sigma).all()
    assert np.median(abs(off)) < 0.03


def test_it_agrees_with_debevec_as_opencv_has_it():
    """The curve of CalibrateDebevec on the same exposures to 0.015 of log light.

    From code 50 up: nothing in the scene is darker than 44.
    """
    exposures = (1.0, 0.5, 0.25)
    shots = bracketed(exposures, response=s_shaped)
    times = np.array([s.facts.exposure_s for s in shots], np.float32)
    curve = cv2.createCalibrateDebevec(samples=100, lambda_=10).process([s.coded for s in shots], times)
    codes = np.arange(50, 231)
    theirs = np.log(np.asarray(curve, float).reshape(256, 3)[codes, 0])
    ours = bracket.response(shots).true_log(np.log(srgb_decode(codes / 255)))
    truth = np.interp(
        np.log(srgb_decode(codes / 255)), np.log(s_shaped(np.exp(x := np.linspace(-8, 0.3, 4001)))), x
    )
    apart = [(a - b) - np.mean(a - b) for a, b in ((ours, theirs), (ours, truth), (theirs, truth))]
    assert abs(apart[0]).max() < 0.015
    assert abs(apart[1]).max() < 0.005 and abs(apart[2]).max() < 0.015


def test_known_exposures_take_the_place_of_those_written():
    """Written half as far apart as they are, the slopes come out half as steep."""
    shots = bracketed((1, 0.25))
    lying = tuple(
        replace(s, facts=replace(s.facts, exposure_s=e)) for s, e in zip(shots, (1, 0.5), strict=True)
    )
    assert np.median(bracket.response(lying).slope) == pytest.approx(0.5, abs=0.03)
    assert np.median(bracket.response(lying, exposures=(4, 1)).slope) == pytest.approx(1, abs=0.03)


def test_something_that_moved_does_not_spoil_it():
    shots = list(bracketed((1, 0.4)))
    moved = scene()
    moved[100:220, 50:250] *= 0.5  # a shadow in one of the two
    shots[1] = photo(moved, 0.4, seed=9)
    found = bracket.response(tuple(shots))
    assert np.median(abs(found.slope - 1)) < 0.03


def test_hats_make_the_curve():
    found = LogSlope(light_log=np.array([-2.0, -1, 0]), slope=np.array([2.0, 1, 3]), sigma=np.full(3, 0.1))
    at = np.array([-2.5, -1.7, -0.2, 0.4])
    assert hats(at, found.light_log) @ found.slope == pytest.approx(found.true_log(at))


def unlike(shots):
    return (shots[0], replace(shots[1], light=shots[1].light[:-16]))


def unsaid(shots):
    return (shots[0], replace(shots[1], facts=CameraFacts()))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda shots: shots[:1], "two or more"),
        (unlike, "not of one size"),
        (unsaid, "does not say its exposure"),
        (lambda shots: (shots[0], replace(shots[1], facts=shots[0].facts)), "too much alike"),
        (lambda shots: tuple(replace(s, spoilt=np.ones_like(s.spoilt)) for s in shots), "shows too little"),
    ],
)
def test_brackets_that_tell_nothing_are_refused(change, words):
    with pytest.raises(LightcheckError, match=words) as refusal:
        bracket.response(change(bracketed((1, 0.4))))
    assert refusal.value.remedy
