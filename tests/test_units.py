"""Lengths as typed, fractions as told. 1 in = 25.4 mm exactly, so 1/64 in = 0.396875 mm."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightcheck.errors import LightcheckError
from lightcheck.units import height_words, inch_fraction, length_mm


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("900mm", 900.0),
        ("90 cm", 900.0),
        ("0.9m", 900.0),
        ("3/8in", 9.525),
        ("1-1/2in", 38.1),
        ("1 1/2 in", 38.1),
        ('1/64"', 0.396875),
        ("15 thou", 0.381),
        ("3ft", 914.4),
        ("-2.5mm", -2.5),
        ("400MM", 400.0),
    ],
)
def test_typed_lengths(typed, mm):
    assert length_mm(typed) == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize("typed", ["12", "3/8", "0.4"])
def test_a_bare_number_is_refused_with_both_ways_out(typed):
    with pytest.raises(LightcheckError, match="has no unit") as refusal:
        length_mm(typed)
    assert f"{typed}mm" in refusal.value.remedy and f"{typed}in" in refusal.value.remedy


@pytest.mark.parametrize(
    "typed",
    ["", "mm", "tall", "5 furlong", "1/0in", "1.2.3mm", "1-2-3in", "5" * 70 + "mm", "nanmm"],
)
def test_what_is_no_length_is_refused(typed):
    with pytest.raises(LightcheckError):
        length_mm(typed)


@pytest.mark.parametrize(
    ("mm", "words"),
    [
        (0.397, "1/64 in"),
        (0.794, "1/32 in"),
        (9.525, "3/8 in"),
        (25.4, "1 in"),
        (34.925, "1-3/8 in"),
        (-0.397, "1/64 in"),
        (0.20, "1/64 in"),
        (0.15, "<1/64 in"),
        (0.0, "<1/64 in"),
    ],
)
def test_fractions(mm, words):
    assert inch_fraction(mm) == words


@pytest.mark.parametrize(
    ("sigma_mm", "words"),
    [(0.05, "1/64 in"), (0.5, "1/32 in"), (1.0, "<1/16 in"), (9.0, "<1/2 in")],
)
def test_fractions_are_never_finer_than_sigma(sigma_mm, words):
    assert inch_fraction(0.5, sigma_mm=sigma_mm) == words


@given(st.floats(-500, 500), st.floats(0, 5))
def test_a_fraction_is_never_zero_and_within_half_its_step(mm, sigma_mm):
    words = inch_fraction(mm, sigma_mm=sigma_mm)
    assert not words.startswith("0")
    step = next(s for s in (1 / 64, 1 / 32, 1 / 16, 1 / 8, 1 / 4, 1 / 2) if s * 25.4 >= sigma_mm)
    told = 0.0 if words.startswith("<") else length_mm(words.replace(" in", "in"))
    assert abs(told - abs(mm)) <= step * 25.4 / 2 + 1e-9


def test_height_in_words():
    assert height_words(0.42, sigma_mm=0.05) == ("high by 0.42 mm, about 1/64 in, give or take 0.05")
    assert height_words(-0.12, sigma_mm=0.02) == "low by 0.12 mm, <1/64 in, give or take 0.02"
