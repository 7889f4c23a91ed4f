"""Station tables: invented readings in, what is left to come off out, and how it is told."""

import csv
import json
import os

import numpy as np
import pytest
from click.testing import CliRunner

from lightcheck import stations, template
from lightcheck.cli.main import main
from lightcheck.errors import LightcheckError
from lightcheck.report import daylight as written
from lightcheck.report import stations as report
from lightcheck.report.stations_words import left_words
from lightcheck.template import Daylight, StandOff

RADIUS_MM = 620.0
QUARTER, EIGHTH = 25.4 / 4, 25.4 / 8


def reading(off, *, unknown=(), station=None, outline=True, flip=False, start=0.0, sigma=0.05) -> Daylight:
    """An invented reading. off: what the wood stands off by at a girth from the centreline."""
    turn = np.linspace(start / RADIUS_MM, 0.8, 401)
    girth = RADIUS_MM * turn
    at = np.column_stack([RADIUS_MM * np.sin(turn), RADIUS_MM * (1 - np.cos(turn))])
    stand_off = np.broadcast_to(off(girth), girth.shape).astype(float)
    daylight = np.fmax(0, np.fmax.reduce(stand_off) - stand_off)
    if flip:  # the photo shows the sheer on its left
        at, stand_off, daylight = at[::-1], stand_off[::-1], daylight[::-1]
    doubt = np.full(len(girth), sigma)
    held = StandOff(
        source="outline.csv", design_mm=at, off_mm=stand_off, sigma_mm=doubt, shape_mm=stand_off,
        shape_sigma_mm=doubt, cut_mm=np.zeros(len(girth)), unknown=tuple(unknown), face_mm=0.0,
        tied_by="cards", mirrored=False, station=station,
    )  # fmt: skip
    return Daylight(
        photo="made-up.jpg", sha256="", light="back", held="template", thick_mm=0.0, cards=(),
        along_mm=girth - girth[0], edge_mm=at, daylight_mm=daylight, sigma_mm=doubt,
        stand_off=held if outline else None, eye_mm=np.array([0.0, 0.0, 1200.0]),
        eye_sigma_mm=np.ones(3), mm_per_px=0.18,
    )  # fmt: skip


def where(station: str, side: str = "") -> stations.Where:
    return stations.Where(station=station, side=side, folder=f"d{station}{side}")


def made(*readings, **more) -> stations.StationTable:
    return stations.table(list(readings), **{"places_mm": {}, **more})


@pytest.mark.parametrize(("heavy", "words"), [(QUARTER, "1/4 in"), (EIGHTH, "1/8 in")])
def test_heavy_stations_read_back_as_the_fraction(heavy, words):
    """Stations are roughed down to a quarter, then an eighth heavy: common practice, no source."""
    result = made((where("4"), reading(lambda g: heavy)))
    (station,) = result.readings
    assert station.seated and station.from_centre
    assert station.left_mm == pytest.approx(heavy)
    rows = [r for r in report.rows(result) if r["kind"] == "station"]
    assert {r["left_in"] for r in rows} == {words}
    assert words in left_words(heavy, 0.05)


def test_a_roughing_template_that_touches_leaves_its_own_allowance():
    """Made a quarter proud and seated, touching all round: a quarter is left."""
    result = made((where("4"), reading(lambda g: 0.0)), proud_mm=QUARTER)
    assert result.readings[0].left_mm == pytest.approx(QUARTER)


def test_places_lie_at_their_girth():
    """Round an arc of 620 mm the place 200 mm from the centreline lies at 620 sin, 620 (1 - cos)."""
    result = made((where("4"), reading(lambda g: g / 100)), every_mm=100)
    station = result.readings[0]
    assert station.girth_mm.tolist() == [0, 100, 200, 300, 400]
    turn = 200 / RADIUS_MM
    assert station.at_mm[2] == pytest.approx(
        [RADIUS_MM * np.sin(turn), RADIUS_MM * (1 - np.cos(turn))], abs=0.1
    )
    assert station.left_mm[1:4] == pytest.approx([1, 2, 3], abs=0.01)


def test_a_photo_taken_the_other_way_round_gives_the_same_table():
    forth = made((where("4"), reading(lambda g: g / 100))).readings[0]
    back = made((where("4"), reading(lambda g: g / 100, flip=True))).readings[0]
    assert back.girth_mm.tolist() == forth.girth_mm.tolist()
    assert back.left_mm == pytest.approx(forth.left_mm, abs=1e-6)
    assert back.daylight_mm == pytest.approx(forth.daylight_mm, abs=1e-6)


def test_an_unseated_template_hides_its_lift():
    """The same wood, but 3 mm of it under the touching places: only what lies above the lowest is told."""
    seated = made((where("4"), reading(lambda g: 3 + np.cos(g / 100)))).readings[0]
    loose = made((where("4"), reading(lambda g: np.cos(g / 100), unknown=("lift", "rock"))))
    station = loose.readings[0]
    assert not station.seated and station.unknown == ("lift", "rock")
    lowest = np.cos(np.linspace(0, 496, 401) / 100).min()
    assert station.left_mm == pytest.approx(seated.left_mm - 3 - lowest, abs=1e-6)
    assert station.sigma_mm == pytest.approx(np.hypot(0.05, 0.05))
    assert "station 4: not seated" in loose.warnings[0].lower() and "unknown" not in loose.warnings[1:]
    assert left_words(1.0, 0.05, seated=False) == "1.00 mm, 3/64 in, give or take 0.05 + lift"


def test_a_roughing_allowance_does_not_hide_an_unknown_lift():
    plain = made((where("4"), reading(lambda g: np.cos(g / 100), unknown=("lift",)))).readings[0]
    proud = made((where("4"), reading(lambda g: np.cos(g / 100), unknown=("lift",))), proud_mm=3).readings[0]
    assert proud.left_mm == pytest.approx(plain.left_mm)


def test_without_an_outline_the_templates_own_edge_stands_for_it():
    result = made((where("4"), reading(lambda g: np.sin(g / 60), outline=False)))
    station = result.readings[0]
    assert not station.from_centre and "the template's own edge" in station.unknown
    assert np.isnan(station.at_mm).all()
    assert station.left_mm + station.daylight_mm == pytest.approx(np.full(len(station.left_mm), 2), abs=0.01)
    assert any("not from the centreline" in w for w in result.warnings)


def test_a_reading_that_starts_far_out_is_not_from_the_centreline():
    result = made((where("4"), reading(lambda g: 1.0, start=150)))
    assert not result.readings[0].from_centre and result.readings[0].girth_mm[0] >= 150


def test_places_that_were_not_seen_stay_blank():
    result = made((where("4"), reading(lambda g: np.where((g > 180) & (g < 220), np.nan, 1.0))))
    blank = np.isnan(result.readings[0].left_mm)
    assert blank.tolist() == (result.readings[0].girth_mm == 200).tolist()
    assert left_words(np.nan, np.nan) == "not seen"
    assert [r["left_mm"] is None for r in report.rows(result)] == blank.tolist()


def test_spans_are_half_way_and_warned_of():
    result = made(
        (where("5"), reading(lambda g: 1 + g / 500)), (where("4"), reading(lambda g: 3 - g / 500)),
        (where("6"), reading(lambda g: 2.0)), places_mm={"4": 1880, "5": 2350, "6": 2820},
    )  # fmt: skip
    assert [r.where.station for r in result.readings] == ["4", "5", "6"]  # from forward to aft
    first, second = result.spans
    assert first.between == ("4", "5") and second.between == ("5", "6") and first.place_mm == 2115
    assert first.left_mm == pytest.approx(2, abs=0.01)
    apart = abs((3 - first.girth_mm / 500) - (1 + first.girth_mm / 500)) / 2
    assert (first.sigma_mm >= apart - 0.01).all()
    assert any("middle of a span carries more wood" in w for w in result.warnings)


def test_stations_without_a_place_have_no_spans():
    result = made((where("4"), reading(lambda g: 1.0)), (where("5"), reading(lambda g: 1.0)))
    assert result.spans == () and any("--at 4=" in w for w in result.warnings)


def test_port_and_starboard_side_by_side():
    result = made(
        (where("4", "starboard"), reading(lambda g: 1.0, flip=True, sigma=0.04)),
        (where("4", "port"), reading(lambda g: 1.5 + g / 1000, sigma=0.03)),
        (where("5", "port"), reading(lambda g: 1.0)), places_mm={"4": 0, "5": 470},
    )  # fmt: skip
    (diff,) = result.differences
    assert diff.station == "4" and diff.seated
    assert diff.left_mm == pytest.approx(0.5 + diff.girth_mm / 1000, abs=0.006)
    assert diff.sigma_mm == pytest.approx(0.05)
    assert [s.side for s in result.spans] == ["port"]  # nothing was read to starboard of station 5


def test_what_is_told_of_one_place():
    assert left_words(-0.001, 0.05) == "0.00 mm, <1/64 in, give or take 0.05"
    assert left_words(-3.2, 0.05) == "-3.20 mm, -1/8 in, give or take 0.05 (low already)"
    assert left_words(-3.2, 0.05, sides=True).endswith("(more to starboard)")
    assert left_words(3.2, 0.05, sides=True).endswith("(more to port)")
    assert left_words(3.2, 0.05, sides=True, seated=False).endswith("0.05, the lifts may differ")
    assert left_words(3.2, 2.0, sides=True).endswith("2.00")  # not sure enough to say which


# --- what is written --------------------------------------------------------------------------------


@pytest.fixture
def both():
    return made(
        (where("4", "port"), reading(lambda g: QUARTER)),
        (where("4", "starboard"), reading(lambda g: EIGHTH)),
        (where("5", "port"), reading(lambda g: 0.5 - g / 400, unknown=())),
        (where("5", "starboard"), reading(lambda g: np.cos(g / 90), unknown=("lift",))),
        places_mm={"4": 1880, "5": 2350},
    )  # fmt: skip


def test_the_folder(tmp_path, both):
    page = report.write(both, tmp_path / "table")
    assert sorted(os.listdir(tmp_path / "table")) == sorted(report.FILES)
    with (tmp_path / "table" / "stations.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    kinds = [r["kind"] for r in rows]
    assert tuple(rows[0]) == report.COLUMNS
    assert kinds.count("station") == 40 and kinds.count("span") == 20 and kinds.count("difference") == 20
    low = next(r for r in rows if r["station"] == "5" and r["side"] == "port" and r["girth_mm"] == "400.0")
    assert float(low["left_mm"]) == pytest.approx(-0.5, abs=0.02) and low["left_in"] == "-1/64 in"
    summary = json.loads((tmp_path / "table" / "stations.json").read_text(encoding="utf-8"))
    assert summary["schema"] == 1 and len(summary["rows"]) == 80 and summary["warnings"]
    text = page.read_text(encoding="utf-8")
    for words in ("Station 4", "1/4 in", "Port less starboard", "low already", "+ lift",
                  "Middles of the spans", "carries more wood", "data:image/png", "how thick"):  # fmt: skip
        assert words in text
    assert "http" not in text  # nothing is fetched
    assert (tmp_path / "table" / "stations.png").read_bytes().startswith(b"\x89PNG")


def test_names_are_escaped_on_the_page(tmp_path):
    result = made((where("<b>4</b>"), reading(lambda g: 1.0)))
    assert "<b>4</b>" not in report.write(result, tmp_path / "t").read_text(encoding="utf-8")


def test_nothing_seen_at_the_places_is_still_a_page(tmp_path):
    result = made((where("4"), reading(lambda g: np.where(g > 490, 1.0, np.nan))))
    assert "Nothing was seen" in report.write(result, tmp_path / "t").read_text(encoding="utf-8")


# --- refusals and the command -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("readings", "places", "words"),
    [
        ([], {}, "No reading"),
        ([("4", ""), ("4", "")], {}, "Station 4 is read twice"),
        ([("4", "port"), ("4", "port")], {}, "Station 4 port is read twice"),
        ([("4", "")], {"7": 100.0}, "no reading of station 7"),
    ],
)
def test_what_makes_no_table_is_refused(readings, places, words):
    given = [(where(*names), reading(lambda g: 1.0)) for names in readings]
    with pytest.raises(LightcheckError, match=words) as refusal:
        stations.table(given, places_mm=places)
    assert refusal.value.remedy


def test_a_reading_of_nothing_is_refused():
    with pytest.raises(LightcheckError, match="no place that was seen"):
        made((where("4"), reading(lambda g: np.nan)))


def run(*words):
    return CliRunner().invoke(main, ["stations", *map(str, words)])


@pytest.fixture
def folders(monkeypatch):
    """Folders of daylight that are read as invented readings: the number in the name is what is left."""

    def read(folder):
        left = float(folder.name.removeprefix("left"))
        return reading(lambda g: left, station="9" if left == 2 else None)

    monkeypatch.setattr(template, "read", read)


def test_the_command(tmp_path, folders):
    out = tmp_path / "table"
    result = run("x/left6.35@4,port", "x/left3.175@4,Starboard", "x/left2", "x/left1", "--at", "4=1880mm",
                 "--at", "9=2m", "-o", out)  # fmt: skip
    assert result.exit_code == 0, result.output
    for words in ("station 4 port", "6.35 mm, 1/4 in", "3.17 mm, 1/8 in", "port less starboard", "station 9",
                  "station left1"):  # fmt: skip
        assert words in result.stdout
    assert "Note: Nothing says where station left1" in result.stderr and f"Open {out}" in result.stderr
    again = run("x/left2", "-o", out, "--force", "--json", "-q", "--every", "2in", "--proud", "1mm")
    summary = json.loads(again.stdout)
    assert summary["every_mm"] == 50.8 and summary["rows"][0]["left_mm"] == 3 and again.stderr == ""
    assert "not empty" in run("x/left2", "-o", out).stderr


def test_folders_written_by_the_daylight_command_are_read(tmp_path):
    """The table from files is the table from the readings themselves, to the figures that are written."""
    wood = reading(lambda g: EIGHTH + g / 200, station="4", unknown=("lift",))
    bare = reading(lambda g: np.sin(g / 60), outline=False)
    written.write(wood, tmp_path / "a")
    written.write(bare, tmp_path / "b")
    result = run(tmp_path / "a", f"{tmp_path / 'b'}@5", "-o", tmp_path / "table", "--json", "-q")
    assert result.exit_code == 0, result.output
    rows = json.loads(result.stdout)["rows"]
    expected = report.rows(made((where("4"), wood), (where("5"), bare)))
    assert len(rows) == len(expected) == 20 and {r["station"] for r in rows} == {"4", "5"}
    for row, true in zip(rows, expected, strict=True):
        assert row["left_mm"] == pytest.approx(true["left_mm"], abs=0.002)
        assert row["seated"] == true["seated"] == "no" and row["unknown"] == true["unknown"]


def test_a_folder_that_is_no_reading_is_refused(tmp_path):
    (tmp_path / "empty").mkdir()
    result = run(tmp_path / "empty", "-o", tmp_path / "table")
    assert result.exit_code == 1 and "not the result folder of a daylight reading" in result.stderr
    assert os.listdir(tmp_path) == ["empty"]


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (["left1@"], "does not name its station"),
        (["left1@4,left"], "neither port nor starboard"),
        (["left1@4", "--at", "600mm"], "where a station stands"),
        (["left1@4", "--at", "4=600"], "no unit"),
        (["left1@4", "left2@4"], "read twice"),
        (["left1@4", "--at", "5=600mm"], "no reading of station 5"),
    ],
)
def test_the_command_refuses_and_leaves_nothing(tmp_path, folders, typed, words):
    result = run(*typed, "-o", tmp_path / "table")
    assert result.exit_code == 1 and words in result.stderr and len(result.stderr.splitlines()) == 2
    assert os.listdir(tmp_path) == []
