"""Shadows of known things: against trigonometry, a lamp traced ray by ray, and path-traced photographs."""

import json

import numpy as np
import pytest
from scoring import FIXTURES

from lightcheck import card, lamp, patch, photo, shadow
from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid
from lightcheck.shadow import fit

KNOWN = FIXTURES / "known-1"
GRID = Grid.over((-60.0, 60.0), (-45.0, 45.0), cell_mm=0.5)
LAMP_MM = np.array([-880.0, 120.0, 115.0])
BULB_MM = 30.0  # radius of the lamp


def traced(thing: shadow.Thing, *, at=(0.0, 0.0), lamp=LAMP_MM, turn=0.0, grid=GRID, seed=3) -> np.ndarray:
    """(ny, nx) log light beside a thing, each of 40 points of a disc lamp asked whether it is seen.

    Straight ways are followed from the wood to the lamp in small steps: nothing of the formulas that
    are tested is used. On the thing itself stands its own brightness.
    """
    rng = np.random.default_rng(seed)
    x, y = (v.ravel() for v in grid.mesh_mm())
    ahead = lamp / np.linalg.norm(lamp)
    beside = np.cross(ahead, [0, 0, 1.0])
    beside /= np.linalg.norm(beside)
    over = np.cross(beside, ahead)
    light = np.zeros(len(x))
    for r, t in zip(np.sqrt((np.arange(40) + 0.5) / 40), np.arange(40) * 2.399963, strict=True):
        bulb = lamp + BULB_MM * r * (np.cos(t) * beside + np.sin(t) * over)
        way = np.stack([bulb[0] - x, bulb[1] - y, np.full(len(x), bulb[2])])
        reach2 = (way**2).sum(0)
        free = np.ones(len(x), bool)
        for up in np.linspace(0.002, 0.999, 16) * thing.thick_mm:
            part = up / way[2]
            free &= ~_inside(thing, x + part * way[0] - at[0], y + part * way[1] - at[1], up, turn)
        light += free * way[2] / reach2**1.5
    on = _inside(thing, x - at[0], y - at[1], thing.thick_mm / 2, turn)
    level = lamp[2] / np.linalg.norm(lamp) ** 3 * 40
    light = np.where(on, 1.3 * level, light + 0.03 * level)
    return (np.log(light) + 0.01 * rng.standard_normal(len(x))).reshape(grid.shape)


def _inside(thing, x, y, up, turn):
    p, q = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    if thing.kind == "disc":
        return np.hypot(x, y) < thing.length_mm / 2
    if thing.kind == "block":
        return (abs(p) < thing.length_mm / 2) & (abs(q) < thing.width_mm / 2)
    radius = thing.thick_mm / 2
    return (abs(p) < thing.length_mm / 2) & (q**2 + (up - radius) ** 2 < radius**2)


def true_direction(thing, at, lamp) -> tuple[float, float]:
    """Bearing and elevation of the lamp from the middle of the thing's top, degrees."""
    x, y, z = lamp - np.array([*at, thing.thick_mm])
    return np.degrees(np.arctan2(y, x)), np.degrees(np.arctan2(z, np.hypot(x, y)))


def off(found: shadow.Shadow, at, lamp) -> tuple[float, float]:
    """Degrees by which a shadow's bearing and elevation are wrong."""
    bearing, elevation = true_direction(found.thing, at, lamp)
    return (np.degrees(found.bearing_rad) - bearing + 180) % 360 - 180, np.degrees(
        found.elevation_rad
    ) - elevation


# --- the things and their sizes -------------------------------------------------------------------


def test_a_coin_of_1_75_mm_with_a_shadow_of_9_92_mm_stands_under_10_degrees():
    quarter = shadow.thing("us quarter")
    assert quarter.thick_mm == 1.75  # US Mint
    assert np.degrees(shadow.elevation_rad(thick_mm=1.75, length_mm=9.92)) == pytest.approx(10.0, abs=0.005)


def test_mint_tables_and_their_conflicts():
    sizes = {
        "us cent": (19.05, 1.52), "us nickel": (21.21, 1.95), "us dime": (17.91, 1.35),
        "us quarter": (24.26, 1.75), "us half": (30.61, 2.15), "us dollar": (26.49, 2.00),
        "euro 1c": (16.25, 1.67), "euro 50c": (24.25, 2.38), "euro 1": (23.25, 2.33), "euro 2": (25.75, 2.20),
    }  # fmt: skip
    for name, (across, thick) in sizes.items():
        coin = shadow.thing(name)
        assert (coin.length_mm, coin.thick_mm, coin.kind) == (across, thick, "disc")
        assert coin.source and coin.sigma_mm >= 0.05
    assert 1.55 in shadow.coins()["us cent"][3]  # an almanac against the Mint
    assert shadow.thing("uk 2p").sigma_mm == pytest.approx(0.09)  # steel 2.03, the older bronze 1.85
    assert all("memory" in row[2] for name, row in shadow.coins().items() if name.startswith("australia"))


def test_what_is_typed():
    spec = shadow.read("left.jpg: Euro 2 at 120mm,-40mm from card 3")
    assert (spec.photo, spec.thing.name, spec.x_mm, spec.y_mm, spec.card) == (
        "left.jpg", "euro 2", 120.0, -40.0, 3,
    )  # fmt: skip
    block = shadow.read("block 20mm x 40mm x 6mm at 1in,2in")
    assert (block.photo, block.card, block.x_mm) == (None, None, 25.4)
    assert (block.thing.length_mm, block.thing.width_mm, block.thing.thick_mm) == (40, 20, 6)
    dowel = shadow.thing("dowel 8mm x 60mm")
    assert (dowel.thick_mm, dowel.width_mm, dowel.length_mm) == (8, 8, 60)


@pytest.mark.parametrize(
    "typed",
    [
        "euro 2", "euro 2 at 120,40", "euro 3 at 1mm,2mm", "a button at 1mm,2mm", "block 4mm at 1mm,2mm",
        "disc 30mm x 0mm at 1mm,2mm", "dowel 8mm x 9m at 1mm,2mm", "", "at 1mm,2mm", "euro 2 at 1mm",
    ],
)  # fmt: skip
def test_what_is_refused(typed):
    with pytest.raises(LightcheckError) as refusal:
        shadow.read(typed)
    assert refusal.value.remedy


# --- light behind a thing --------------------------------------------------------------------------


def test_half_of_a_lamp_is_seen_from_where_its_middle_just_hides():
    """A disc of angular radius a, hidden from its middle down: (upper half) 1/2 + a/e 2/(3 pi)."""
    e, a = np.radians(8.0), np.radians(2.0)
    assert shadow.lit_share(e, e, a) == pytest.approx(0.5 + a / e * 2 / (3 * np.pi))
    assert shadow.lit_share(e + 1.01 * a, e, a) == 0.0
    assert shadow.lit_share(e - 1.01 * a, e, a) == 1.0


@pytest.mark.parametrize(
    ("name", "turn", "lamp"),
    [
        ("us quarter", 0.0, LAMP_MM),
        ("euro 2", 0.0, np.array([300.0, 600.0, 90.0])),
        ("disc 30mm x 1.2mm", 0.0, np.array([900.0, 0.0, 60.0])),
        ("block 40mm x 20mm x 3mm", 0.4, np.array([-700.0, -100.0, 150.0])),
        ("dowel 4mm x 40mm", 1.4, LAMP_MM),
    ],
)
def test_a_traced_shadow_gives_bearing_and_elevation(name, turn, lamp):
    thing, at = shadow.thing(name), (3.2, -2.1)
    found = shadow.measure(traced(thing, at=at, lamp=lamp, turn=turn), GRID, thing=thing, at_mm=(0, 0))
    bearing, elevation = off(found, at, lamp)
    doubt = np.degrees(np.sqrt(np.diag(found.cov_rad2)))
    assert abs(bearing) < 2.0 and abs(elevation) < 0.3
    assert abs(bearing) < 3 * doubt[0] and abs(elevation) < 3 * doubt[1] < 1.5
    assert found.top_mm[:2] == pytest.approx(at, abs=2 * fit.MIDDLE_SIGMA_MM)
    assert found.length_mm == pytest.approx(thing.thick_mm / np.tan(found.elevation_rad))
    assert found.lamp_rad == pytest.approx(BULB_MM / np.linalg.norm(lamp), rel=0.25)


def test_no_shadow_a_shadow_cut_short_and_a_dowel_along_the_light_are_refused():
    quarter = shadow.thing("us quarter")
    bare = 0.01 * np.random.default_rng(1).standard_normal(GRID.shape)
    with pytest.raises(LightcheckError, match="No shadow"):
        shadow.measure(bare, GRID, thing=quarter, at_mm=(0, 0))
    with pytest.raises(LightcheckError, match="outside the cards"):
        shadow.measure(bare, GRID, thing=quarter, at_mm=(100, 0))
    thick = shadow.thing("block 40mm x 20mm x 9mm")
    with pytest.raises(LightcheckError, match="runs off"):
        shadow.measure(traced(thick), GRID, thing=thick, at_mm=(0, 0))
    dowel = shadow.thing("dowel 4mm x 30mm")
    with pytest.raises(LightcheckError, match="along the light"):
        shadow.measure(traced(dowel, turn=0.0), GRID, thing=dowel, at_mm=(0, 0))


# --- the lamp's place -------------------------------------------------------------------------------


def seen_from(at, lamp, *, name="us quarter", photo="left.jpg", off_rad=(0.0, 0.0)) -> shadow.Shadow:
    """A shadow as it would be measured without error, or with this one."""
    thing = shadow.thing(name)
    bearing, elevation = (
        np.radians(v) + o for v, o in zip(true_direction(thing, at, lamp), off_rad, strict=True)
    )
    unit = [np.cos(bearing) * np.cos(elevation), np.sin(bearing) * np.cos(elevation), np.sin(elevation)]
    return shadow.Shadow(
        photo=photo, thing=thing, top_mm=np.array([*at, thing.thick_mm]), towards=np.array(unit),
        axes=np.eye(3), bearing_rad=bearing, elevation_rad=elevation,
        cov_rad2=np.diag(np.radians([0.8, 0.2]) ** 2), length_mm=thing.thick_mm / np.tan(elevation),
        depth=0.95, lamp_rad=0.03,
    )  # fmt: skip


def typed_lamp(spec: str) -> lamp.Lamp:
    return lamp.place(lamp.read(spec), centres_mm={}, eye_mm=np.zeros(3))


def test_two_shadows_meet_in_the_lamp():
    pair = seen_from((0, 120), LAMP_MM), seen_from((20, -110), LAMP_MM)
    found = shadow.lamp_place(pair)
    assert found.place_mm == pytest.approx(LAMP_MM, abs=1e-3) and found.misfit < 1e-4
    nearer = np.sqrt(np.diag(found.cov_mm2))
    assert 20 < nearer[0] < 120 and nearer[2] < 15  # how far away is known least


def test_shadows_that_can_not_meet_are_refused():
    one = seen_from((0, 120), LAMP_MM)
    with pytest.raises(LightcheckError, match="two shadows"):
        shadow.lamp_place((one,))
    with pytest.raises(LightcheckError, match="two shadows"):
        shadow.lamp_place((one, seen_from((20, -110), LAMP_MM, photo="right.jpg")))
    with pytest.raises(LightcheckError, match="almost the same way"):
        shadow.lamp_place((one, seen_from((10, 110), LAMP_MM)))
    with pytest.raises(LightcheckError, match="do not meet"):
        shadow.lamp_place((one, seen_from((20, -110), LAMP_MM, off_rad=(0.35, 0.0))))
    with pytest.raises(LightcheckError, match="do not meet"):
        shadow.lamp_place((one, seen_from((20, -110), LAMP_MM, off_rad=(0.0, 0.06))))


def test_a_lamp_read_5_percent_high_may_be_chance_and_a_third_is_a_finding():
    true = np.array([-900.0, 0.0, 110.0])
    found = seen_from((-40.0, 30.0), true)
    right = typed_lamp("left,900mm,110mm")
    near = shadow.cross_check(found, right.place_mm, right.cov_mm2)
    assert not near.clear and near.sigmas < 0.1 and near.sentence.endswith("They agree.")
    wrong = typed_lamp("left,900mm,145mm")
    far = shadow.cross_check(found, wrong.place_mm, wrong.cov_mm2)
    assert far.clear and far.elevation_off_rad < 0
    assert far.scale == pytest.approx(110 / 145, rel=0.02)  # heights go as the lamp's height
    assert "too large" in far.sentence and "lamp's height" in far.sentence
    low = typed_lamp("left,900mm,80mm")
    assert "too small" in shadow.cross_check(found, low.place_mm, low.cov_mm2).sentence
    other = typed_lamp("right,900mm,110mm")
    side = shadow.cross_check(found, other.place_mm, other.cov_mm2, source="the solve")
    assert side.clear and "another side" in side.sentence and "the solve says" in side.sentence


def test_shadows_mend_what_the_tape_knows_least():
    true = np.array([-890.0, -130.0, 113.0])
    pair = seen_from((0, 120), true), seen_from((20, -110), true)
    tape = typed_lamp("left,890mm,115mm")
    mended = shadow.combined(tape, pair)
    doubt, before = np.sqrt(np.diag(mended.cov_mm2)), np.sqrt(np.diag(tape.cov_mm2))
    assert (doubt < before).all() and doubt[1] < before[1] / 5
    assert (np.abs(mended.place_mm - true) < 2.5 * doubt).all()
    wrong = typed_lamp("left,890mm,150mm")
    assert shadow.combined(wrong, pair) is wrong  # they disagree: neither mends the other
    assert shadow.combined(tape, ()) is tape


# --- photographs ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def known():
    """Path-traced photos of two coins: (facts, patch, lamps as typed)."""
    facts = json.loads((KNOWN / "truth.json").read_text())
    photos = [photo.load(KNOWN / f"{n}.jpg") for n in range(2)]
    sheet = patch.lay_out(photos, [card.find(p) for p in photos])
    return facts, sheet, tuple(typed_lamp(t) for t in facts["lamps"])


def typed_coins(facts) -> tuple[shadow.ShadowSpec, ...]:
    """As a builder types it, some millimetres off."""
    return tuple(
        shadow.read(f"{c['name']} at {c['at_mm'][0] + 3:.0f}mm,{c['at_mm'][1] - 4:.0f}mm")
        for c in facts["coins"]
    )


def test_path_traced_coins_tell_where_the_lamp_was(known):
    facts, sheet, lamps = known
    found = shadow.find(typed_coins(facts), sheet, lamps)
    assert len(found) == 4
    for one in found:
        n = sheet.names.index(one.photo)
        coin = next(c for c in facts["coins"] if c["name"] == one.thing.name)
        bearing, elevation = off(one, coin["at_mm"], np.array(facts["true_lamps_mm"][n]))
        assert abs(bearing) < 1.5 and abs(elevation) < 0.5
        assert one.top_mm[:2] == pytest.approx(coin["at_mm"], abs=0.8)
        assert not shadow.cross_check(one, lamps[n].place_mm, lamps[n].cov_mm2).clear
    for n, name in enumerate(sheet.names):
        true, mine = np.array(facts["true_lamps_mm"][n]), tuple(s for s in found if s.photo == name)
        place = shadow.lamp_place(mine)
        away = place.place_mm - true
        assert away @ np.linalg.solve(place.cov_mm2, away) < 11.3  # chi square of 3, 1 %
        assert abs(away[1]) < 25 and abs(away[2]) < 20
        mended = shadow.combined(lamps[n], mine)
        assert abs(mended.place_mm[1] - true[1]) < 25 and abs(mended.place_mm[2] - true[2]) < 6
    hidden = shadow.covered(found, sheet.grid)
    x, y = sheet.grid.mesh_mm()
    for coin in facts["coins"]:
        cx, cy = coin["at_mm"]
        assert hidden[np.hypot(x - cx, y - cy) < 12].all()
        for n in range(2):  # and 14 mm of shadow on each side
            side = -np.sign(facts["true_lamps_mm"][n][0])
            assert hidden[np.hypot(x - cx - side * 22, y - cy) < 4].all()
    assert 0.005 < hidden.mean() < 0.04
    first = tuple(s for s in found if s.photo == sheet.names[0])  # the other shadow by its lamp's place
    wider = shadow.covered(first, sheet.grid, lamps)
    assert (hidden & ~wider).sum() < 0.02 * hidden.sum() and wider.mean() < 0.06
    bare = shadow.uncovered(sheet, found)
    assert np.isnan(bare.log_light[:, hidden]).all() and not (bare.wood & hidden).any()
    assert shadow.uncovered(sheet, ()) is sheet


def test_names_that_are_not_there_are_refused(known):
    facts, sheet, lamps = known
    for typed, problem in (
        ("9.jpg: euro 2 at 0mm,0mm", "no raking photo"),
        ("euro 2 at 1mm,1mm from card 9", "card 9"),
    ):
        with pytest.raises(LightcheckError, match=problem):
            shadow.find((shadow.read(typed),), sheet, lamps)
    x, y = facts["coins"][0]["at_mm"]
    for first, n in (("0.jpg", 0), ("0", 0), ("2", 1)):  # a name, a name without its ending, a number
        spec = shadow.read(f"{first}: us quarter at {x:.0f}mm,{y:.0f}mm")
        assert [s.photo for s in shadow.find((spec,), sheet, lamps)] == [sheet.names[n]]
    assert shadow.about((spec,), sheet).shape == (1, 2)
