"""The patch against what is true of made-up boards and of simple shapes."""

from dataclasses import replace
from functools import lru_cache

import cv2
import numpy as np
import pytest
from PIL import Image
from scipy.optimize import approx_fprime
from scoring import SMALL, taken

from lightcheck import card, photo
from lightcheck import specimen as sp
from lightcheck.errors import LightcheckError
from lightcheck.patch import Base, View, bundle, lay_out, lay_out_square_on
from lightcheck.patch.bundle import Ties
from lightcheck.patch.start import rough
from lightcheck.photo import CameraFacts, Photo

FULL = sp.Phone()
ROUND_BOARD = sp.random_board(3, radius_mm=1400.0)
FLAT_BOARD = sp.random_board(3)


@lru_cache(maxsize=4)
def patch_of(board: sp.Board, phone: sp.Phone):
    photos, sightings, _ = taken(board, phone=phone)
    return lay_out(list(photos), list(sightings))


@lru_cache(maxsize=4)
def one_shot(board: sp.Board, seed: int = 3):
    """One small photo of a board, and the cards in it."""
    photos, sightings, _ = taken(board, "one", seed)
    return photos[0], sightings[0]


def refusal(photos, sightings) -> LightcheckError:
    with pytest.raises(LightcheckError) as caught:
        lay_out(list(photos), list(sightings))
    assert caught.value.problem.endswith(".") and caught.value.remedy.endswith(".")
    return caught.value


# --- base shape -----------------------------------------------------------------------------------

CURVED = Base(along_x=1 / 2100, along_y=-1 / 900, twist=1 / 5000)


def test_a_barrel_is_a_circle_and_not_a_parabola():
    x, y = np.meshgrid(np.linspace(-300, 300, 7), np.linspace(-300, 300, 13))
    circle = np.sqrt(1400.0**2 - y**2) - 1400
    np.testing.assert_allclose(Base(along_y=-1 / 1400).height_mm(x, y), circle, atol=1e-9)
    assert abs(circle + y**2 / 2800).max() > 0.3  # where a parabola would be wrong


def test_a_sphere_is_a_sphere():
    x, y = np.meshgrid(np.linspace(-300, 300, 7), np.linspace(-250, 250, 6))
    for radius in (1000.0, -1000.0):
        base = Base(along_x=1 / radius, along_y=1 / radius)
        bowl = radius - np.sign(radius) * np.sqrt(radius**2 - x**2 - y**2)
        np.testing.assert_allclose(base.height_mm(x, y), bowl, atol=1e-9)
        out = np.stack([-x, -y, radius - bowl], axis=-1) / radius  # towards the centre of a hollow
        np.testing.assert_allclose(base.normal(x, y), out, atol=1e-9)


def test_a_flat_base():
    x, y = np.array([-3.0, 400.0]), np.array([5.0, -200.0])
    assert not Base().height_mm(x, y).any()
    np.testing.assert_array_equal(Base().normal(x, y), [[0, 0, 1], [0, 0, 1]])
    np.testing.assert_array_equal(Base().points_mm(x, y), [[-3, 5, 0], [400, -200, 0]])


def test_wind_is_a_twist_at_the_origin():
    at = Base(twist=1 / 9000)
    assert at.height_mm(90.0, 50.0) == pytest.approx(0.5, rel=1e-3)


def test_slopes_agree_with_small_steps():
    x, y = np.meshgrid(np.linspace(-250, 250, 9), np.linspace(-180, 180, 7))
    step = 1e-3
    sx, sy = CURVED.slope(x, y)
    along = (CURVED.height_mm(x + step, y) - CURVED.height_mm(x - step, y)) / (2 * step)
    up = (CURVED.height_mm(x, y + step) - CURVED.height_mm(x, y - step)) / (2 * step)
    np.testing.assert_allclose(sx, along, atol=1e-8)
    np.testing.assert_allclose(sy, up, atol=1e-8)
    np.testing.assert_allclose(np.linalg.norm(CURVED.normal(x, y), axis=-1), 1)
    np.testing.assert_allclose(
        (CURVED.normal(x, y) * np.stack([0 * x + 1, 0 * x, sx], -1)).sum(-1), 0, atol=1e-12
    )


@pytest.mark.parametrize("turn_deg", [-170, -35, 20, 90])
def test_turned_axes_show_the_same_surface(turn_deg):
    turn = np.radians(turn_deg)
    c, s = np.cos(turn), np.sin(turn)
    x, y = np.meshgrid(np.linspace(-250, 250, 9), np.linspace(-180, 180, 7))
    turned = CURVED.turned(turn).height_mm(c * x + s * y, c * y - s * x)
    np.testing.assert_allclose(turned, CURVED.height_mm(x, y), atol=1e-9)


# --- view -----------------------------------------------------------------------------------------


def test_a_view_sees_as_a_pinhole():
    """750 mm over the origin, looking down: 1.6 px a millimetre; right is right and up is up."""
    view = View(
        rotation=np.diag([1.0, -1, -1]), offset_mm=np.array([0, 0, 750.0]), focal_px=1200.0, bend=0.0,
        size_px=(801, 601),
    )  # fmt: skip
    seen = view.project_px(np.array([[0, 0, 0], [100, 0, 0], [0, 100, 0], [0, 100, 150.0]]))
    np.testing.assert_allclose(seen, [[400, 300], [560, 300], [400, 140], [400, 100]])
    np.testing.assert_allclose(view.eye_mm, [0, 0, 750])
    assert view.project_px(np.zeros((0, 3))).shape == (0, 2)


def test_a_bent_view_sees_as_the_pinhole_of_opencv():
    turn = np.array([3.0, 0.2, -0.1])
    view = View(
        rotation=cv2.Rodrigues(turn)[0], offset_mm=np.array([5.0, -8.0, 720.0]), focal_px=1500.0, bend=-0.04,
        size_px=(1600, 1200),
    )  # fmt: skip
    places = np.random.default_rng(0).uniform(-250, 250, (4, 6, 3)) * (1, 1, 0.02)
    lens = np.array([[1500.0, 0, 799.5], [0, 1500, 599.5], [0, 0, 1]])
    told, _ = cv2.projectPoints(places.reshape(-1, 3), turn, view.offset_mm, lens, np.array([-0.04, 0, 0, 0]))
    np.testing.assert_allclose(view.project_px(places).reshape(-1, 2), told[:, 0], atol=1e-9)


@pytest.mark.parametrize("thickness_mm", [0.0, 3.0])
def test_slopes_of_the_bundle_are_those_of_its_residuals_one_by_one(thickness_mm):
    """All unknowns are tried at once here; SciPy tries one after the other."""
    photos, sightings, _ = taken(FLAT_BOARD, "pair", 3)
    start = rough(list(photos), list(sightings))
    seen = np.random.default_rng(1).uniform(300, 800, (2, 12, 2))
    ties = Ties(first_px=seen[0], other_px=seen[1], view_of=np.ones(12, int))
    problem = bundle._Problem(start, thickness_mm, ties)
    at = problem.first + 0.3 * problem.scale * np.random.default_rng(2).standard_normal(len(problem.first))
    told = approx_fprime(at, problem.residuals, 1e-7 * np.maximum(1.0, np.abs(at)))
    slopes = problem.slopes(at)
    largest = np.abs(told).max(axis=0)
    np.testing.assert_allclose(slopes / largest, told / largest, atol=2e-3)


# --- the bundle on made-up boards -----------------------------------------------------------------


@pytest.mark.parametrize("board", [FLAT_BOARD, ROUND_BOARD], ids=["flat", "barrel of 1.4 m"])
def test_cards_and_base_lie_where_they_do(board):
    """Places to 0.2 mm and the base to 0.5 mm over the hull, nothing measured by hand."""
    patch = patch_of(board, FULL)
    true = {n: (x, y, turn) for n, x, y, turn in board.cards}
    assert [c.card for c in patch.cards] == sorted(true)
    for found in patch.cards:
        x, y, turn = true[found.card]
        assert np.hypot(found.x_mm - x, found.y_mm - y) < 0.2
        assert abs(np.angle(np.exp(1j * (found.turn_rad - turn)))) < np.radians(0.3)
    x, y = patch.grid.mesh_mm()
    off = patch.base.height_mm(x, y) - board.base_mm(x, y)
    assert abs(off[patch.inside]).max() < 0.5
    assert patch.corner_rms_px < 0.25
    assert min(patch.likeness) > 0.8 and max(patch.misfit_mm) < 0.15


def test_phones_stood_where_they_were_held():
    """Square over flat wood, distance and focal length can not be told apart: their ratio can."""
    patch = patch_of(FLAT_BOARD, FULL)
    for number, view in enumerate(patch.views):
        pose = sp.hand_held(FULL, seed=300 + number, first=number == 0)
        np.testing.assert_allclose(view.eye_mm[:2], pose.place_mm[:2], atol=4)
        assert view.focal_px == pytest.approx(FULL.focal_px, rel=0.04)
        assert view.eye_mm[2] / view.focal_px == pytest.approx(pose.place_mm[2] / FULL.focal_px, rel=2e-3)


def test_the_frame():
    """Origin at the mean of the centres, y up the first photo; rows and columns as the grid says."""
    patch = patch_of(FLAT_BOARD, FULL)
    middle = np.mean([(c.x_mm, c.y_mm) for c in patch.cards], axis=0)
    np.testing.assert_allclose(middle, 0, atol=0.02)
    step = patch.views[0].project_px(np.array([[0, 0, 0], [0, 1.0, 0]]))
    right, down = step[1] - step[0]
    assert down < 0 and abs(right / down) < 1e-3
    assert patch.log_light.shape == (2, *patch.grid.shape)
    assert patch.fine_log_light.shape == (2, patch.grid.ny * patch.times, patch.grid.nx * patch.times)
    assert (patch.wood & ~patch.inside).sum() == 0


def test_cells_under_cards_are_not_wood():
    patch = patch_of(FLAT_BOARD, FULL)
    x, y = patch.grid.mesh_mm()
    for _, cx, cy, turn in FLAT_BOARD.cards:
        right = (x - cx) * np.cos(turn) + (y - cy) * np.sin(turn)
        up = (y - cy) * np.cos(turn) - (x - cx) * np.sin(turn)
        paper = (abs(right) < 55) & (abs(up) < 35)
        assert not patch.wood[paper].any()
        assert patch.inside[paper & (abs(right) < 50) & (abs(up) < 30)].all()
        round_it = (abs(right) < 72) & (abs(up) < 52) & ~((abs(right) < 64) & (abs(up) < 44))
        assert patch.wood[round_it & patch.inside].all()


def test_light_on_the_grid_is_that_of_the_lamps():
    """From the lamp on the left to that on the right the light ratio runs as h / r^3 does."""
    patch, lights = patch_of(FLAT_BOARD, FULL), sp.arrange("pair", seed=3)
    x, y = patch.grid.mesh_mm()
    ratio = patch.log_light[0] - patch.log_light[1]
    true = [np.log(sp.light_on(FLAT_BOARD, light, x, y)) for light in lights]
    off = (ratio - (true[0] - true[1]))[patch.wood & np.isfinite(ratio)]
    assert np.ptp(true[0][patch.wood]) > 0.8  # there is something to be wrong about
    assert (off - np.median(off)).std() < 0.03  # vignetting moves with the hand, grain cancels


def test_small_cards():
    """Half-size cards on a narrow piece, places to 0.2 mm."""
    cards = (
        (20, -130.0, -80.0, 0.2),
        (24, 130.0, -78.0, -0.4),
        (27, 128.0, 80.0, 3.0),
        (34, -128.0, 78.0, 1.4),
    )
    board = replace(FLAT_BOARD, width_mm=360.0, depth_mm=240.0, cards=cards, humps=())
    phone = sp.Phone(width_px=1600, height_px=1200, distance_mm=450.0)
    photos, sightings, _ = taken(board, "one", phone=phone)
    patch = lay_out(list(photos), list(sightings))
    for found, (number, x, y, turn) in zip(patch.cards, cards, strict=True):
        assert found.card == number
        assert np.hypot(found.x_mm - x, found.y_mm - y) < 0.2
        assert abs(np.angle(np.exp(1j * (found.turn_rad - turn)))) < np.radians(0.5)
    assert not patch.wood[~patch.inside].any() and patch.wood.sum() > 0.6 * patch.inside.sum()


def test_the_measured_ruler_sets_the_scale():
    """Cards printed 1 % short: everything is 1 % smaller once the ruler's 99 mm are given."""
    shot, seen = one_shot(FLAT_BOARD)
    plain = lay_out([shot], [seen])
    short = lay_out([shot], [seen], stretch=(0.99, 0.99))
    for a, b in zip(plain.cards, short.cards, strict=True):
        assert np.hypot(b.x_mm - 0.99 * a.x_mm, b.y_mm - 0.99 * a.y_mm) < 0.05
    assert short.views[0].eye_mm[2] == pytest.approx(0.99 * plain.views[0].eye_mm[2], rel=2e-3)


def test_stiff_cards_lie_their_thickness_above_the_wood():
    """The same corners read as 3 mm thick: the wood is 3 mm further from the lens, scale unchanged."""
    shot, seen = one_shot(FLAT_BOARD)
    paper, stiff = lay_out([shot], [seen]), lay_out([shot], [seen], thickness_mm=3.0)
    assert stiff.views[0].eye_mm[2] - paper.views[0].eye_mm[2] == pytest.approx(3.0, abs=0.3)
    for a, b in zip(paper.cards, stiff.cards, strict=True):
        assert np.hypot(b.x_mm - a.x_mm, b.y_mm - a.y_mm) < 0.3


# --- orientation ----------------------------------------------------------------------------------

AS_STORED = {  # what turns an upright picture into the stored one, per EXIF orientation (tag 0x0112)
    1: None, 2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM, 5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE, 8: Image.Transpose.ROTATE_270,
}  # fmt: skip


@pytest.mark.parametrize("tag", [2, 3, 4, 5, 6, 7, 8])
def test_a_photo_stored_in_any_orientation_gives_the_same_patch(tag, tmp_path):
    """Row and column meaning of the tag from jpegexiforient(1); the picture is stored turned."""
    shot, seen = one_shot(FLAT_BOARD)
    stored, exif = Image.fromarray(shot.coded), Image.Exif()
    stored, exif[0x0112] = stored.transpose(AS_STORED[tag]), tag
    exif.get_ifd(0x8769)[0xA405] = round(shot.facts.focal_35mm)
    stored.save(tmp_path / "turned.jpg", quality=95, exif=exif)
    turned = photo.load(tmp_path / "turned.jpg")
    assert turned.size_px == shot.size_px
    upright, patch = lay_out([shot], [seen]), lay_out([turned], [card.find(turned)])
    assert patch.grid.cell_mm == upright.grid.cell_mm
    for a, b in zip(upright.cards, patch.cards, strict=True):
        assert a.card == b.card and np.hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm) < 0.25
        assert abs(np.angle(np.exp(1j * (a.turn_rad - b.turn_rad)))) < np.radians(0.3)


# --- refused --------------------------------------------------------------------------------------


@pytest.mark.parametrize("by_mm", [3.0, 12.0])
def test_a_card_that_was_moved_between_photos(by_mm):
    """Corners of card 1 as the phone would see them had the card been pushed to the right."""
    photos, sightings, _ = taken(FLAT_BOARD, phone=FULL)
    pose, board = sp.hand_held(FULL, seed=301), FLAT_BOARD
    pushed = replace(board, cards=tuple((n, x + by_mm * (n == 1), y, t) for n, x, y, t in board.cards))
    old = next(s for s in sightings[1] if s.card == 1)
    shift = [pose.project(FULL, b.on_card_mm(1, old.corners_mm)) for b in (board, pushed)]
    new = card.Sighting(card=1, corners_px=old.corners_px + shift[1] - shift[0], corners_mm=old.corners_mm)
    caught = refusal(photos, [sightings[0], tuple(new if s.card == 1 else s for s in sightings[1])])
    assert "do not keep their places" in caught.problem and "without moving a card" in caught.remedy


def test_photos_of_two_boards_with_cards_laid_differently():
    """As far apart as hands lay cards on another day."""
    moved = tuple((n, x + 12.0 * (n == 1), y, t) for n, x, y, t in FLAT_BOARD.cards)
    shots = [one_shot(FLAT_BOARD), one_shot(replace(FLAT_BOARD, cards=moved), 5)]
    assert "do not keep their places" in refusal(*zip(*shots, strict=True)).problem


def test_cards_moved_are_noticed_without_a_written_focal_length_too():
    moved = tuple((n, x + 25.0 * (n == 1), y, t) for n, x, y, t in FLAT_BOARD.cards)
    shots = [one_shot(FLAT_BOARD), one_shot(replace(FLAT_BOARD, cards=moved), 5)]
    shots = [(replace(p, facts=CameraFacts()), seen) for p, seen in shots]
    assert "do not keep their places" in refusal(*zip(*shots, strict=True)).problem


def test_photos_that_share_no_card():
    shot, seen = one_shot(FLAT_BOARD)
    other = replace(shot, name="elsewhere.jpg")
    caught = refusal([shot, other], [seen[:2], seen[2:]])
    assert "elsewhere.jpg shows none of the cards of shot-1.jpg" in caught.problem
    assert "same cards" in caught.remedy


def test_one_card_only():
    shot, seen = one_shot(FLAT_BOARD)
    caught = refusal([shot, shot], [seen[:1], seen[:1]])
    assert f"Only card {seen[0].card} could be read" in caught.problem and "two or more" in caught.remedy


def test_a_stretch_too_large_for_one_map():
    shot, seen = one_shot(FLAT_BOARD)
    far = tuple(
        card.Sighting(card=s.card, corners_px=s.corners_px, corners_mm=s.corners_mm * 8) for s in seen
    )
    caught = refusal([shot], [far])
    assert "too large for one map" in caught.problem and "stretches" in caught.remedy


# --- without cards --------------------------------------------------------------------------------


def plain_photo(light: np.ndarray, name: str = "square.jpg") -> Photo:
    light = light.astype(np.float32)
    return Photo(
        name=name, sha256="", coded=np.zeros((*light.shape, 3), np.uint8), light=light,
        spoilt=light > 0.98, facts=CameraFacts(),
    )  # fmt: skip


def test_scale_stands_in_for_cards():
    """0.5 mm a pixel: a dark mark 100 px right of the middle and 60 above lies at (50, 30)."""
    rng = np.random.default_rng(1)
    light = 0.4 * np.exp(0.05 * rng.standard_normal((601, 801)))
    down, right = np.indices(light.shape)
    light[np.hypot(right - 500, down - 240) < 12] = 0.1
    light[np.hypot(right - 300, down - 400) < 16] = 1.0  # clipped
    patch = lay_out_square_on([plain_photo(light)], scale_mm_px=0.5)
    x, y = patch.grid.mesh_mm()
    dark = patch.log_light[0] < np.log(0.2)
    assert x[dark].mean() == pytest.approx(50, abs=0.7) and y[dark].mean() == pytest.approx(30, abs=0.7)
    gone = np.isnan(patch.log_light[0]) & (np.hypot(x + 50, y + 50) < 40)  # not the rim of the sheet
    assert x[gone].mean() == pytest.approx(-50, abs=1) and y[gone].mean() == pytest.approx(-50, abs=1)
    assert gone.sum() * patch.grid.cell_mm**2 == pytest.approx(np.pi * 8**2, rel=0.35)
    assert patch.cards == () and patch.inside.all()
    assert np.ptp(patch.grid.x_mm) == pytest.approx(400, abs=8)
    assert np.nanmedian(patch.log_light) == pytest.approx(np.log(0.4), abs=0.01)


def test_a_nudged_phone_without_cards_is_put_right_on_the_grain():
    photos, _, _ = taken(FLAT_BOARD, "one", phone=SMALL)
    light = np.asarray(photos[0].light)
    nudged = np.roll(light, (-2, 3), axis=(0, 1))  # 3 px right, 2 px up: 1.8 mm at 0.5 mm a pixel
    patch = lay_out_square_on([plain_photo(light), plain_photo(nudged, "nudged.jpg")], scale_mm_px=0.5)
    assert patch.misfit_mm[1] == pytest.approx(0.5 * np.hypot(2, 3), abs=0.2)
    inner = (slice(6, -6), slice(6, -6))
    left_over = (patch.log_light[1] - patch.log_light[0])[inner]
    assert np.nanmedian(abs(left_over)) < 0.01


def test_photos_of_two_sizes_without_cards():
    with pytest.raises(LightcheckError) as caught:
        lay_out_square_on(
            [plain_photo(np.full((300, 400), 0.4)), plain_photo(np.full((300, 401), 0.4))], scale_mm_px=1.0
        )
    assert "differ in size" in caught.value.problem and "tripod" in caught.value.remedy
