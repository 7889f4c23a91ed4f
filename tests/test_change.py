"""One pass against the next: where the wood lies, what changed, what became of each spot.

Made-up stored maps with every change known; places are checked against scikit-image and closed forms.
"""

from dataclasses import replace
from functools import lru_cache

import made_passes as made
import numpy as np
import pytest
from scipy.ndimage import map_coordinates
from skimage.registration import phase_cross_correlation
from skimage.transform import EuclideanTransform

from lightcheck import change
from lightcheck.change import Hung, State
from lightcheck.change.agree import most
from lightcheck.change.level import on_sheet
from lightcheck.change.mirror import mirror
from lightcheck.change.start import by_cards
from lightcheck.change.states import state_of
from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen

BEFORE = ((-150.0, 60.0, 0.6), (60.0, -80.0, 0.4), (140.0, 70.0, -0.3), (-40.0, 20.0, 0.5))
AFTER = ((-150.0, 60.0, 0.21), (60.0, -80.0, -0.12), (140.0, 70.0, -0.3), (-40.0, 20.0, 0.5))
NEW = (-150.0, -60.0, -0.3)
PLANED = ((-150.0, 60.0), (60.0, -80.0), (-150.0, -60.0))


@lru_cache(maxsize=8)
def look(seed=3, planed=(), all_of_it=False):
    return made.wood(seed, planed=planed, all_of_it=all_of_it)


@lru_cache(maxsize=1)
def before():
    return made.stored(made.Board(bells=BEFORE, wood=look()), folder="pass-1", seed=1)


def after(*, cards=None, wood=None, bells=(*AFTER, NEW), turn_deg=4.0, shift_mm=(7.0, -5.0), seed=2):
    board = made.Board(
        bells=bells,
        wood=look(planed=PLANED) if wood is None else wood,
        cards=made.card_moves(1) if cards is None else cards,
    )
    return made.stored(board, turn_deg=turn_deg, shift_mm=shift_mm, folder="pass-2", seed=seed)


@lru_cache(maxsize=1)
def plain():
    return after()


@lru_cache(maxsize=1)
def usual():
    return change.compare(before(), plain())


def off_mm(lie, turn_deg, shift_mm):
    """Worst error of a registration over the wood."""
    x, y = np.meshgrid(np.linspace(-250, 250, 9), np.linspace(-160, 160, 7))
    true = made.to_map(x, y, np.radians(turn_deg), shift_mm)
    return float(np.hypot(*(np.array(lie.to_after_mm(x, y)) - np.array(true))).max())


# --- where the wood lies ---------------------------------------------------------------------------


def test_cards_put_back_elsewhere_do_not_matter():
    lie = usual().registration
    assert lie.hung is Hung.WOOD
    assert off_mm(lie, 4.0, (7.0, -5.0)) < 0.3
    assert lie.sigma_mm < 1.0
    assert lie.chance > 0.99
    assert lie.agreeing > 3 * lie.by_accident


@pytest.mark.parametrize(
    ("cards", "turn_deg"),
    [
        (made.CARDS, 0.0),  # left where they were
        (tuple((n + 5, *rest) for n, *rest in made.card_moves(2)), 151.0),  # others, phone the other way up
        (tuple(((n + 2) % 4, *rest) for n, *rest in made.card_moves(2)), 5.0),  # in each other's places
        (made.card_moves(4)[:1], -9.0),  # only one of them
    ],
)
def test_any_cards_will_do_where_wood_stayed(cards, turn_deg):
    lie = change.register(before(), after(cards=cards, turn_deg=turn_deg))
    assert lie.hung is Hung.WOOD
    assert off_mm(lie, turn_deg, (7.0, -5.0)) < 0.3


def test_a_shift_is_the_one_that_scikit_image_finds():
    moved = after(turn_deg=0.0, shift_mm=(8.0, -4.0), cards=made.card_moves(5))
    lie = change.register(before(), moved)
    old, new = before(), moved
    assert old.grid.shape == new.grid.shape
    # both sheets as pictures; their frames' own shift is taken off by their first cells
    cut, _, _ = phase_cross_correlation(old.wood.astype(float), new.wood.astype(float), upsample_factor=20)
    cell = old.wood_grid.cell_mm
    shift = np.array([new.grid.x0_mm - old.grid.x0_mm, new.grid.y0_mm - old.grid.y0_mm]) - cut[::-1] * cell
    np.testing.assert_allclose(lie.to_after_mm(0.0, 0.0), shift, atol=0.3)


def test_places_go_there_and_back():
    lie = usual().registration
    x, y = np.array([-200.0, 10.0, 150.0]), np.array([90.0, -20.0, -110.0])
    np.testing.assert_allclose(lie.to_before_mm(*lie.to_after_mm(x, y)), (x, y), atol=1e-9)


def test_the_start_by_cards_is_the_euclidean_fit_of_scikit_image():
    new = after(cards=made.card_moves(6))
    places = [np.array([[c.x_mm, c.y_mm] for c in m.cards]) for m in (before(), new)]
    fit = EuclideanTransform.from_estimate(*places)
    mine = by_cards(before(), new)
    assert mine.turn_rad == pytest.approx(fit.rotation, abs=1e-9)
    np.testing.assert_allclose(mine.shift_mm, fit.translation, atol=1e-6)


def test_squares_that_disagree_do_not_pull():
    rng = np.random.default_rng(4)
    at = rng.uniform(-250, 250, (80, 2))
    offset = np.array([1.2, -0.7]) + 0.004 * np.stack([-at[:, 1], at[:, 0]], axis=1)
    offset += rng.normal(0, 0.1, offset.shape)
    wild = rng.choice(80, 45, replace=False)
    offset[wild] = rng.uniform(-8, 8, (45, 2))
    offset[wild[:10]] = np.nan
    found = most(at, offset, middle_mm=(0.0, 0.0), within_mm=1.0)
    assert found.shift_mm == pytest.approx([1.2, -0.7], abs=0.15)
    assert found.turn_rad == pytest.approx(0.004, abs=5e-4)
    assert found.agree[np.setdiff1d(np.arange(80), wild)].all()


def test_wood_planed_all_over_hangs_on_two_cards_left_on():
    cards = (*made.CARDS[:2], *made.card_moves(3)[2:])
    result = change.compare(before(), after(cards=cards, wood=look(all_of_it=True)))
    lie = result.registration
    assert lie.hung is Hung.CARDS
    assert lie.cards == (0, 1)
    assert off_mm(lie, 4.0, (7.0, -5.0)) < 0.5
    assert any("cards 0 and 1" in w for w in result.warnings)


@pytest.mark.parametrize(
    "wood", [{"all_of_it": True}, {"seed": 44}], ids=["planed all over", "another piece of wood"]
)
def test_where_nothing_is_sure_it_is_refused(wood):
    with pytest.raises(LightcheckError, match="not found in pass-2 surely") as refusal:
        change.compare(before(), after(wood=look(**wood)))
    assert "two cards on" in refusal.value.remedy
    assert "awl" in refusal.value.remedy


# --- what changed ----------------------------------------------------------------------------------


def test_states_and_changes_of_all_spots():
    rows = {r.spot: r for r in usual().spots}
    assert [r.state for r in rows.values()] == [
        State.DOWN, State.CUT_TOO_FAR, State.SAME, State.SAME, State.NEW,
    ]  # fmt: skip
    for row, true in zip(rows.values(), (-0.39, -0.52, 0.0, 0.0, -0.3), strict=True):
        assert row.change_mm == pytest.approx(true, abs=0.06)
        assert row.change_mm == pytest.approx(row.after_mm - row.before_mm, abs=1e-9)
        assert row.noise == (true == 0.0)
    assert (rows[5].kind, rows[5].after_spot) == ("hollow", 5)
    assert (rows[5].x_mm, rows[5].y_mm) == pytest.approx(NEW[:2], abs=0.5)


def test_sigma_of_a_change_is_honest():
    scores = []
    for seed in range(4):
        old = made.stored(made.Board(bells=BEFORE, wood=look()), folder="a", seed=10 + seed)
        result = change.compare(old, after(seed=30 + seed, cards=made.card_moves(seed)))
        true = dict(enumerate((-0.39, -0.52, 0.0, 0.0, -0.3), start=1))
        scores += [(r.change_mm - true[r.spot]) / r.sigma_mm for r in result.spots]
    assert 0.5 < np.sqrt(np.mean(np.square(scores))) < 1.6


def test_a_fair_shape_that_differs_as_a_whole_is_levelled_out():
    new = plain()
    x, y = new.grid.mesh_mm()
    bow = 0.2 + 0.3 * (x / 290) ** 2 - 0.2 * x * y / 290 / 200 + 0.1 * y / 200
    bowed = replace(
        new, height_mm=frozen(new.height_mm + bow), draws_mm=frozen(new.draws_mm + bow, np.float32)
    )
    got = change.compare(before(), bowed).change_mm
    np.testing.assert_allclose(got, usual().change_mm, atol=5e-3)


def test_a_map_against_itself_has_not_changed():
    result = change.compare(before(), before())
    assert np.nanmax(np.abs(result.change_mm)) < 1e-3
    assert {r.state for r in result.spots} == {State.SAME}
    assert result.stayed == 1.0
    assert any("same photo" in w for w in result.warnings)


def test_heights_are_laid_over_as_scipy_does():
    lie, new = usual().registration, plain()
    rows, columns = new.grid.index(*lie.to_after_mm(*before().grid.mesh_mm()))
    filled = np.nan_to_num(new.height_mm)
    want = map_coordinates(filled, [rows, columns], order=1, mode="constant")
    got = on_sheet(filled, new.grid, before().grid, lie)
    inside = np.isfinite(got) & np.isfinite(usual().change_mm)
    np.testing.assert_allclose(got[inside], want[inside], atol=2e-3)  # OpenCV steps in 1/32 of a cell


def test_a_spot_under_a_card_is_left_blank():
    covered = ((0, -150.0, 62.0, 0.0), *made.card_moves(1)[1:])
    row = change.compare(before(), after(cards=covered)).spots[0]
    assert row.state is State.UNSEEN
    assert np.isnan(row.after_mm)
    assert np.isnan(row.change_mm)
    assert row.before_mm == pytest.approx(0.6, abs=0.06)


def test_what_the_second_list_alone_holds_without_change_is_told_and_not_called_new():
    small = (*BEFORE, (-120.0, -90.0, 0.09))
    old = made.stored(made.Board(bells=small, wood=look()), folder="a", seed=1)
    new = after(bells=(*AFTER, (-120.0, -90.0, 0.105)))
    result = change.compare(old, new)
    assert State.NEW not in {r.state for r in result.spots}
    assert any("is not new" in w for w in result.warnings)


@pytest.mark.parametrize(
    ("was", "now", "state"),
    [
        (0.5, 0.09, State.GONE),
        (0.5, -0.09, State.GONE),
        (0.5, -0.1, State.CUT_TOO_FAR),
        (-0.5, 0.2, State.CUT_TOO_FAR),
        (0.5, 0.3, State.DOWN),
        (-0.2, -0.5, State.DOWN),
        (0.3, 0.5, State.UP),
        (0.5, 0.45, State.SAME),
        (0.5, np.nan, State.UNSEEN),
    ],
)
def test_states_are_as_they_are_defined(was, now, state):
    got = state_of(before_mm=was, after_mm=now, change_mm=now - was, sigma_mm=0.04, least_mm=0.1)
    assert got is state


def test_the_least_height_decides_what_is_gone():
    assert change.compare(before(), plain(), least_mm=0.25).spots[0].state is State.GONE


# --- port against starboard ------------------------------------------------------------------------


def other_side(*, moves_mm=1.5, numbers=0, seed=3):
    cards = tuple(
        (n + numbers, -x, y, np.pi - t)
        for n, x, y, t in made.card_moves(seed, move_mm=moves_mm, turn_deg=1.0)
    )
    bells = tuple((-x, y, top) for x, y, top in (*AFTER, NEW))
    board = made.Board(bells=bells, wood=look(44), cards=cards)
    return made.stored(board, turn_deg=-3.0, folder="starboard", seed=5)


@pytest.mark.parametrize("numbers", [0, 4], ids=["same cards", "other cards"])
def test_the_other_side_is_compared_in_the_mirror(numbers):
    result = change.compare(before(), other_side(numbers=numbers), mirror=True)
    assert result.registration.hung is Hung.MIRRORED
    for row, true in zip(result.spots, (-0.39, -0.52, 0.0, 0.0, -0.3), strict=True):
        assert row.change_mm == pytest.approx(true, abs=0.08)


def test_a_mirror_image_of_the_mirror_image_is_the_map_itself():
    twice = mirror(mirror(before()))
    np.testing.assert_array_equal(twice.height_mm, before().height_mm)
    assert twice.grid.x0_mm == pytest.approx(before().grid.x0_mm)
    assert [(s.x_mm, s.y_mm) for s in twice.spots] == [(s.x_mm, s.y_mm) for s in before().spots]
    result = change.compare(before(), mirror(before()), mirror=True)
    assert np.nanmax(np.abs(result.change_mm)) < 1e-3


def test_cards_that_do_not_lie_mirrored_are_refused():
    with pytest.raises(LightcheckError, match="mirror would show") as refusal:
        change.compare(before(), other_side(moves_mm=60.0), mirror=True)
    assert "centreline" in refusal.value.remedy


# --- refusals and all passes -----------------------------------------------------------------------


def test_too_little_wood_in_both_is_refused():
    old = before()
    x, _ = old.grid.mesh_mm()
    narrow = replace(old, height_mm=frozen(np.where(x < -240, old.height_mm, np.nan)))
    new = plain()
    x, _ = new.grid.mesh_mm()
    new = replace(new, height_mm=frozen(np.where(x > 0, new.height_mm, np.nan)))
    with pytest.raises(LightcheckError, match="of the wood in pass-1 is in pass-2"):
        change.compare(narrow, new)


def test_a_least_height_of_nothing_is_refused():
    with pytest.raises(LightcheckError, match="least height"):
        change.compare(before(), plain(), least_mm=0.0)


def test_area_beyond_the_tolerance_is_that_of_a_bell():
    """A bell of height h stands over t on an area of 2 pi sigma^2 ln(h / t)."""
    maps = []
    for top in (0.8, 0.4):
        board = made.Board(bells=((0.0, 0.0, top),), wood=look())
        maps.append(made.stored(board, noise_mm=1e-6, folder=f"pass-{top}"))
    drawn = change.curve(maps, tolerance_mm=0.2)
    for one, top in zip(drawn.passes, (0.8, 0.4), strict=True):
        assert one.area_mm2 == pytest.approx(2 * np.pi * made.BELL_MM**2 * np.log(top / 0.2), rel=0.03)
        assert one.worst_mm == pytest.approx(top, rel=0.01)
        # the mean height of a bell is its volume over the area that was seen
        seen = np.isfinite(maps[0].height_mm).sum() * made.CELL_MM**2
        assert one.mean_mm == pytest.approx(2 * np.pi * made.BELL_MM**2 * top / seen, rel=0.01)


def test_a_curve_of_no_pass_or_no_tolerance_is_refused():
    with pytest.raises(LightcheckError, match="no pass"):
        change.curve([])
    with pytest.raises(LightcheckError, match="tolerance"):
        change.curve([before()], tolerance_mm=-0.1)
