"""The made-up boards and photos against physics, standards and OpenCV's own card reading.

Nothing of the measuring side is used here: what it is tested on must stand by itself.
"""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from lightcheck import specimen as sp
from lightcheck.specimen.board import surface
from lightcheck.specimen.wood import sheet

BARE = sp.Board(tracks_mm=0.0, cards=(), seed=2)
SMALL = sp.Phone(width_px=672, height_px=504, noise=0.0, vignetting=0.0)
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709


def far_lamp(elevation_deg: float, *, bearing_deg: float = 180.0) -> sp.Light:
    """A lamp so far away that its light falls evenly and from one side."""
    e, b, far = math.radians(elevation_deg), math.radians(bearing_deg), 1e7
    place = (far * math.cos(e) * math.cos(b), far * math.cos(e) * math.sin(b), far * math.sin(e))
    return sp.Light(place_mm=place, lobe=0.0, intensity=far**2)


def decoded(picture: np.ndarray) -> np.ndarray:
    """Linear luminance of an sRGB picture (IEC 61966-2-1), written out here once more."""
    v = picture / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4) @ LUMINANCE


def table_places(phone: sp.Phone, pose: sp.Pose, x, y) -> tuple[np.ndarray, np.ndarray]:
    """Pixel columns and rows of places on a flat board."""
    points = np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1)
    pixels = pose.project(phone, points).astype(np.float32)
    return pixels[:, 0].reshape(x.shape), pixels[:, 1].reshape(x.shape)


# --- light ----------------------------------------------------------------------------------------


def test_light_falls_with_the_square_of_the_distance():
    """1 m to 2 m: a quarter; 1.0 to 1.1 m: 0.8264 (inverse square, any textbook)."""
    at = [
        float(sp.light_on(BARE, sp.Light(place_mm=(0, 0, h), lobe=0.0), 0.0, 0.0))
        for h in (1000.0, 2000.0, 1100.0)
    ]
    assert at[0] == pytest.approx(1.0)
    assert at[1] / at[0] == pytest.approx(0.25, rel=1e-9)
    assert at[2] / at[0] == pytest.approx(0.8264, abs=5e-5)


def test_low_lamp_falls_with_the_cube():
    """Lamp 300 mm up, 2 m and 3 m away: ratio 3.3133, by h / r^3."""
    near, away = (sp.Light(place_mm=(d, 0, 300), lobe=0.0) for d in (2000.0, 3000.0))
    ratio = sp.light_on(BARE, near, 0.0, 0.0) / sp.light_on(BARE, away, 0.0, 0.0)
    assert float(ratio) == pytest.approx(3.3133, abs=5e-5)


def test_two_photos_show_the_ratio_of_their_lamps():
    """The same 3.3133 read back from decoded photos of wood, once exposure is taken out."""
    pose = sp.hand_held(SMALL, seed=4, first=True)
    lights = [sp.Light(place_mm=(d, 0, 300), lobe=0.0) for d in (2000.0, 3000.0)]
    snaps = [sp.snap(BARE, light, SMALL, seed=1, pose=pose) for light in lights]
    x, y = np.meshgrid(np.linspace(-4, 4, 9), np.linspace(-150, 150, 200))
    places = table_places(SMALL, pose, x, y)
    read = [
        cv2.remap(decoded(s.picture).astype(np.float32), *places, cv2.INTER_LINEAR) / s.gain for s in snaps
    ]
    true = [sp.light_on(BARE, light, x, y) for light in lights]
    assert np.median(read[0] / read[1]) == pytest.approx(np.median(true[0] / true[1]), rel=0.005)
    assert float(true[0][100, 4] / true[1][100, 4]) == pytest.approx(3.3133, rel=0.001)


def test_lobe_and_ambient():
    """A matt disc seen 60 degrees off its axis shines half as bright; stray light only adds."""
    lamp = sp.Light(place_mm=(0, 0, 1000), aim_mm=(0, 0, 0), lobe=1.0)
    turned = replace(lamp, aim_mm=(1000 * math.tan(math.radians(60)), 0, 0))
    assert float(sp.light_on(BARE, turned, 0.0, 0.0)) == pytest.approx(0.5)
    stray = replace(lamp, ambient=0.3)
    assert float(sp.light_on(BARE, stray, 0.0, 0.0)) == pytest.approx(1.3)


@pytest.mark.parametrize(("elevation", "tabled"), [(5, 0.0479), (10, 0.0238), (15, 0.0156), (20, 0.0115)])
def test_contrast_of_a_wave_is_that_of_the_table(elevation, tabled):
    """Crest-to-crest contrast of 0.1 mm over 300 mm: twice A 2 pi / lambda cot e."""
    wavy = replace(BARE, waves=(sp.Wave(height_mm=0.1, length_mm=300.0),))
    x = np.linspace(-150, 150, 3001)
    ratio = sp.light_on(wavy, far_lamp(elevation), x, 0 * x) / math.sin(math.radians(elevation))
    assert np.ptp(ratio) == pytest.approx(tabled, abs=1e-4)
    assert x[np.argmax(ratio)] == pytest.approx(0, abs=1)  # lit from the left: brightest going up


@pytest.mark.parametrize("elevation", [5, 10, 20])
def test_photo_shows_the_contrast_of_a_wave(elevation):
    """The same, read from photos: with the wave over without it, so that the grain cancels."""
    height, length = 0.1, 60.0
    wavy = replace(BARE, waves=(sp.Wave(height_mm=height, length_mm=length),))
    pose = sp.hand_held(SMALL, seed=9, first=True)
    x, y = np.meshgrid(np.linspace(-240, 240, 961), np.linspace(-150, 150, 301))
    places = table_places(SMALL, pose, x, y)
    seen = []
    for board in (wavy, BARE):
        taken = sp.snap(board, far_lamp(elevation), SMALL, seed=3, pose=pose)
        light = decoded(taken.picture).astype(np.float32) / taken.gain
        seen.append(cv2.remap(light, *places, cv2.INTER_LINEAR))
    ratio = (seen[0] / seen[1]).mean(axis=0) - 1
    phase = 2 * math.pi * x[0] / length
    contrast = 2 * float(np.mean(ratio * np.cos(phase)))
    expected = height * 2 * math.pi / length / math.tan(math.radians(elevation))
    assert contrast == pytest.approx(expected, rel=0.02)


def test_hump_is_bright_towards_the_lamp_and_a_hollow_dark():
    hump = sp.Hump(x_mm=0.0, y_mm=0.0, height_mm=0.5, long_mm=30.0, short_mm=30.0)
    left = far_lamp(8)
    plain = math.sin(math.radians(8))
    for sign in (1, -1):
        board = replace(BARE, humps=(replace(hump, height_mm=sign * 0.5),))
        towards, away = sp.light_on(board, left, np.array([-30.0, 30.0]), np.zeros(2))
        assert (towards - plain) * sign > 0.05 * plain
        assert (away - plain) * sign < -0.05 * plain


@pytest.mark.parametrize("elevation", [5, 10, 20])
def test_shadow_is_height_times_cotangent_long(elevation):
    """A ridge of 5 mm throws a shadow of H cot e, and a little more for its round crest.

    It ends where the tangent over the crest comes down: the largest u + z(u) cot e, for a Gaussian
    near H cot e + sigma^2 / (2 H cot e).
    """
    height, sigma = 5.0, 5.0
    ridge = sp.Hump(x_mm=-120.0, y_mm=0.0, height_mm=height, long_mm=1e5, short_mm=sigma)
    board = replace(BARE, humps=(replace(ridge, turn_rad=math.pi / 2),))
    x = np.linspace(-115, 0, 1151)
    lit = sp.light_on(board, far_lamp(elevation), x, 0 * x) > 0
    cot = 1 / math.tan(math.radians(elevation))
    end = -120 + height * cot + sigma**2 / (2 * height * cot)
    assert x[~lit].max() == pytest.approx(end, abs=0.8)
    assert lit[x > end + 1].all()


def test_finish_glints_where_the_flash_is_mirrored():
    """Under the flash the glint stands below the lens; bare wood has none."""
    pose = sp.hand_held(SMALL, seed=6, first=True)
    flash = sp.Light(kind="flash")
    bare, satin = (sp.snap(replace(BARE, gloss=g), flash, SMALL, seed=1, pose=pose) for g in (0.0, 0.1))
    extra = decoded(satin.picture) / satin.gain - decoded(bare.picture) / bare.gain
    row, column = np.unravel_index(np.argmax(cv2.GaussianBlur(extra, (0, 0), 9)), extra.shape)
    foot = pose.project(SMALL, np.array([*pose.place_mm[:2], 0.0]))[0]
    assert np.hypot(column - foot[0], row - foot[1]) < 25
    assert extra[20, 20] < 0.1 * extra[row, column]


# --- shape ----------------------------------------------------------------------------------------


def test_slopes_are_those_of_the_surface():
    board = sp.random_board(5, radius_mm=700.0, twist_per_mm=1 / 9000)
    board = replace(board, waves=(sp.Wave(height_mm=0.2, length_mm=140.0, turn_rad=0.6),))
    rng = np.random.default_rng(1)
    x, y = rng.uniform(-280, 280, 400), rng.uniform(-190, 190, 400)
    step = 1e-4
    _, slope_x, slope_y = surface(board, x, y)
    by_x = (board.surface_mm(x + step, y) - board.surface_mm(x - step, y)) / (2 * step)
    by_y = (board.surface_mm(x, y + step) - board.surface_mm(x, y - step)) / (2 * step)
    assert slope_x == pytest.approx(by_x, abs=1e-6)
    assert slope_y == pytest.approx(by_y, abs=1e-6)


def test_height_is_measured_square_to_the_barrel():
    """A true arc of 1 mm larger radius lies everywhere 1 mm out along the normal."""
    board = replace(BARE, radius_mm=500.0)
    lump = sp.Hump(x_mm=0.0, y_mm=120.0, height_mm=0.6, long_mm=4000.0, short_mm=4000.0)
    y = 120.0
    z = float(replace(board, humps=(lump,)).surface_mm(0.0, y))
    from_axis = math.hypot(y, z + 500.0) - 500.0
    assert from_axis == pytest.approx(0.6, abs=0.001)


def test_paper_keeps_its_length_on_a_barrel():
    """Points 20 mm apart on paper are 20 mm apart along the bent wood: chord 2 R sin(10 / R)."""
    board = replace(BARE, radius_mm=300.0, cards=((3, 10.0, 130.0, math.pi / 2),))
    corners = board.on_card_mm(3, np.array([[-10.0, 0.0], [10.0, 0.0]]))
    chord = 2 * 300 * math.sin(10 / 300)
    assert np.linalg.norm(corners[1] - corners[0]) == pytest.approx(chord, abs=1e-6)
    middle = board.on_card_mm(3, np.zeros((1, 2)))[0]
    assert middle[:2] == pytest.approx([10.0, 130.0])


def test_random_boards_are_as_promised():
    for seed in range(40):
        board = sp.random_board(seed)
        heights = np.array([h.height_mm for h in board.humps])
        assert len(heights) == 8
        assert ((abs(heights) >= 0.12) & (abs(heights) <= 0.9)).all()
        assert all(18 <= h.short_mm <= h.long_mm <= 60 for h in board.humps)
        assert all(abs(h.x_mm) <= 200 and abs(h.y_mm) <= 130 for h in board.humps)
        places = np.array([c[1:3] for c in board.cards])
        assert np.abs(places.mean(axis=0)).max() < 1e-9
        assert sorted(c[0] for c in board.cards) == [0, 1, 2, 3]
        for card in board.cards:
            corners = board.on_card_mm(card[0], np.array([[55, 35], [-55, 35], [55, -35]]))
            assert (np.abs(corners[:, :2]) < (300, 210)).all()
    assert sp.random_board(7) == sp.random_board(7)
    assert sp.random_board(7) != sp.random_board(8)


def test_tracks_are_shallow_troughs():
    board = replace(BARE, tracks_mm=0.02)
    x, y = np.meshgrid(np.arange(-300, 300, 5.0), np.arange(-210, 210, 0.5))
    z = board.height_mm(x, y)
    assert np.ptp(z) == pytest.approx(0.02, rel=0.1)
    assert z.mean() == pytest.approx(0, abs=0.001)
    assert np.abs(board.height_mm(x, y, tracks=False)).max() == 0


# --- wood and cards -------------------------------------------------------------------------------


@pytest.mark.parametrize(("seed", "wood"), [(0, "larch"), (1, "mahogany"), (2, "spruce")])
def test_wood_has_the_contrast_of_wood(seed, wood):
    """Mean 0.45; 8-15 % at a millimetre, 3-7 % over 4 mm (robust spread, planks taken out)."""
    albedo = sheet(replace(BARE, seed=seed, wood=wood)).albedo @ LUMINANCE.astype(np.float32)
    assert albedo.mean() == pytest.approx(0.45, abs=0.03)
    for cell_mm, low, high in ((1, 0.08, 0.15), (4, 0.03, 0.07)):
        part = 0.25 / cell_mm
        tone = np.log(cv2.resize(albedo, None, fx=part, fy=part, interpolation=cv2.INTER_AREA))
        tone -= cv2.GaussianBlur(tone, (0, 0), 20 / cell_mm)
        assert low < 1.4826 * np.median(np.abs(tone)) < high


@pytest.mark.parametrize(
    ("radius", "twist", "seed"), [(math.inf, 0.0, 3), (1400.0, 0.0, 4), (math.inf, 1 / 9000, 5)]
)
def test_cards_are_read_where_they_lie(radius, twist, seed):
    """OpenCV finds the chessboard corners of bent cards within 0.1 px of their true places."""
    board = sp.random_board(seed, radius_mm=radius, twist_per_mm=twist)
    phone = sp.Phone()
    light = sp.arrange("pair", seed=seed)[0]
    picture, pose = sp.photograph(board, light, phone, seed=seed)
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    assert worst_corner(board, grey, phone, pose) < 0.2


def worst_corner(board, grey, phone, pose) -> float:
    """Largest miss of a corner [px]; the rms must be under 0.07 px, all 32 corners found."""
    misses = []
    for number, *_ in board.cards:
        card = sp.card_board(number)
        corners, ids, _, _ = cv2.aruco.CharucoDetector(card).detectBoard(grey)
        corners = np.asarray(corners, np.float32).reshape(-1, 1, 2)
        stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 40, 0.005)
        found = cv2.cornerSubPix(grey, corners.copy(), (7, 7), (-1, -1), stop).reshape(-1, 2)
        paper = np.asarray(card.getChessboardCorners())[np.asarray(ids).ravel(), :2]
        square = sp.card_square_mm(number)
        paper = (paper - (2.5 * square, 1.5 * square)) * (1, -1)
        misses.append(found - pose.project(phone, board.on_card_mm(number, paper)))
    misses = np.concatenate(misses)
    assert len(misses) == 32
    assert np.sqrt((misses**2).mean()) < 0.07
    assert np.abs(misses.mean(axis=0)).max() < 0.03
    return float(np.abs(misses).max())


def test_small_cards_are_read_too():
    cards = ((20, -100.0, -60.0, 0.4), (34, 100.0, 60.0, -2.0))
    board = replace(BARE, cards=cards, seed=6)
    near = sp.Phone(distance_mm=450.0)
    picture, _ = sp.photograph(board, sp.arrange("one", seed=1)[0], near, seed=1)
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    for number, *_ in cards:
        _, ids, _, markers = cv2.aruco.CharucoDetector(sp.card_board(number)).detectBoard(grey)
        own = set(range(7 * number, 7 * number + 7))
        assert len(ids) >= 6
        assert len(own & set(np.asarray(markers).ravel().tolist())) >= 6


# --- phone ----------------------------------------------------------------------------------------


def test_first_photo_has_y_up():
    for seed in range(20):
        pose = sp.hand_held(sp.Phone(), seed=seed, first=True)
        ends = pose.project(sp.Phone(), np.array([[0.0, -0.5, 0.0], [0.0, 0.5, 0.0]]))
        assert ends[1, 0] - ends[0, 0] == pytest.approx(0, abs=1e-4)
        assert ends[1, 1] < ends[0, 1]
        right = pose.project(sp.Phone(), np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0]]))
        assert right[1, 0] - right[0, 0] > 2
        assert pose.turn @ pose.turn.T == pytest.approx(np.eye(3), abs=1e-12)
        assert 20 <= np.hypot(*pose.place_mm[:2]) <= 40


def test_srgb_codes_are_those_of_the_standard():
    """IEC 61966-2-1: codes of round linear values, and 0.18 -> 0.4613561 (colour 0.3.9 manual)."""
    assert float(sp.srgb_encode(0.18)) == pytest.approx(0.461356129500442, abs=1e-9)
    linear = [0.01, 0.18, 0.5, 0.9]
    assert 255 * sp.srgb_encode(linear) == pytest.approx([25.46, 117.65, 187.52, 243.45], abs=0.005)
    table = {10: 0.003035, 11: 0.003347, 64: 0.051269, 128: 0.215861, 188: 0.502886, 255: 1.0}
    for code, light in table.items():
        assert 255 * float(sp.srgb_encode(light)) == pytest.approx(code, abs=0.01)


def test_odd_curve_is_bent_as_said():
    """Where the standard curve writes v, the odd one writes v - 0.05 sin(2 pi v)."""
    pose = sp.hand_held(SMALL, seed=2, first=True)
    light = sp.Light(place_mm=(-900.0, 0.0, 110.0))
    plain, odd = (
        sp.photograph(BARE, light, replace(SMALL, curve=c), seed=1, pose=pose)[0] / 255
        for c in ("srgb", "odd")
    )
    assert np.abs(odd - (plain - 0.05 * np.sin(2 * math.pi * plain))).max() < 1.2 / 255
    with pytest.raises(ValueError, match="curve"):
        sp.photograph(BARE, light, replace(SMALL, curve="none"), seed=1)


def test_exposure_noise_and_vignetting():
    phone = sp.Phone(width_px=672, height_px=504)
    pose = sp.hand_held(phone, seed=2, first=True)
    lamp = sp.Light(place_mm=(0.0, 0.0, 900.0), tint=(1.0, 1.0, 1.0))
    clean, even = (
        sp.photograph(BARE, lamp, replace(phone, noise=0.0, vignetting=v), seed=1, pose=pose)[0]
        for v in (0.25, 0.0)
    )
    taken = sp.snap(BARE, lamp, phone, seed=1, pose=pose)
    assert np.quantile(even.max(axis=2), 0.993) / 255 == pytest.approx(float(sp.srgb_encode(0.82)), abs=0.01)
    corner = decoded(clean)[120:130, 120:130].mean() / decoded(even)[120:130, 120:130].mean()
    off = ((124.5 - 251.5) ** 2 + (124.5 - 335.5) ** 2) / (251.5**2 + 335.5**2)
    assert corner == pytest.approx(1 - 0.25 * off, abs=0.003)
    part = (slice(200, 300), slice(260, 420))
    rough = decoded(taken.picture)[part] - decoded(clean)[part]
    spread = 0.012 * math.sqrt(taken.iso / 100) * np.sqrt((LUMINANCE**2).sum())
    assert rough.std() == pytest.approx(spread * math.sqrt(decoded(clean)[part].mean()), rel=0.15)


# --- what the builder does ------------------------------------------------------------------------


def test_tape_reads_as_people_read():
    rng = np.random.default_rng(3)
    lamp = sp.Light(place_mm=(-903.0, 12.0, 111.2))
    specs = [sp.tape_spec(lamp, rng).split(",") for _ in range(600)]
    assert {s[0] for s in specs} == {"left"}
    out = np.array([float(s[1].removesuffix("mm")) for s in specs])
    up = np.array([float(s[2].removesuffix("mm")) for s in specs])
    assert (out % 10 == 0).all()
    assert (up % 5 == 0).all()
    assert out.mean() == pytest.approx(903.1, abs=1)
    assert out.std() == pytest.approx(math.sqrt(25 + 100 / 12), rel=0.15)
    assert up.mean() == pytest.approx(111.2, abs=0.5)
    slanting = sp.Light(place_mm=(-636.0, 636.0, 110.0))
    assert sp.tape_spec(slanting, rng).split(",")[0] in ("130deg", "135deg", "140deg")
    assert sp.tape_spec(sp.Light(kind="flash"), rng) == "flash"
    assert sp.tape_spec(sp.Light(kind="off"), rng) == "off"


def test_arrangements_stand_where_they_say():
    off = []
    for seed in range(60):
        for light, word in zip(sp.arrange("four", seed=seed), (180, 90, 0, 270), strict=True):
            x, y, z = light.place_mm
            assert 800 < math.hypot(x, y) < 1000
            assert 80 < z < 150
            off.append((math.degrees(math.atan2(y, x)) - word + 180) % 360 - 180)
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(4, rel=0.2)
    assert [x.kind for x in sp.arrange("flash+off", seed=1)] == ["lamp", "flash", "off"]
    assert [len(sp.arrange(a, seed=1)) for a in ("one", "pair", "three", "four")] == [1, 2, 3, 4]
    with pytest.raises(ValueError, match="arrangement"):
        sp.arrange("five", seed=1)


def test_shoot_writes_photos_as_phones_do(tmp_path):
    phone = sp.Phone(width_px=672, height_px=504)
    board = sp.random_board(1)
    shots = sp.shoot(board, "flash", tmp_path / "photos", seed=5, phone=phone, ambient=0.05)
    assert [p.name for p, _ in shots] == ["shot-1.jpg", "shot-2.jpg"]
    assert shots[0][1].startswith("left,")
    assert shots[1][1] == "flash"
    assert sorted(p.name for p in (tmp_path / "photos").iterdir()) == ["shot-1.jpg", "shot-2.jpg"]
    for path, _ in shots:
        with Image.open(path) as image:
            assert image.format == "JPEG"
            assert image.size == (672, 504)
            exif = image.getexif()
            detail = exif.get_ifd(0x8769)
        assert exif[0x0112] == 1
        assert detail[0xA405] == 32  # 36 mm film over a field of 58 degrees: 32.5
        assert float(detail[0x829D]) == pytest.approx(1.8)
        assert 1e-4 < float(detail[0x829A]) <= 1 / 25
        assert detail[0x8827] in range(50, 6401)


def test_exif_exposures_tell_the_true_ratio_of_light(tmp_path):
    """Light of two photos, once exposure time and ISO are divided out, is that of their lamps."""
    pose = sp.hand_held(SMALL, seed=3, first=True)
    dim = sp.Light(place_mm=(-900.0, 0.0, 110.0))
    bright = replace(dim, intensity=3.7 * dim.intensity)
    light = []
    for lamp in (dim, bright):
        taken = sp.snap(BARE, lamp, SMALL, seed=1, pose=pose)
        path = sp.write_photo(tmp_path / "a.jpg", taken.picture, sp.exif_facts(SMALL, taken))
        with Image.open(path) as image:
            detail = image.getexif().get_ifd(0x8769)
            value = decoded(np.asarray(image))[200:300, 200:400].mean()
        light.append(value / (float(detail[0x829A]) * detail[0x8827]))
    assert light[1] / light[0] == pytest.approx(3.7, rel=0.01)
