"""The result folder: complete, readable by programs and people, silent about what is private."""

import base64
import csv
import io
import json
import os
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import made_up
import numpy as np
import pytest
from PIL import Image

from lightcheck import report
from lightcheck.errors import LightcheckError
from lightcheck.report import lamp, plots, tables, words

NASTY = "<script>alert(1)</script>.jpg"
COLUMNS = "spot,kind,x_mm,y_mm,height_mm,sigma_mm,chance,length_mm,width_mm,turn_deg,come_off_mm,place,doubt"
VOID = {"meta", "img", "br", "link", "input", "hr"}


@pytest.fixture(scope="module")
def result():
    return made_up.hump_map(first_name=NASTY)


@pytest.fixture(scope="module")
def folder(result, tmp_path_factory) -> Path:
    return report.write(result, tmp_path_factory.mktemp("shop") / "out").parent


@pytest.fixture(scope="module")
def page(folder) -> str:
    return (folder / "report.html").read_text(encoding="utf-8")


class Outline(HTMLParser):
    """Collects pictures, text and tags that were left open or closed twice."""

    def __init__(self):
        super().__init__()
        self.open, self.wrong, self.pictures, self.text, self.tags = [], [], [], "", set()

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        if tag not in VOID:
            self.open.append(tag)
        if tag == "img":
            self.pictures.append(dict(attrs))

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def handle_data(self, data):
        self.text += data


def read(page: str) -> Outline:
    outline = Outline()
    outline.feed(page)
    outline.text = re.sub(r"\s+", " ", outline.text)
    return outline


def pictures_in(folder: Path) -> list[bytes]:
    page = (folder / "report.html").read_text(encoding="utf-8")
    inside = re.findall(r"data:image/\w+;base64,([A-Za-z0-9+/=]+)", page)
    return [p.read_bytes() for p in folder.glob("*.png")] + [base64.b64decode(i) for i in inside]


def test_folder_is_complete_and_nothing_else_is_left(folder):
    assert {p.name for p in folder.iterdir()} == set(report.FILES)
    assert [p.name for p in folder.parent.iterdir()] == ["out"]


def test_arrays_are_what_was_measured(folder, result):
    with np.load(folder / "map.npz") as kept:
        np.testing.assert_allclose(kept["x_mm"], result.patch.grid.x_mm)
        np.testing.assert_allclose(kept["y_mm"], result.patch.grid.y_mm)
        for name in ("height_mm", "sigma_mm", "come_off_mm"):
            assert kept[name].dtype == np.float32
            np.testing.assert_allclose(kept[name], getattr(result.fair, name), rtol=1e-6)
    with np.load(folder / "draws.npz") as kept:
        assert kept["draws_mm"].shape == result.fair.draws_mm.shape
        np.testing.assert_allclose(kept["draws_mm"], result.fair.draws_mm, atol=0.0006)


def test_spots_csv_has_the_agreed_columns_and_rows(folder, result):
    text = (folder / "spots.csv").read_text(encoding="utf-8")
    assert text.splitlines()[0] == COLUMNS
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [r["kind"] for r in rows] == [s.kind for s in result.spots]
    assert float(rows[2]["height_mm"]) == pytest.approx(-0.31, abs=1e-4)
    assert float(rows[2]["turn_deg"]) == pytest.approx(90)
    assert float(rows[2]["come_off_mm"]) == 0
    assert rows[3]["doubt"] == "at the edge of what was seen; lit from too few sides here"
    assert rows[0]["place"] == made_up.PLACES[0]


def test_json_is_strict_and_says_how_it_was_made(folder, result):
    def refuse(name):
        raise AssertionError(f"{name} is not JSON")

    kept = json.loads((folder / "map.json").read_text(encoding="utf-8"), parse_constant=refuse)
    assert kept["schema"] == 1
    assert set(kept["cards"][0]) == {"card", "x_mm", "y_mm", "turn_deg"}
    assert kept["cards"][2]["turn_deg"] == pytest.approx(np.degrees(3.1))
    assert [s["photo"] for s in kept["shots"]] == [NASTY, "right.jpg", "off.jpg"]
    assert [s["kind"] for s in kept["shots"]] == ["lamp", "lamp", "off"]
    assert kept["shots"][1]["lamp_place_mm"] == [861.0, -20.0, 119.0]
    assert kept["shots"][2]["lamp_place_mm"] is None
    assert kept["shots"][0]["sha256"] == result.photos[0].sha256
    assert kept["warnings"] == list(result.warnings)
    assert 0.9 < kept["seen_share"] < 1
    assert "shots/" not in json.dumps(kept["recipe"])  # folders of the shop stay in the shop


def test_json_turns_nan_into_null():
    odd = {"a": np.float32("nan"), "b": [np.int64(3), float("inf")], "c": np.array([1.0, np.nan])}
    assert tables._plain(odd) == {"a": None, "b": [3, None], "c": [1.0, None]}


def test_no_picture_carries_facts_of_the_phone(folder):
    pictures = pictures_in(folder)
    assert len(pictures) == 7  # map and wood; photo, map, sections, lamps and reach in the page
    for content in pictures:
        with Image.open(io.BytesIO(content)) as picture:
            assert not picture.getexif()
            assert max(picture.size) <= 1600
        assert set(_parts(content)) <= {
            "IHDR",
            "pHYs",
            "IDAT",
            "IEND",
            0xE0,
            0xDB,
            0xC0,
            0xC4,
            0xDA,
        }


def _parts(content: bytes) -> list:
    """Chunk names of a PNG, markers of a JPEG up to its scan (ISO/IEC 15948; ITU-T T.81)."""
    found, at = [], 8 if content[:4] == b"\x89PNG" else 2
    while at < len(content) and 0xDA not in found:
        if content[:4] == b"\x89PNG":
            found.append(content[at + 4 : at + 8].decode())
            at += 12 + int.from_bytes(content[at : at + 4])
        else:
            found.append(content[at + 1])
            at += 2 + int.from_bytes(content[at + 2 : at + 4])
    return found


def test_page_stands_alone_and_is_well_formed(page):
    outline = read(page)
    assert not re.search(r"https?://|//[a-z]+\.|url\(|@import", page)
    assert not outline.wrong
    assert not outline.open
    assert not {"script", "link", "iframe", "object"} & outline.tags
    assert all(p["src"].startswith("data:image/") and p["alt"] for p in outline.pictures)
    assert len(outline.pictures) == 5


def test_one_photo_leaves_no_scatter_and_the_page_still_says_what_can_be_told(result):
    """A single photo is explained to the last bit, so that nothing is left over to tell its noise by."""
    relief = replace(result.relief, noise=float("nan"), lamps=result.relief.lamps[:1])
    curve = lamp.reach_of(replace(result, relief=relief))
    assert np.isfinite(curve.least_mm).all()
    assert curve.least_at(100.0) > 3 * lamp.reach_of(result).least_at(100.0)
    assert lamp.limit_png(result, curve)[:4] == b"\x89PNG"


def test_page_escapes_a_nasty_name(page):
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;.jpg" in page


@pytest.mark.parametrize(
    "words_there",
    [
        "5 spots over 0.10 mm; the highest is spot 1, +0.74 mm, 120 mm right of card 3, 95 below",
        "high by 0.42 mm, about 1/64 in, give or take 0.03",
        "low by 0.31 mm, about 1/64 in",
        "leave: plane round it or fill",
        "120 × 60 mm, lying across",
        "all but certain, over 98 %",
        "may be grain: only one photo",
        "cross-hatched on grey was not measured",
        "right.jpg: part of the wood is too bright to read.",
        "bearing 178°, 881 mm out (give or take 9), 112 mm up",
        "never says that a part is strong enough",
        "What is longer than 400 mm is taken for the shape of the boat",
    ],
)
def test_page_says(page, words_there):
    assert words_there in read(page).text


def test_hollow_is_never_to_come_off(result):
    for spot in result.spots:
        assert ("mm" in words.come_off_words(spot)) == (spot.kind == "hump")


def test_fair_board_is_said_plainly_with_its_limits(tmp_path):
    path = report.write(made_up.hump_map(spots=False, with_cards=False), tmp_path / "out")
    outline = read(path.read_text(encoding="utf-8"))
    assert "Nothing over 0.10 mm was found." in outline.text
    assert "That does not prove the wood fair" in outline.text
    assert len(outline.pictures) == 4  # no sections
    assert (tmp_path / "out" / "spots.csv").read_text() == COLUMNS + "\n"


def test_map_legend_names_what_was_not_measured(result, monkeypatch):
    drawn = []
    monkeypatch.setattr(plots, "png", lambda figure: drawn.append(figure) or b"")
    plots.map_png(result)
    figure = drawn[0]
    legend = figure.legends[0]
    named = {t.get_text(): h for t, h in zip(legend.texts, legend.legend_handles, strict=True)}
    assert named["not measured"].get_hatch() == plots.UNSEEN_HATCH
    assert named["below fair"].get_hatch() == plots.HOLLOW_HATCH
    axes = figure.axes[0]
    assert {"+0.74", "+0.42", "-0.31", "+0.16", "-0.11"} <= {t.get_text() for t in axes.texts}
    x, y = axes.get_xlim(), axes.get_ylim()
    assert x[0] < x[1] and y[0] < y[1]
    image = axes.images[0]
    assert image.origin == "lower"
    assert image.norm.vmin == -image.norm.vmax == pytest.approx(-0.8)


@pytest.mark.parametrize(("highest", "limit"), [(0.0, 0.2), (0.11, 0.2), (0.3, 0.3), (0.74, 0.8)])
def test_colour_scale_ends_on_a_whole_tenth(highest, limit):
    assert plots.limit_mm(np.array([np.nan, -highest, highest / 2])) == pytest.approx(limit)


def test_wood_picture_has_its_top_row_first(folder, result):
    with Image.open(folder / "wood.png") as picture:
        grey = np.asarray(picture)
    fine = result.patch.fine_log_light
    assert grey.dtype == np.uint8
    assert grey.shape == fine.shape[1:]
    np.testing.assert_array_equal(grey == 0, ~np.isfinite(fine).any(axis=0)[::-1])
    left, right = (np.median(half[half > 0]) for half in np.split(grey, 2, axis=1))
    assert abs(left - right) < 12  # of 255: the lamps' fall-off is gone


def test_refuses_a_folder_that_holds_something(result, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(LightcheckError, match="not empty") as refusal:
        report.write(result, tmp_path)
    assert "--force" in refusal.value.remedy
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_force_replaces_its_own_files_and_no_others(result, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    (tmp_path / "map.json").write_text("old")
    report.write(result, tmp_path, force=True)
    assert (tmp_path / "mine.txt").read_text() == "mine"
    assert json.loads((tmp_path / "map.json").read_text())["schema"] == 1
    assert {p.name for p in tmp_path.iterdir()} == {*report.FILES, "mine.txt"}


def test_refuses_a_file_and_what_lies_under_one(tmp_path):
    (tmp_path / "out").write_text("")
    for place in (tmp_path / "out", tmp_path / "out" / "deeper"):
        with pytest.raises(LightcheckError, match="is a file"):
            report.check_folder(place)


def test_refuses_where_writing_is_not_allowed(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda *_: False)  # root may write anywhere
    for place in (tmp_path, tmp_path / "new"):
        with pytest.raises(LightcheckError, match="can not be written"):
            report.check_folder(place)


def test_failure_leaves_nothing_half_written(result, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(tables, "write_spots", full)
    with pytest.raises(LightcheckError, match="No space left"):
        report.write(result, tmp_path / "out")
    assert not list(tmp_path.iterdir())


def test_chance_is_never_told_finer_than_the_draws():
    assert words.chance_words(1.0, draws=64).endswith("over 98\u00a0%")
    assert words.chance_words(0.0, draws=64).endswith("under 2\u00a0%")
    assert words.chance_words(0.5, draws=64) == "even chance, 50\u00a0%"


@pytest.mark.parametrize("fault", ["deuteranomaly", "protanomaly", "tritanomaly"])
def test_humps_and_hollows_stay_apart_for_colour_blind_readers(fault):
    """Distance in CAM02-UCS (Luo et al. 2006), full anomaly (Machado et al. 2009)."""
    space = pytest.importorskip("colorspacious")
    import matplotlib

    colours = matplotlib.colormaps[plots.COLOURS]
    seen_as = {"name": "sRGB1+CVD", "cvd_type": fault, "severity": 100}
    for part in (0.25, 0.5, 0.75, 1.0):
        pair = np.array([colours(0.5 + part / 2)[:3], colours(0.5 - part / 2)[:3]])
        seen = np.clip(space.cspace_convert(pair, seen_as, "sRGB1"), 0, 1)
        assert space.deltaE(*seen, input_space="sRGB1") >= 15
