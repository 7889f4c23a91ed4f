"""Bells that the prior on heights is gathered about: their slopes, and how they are found."""

import numpy as np
import pytest
from scipy.optimize import approx_fprime

from lightcheck.grid import Grid
from lightcheck.relief.bell import LEAST_MM, MOST_BELLS, NARROWEST_MM, WIDEST_MM, Bells, gather
from lightcheck.relief.cells import Cells

GRID = Grid.over((-240.0, 240.0), (-150.0, 150.0), cell_mm=12.0)
CELLS = Cells.of(GRID, np.ones(GRID.shape, bool))
AREA = (12.0 / 8.0) ** 2


def form(height, x, y, sigma_x, sigma_y, shear=0.0) -> np.ndarray:
    return np.array([height, x, y, -np.log(sigma_x), shear, -np.log(sigma_y)])


def bells(*forms) -> Bells:
    return Bells(form=np.array(forms), first=np.array(forms))


def settled(z: np.ndarray, rounds: int = 8) -> Bells:
    found = Bells.none()
    for _ in range(rounds):
        found = gather(found, CELLS, z, AREA)
    return found


def test_a_bell_is_a_gaussian():
    """Half its height at sigma sqrt(2 ln 2), as any table of the normal curve has it."""
    one = bells(form(0.4, 10.0, -20.0, 30.0, 50.0))
    half = np.sqrt(2 * np.log(2))
    at = one.height_mm(np.array([10.0, 10 + 30 * half, 10.0]), np.array([-20.0, -20.0, -20 + 50 * half]))
    assert at == pytest.approx([0.4, 0.2, 0.2])


@pytest.mark.parametrize("number", range(6))
def test_slopes_by_form_are_those_of_finite_differences(number):
    """Against scipy's differences."""
    start = form(0.3, -15.0, 25.0, 28.0, 40.0, 0.006)
    x, y = CELLS.place_mm
    at = np.array([100, 333, 480, 555])
    told = bells(start).by_form(x, y)[at, number]
    for told_there, cell in zip(told, at, strict=True):
        place = x[cell : cell + 1], y[cell : cell + 1]
        slope = approx_fprime(start, lambda f, p=place: bells(f).height_mm(*p)[0], 1e-6)[number]
        assert told_there == pytest.approx(slope, abs=2e-6 + 1e-4 * abs(slope))


def test_humps_and_hollows_get_a_bell_each():
    true = bells(form(0.6, -120.0, 30.0, 36.0, 36.0), form(-0.4, 80.0, -50.0, 24.0, 24.0))
    z = true.height_mm(*CELLS.place_mm)
    found = settled(z)
    for height, x, y in true.form[:, :3]:
        near = np.hypot(found.form[:, 1] - x, found.form[:, 2] - y) < 13
        assert np.sign(found.form[near, 0]).tolist() == [np.sign(height)]
        assert found.form[near, 0] == pytest.approx(height, rel=0.2)


def test_fair_wood_gets_none():
    """Plane tracks 0.02 mm deep and noise are no humps."""
    x, y = CELLS.place_mm
    tracks = 0.01 * np.cos(2 * np.pi * y / 46) + np.random.default_rng(3).normal(0, 0.005, len(x))
    assert not len(settled(tracks).form)


def test_a_bell_that_came_to_nothing_is_dropped():
    faint = bells(form(LEAST_MM / 4, 0.0, 0.0, 30.0, 30.0))
    assert not len(gather(faint, CELLS, np.zeros(CELLS.count), AREA).form)


def test_never_more_than_so_many():
    places = [(x, y) for x in range(-220, 240, 63) for y in range(-130, 150, 65)]
    assert len(places) > MOST_BELLS
    rough = bells(*(form(0.3, x, y, 16.0, 16.0) for x, y in places)).height_mm(*CELLS.place_mm)
    assert len(settled(rough, rounds=40).form) == MOST_BELLS


def test_a_step_does_not_carry_a_bell_away():
    moved = bells(form(0.4, 0.0, 0.0, 30.0, 30.0)).moved(np.full(6, 1e3))
    assert np.hypot(*moved.form[0, 1:3]) < 20
    for _ in range(50):
        moved = moved.moved(np.array([0, 0, 0, 1e3, 0, -1e3]))
    assert np.exp(-moved.form[0, [3, 5]]) == pytest.approx([NARROWEST_MM, WIDEST_MM])
    assert moved.first[0].tolist() == form(0.4, 0.0, 0.0, 30.0, 30.0).tolist()
