"""The demo: the invented job, its photos of templates against geometry, and its page."""

import math
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from lightcheck import offsets, pattern
from lightcheck import specimen as sp
from lightcheck.cli import demo
from lightcheck.cli.main import main
from lightcheck.errors import LightcheckError
from lightcheck.report import demo as page
from lightcheck.specimen import scenario
from lightcheck.specimen.template import Held, moved, photograph_held, rest

LINEAR = np.where(
    np.arange(256) / 255 <= 0.04045,
    np.arange(256) / 255 / 12.92,
    ((np.arange(256) / 255 + 0.055) / 1.055) ** 2.4,
)  # IEC 61966-2-1


# --- photos of templates --------------------------------------------------------------------------


def straight(gap_mm: float) -> Held:
    """A straight template a known gap above straight wood."""
    x = np.linspace(-150.0, 150.0, 601)
    edge = np.stack([x, np.zeros(601)], axis=1)
    wood = np.stack([np.linspace(-250, 250, 601), np.full(601, -gap_mm)], axis=1)
    sheet = np.array([(-150.0, -0.01), (150.0, -0.01), (150.0, 100.0), (-150.0, 100.0)])
    return Held(
        edge_mm=edge, wood_mm=wood, sheet_mm=sheet, cards=((4, -80.0, 50.0, 0.0), (5, 80.0, 50.0, 0.2))
    )


def columns_of_light(held: Held, seed: int) -> tuple[np.ndarray, float]:
    """Light summed down each pixel column near the edge, and pixels to a millimetre, by OpenCV's cards."""
    picture = photograph_held(held, seed=seed)
    light = LINEAR[picture].mean(axis=2)
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    middles = []
    for number, *_ in held.cards:
        corners, ids, _, _ = cv2.aruco.CharucoDetector(sp.card_board(number)).detectBoard(grey)
        assert len(ids) == 8
        middles.append(np.asarray(corners).reshape(-1, 2).mean(axis=0))
    scale = np.hypot(*(middles[1] - middles[0])) / math.hypot(160, 0)
    row = round(float(np.mean([m[1] for m in middles])) + 50 * scale)
    band = light[row - 25 : row + 25, 800:1200]
    return band.sum(axis=0), scale


def test_daylight_in_a_photo_is_the_gap_that_was_drawn():
    """Light through a slit is its width times the light behind: one gap against twice that gap."""
    narrow, scale = columns_of_light(straight(0.8), 3)
    wide, _ = columns_of_light(straight(1.6), 3)
    closed, _ = columns_of_light(straight(0.0), 3)
    assert np.median(wide - closed) / np.median(narrow - closed) == pytest.approx(2, abs=0.03)
    behind = np.mean((0.80, 0.79, 0.76))  # the tone of the sheet that was lit
    assert np.median(wide - narrow) == pytest.approx(0.8 * scale * behind, rel=0.05)


def test_a_template_comes_to_rest_on_the_two_highest_spots():
    """Two bumps of known height: it stands on both (the two-highest-points rule of a straightedge)."""
    x = np.linspace(-200, 200, 4001)
    bumps = 0.5 * np.exp(-(((x + 90) / 15) ** 2)) + 0.3 * np.exp(-(((x - 90) / 15) ** 2))
    wood = np.stack([x, bumps], axis=1)
    edge = np.stack([np.linspace(-150, 150, 1201), np.zeros(1201)], axis=1)
    lift, slope = rest(edge, wood, rock=True)
    assert slope == pytest.approx(-0.2 / 180, rel=0.01) and lift == pytest.approx(0.4, abs=0.002)
    held = Held(edge_mm=moved(edge, lift, slope), wood_mm=wood, sheet_mm=edge, cards=())
    gap = held.daylight_mm(edge[:, 0])
    assert gap.min() == pytest.approx(0, abs=1e-6)
    assert gap[np.abs(edge[:, 0]) < 1] == pytest.approx(0.4, abs=0.003)
    assert rest(edge, wood, rock=False) == (pytest.approx(0.5, abs=1e-3), 0.0)


# --- the scenario ---------------------------------------------------------------------------------


def test_the_table_of_offsets_is_the_round_of_the_panel(tmp_path):
    """Sagitta s = R - sqrt(R^2 - c^2): 100 mm out on 2400 mm is 2.0842 mm, written to a tenth."""
    (tmp_path / "o.csv").write_text(scenario.offsets_csv())
    table = offsets.read(tmp_path / "o.csv")
    line = next(ln for ln in table.lines if ln.name == "buttock 100")
    assert line.height_mm - table.lines[0].height_mm == pytest.approx([2.1] * 3)
    drawn = pattern.make(table, pattern.Cut(station="4", cards=(20, 21)))
    out, up = drawn.edge.at_mm.T
    level = sp.Board(radius_mm=scenario.BOTTOM_RADIUS_MM).surface_mm(0 * out, out)
    assert up - up[0] == pytest.approx(-level, abs=0.08)


def test_each_pass_is_the_same_panel_planed():
    visits = scenario.passes()
    assert [v.board.seed for v in visits] == [211] * 3
    heights = np.array([[h.height_mm for h in v.board.humps] for v in visits])
    assert (heights[0] > 0.1).sum() >= 4 and (heights[0] < -0.1).sum() >= 2
    assert ((heights[0] > 0.1) & (heights[1] < -0.1)).sum() == 1  # one cut too far
    assert (heights[0] == heights[1]).any()  # one not touched
    assert np.abs(heights[2]).max() < 0.3
    for visit in visits:
        assert np.abs(np.mean([c[1:3] for c in visit.board.cards], axis=0)).max() < 1e-9
        assert visit.arrangement in sp.ARRANGEMENTS
    moves = [np.array([c[1:3] for c in v.board.cards]) for v in visits]
    assert 2 < np.hypot(*(moves[1] - moves[0]).T).max() < 15


def test_planed_wood_has_other_fine_grain_and_the_same_rings():
    from dataclasses import replace

    from lightcheck.specimen.wood import STEP_MM, sheet

    bare = sp.Board(width_mm=200, depth_mm=120, cards=(), seed=5)
    old, new = (sheet(b).albedo[..., 1] for b in (bare, replace(bare, planed=((0.0, 0.0, 30.0),), fresh=9)))
    inside = np.s_[200:280, 360:440]
    assert np.abs(old[:20] - new[:20]).max() < 1e-4
    coarse = [cv2.GaussianBlur(a, (0, 0), 4 / STEP_MM)[inside].ravel() for a in (old, new)]
    fine = [(a - cv2.GaussianBlur(a, (0, 0), 0.7 / STEP_MM))[inside].ravel() for a in (old, new)]
    assert np.corrcoef(*coarse)[0, 1] > 0.9
    assert abs(np.corrcoef(*fine)[0, 1]) < 0.25


def test_the_hood_is_a_quarter_higher_than_the_bulb():
    assert scenario.hooded("left,930mm,104mm") == "left,930mm,130mm"


# --- true beside found ----------------------------------------------------------------------------


def spot(number, x, height, chance=0.9):
    kind = "hump" if height > 0 else "hollow"
    return SimpleNamespace(
        number=number, kind=kind, x_mm=x, y_mm=0.0, height_mm=height, sigma_mm=0.03, chance=chance
    )


def test_true_stands_beside_found():
    humps = tuple(
        SimpleNamespace(x_mm=x, y_mm=0.0, height_mm=h) for x, h in ((0, 0.4), (15, -0.3), (200, 0.2))
    )
    rows = demo.comparison(humps, (spot(1, 8.0, 0.42), spot(2, -180.0, 0.2, 0.3)))
    assert rows[0] == ("0, 0", "+0.40", "+0.42", "0.03", "1")
    assert rows[1][2] == rows[2][2] == "not listed"
    assert rows[3][1] == "none" and "chance 0.30" in rows[3][4]


# --- folder and page ------------------------------------------------------------------------------


def test_what_the_demo_did_not_make_is_left_alone(tmp_path):
    out = tmp_path / "d"
    (out / "bottom-panel").mkdir(parents=True)
    (out / "bottom-panel" / "mine.txt").write_text("keep")
    with pytest.raises(LightcheckError, match="not empty"):
        demo.clear(out, force=False)
    with pytest.raises(LightcheckError, match="was not made by the demo") as refusal:
        demo.clear(out, force=True)
    assert refusal.value.remedy and (out / "bottom-panel" / "mine.txt").exists()
    page.write((), out, introduction="", done=False)
    demo.clear(out, force=True)
    assert not (out / "bottom-panel").exists()


def test_the_page_says_what_to_open_in_order(tmp_path):
    steps = tuple(
        page.Step(
            title=f"step {n}", words=("look",), typed=("lightcheck map a.jpg",), open=((f"{n}.html", "it"),),
            picture=f"{n}.png", head=("true", "found"), rows=(("1 < 2", "2"),),
        )
        for n in (1, 2)
    )  # fmt: skip
    text = page.write(steps, tmp_path, introduction="Invented.").read_text(encoding="utf-8")
    assert text.index("1.html") < text.index("2.html") and "1 &lt; 2" in text
    assert "http" not in text and "still at work" not in text and page.is_demo(tmp_path)
    text = page.write((), tmp_path, introduction="", done=False).read_text(encoding="utf-8")
    assert "--force" in text


def test_the_short_demo_ends_with_the_page_to_open(tmp_path, monkeypatch):
    monkeypatch.setattr(scenario, "PHONE", sp.Phone(width_px=1200, height_px=900))
    out = tmp_path / "d"
    ran = CliRunner().invoke(main, ["demo", "--short", "-o", str(out)], catch_exceptions=False)
    assert ran.exit_code == 0 and ran.stderr.rstrip().endswith(f"Open {out / 'index.html'}")
    assert "+0.85" in ran.stdout and (out / "bottom-panel" / "map" / "report.html").exists()
    with Image.open(out / "bottom-panel" / "photos" / "shot-1.jpg") as photo:
        assert photo.size == (1200, 900)
    text = (out / "index.html").read_text(encoding="utf-8")
    for name in ("map/report.html", "map/map.png", "map/spots.csv"):
        assert f"bottom-panel/{name}" in text and (out / "bottom-panel" / name).exists()
