"""Spots on heights that are known: found once, measured, told in words, and no tool marks among them."""

from dataclasses import replace

import numpy as np
import pytest
from laid import CARDS, SHEET, as_it_stands, bump, patch_of, relief_of

from lightcheck import fair, spots
from lightcheck.errors import Doubt
from lightcheck.grid import Grid

X, Y = SHEET.mesh_mm()
FINE = Grid.over((-240.0, 240.0), (-150.0, 150.0), cell_mm=2.0)
HALF_HEIGHT = 2 * np.sqrt(2 * np.log(2))  # width of a Gaussian at half height, in sigmas: 2.355


def found(z_mm, *, grid=SHEET, least_mm=0.1, noise_mm=0.01, **about):
    """Spots of heights over a level fair surface."""
    relief = relief_of(z_mm, grid=grid, noise_mm=noise_mm, number=64)
    return spots.find(patch_of(grid, **about), relief, as_it_stands(relief), least_mm=least_mm)


# --- measured -------------------------------------------------------------------------------------


@pytest.mark.parametrize("top", [0.4, -0.25])
@pytest.mark.parametrize(
    ("long", "short", "turn_deg"), [(30, 30, 0), (50, 25, 30), (60, 28, 120), (45, 20, 90), (55, 30, 170)]
)
def test_height_extent_and_turn_of_a_gaussian(top, long, short, turn_deg):
    (spot,) = found(bump(20, -10, top, long, short, np.radians(turn_deg)))
    assert spot.number == 1 and spot.kind == ("hump" if top > 0 else "hollow")
    assert spot.height_mm == pytest.approx(top, rel=0.02)
    assert np.hypot(spot.x_mm - 20, spot.y_mm + 10) <= 5
    assert spot.length_mm == pytest.approx(HALF_HEIGHT * long, rel=0.10)
    assert spot.width_mm == pytest.approx(HALF_HEIGHT * short, rel=0.10)
    if long != short:
        off = (np.degrees(spot.turn_rad) - turn_deg + 90) % 180 - 90
        assert abs(off) < 3 and 0 <= spot.turn_rad < np.pi
    assert spot.chance == 1.0 and spot.doubts == ()


def test_the_outline_is_the_half_height_contour():
    (spot,) = found(bump(-40, 30, 0.5, 40, 25, 0.5))
    ring = spot.outline_mm - [spot.x_mm, spot.y_mm]
    c, s = np.cos(0.5), np.sin(0.5)
    along, across = ring @ [c, s], ring @ [-s, c]
    radius = np.hypot(along / 40, across / 25)
    assert np.allclose(radius, HALF_HEIGHT / 2, atol=0.25) and radius.mean() == pytest.approx(1.18, abs=0.06)


def test_wood_to_come_off_is_read_at_the_peak_and_a_hollow_has_none():
    relief = relief_of(bump(-90, 0, 0.4, 35) + bump(90, 0, -0.4, 35), number=16)
    surface = replace(as_it_stands(relief), come_off_mm=np.full(SHEET.shape, 0.3))
    listed = {s.kind: s for s in spots.find(patch_of(), relief, surface, least_mm=0.1)}
    assert listed["hump"].come_off_mm == pytest.approx(0.3)
    assert listed["hollow"].come_off_mm == 0.0


# --- counted --------------------------------------------------------------------------------------


@pytest.mark.parametrize("apart", [70, 90])
def test_bumps_that_run_into_each_other_are_two(apart):
    """Sigma 25 mm: between them the wood hardly dips, or dips to two thirds."""
    listed = found(bump(-apart / 2, 0, 0.4, 25) + bump(apart / 2, 0, 0.35, 25))
    assert [s.kind for s in listed] == ["hump", "hump"]
    assert sorted(s.x_mm for s in listed) == pytest.approx([-apart / 2, apart / 2], abs=8)
    assert all(s.length_mm < 90 for s in listed)


def test_a_hump_beside_a_hollow():
    listed = found(bump(-40, 0, 0.4, 30) + bump(40, 0, -0.3, 30))
    assert sorted((s.kind, round(s.x_mm, -1) // 40) for s in listed) == [("hollow", 1), ("hump", -1)]


@pytest.mark.parametrize("turn_deg", [0, 35])
def test_one_ridge_is_listed_once(turn_deg):
    (spot,) = found(bump(0, 0, 0.4, 70, 20, np.radians(turn_deg)))
    assert spot.length_mm == pytest.approx(HALF_HEIGHT * 70, rel=0.12)


def test_one_broad_hump_is_listed_once():
    assert len(found(bump(0, 0, 0.5, 75, 65))) == 1


def test_a_crowded_board_lists_each_once():
    at = [(-170, 90), (-60, 95), (60, -90), (170, 85), (-160, -80), (0, 5), (150, -70)]
    tops = [0.5, -0.3, 0.2, -0.6, 0.3, -0.25, 0.8]
    listed = found(sum(bump(*p, t, 24, 20, 0.7) for p, t in zip(at, tops, strict=True)))
    assert len(listed) == len(at)
    for (x, y), top in zip(at, tops, strict=True):
        (near,) = [s for s in listed if np.hypot(s.x_mm - x, s.y_mm - y) < 12]
        assert near.height_mm == pytest.approx(top, rel=0.05)
    heights = [abs(s.height_mm) for s in listed]
    assert heights == sorted(heights, reverse=True)
    assert [s.number for s in listed] == list(range(1, len(at) + 1))


def test_nothing_found_is_an_empty_tuple():
    assert found(0 * X) == ()
    assert found(bump(0, 0, 0.05, 40)) == ()  # half of what was asked for
    assert found(bump(0, 0, 0.3, 40), least_mm=0.8) == ()


# --- tool marks are no spots ----------------------------------------------------------------------


@pytest.mark.parametrize(("pitch", "cutter", "ridge"), [(2.0, 125.0, 0.008), (2.5, 125.0, 0.0125)])
def test_planer_ridges_are_no_humps(pitch, cutter, ridge):
    """Knife marks p^2 / (4 D) high, even where five times as high or on a coarse grid."""
    assert pitch**2 / (4 * cutter) == pytest.approx(ridge)
    for times in (1, 5):
        for grid in (SHEET, FINE):
            x, _ = grid.mesh_mm()
            off = (x * 1.003 + pitch / 2) % pitch - pitch / 2
            assert found(times * off**2 / cutter, grid=grid, noise_mm=0.02) == ()


def test_plane_tracks_are_no_humps():
    """Troughs 0.02 mm deep, 46 mm apart, as a cambered iron leaves them; also under doubt."""
    t = 2 * ((Y + 0.02 * X) % 46) / 46 - 1
    tracks = 0.02 * (t**2 - 2 / 3)
    for noise in (0.005, 0.03):
        assert found(tracks, noise_mm=noise) == ()


@pytest.mark.parametrize("grid", [SHEET, FINE], ids=["5 mm cells", "2 mm cells"])
@pytest.mark.parametrize("turn_deg", [0, 40])
def test_roughing_scallops_are_no_spots(grid, turn_deg):
    """0.3 mm deep, 20 mm apart, right across the board; a true hump among them is still found."""
    x, y = grid.mesh_mm()
    across = x * np.cos(np.radians(turn_deg)) + y * np.sin(np.radians(turn_deg))
    t = 2 * (across % 20) / 20 - 1
    scallops = 0.3 * (t**2 - 1 / 3)
    assert found(scallops, grid=grid, noise_mm=0.02) == ()
    (spot,) = found(scallops + bump(30, 20, 0.5, 45, grid=grid), grid=grid, noise_mm=0.02)
    assert spot.kind == "hump" and np.hypot(spot.x_mm - 30, spot.y_mm - 20) < 25


def test_tool_marks_come_through_the_fair_surface_as_none():
    t = 2 * ((Y + 0.02 * X) % 46) / 46 - 1
    relief = relief_of(-(Y**2) / 2800 + 0.02 * (t**2 - 2 / 3), noise_mm=0.01, number=8)
    surface = fair.surface(relief, longest_mm=(400.0, 400.0))
    assert spots.find(patch_of(), relief, surface, least_mm=0.1) == ()


# --- chance and sigma -----------------------------------------------------------------------------


@pytest.mark.parametrize(("draws_over", "chance"), [(64, 1.0), (48, 0.75), (20, 0.3125)])
def test_chance_is_the_share_of_draws_that_reach_the_least_height(draws_over, chance):
    """draws_over of 64 draws stand at 0.2 mm, the others at 0.08."""
    shape = bump(0, 0, 1.0, 40)
    tops = np.where(np.arange(64) < draws_over, 0.2, 0.08)
    relief = relief_of(shape * tops.mean(), number=64)
    surface = as_it_stands(relief, draws_mm=(tops[:, None, None] * shape).astype(np.float32))
    (spot,) = spots.find(patch_of(), relief, surface, least_mm=0.1)
    assert spot.chance == pytest.approx(chance)
    assert spot.sigma_mm == pytest.approx(max(tops.std(), fair.FLOOR_MM), rel=0.1)


def test_draws_of_the_other_sign_do_not_count():
    shape = bump(0, 0, 1.0, 40)
    tops = np.where(np.arange(64) < 32, 0.5, -0.2)
    relief = relief_of(shape * 0.15, number=64)
    surface = as_it_stands(relief, draws_mm=(tops[:, None, None] * shape).astype(np.float32))
    (spot,) = spots.find(patch_of(), relief, surface, least_mm=0.1)
    assert spot.kind == "hump" and spot.chance == pytest.approx(0.5)


def test_what_hardly_ever_shows_is_not_listed():
    shape = bump(0, 0, 1.0, 40)
    tops = np.where(np.arange(64) < 9, 0.4, 0.06)  # 0.14 of the draws
    relief = relief_of(shape * 0.11, number=64)
    surface = as_it_stands(relief, draws_mm=(tops[:, None, None] * shape).astype(np.float32))
    assert spots.find(patch_of(), relief, surface, least_mm=0.1) == ()


# --- doubts and words -----------------------------------------------------------------------------


def test_doubts():
    hump = bump(0, 0, 0.4, 35)
    (at_edge,) = found(bump(235, 0, 0.4, 35))
    assert at_edge.doubts == (Doubt.EDGE,)
    hole = np.hypot(X - 30, Y) > 12
    relief = relief_of(hump, seen=hole, noise_mm=0.01)
    (part,) = spots.find(patch_of(), relief, as_it_stands(relief), least_mm=0.1)
    assert part.doubts == (Doubt.PART,)
    relief = relief_of(hump, lamps=1, noise_mm=0.01)
    (grain,) = spots.find(patch_of(), relief, as_it_stands(relief), least_mm=0.1)
    assert grain.doubts == (Doubt.GRAIN,)
    relief = replace(relief_of(hump, noise_mm=0.01), shots_at=np.ones(SHEET.shape, int))
    (few,) = spots.find(patch_of(), relief, as_it_stands(relief), least_mm=0.1)
    assert few.doubts == (Doubt.FEW,)


@pytest.mark.parametrize(
    ("at", "words"),
    [
        ((-80.0, -180.0), "150 mm right of card 0, 40 below it"),
        ((150.0, 100.0), "80 mm left of card 2, 40 below it"),
        ((-232.0, 80.0), "60 mm straight below card 3"),
        ((170.0, -138.0), "60 mm straight left of card 1"),
        ((-200.0, 160.0), "30 mm right of card 3, 20 above it"),
    ],
)
def test_places_are_told_from_the_nearest_card(at, words):
    assert spots.in_words(*at, patch_of()) == words


def test_places_without_cards_are_told_from_the_middle():
    assert (
        spots.in_words(-40.0, 25.0, patch_of(cards=()))
        == "40 mm left of the middle of the photo, 25 above it"
    )


def test_a_spot_carries_its_words():
    (spot,) = found(bump(100, 60, 0.4, 35), cards=CARDS[2:3])
    assert spot.place == "130 mm left of card 2, 80 below it"
