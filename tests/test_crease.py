"""The fair surface does not cross a crease, and leaves everything as it was where there is none."""

from types import SimpleNamespace

import numpy as np
import pytest
from laid import bump, relief_of

from lightcheck import crease, fair
from lightcheck.crease import Crease, Creases, Flat
from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid

SHEET = Grid.over((-240.0, 240.0), (-150.0, 150.0), cell_mm=10.0)
X, Y = SHEET.mesh_mm()
LONGEST = (400.0, 400.0)
LEAST_MM = 0.1  # height that counts: what is off by less makes no spot
HUMPS = bump(-100, 60, 0.5, 30, 25, grid=SHEET) + bump(90, -80, -0.4, 35, grid=SHEET)


def off(z_mm, creases, humps=HUMPS):
    """Heights less the true ones."""
    found = fair.surface(relief_of(z_mm + humps, grid=SHEET), longest_mm=LONGEST, creases=creases)
    return found.height_mm - humps


def line(*places, dies_out=False):
    return Crease(at_mm=np.array(places, float), dies_out=dies_out)


@pytest.mark.parametrize("no_crease", [None, Creases()])
def test_without_creases_nothing_changes_by_a_bit(no_crease):
    relief = relief_of(HUMPS + X**2 / 9000, grid=SHEET, noise_mm=0.02)
    plain = fair.surface(relief, longest_mm=LONGEST)
    again = fair.surface(relief, longest_mm=LONGEST, creases=no_crease)
    for name in plain.__slots__:
        np.testing.assert_array_equal(getattr(plain, name), getattr(again, name))


@pytest.mark.parametrize("turn_deg", [0, 17, 90])
def test_humps_beside_a_chine_are_read_as_on_a_flat(turn_deg):
    """Two planes that meet at 10 degrees: a fair surface across them would be some mm off."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    away = Y * c - X * s - 5
    chine = -np.tan(np.radians(5)) * np.abs(away)
    foot = np.array([-5 * s, 5 * c])
    along = np.array([c, s])
    creases = Creases(lines=(line(foot - 150 * along, foot + 120 * along),))
    assert np.abs(off(chine, creases)).max() < LEAST_MM
    assert np.abs(off(chine, None)).max() > 1.0


def test_the_sides_of_a_chine_may_be_round():
    creases = Creases(lines=(line((-240, 5), (240, 5)),))
    assert np.abs(off(-0.1 * np.abs(Y - 5) - X**2 / 4000, creases)).max() < LEAST_MM


def test_a_crease_that_dies_into_round():
    """The break fades to nothing half way: beyond its end the surface is fair across the line."""
    fading = np.clip(1 - (X + 240) / 300, 0, 1)
    z = -0.1 * np.abs(Y - 5) * fading
    creases = Creases(lines=(line((-240, 5), (60, 5), dies_out=True),))
    rest = off(z, creases)
    assert np.sqrt((rest**2).mean()) < 0.05
    assert np.abs(rest[X > 100]).max() < LEAST_MM
    assert np.sqrt((off(z, None) ** 2).mean()) > 0.5


def test_past_its_end_a_crease_cuts_nothing():
    mesh = np.meshgrid(np.arange(-100.0, 101, 10), np.arange(-50.0, 51, 10))
    level, upright = crease.cuts(Creases(lines=(line((-80, 5), (0, 5), dies_out=True),)), mesh)
    columns = upright[mesh[1][0:1, 0].size - 1 :, :].any(axis=0)
    assert not level.any()
    np.testing.assert_array_equal(columns, mesh[0][0] <= 0)
    _, on = crease.cuts(Creases(lines=(line((-80, 5), (0, 5)),)), mesh)
    assert on.any(axis=0).all()


def test_windows_that_a_crease_runs_through_are_left_out():
    """Against going over every window and looking at its links one by one."""
    rng = np.random.default_rng(2)
    level, upright = rng.random((6, 7)) < 0.15, rng.random((5, 8)) < 0.15
    for tall, wide in ((1, 4), (4, 1), (2, 3), (3, 2)):
        whole = crease.whole((level, upright), (tall, wide))
        for row in range(6 - tall + 1):
            for column in range(8 - wide + 1):
                links = [
                    level[r, c] for r in range(row, row + tall) for c in range(column, column + wide - 1)
                ]
                links += [
                    upright[r, c] for r in range(row, row + tall - 1) for c in range(column, column + wide)
                ]
                assert whole[row, column] == (not any(links))


# --- flats --------------------------------------------------------------------------------------------

KEEL = -(np.clip(np.abs(Y) - 45, 0, None) ** 2) / 1600  # a flat of 90 mm between two rounds
RING = np.array([(-400, -45), (400, -45), (400, 45), (-400, 45)], float)
ON = np.abs(Y) < 45


def test_a_dish_across_the_whole_of_a_flat_shows():
    """It has the shape of a round, which is fair; a flat meant to be flat shows it for what it is."""
    dish = -0.3 * (1 - (Y / 45) ** 2) * ON * np.exp(-((X / 70) ** 2))
    flat = Creases(flats=(Flat(outline_mm=RING),))
    assert np.abs(off(KEEL, flat, dish)[ON]).max() < LEAST_MM
    assert np.abs(off(KEEL, None, dish)[ON]).max() > 2 * LEAST_MM


def test_a_bevel_is_straight_across_and_may_be_round_along():
    bow = -(X**2) / 9000
    across = Creases(flats=(Flat(outline_mm=RING, across_rad=np.pi / 2),))
    rest = off(KEEL + bow, across, 0 * X)
    assert np.ptp(rest[ON]) < LEAST_MM
    flat = off(KEEL + bow, Creases(flats=(Flat(outline_mm=RING),)), 0 * X)
    assert np.ptp(flat[ON]) > 3.0  # 6.4 mm of round along, which a flat is not


# --- from map to map ------------------------------------------------------------------------------------


def cards(*places):
    return tuple(SimpleNamespace(card=n, x_mm=x, y_mm=y) for n, (x, y) in enumerate(places))


PLACES = ((-200.0, -100.0), (210.0, -90.0), (190.0, 120.0))
WAS = tuple((n, x, y) for n, (x, y) in enumerate(PLACES))


def test_creases_go_with_the_cards():
    """Turned by 90 degrees and shifted: (x, y) becomes (10 - y, x - 20)."""
    marked = Creases(
        lines=(line((0, 0), (100, 30), dies_out=True),),
        flats=(Flat(outline_mm=RING, across_rad=0.2),),
        cards=WAS,
    )
    moved = marked.on(cards(*((10 - y, x - 20) for x, y in PLACES)))
    np.testing.assert_allclose(moved.lines[0].at_mm, [(10, -20), (-20, 80)], atol=1e-9)
    assert moved.lines[0].dies_out
    assert moved.flats[0].across_rad == pytest.approx(0.2 + np.pi / 2)
    assert marked.on(cards(*PLACES)).lines[0].at_mm == pytest.approx(marked.lines[0].at_mm)


def test_a_map_with_other_cards_is_refused():
    marked = Creases(lines=(line((0, 0), (100, 30)),), cards=WAS)
    with pytest.raises(LightcheckError, match="a card lies 41 mm from where it lay"):
        marked.on(cards((-200.0, -100.0), (210.0, -90.0), (190.0, 190.0)))
    with pytest.raises(LightcheckError, match="fewer than two"):
        marked.on(cards((-200.0, -100.0)))
