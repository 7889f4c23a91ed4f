"""The solve on photos of made-up boards: heights, honesty, and what must not change them."""

import io
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from PIL import Image
from scipy.interpolate import RegularGridInterpolator
from scoring import SMALL, score, taken

from lightcheck import fair, lamp, photo
from lightcheck import specimen as sp
from lightcheck.patch import lay, lay_out
from lightcheck.relief import solve

BOARD = sp.Board(
    humps=(
        sp.Hump(x_mm=-90.0, y_mm=20.0, height_mm=0.45, long_mm=45.0, short_mm=35.0, turn_rad=0.5),
        sp.Hump(x_mm=80.0, y_mm=-40.0, height_mm=-0.40, long_mm=35.0, short_mm=30.0, turn_rad=1.2),
        sp.Hump(x_mm=110.0, y_mm=90.0, height_mm=0.30, long_mm=30.0, short_mm=28.0),
    ),
    seed=6,
)
HUMPS = [(h.x_mm, h.y_mm, h.height_mm) for h in BOARD.humps]
COARSE_CELLS = 6000  # cells of 6-7 mm here, to be quick


@pytest.fixture(autouse=True, scope="module")
def coarse():
    with pytest.MonkeyPatch.context() as patching:
        patching.setattr(lay, "MOST_CELLS", COARSE_CELLS)
        yield


def mapped(photos, sightings, specs, *, seed=0):
    """(patch, relief, heights over the fair surface)."""
    patch = lay_out(list(photos), list(sightings))
    centres = {c.card: patch.base.points_mm(c.x_mm, c.y_mm) for c in patch.cards}
    lamps = tuple(
        lamp.place(lamp.read(s), centres_mm=centres, eye_mm=v.eye_mm)
        for s, v in zip(specs, patch.views, strict=True)
    )
    relief = solve(patch, lamps, seed=seed)
    return patch, relief, fair.surface(relief, longest_mm=(400.0, 400.0))


@lru_cache(maxsize=4)
def plain(arrangement: str):
    return mapped(*taken(BOARD, arrangement))


def scored(made):
    patch, _, surface = made
    return score(patch.grid, surface.height_mm, surface.sigma_mm, BOARD.height_mm, HUMPS)


def sigmas_apart(one, other) -> np.ndarray:
    """Heights of another map less those of one, over one's sigma, on one's grid."""
    grid = other[0].grid
    field = RegularGridInterpolator((grid.y_mm, grid.x_mm), other[2].height_mm, bounds_error=False)
    x, y = one[0].grid.mesh_mm()
    off = field(np.stack([y, x], axis=-1)) - one[2].height_mm
    apart = (off / one[2].sigma_mm)[np.isfinite(off)]
    assert len(apart) > 0.8 * np.isfinite(one[2].height_mm).sum()
    return apart


# --- heights --------------------------------------------------------------------------------------


def test_humps_under_an_opposed_pair():
    got = scored(plain("pair"))
    assert got.rms < 0.05
    assert np.median(got.humps) < 0.22 and got.humps.max() < 0.30


def test_humps_under_three_lamps():
    got = scored(plain("three"))
    assert got.rms < 0.045
    assert np.median(got.humps) < 0.06 and got.humps.max() < 0.12


@pytest.mark.parametrize("arrangement", ["pair", "three"])
def test_doubt_is_honest(arrangement):
    """Nine cells of ten within two sigma, and sigma not more than twice the real error."""
    got = scored(plain(arrangement))
    assert got.cover > 0.9
    assert got.sigma < 2 * got.rms


def test_more_lamps_make_it_surer():
    assert scored(plain("three")).sigma < 0.9 * scored(plain("pair")).sigma


def test_what_was_seen():
    patch, relief, _ = plain("pair")
    assert (relief.seen & patch.wood).sum() > 0.97 * patch.wood.sum()
    assert not relief.seen[~patch.wood].any()
    assert np.array_equal(np.isfinite(relief.z_mm), patch.inside)
    assert (relief.shots_at[relief.seen] == 2).all()


def test_lamps_come_back_with_their_doubt():
    """As far from where they stood as is claimed, and no wider than the words themselves."""
    for arrangement in ("pair", "three"):
        _, relief, _ = plain(arrangement)
        for found, true in zip(relief.lamps, sp.arrange(arrangement, seed=3), strict=True):
            off = found.place_mm - true.place_mm
            assert (abs(off) < 3.5 * found.sigma_mm).all()
            assert (found.sigma_mm < [130, 130, 4]).all()


# --- what must not change it ----------------------------------------------------------------------


def exposed(shot: photo.Photo, times: float) -> photo.Photo:
    """The same moment at another exposure, through a JPEG again.

    With shot noise of its own, as a sensor has: without it the steps of a JPEG stand out in the dark.
    """
    light = photo.srgb_decode(shot.coded / 255) * times
    light += SMALL.noise * np.sqrt(light) * np.random.default_rng(7).standard_normal(light.shape)
    stored = io.BytesIO()
    coded = np.round(255 * np.clip(sp.srgb_encode(light), 0, 1)).astype(np.uint8)
    Image.fromarray(coded).save(stored, "JPEG", quality=95)
    coded = np.asarray(Image.open(stored))
    linear, spoilt = photo._linear(coded, [photo.srgb_decode(np.linspace(0, 1, 256))] * 3)
    return replace(shot, coded=coded, light=linear, spoilt=spoilt)


def test_half_the_exposure_of_one_photo_changes_nothing():
    photos, sightings, specs = taken(BOARD, "pair")
    other = mapped((exposed(photos[0], 0.5), photos[1]), sightings, specs)
    apart = sigmas_apart(plain("pair"), other)
    assert np.mean(abs(apart) < 2) > 0.95 and np.sqrt((apart**2).mean()) < 1


def test_the_order_of_an_opposed_pair_changes_nothing():
    photos, sightings, specs = taken(BOARD, "pair")
    apart = sigmas_apart(plain("pair"), mapped(photos[::-1], sightings[::-1], specs[::-1]))
    assert np.quantile(abs(apart), 0.999) < 3 and np.sqrt((apart**2).mean()) < 1


def test_the_solution_does_not_hang_on_the_seed():
    patch, relief, _ = plain("pair")
    lamps = tuple(lamp.place(lamp.read(f.spec), centres_mm={}, eye_mm=np.zeros(3)) for f in relief.lamps)
    again = solve(patch, lamps, seed=5)
    np.testing.assert_array_equal(again.z_mm, relief.z_mm)
    assert not np.array_equal(again.draws_mm, relief.draws_mm)
    spread = [np.nanstd(r.draws_mm, axis=0)[patch.inside] for r in (relief, again)]
    assert np.median(spread[1] / spread[0]) == pytest.approx(1, abs=0.1)


# --- draws ----------------------------------------------------------------------------------------


def test_there_are_draws_enough_and_they_scatter_about_the_solution():
    patch, relief, _ = plain("pair")
    assert len(relief.draws_mm) >= 64
    off = (relief.draws_mm - relief.z_mm)[:, patch.inside]
    spread = off.std(axis=0)
    assert (abs(off.mean(axis=0)) < 0.7 * spread + 0.002).all()  # 64 draws: 0.125 sigma, smooth
    assert 0.002 < np.median(spread) < 0.5


def test_sigma_is_the_spread_of_the_draws():
    _, relief, surface = plain("three")
    off = (surface.draws_mm - surface.height_mm)[:, relief.seen]
    claimed = surface.sigma_mm[relief.seen]
    np.testing.assert_allclose(np.sqrt((off**2).mean(axis=0)), claimed, rtol=0.02, atol=fair.FLOOR_MM)


def test_draws_differ_from_each_other_as_much_as_from_the_solution():
    """Not one error scaled up and down: the errors of a board do not all hang together."""
    patch, relief, _ = plain("three")
    off = (relief.draws_mm - relief.z_mm)[:, patch.inside]
    share = np.linalg.svd(off, compute_uv=False) ** 2
    assert share[0] / share.sum() < 0.9
