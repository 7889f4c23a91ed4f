"""Marks typed, kept in a file and drawn on a picture stand where they were put; what is unclear is not."""

import math

import numpy as np
import pytest
from laid import CARDS
from PIL import Image, ImageDraw

from lightcheck import marks
from lightcheck.errors import LightcheckError
from lightcheck.grid import Grid
from lightcheck.patch import CardPlace

SHEET = Grid(x0_mm=-99.5, y0_mm=-59.5, cell_mm=1.0, nx=200, ny=120)  # one pixel to the millimetre


def typed(text):
    return marks.read_mark(text, CARDS)


# --- typed ------------------------------------------------------------------------------------------


def test_a_fastener_from_a_card():
    mark = typed("fastener at 40mm,-1in from card 2, 3mm deep")
    np.testing.assert_allclose(mark.at_mm, [(270.0, 114.6)])
    assert (mark.kind, mark.depth_mm, mark.words) == ("fastener", 3.0, "fastener 3 mm down")
    assert typed("fastener at 0mm,0mm").words == "fastener of unknown depth"


def test_lines_arrows_and_areas():
    np.testing.assert_allclose(
        typed("crease from -200mm,20mm to 0mm,25mm to 90mm,40mm, dies out").at_mm,
        [(-200, 20), (0, 25), (90, 40)],
    )
    assert typed("crease from -200mm,20mm to 90mm,40mm, dies into round").dies_out
    assert typed("station 3A from 0mm,-150mm to 0mm,150mm").name == "3A"
    assert typed("no lower at 0mm,0mm, over 60mm, 1mm may come off").depth_mm == 1.0
    bevel = typed("bevel within 0mm,0mm to 9mm,0mm to 9mm,9mm, along 170deg")
    assert bevel.along_rad == pytest.approx(math.radians(170))
    assert len(typed("leave within 0mm,0mm to 90mm,0mm to 90mm,90mm").area_mm) == 3


def test_a_point_that_stands_for_an_area_is_a_round_of_that_width():
    area = typed("leave at 10mm,20mm, over 60mm").area_mm
    np.testing.assert_allclose(np.linalg.norm(area - (10, 20), axis=1), 30.0)


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("nail at 0mm,0mm", "is no mark known here"),
        ("fastener 3mm deep", "does not say where"),
        ("fastener at 40,20", "has no unit"),
        ("fastener at 40mm,20mm from card 7", "Card 7 is not on this map"),
        ("fastener at 0mm,0mm to 9mm,9mm", "has 2 places"),
        ("grain at 0mm,0mm", "has 1 places"),
        ("grain from 0mm,0mm to 1mm,1mm", "ends where it starts"),
        ("flat within 0mm,0mm to 9mm,9mm", "has 2 places"),
        ("leave within 0mm,0mm to 9mm,9mm", "has 2 places"),
        ("fastener at 0mm,0mm, rusty", "'rusty' is not understood"),
        ("fastener at 0mm,0mm, -3mm deep", "below nothing"),
    ],
)
def test_what_is_unclear_is_refused(text, problem):
    with pytest.raises(LightcheckError, match=problem) as refusal:
        typed(text)
    assert refusal.value.remedy


# --- kept -------------------------------------------------------------------------------------------

SAID = (
    "fastener at 40mm,-20mm, 3mm deep",
    "fastener at -40mm,-20mm",
    "grain from -100mm,0mm to 100mm,10mm",
    "no lower at 0mm,0mm, over 60mm, 1mm may come off",
    "station 3 from 0mm,-150mm to 0mm,150mm",
    "rabbet from -200mm,20mm to 0mm,25mm to 90mm,40mm, dies out",
    "bevel within 0mm,0mm to 90mm,0mm to 90mm,60mm, along 10deg",
)
WHERE = tuple((c.card, c.x_mm, c.y_mm) for c in CARDS)


@pytest.fixture
def kept(tmp_path):
    path = tmp_path / "marks.toml"
    path.write_text(marks.text(marks.Marks(marks=tuple(map(typed, SAID)), cards=WHERE)))
    return path


def same(one, other):
    assert (one.kind, one.name, one.depth_mm, one.over_mm, one.dies_out) == (
        other.kind, other.name, other.depth_mm, other.over_mm, other.dies_out,
    )  # fmt: skip
    assert (one.along_rad is None) == (other.along_rad is None)
    assert (one.along_rad or 0) == pytest.approx(other.along_rad or 0, abs=2e-3)


def test_marks_read_back_as_they_were(kept):
    back = marks.read(kept, CARDS)
    for one, text in zip(back.marks, SAID, strict=True):
        same(one, typed(text))
        np.testing.assert_allclose(one.at_mm, typed(text).at_mm, atol=0.06)


def test_marks_go_with_the_cards_to_another_frame(kept):
    """Turned by 90 degrees and shifted: (x, y) becomes (7 - y, x + 5)."""
    turned = tuple(
        CardPlace(card=c.card, x_mm=7 - c.y_mm, y_mm=c.x_mm + 5, turn_rad=c.turn_rad) for c in CARDS
    )
    there = marks.read(kept, turned)
    np.testing.assert_allclose(there.marks[0].at_mm, [(27, 45)], atol=0.1)
    assert there.marks[-1].along_rad == pytest.approx(math.radians(100), abs=2e-3)


def test_marks_of_another_map_are_refused(kept):
    moved = (*CARDS[:3], CardPlace(card=3, x_mm=-100.0, y_mm=140.0, turn_rad=0.0))
    with pytest.raises(LightcheckError, match="belong to another map: a card lies"):
        marks.read(kept, moved)
    with pytest.raises(LightcheckError, match="fewer than two"):
        marks.read(kept, CARDS[:1])


def test_a_file_written_by_hand_may_give_places_from_cards(tmp_path):
    path = tmp_path / "marks.toml"
    path.write_text(
        '[cards]\n2 = "230mm,140mm"\n0="-230mm,-140mm"\n'
        '[[mark]]\nkind="fastener"\nat="40mm,-20mm from card 2"\n'
    )
    np.testing.assert_allclose(marks.read(path).marks[0].at_mm, [(270, 120)])


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("schema = 9", "has schema 9"),
        ("[[mark]\n", "can not be read"),
        ("mark = 3", "is not what it should be"),
        ('[[mark]]\nkind = "fastener"', "mark 1 has no kind or no place"),
        ('[[mark]]\nkind = "nail"\nat = ["0mm,0mm"]', "mark 1: 'nail' is not a mark"),
        ('[[mark]]\nkind = "fastener"\nat = ["0,0"]', "mark 1: '0' has no unit"),
        ('[[mark]]\nkind = "fastener"\nat = ["0mm,0mm"]\nsize = 3', "'size' is not known"),
        ('[[mark]]\nkind = "fastener"\nat = ["0mm,0mm"]\ndepth = "-1mm"', "depth can not be"),
        ('[[mark]]\nkind = "stop"\nat = ["0mm,0mm", "9mm,0mm"]\ndies_out = 1', "dies_out or along_deg"),
        ('[cards]\nx = "0mm,0mm"', "has no number"),
    ],
)
def test_a_file_that_can_not_be_understood_is_refused(tmp_path, text, problem):
    path = tmp_path / "marks.toml"
    path.write_text(text)
    with pytest.raises(LightcheckError, match=problem) as refusal:
        marks.read(path)
    assert refusal.value.remedy


def test_a_file_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(LightcheckError, match="can not be read"):
        marks.read(tmp_path / "marks.toml")


def test_what_the_fair_surface_must_respect(kept):
    creases = marks.read(kept).creases()
    assert [c.dies_out for c in creases.lines] == [True]
    assert creases.flats[0].across_rad == pytest.approx(math.radians(100), abs=2e-3)
    assert creases.cards == WHERE
    flat = marks.Marks(marks=(typed("flat within 0mm,0mm to 90mm,0mm to 90mm,60mm"),))
    assert flat.creases().flats[0].across_rad is None


# --- drawn ------------------------------------------------------------------------------------------


@pytest.fixture
def sheet():
    """A picture of grey wood, 200 x 120 mm, and something to draw on it with, in mm from its middle."""
    grain = np.random.default_rng(4).integers(90, 200, (120, 200)).astype(np.uint8)
    picture = Image.fromarray(grain).convert("RGB")
    pen = ImageDraw.Draw(picture)
    return picture, pen, lambda x, y: (x + 100, 60 - y)


def drawn(picture, path, *pens):
    picture.save(path, quality=90) if path.suffix == ".jpg" else picture.save(path)
    return marks.of_drawing(path, tuple(map(marks.read_pen, pens)), SHEET)


@pytest.mark.parametrize("name", ["copy.png", "copy.jpg"])
def test_marks_drawn_on_a_copy_of_the_wood(sheet, tmp_path, name):
    picture, pen, at = sheet
    pen.line([at(-80, 40), at(0, 20), at(70, 30)], fill="blue", width=3, joint="curve")
    x, y = at(40, -30)
    pen.ellipse((x - 4, y - 4, x + 4, y + 4), fill="red")
    pen.line([at(-70, -40), at(-10, -40)], fill=(0, 190, 0), width=3)
    pen.polygon([at(-2, -40), at(-14, -34), at(-14, -46)], fill=(0, 190, 0))
    found = drawn(
        picture, tmp_path / name, "blue = crease, dies out", "red = fastener, 3mm deep", "green=grain"
    )
    by = {m.kind: m for m in found}
    assert len(found) == 3
    np.testing.assert_allclose(by["fastener"].at_mm, [(40, -30)], atol=1.5)
    assert by["fastener"].depth_mm == 3.0
    ends = sorted(by["crease"].at_mm[[0, -1]].tolist())
    np.testing.assert_allclose(ends, [(-80, 40), (70, 30)], atol=3)
    assert np.linalg.norm(by["crease"].at_mm - (0, 20), axis=1).min() < 4
    tail, head = by["grain"].at_mm
    assert head[0] - tail[0] > 45
    np.testing.assert_allclose([tail[1], head[1]], -40, atol=3)


def test_an_arrow_points_where_its_head_is(sheet, tmp_path):
    picture, pen, at = sheet
    pen.line([at(-50, 0), at(50, 0)], fill="blue", width=3)
    x, y = at(-50, 0)
    pen.ellipse((x - 6, y - 6, x + 6, y + 6), fill="blue")
    (mark,) = drawn(picture, tmp_path / "copy.png", "blue = grain")
    assert mark.at_mm[0, 0] > 40
    assert mark.at_mm[1, 0] < -40


def test_a_ring_is_an_area(sheet, tmp_path):
    picture, pen, at = sheet
    pen.rectangle((*at(-40, 30), *at(40, -20)), outline="magenta", width=2)
    (mark,) = drawn(picture, tmp_path / "copy.png", "magenta = leave")
    np.testing.assert_allclose(mark.at_mm.min(axis=0), (-40, -20), atol=2)
    np.testing.assert_allclose(mark.at_mm.max(axis=0), (40, 30), atol=2)


def test_a_small_blob_for_an_area_is_a_point(sheet, tmp_path):
    picture, pen, at = sheet
    pen.ellipse((*at(-4, 4), *at(4, -4)), fill="orange")
    (mark,) = drawn(picture, tmp_path / "copy.png", "orange = no lower, 1mm may come off")
    np.testing.assert_allclose(mark.at_mm, [(0, 0)], atol=1.5)
    assert mark.depth_mm == 1.0


def test_what_was_drawn_and_can_not_be_understood_is_refused(sheet, tmp_path):
    picture, pen, at = sheet
    pen.line([at(-50, 0), at(50, 0)], fill="blue", width=3)
    with pytest.raises(LightcheckError, match="has no head"):
        drawn(picture, tmp_path / "a.png", "blue = grain")
    with pytest.raises(LightcheckError, match="Something blue is drawn near -5"):
        drawn(picture, tmp_path / "a.png", "red = fastener")
    with pytest.raises(LightcheckError, match="Nothing red is drawn"):
        drawn(picture, tmp_path / "a.png", "blue = crease", "red = fastener")
    with pytest.raises(LightcheckError, match="not the whole of"):
        drawn(picture.crop((0, 0, 120, 120)), tmp_path / "a.png", "blue = crease")
    (tmp_path / "a.png").write_bytes(b"no picture")
    with pytest.raises(LightcheckError, match="can not be read as a picture"):
        marks.of_drawing(tmp_path / "a.png", (marks.read_pen("blue = crease"),), SHEET)


@pytest.mark.parametrize("text", ["blue", "pink = crease", "blue = nail", "blue = crease, rusty"])
def test_a_colour_that_stands_for_nothing_known_is_refused(text):
    with pytest.raises(LightcheckError) as refusal:
        marks.read_pen(text)
    assert refusal.value.remedy
