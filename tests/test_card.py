"""Cards in made-up photos: found where they are, or refused with the right reason."""

import math
from dataclasses import replace
from functools import lru_cache

import cv2
import numpy as np
import pytest

from lightcheck import card
from lightcheck import specimen as sp
from lightcheck.card import markers as mk
from lightcheck.errors import LightcheckError
from lightcheck.photo import CameraFacts, Photo


def as_photo(picture: np.ndarray) -> Photo:
    shape = picture.shape[:2]
    return Photo(
        name="bench.jpg", sha256="", coded=np.ascontiguousarray(picture),
        light=np.zeros(shape, np.float32), spoilt=np.zeros(shape, bool), facts=CameraFacts(),
    )  # fmt: skip


@lru_cache(maxsize=4)
def taken(seed: int = 0, numbers: tuple[int, ...] = (), width_px: int = 2016):
    """A photo of a random board under its first lamp; with other card numbers if asked."""
    board = sp.random_board(seed)
    if numbers:
        cards = tuple((n, *c[1:]) for n, c in zip(numbers, board.cards, strict=True))
        board = replace(board, cards=cards)
    phone = sp.Phone(width_px=width_px, height_px=width_px * 3 // 4)
    light = sp.arrange("pair", seed=seed)[0]
    picture, pose = sp.photograph(board, light, phone, seed=seed)
    return picture, pose, phone, board


@lru_cache(maxsize=1)
def bare():
    """Wood and no card."""
    board = replace(sp.random_board(1), cards=())
    return sp.photograph(board, sp.arrange("pair", seed=1)[0], sp.Phone(), seed=1)[0]


def shrunk(picture, share):
    return cv2.resize(picture, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)


def reason(picture) -> LightcheckError:
    with pytest.raises(LightcheckError) as refusal:
        card.find(as_photo(picture))
    assert "bench.jpg" in refusal.value.problem and refusal.value.remedy
    return refusal.value


# --- found ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("numbers", "width_px"),
    [((0, 1, 2, 3), 2016), ((4, 9, 12, 19), 4032), ((20, 25, 30, 34), 3000)],
)
def test_corners_are_where_they_were_put(numbers, width_px):
    """Against the projection of the true corners, which shares no code with the finding."""
    picture, pose, phone, board = taken(2, numbers, width_px)
    sightings = card.find(as_photo(picture))
    assert [s.card for s in sightings] == sorted(numbers)
    for seen in sightings:
        assert len(seen.corners_px) == 8
        true = pose.project(phone, board.on_card_mm(seen.card, seen.corners_mm))
        off = seen.corners_px - true
        assert np.sqrt((off**2).sum(axis=1).mean()) < 0.25
        assert abs(off.mean(axis=0)).max() < 0.12


@pytest.mark.parametrize("seed", [0, 1])
def test_small_cards_of_18_px_markers_are_all_found(seed):
    """0.41 mm per pixel: the markers of small cards are 18 px wide."""
    numbers = (20, 24, 27, 34)
    picture, *_ = taken(seed, numbers)
    sightings = card.find(as_photo(picture))
    assert tuple(s.card for s in sightings) == numbers
    assert min(len(s.corners_px) for s in sightings) >= 6


def test_the_picture_upside_down_gives_the_same_corners():
    picture, *_ = taken()
    upright = card.find(as_photo(picture))
    turned = card.find(as_photo(picture[::-1, ::-1]))
    for a, b in zip(upright, turned, strict=True):
        back = np.array(picture.shape[1::-1]) - 1 - b.corners_px
        by_place = {tuple(np.round(mm, 3)): px for mm, px in zip(b.corners_mm, back, strict=True)}
        for mm, px in zip(a.corners_mm, a.corners_px, strict=True):
            assert np.linalg.norm(by_place[tuple(np.round(mm, 3))] - px) < 0.05


def test_cards_are_read_on_a_barrel():
    board = replace(sp.random_board(3, radius_mm=300.0), depth_mm=420.0)
    light = sp.Light(place_mm=(-900.0, 0.0, 300.0))
    picture, _ = sp.photograph(board, light, sp.Phone(), seed=3)
    assert len(card.find(as_photo(picture))) == 4


# --- refused --------------------------------------------------------------------------------------


def test_none_in_sight():
    refusal = reason(bare())
    assert "there is none in sight" in refusal.problem
    assert refusal.picture.dtype == np.uint8 and refusal.picture.ndim == 3


@pytest.mark.parametrize("share", [0.2, 0.15])
def test_too_small(share):
    assert "too small" in reason(shrunk(taken()[0], share)).problem


@pytest.mark.parametrize("sigma_px", [4, 6, 12])
def test_blurred(sigma_px):
    assert "blurred" in reason(cv2.GaussianBlur(taken()[0], (0, 0), sigma_px)).problem


@pytest.mark.parametrize("share", [0.08, 0.04])
def test_dark(share):
    assert "too dark" in reason((taken()[0] * share).astype(np.uint8)).problem


@pytest.mark.parametrize("flip", [(slice(None), slice(None, None, -1)), (slice(None, None, -1),)])
def test_mirrored(flip):
    assert "mirrored" in reason(taken()[0][flip]).problem


def test_cut_off():
    """Cropped so that each card that is left is cut through its middle."""
    picture, pose, phone, board = taken()
    middles = np.array([pose.project(phone, board.on_card_mm(c[0], [(0, 0)]))[0] for c in board.cards])
    low = np.sort(middles, axis=0)[1].astype(int) + 15  # the inner of the two on each side
    high = np.sort(middles, axis=0)[2].astype(int) - 15
    cut = picture[low[1] : high[1], low[0] : high[0]]
    assert "cut off" in reason(cut).problem


def test_the_same_card_twice():
    picture, *_ = taken(0, (5, 6, 7, 5))
    with pytest.raises(LightcheckError, match="card 5 twice"):
        card.find(as_photo(picture))


def test_several_photos_at_once_are_read_as_one_by_one():
    both = tuple(as_photo(taken(seed)[0]) for seed in (0, 1))
    for photo, together in zip(both, card.find_all(both), strict=True):
        for alone, seen in zip(card.find(photo), together, strict=True):
            assert alone.card == seen.card
            np.testing.assert_array_equal(alone.corners_px, seen.corners_px)


def test_of_several_photos_the_first_bad_one_is_refused():
    sound, empty, twice = taken()[0], np.full((1512, 2016, 3), 128, np.uint8), taken(0, (5, 6, 7, 5))[0]
    with pytest.raises(LightcheckError, match="twice"):
        card.find_all(tuple(as_photo(p) for p in (sound, twice, empty)))


# --- misread markers ------------------------------------------------------------------------------


def marker(number: int, x: float, y: float, side: float = 40.0, turn: float = 0.0) -> mk.Marker:
    square = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * side / 2
    c, s = math.cos(turn), math.sin(turn)
    outline = (square @ np.array([(c, s), (-s, c)]) + (x, y)).astype(np.float32)
    return mk.Marker(number=number, outline_px=outline)


def test_two_markers_misread_from_the_wood_are_no_card():
    stray = (marker(70, 100, 100), marker(72, 900, 700, turn=1.0))
    assert mk.groups(stray, 10) == []


def test_markers_at_odds_with_each_other_are_no_card():
    """In the right places, but one turned as no printed card has it."""
    true = [o[:, :2] for o in card.board(10).getObjPoints()]
    right = mk.Marker(number=70, outline_px=(true[0] * 3 + 200).astype(np.float32))
    turned = mk.Marker(number=71, outline_px=np.roll(true[1] * 3 + 200, 1, axis=0).astype(np.float32))
    upright = mk.Marker(number=71, outline_px=(true[1] * 3 + 200).astype(np.float32))
    assert mk.groups((right, turned), 10) == []
    assert len(mk.groups((right, upright), 10)) == 1


def test_a_stray_marker_does_not_spoil_its_card():
    picture, *_ = taken()
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    found = [m for m in mk.read(grey) if m.card == 0]
    stray = marker(3, 1000, 750, side=found[0].side_px)
    (group,) = mk.groups((stray, *found), 0)
    assert len(group) == 7 and stray not in group
