"""Patterns, measured where they are drawn: in the rendered PDF, the SVG, the DXF and the outline file."""

import io
import json
import os
import xml.etree.ElementTree as Tree
from pathlib import Path

import ezdxf
import numpy as np
import pypdfium2
import pytest
from click.testing import CliRunner

from lightcheck import card, offsets, pattern
from lightcheck.cli.main import main
from lightcheck.errors import LightcheckError
from lightcheck.pattern import drawing as draw
from lightcheck.pattern.pages import LAP_MM, mark_name, pdf
from lightcheck.pattern.plane import closed, distance, inside, thinned
from lightcheck.pattern.sheet import CLEAR_MM
from lightcheck.pattern.tiles import FOOT_MM, LEFT_MM, share_out
from lightcheck.pattern.vector import dxf, svg
from lightcheck.photo import CameraFacts, Photo

OFFSETS = Path(__file__).parents[1] / "demo" / "offsets.csv"
DPI = 300
PX = DPI / 25.4
MARGIN_MM = 10.5
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; US Letter


@pytest.fixture(scope="module")
def table():
    return offsets.read(OFFSETS)


@pytest.fixture(scope="module")
def drawn(table):
    return pattern.make(table, pattern.Cut(station="4", planking_mm=9, cards=(4, 5)))


def pages(content: bytes, dpi: int = DPI) -> list[np.ndarray]:
    document = pypdfium2.PdfDocument(content)
    try:
        found = [page.render(scale=dpi / 72, grayscale=True).to_numpy() for page in document]
        return [f.reshape(f.shape[:2]) for f in found]
    finally:
        document.close()


def words_of(content: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(content)
    try:
        return [page.get_textpage().get_text_bounded() for page in document]
    finally:
        document.close()


class Sheet:
    """One rendered tile: finds things near where they should be, in mm on this paper."""

    def __init__(self, grey: np.ndarray, dpi: int = DPI) -> None:
        self.px = dpi / 25.4
        self.dark = 255 - grey

    def cross(self, x: float, y: float) -> np.ndarray:
        """Middle of a cross near a place of the paper, from its lower and its left arm: words stand right."""
        tall, n = self.dark.shape[0] / self.px, round(0.6 * self.px)
        row, column = round((tall - y) * self.px), round(x * self.px)
        near, far = round(0.9 * self.px), round(2.7 * self.px)
        below = self.dark[row + near : row + far, column - n : column + n + 1]
        left = self.dark[row - n : row + n + 1, column - far : column - near].T
        return (
            np.array([column - n + middle(below) + 0.5, self.dark.shape[0] - (row - n + middle(left) + 0.5)])
            / self.px
        )


def middle(strips: np.ndarray) -> float:
    """Typical middle of the dark in each strip."""
    weight = strips.sum(axis=1, dtype=float)
    return float(np.median(strips[weight > 0] @ np.arange(strips.shape[1]) / weight[weight > 0]))


def to_paper(tiles, tile, at) -> np.ndarray:
    """Where a place of the pattern is printed on a tile, from the lower left corner of the paper. [mm]"""
    return (
        np.asarray(at) - tiles.corner_mm(tile) + (MARGIN_MM + LEFT_MM + LAP_MM, MARGIN_MM + FOOT_MM + LAP_MM)
    )


def clear(cross, strokes) -> bool:
    """Whether nothing else is drawn within 4 mm of a cross."""
    return min(distance(np.array([cross], float), s.at_mm)[0] for s in strokes) > 4.0


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_the_pdf_is_true_over_500_mm_across_tiles(drawn, paper):
    """Sheets laid together by their marks alone, then crosses measured from one to the other: 0.1 mm."""
    tiles = share_out(drawn, paper)
    content = pdf(drawn, paper=paper)
    sheets = [Sheet(grey, 600) for grey in pages(content, 600)[1 : 1 + len(tiles.tiles)]]
    laid = {tiles.tiles[0]: np.zeros(2)}  # where each paper's corner lies on the bench
    while len(laid) < len(tiles.tiles):
        for a, b in [(a, b) for a in laid for b in tiles.tiles if b not in laid]:
            step = np.array([b.column - a.column, b.row - a.row])
            if abs(step).sum() != 1:
                continue
            shifts = []
            for share in (0.25, 0.75):
                at = tiles.corner_mm(a) + np.where(step == 0, share, np.maximum(step, 0)) * tiles.pitch_mm
                on_a = sheets[a.number - 1].cross(*to_paper(tiles, a, at))
                on_b = sheets[b.number - 1].cross(*to_paper(tiles, b, at))
                shifts.append(laid[a] + on_a - on_b)
            assert abs(shifts[0] - shifts[1]).max() < 0.1
            laid[b] = np.mean(shifts, axis=0)
            break
    found, strokes = {}, draw.drawing(drawn).strokes
    for tile, corner in laid.items():
        low, high = tiles.corner_mm(tile) + 4, tiles.corner_mm(tile) + tiles.pitch_mm - 4
        for x in np.arange(np.ceil(low[0] / 100), high[0] / 100) * 100:
            for y in np.arange(np.ceil(low[1] / 100), high[1] / 100) * 100:
                at = np.array([[x, y]])
                beside = all(
                    distance(at, closed(c.outline_mm))[0] > 9 and not inside(at, c.outline_mm)[0]
                    for c in drawn.cards
                )
                if beside and clear((x, y), strokes):
                    found[x, y] = corner + sheets[tile.number - 1].cross(*to_paper(tiles, tile, (x, y)))
    places = list(found)
    longest = worst = 0.0
    for i, a in enumerate(places):
        for b in places[:i]:
            true = np.hypot(a[0] - b[0], a[1] - b[1])
            longest = max(longest, true)
            worst = max(worst, abs(np.linalg.norm(found[a] - found[b]) - true))
    assert longest >= 500 and worst <= 0.1


def test_the_edge_is_printed_where_the_outline_says(drawn):
    """The dark line is looked for square to the outline file's points, on every tile."""
    run = np.array(
        [
            [float(v) for v in line.split(",")]
            for line in pattern.outline_csv(drawn).splitlines()
            if line[0].isdigit()
        ]
    )
    tiles = share_out(drawn, "a4")
    sheets = [Sheet(grey) for grey in pages(pdf(drawn))[1 : 1 + len(tiles.tiles)]]
    marks = np.array([[m.x_mm, m.y_mm] for m in drawn.marks])
    checked = 0
    for a, b in zip(run[3:-1:6], run[4::6], strict=False):
        at, along = (a + b) / 2, (b - a) / np.linalg.norm(b - a)
        cell = np.floor((at - tiles.origin_mm) / tiles.pitch_mm).astype(int)
        tile = tiles.at(*cell)
        room = np.minimum(at - tiles.corner_mm(tile), tiles.corner_mm(tile) + tiles.pitch_mm - at).min()
        grid = abs((at + 50) % 100 - 50).max(initial=0) < 4 or abs((at + 50) % 100 - 50).min() < 0.6
        if room < 6 or np.linalg.norm(marks - at, axis=1).min() < 4 or grid:
            continue
        square = np.array([along[1], -along[0]])
        out = np.linspace(-1.2, 1.2, 97)
        places = to_paper(tiles, tile, at + out[:, None] * square)
        dark = sheets[tile.number - 1].dark
        rows, columns = dark.shape[0] - places[:, 1] * PX - 0.5, places[:, 0] * PX - 0.5
        i, j = np.floor(rows).astype(int), np.floor(columns).astype(int)
        u, v = rows - i, columns - j
        seen = (1 - u) * ((1 - v) * dark[i, j] + v * dark[i, j + 1]) + u * (
            (1 - v) * dark[i + 1, j] + v * dark[i + 1, j + 1]
        )
        assert (out @ seen) / seen.sum() == pytest.approx(0, abs=0.1)
        checked += 1
    assert checked > 15


def test_cards_on_the_pattern_are_found_where_the_outline_says(drawn):
    """Read back by the card finder in the rendered tiles: place to 0.1 mm, turn to 0.1 degrees."""
    said = {}
    for line in pattern.outline_csv(drawn).splitlines():
        if line.startswith("# card,"):
            number, *values = line[7:].split(",")
            said[int(number)] = [float(v) for v in values]
    tiles = share_out(drawn, "a4")
    assert set(tiles.whole) == set(said) == {4, 5}
    found = {}
    for tile, grey in zip(tiles.tiles, pages(pdf(drawn))[1:], strict=False):
        photo = Photo(
            name="sheet.png", sha256="", coded=np.dstack([grey] * 3),
            light=np.zeros(grey.shape, np.float32), spoilt=np.zeros(grey.shape, bool), facts=CameraFacts(),
        )  # fmt: skip
        try:
            sightings = card.find(photo)
        except LightcheckError:  # no card on this sheet
            continue
        for seen in sightings:
            on_paper = (seen.corners_px + 0.5) * (1, -1) / PX + (0, grey.shape[0] / PX)
            on_pattern = on_paper - to_paper(tiles, tile, (0, 0))
            middle, own = on_pattern.mean(axis=0), seen.corners_mm - seen.corners_mm.mean(axis=0)
            turn = np.angle(np.sum(((on_pattern - middle) @ [1, 1j]) * np.conj(own @ [1, 1j])))
            c, s = np.cos(turn), np.sin(turn)
            place = middle - np.array([[c, -s], [s, c]]) @ seen.corners_mm.mean(axis=0)
            found[seen.card] = (*place, np.degrees(turn))
    assert set(found) == {4, 5}
    for number, (x, y, turn) in found.items():
        assert (x, y) == pytest.approx(said[number][:2], abs=0.1)
        assert turn == pytest.approx(said[number][2], abs=0.1)


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_pages_have_their_paper_and_margins(drawn, paper):
    content = pdf(drawn, paper=paper)
    document = pypdfium2.PdfDocument(content)
    sizes = [sorted(np.array(page.get_size()) * 25.4 / 72) for page in document]
    document.close()
    assert all(np.allclose(s, PAPERS_MM[paper], atol=0.05) for s in sizes)
    for grey in pages(content):
        ink = np.argwhere(grey < 240)
        blank = np.r_[ink.min(axis=0), np.array(grey.shape) - 1 - ink.max(axis=0)] / PX
        assert blank.min() >= 9.9
    assert pdf(drawn, paper=paper) == content  # the same pattern, the same bytes


def test_the_first_page_says_what_it_is(drawn):
    first, *tiles = words_of(pdf(drawn))
    for wanted in ("STATION 4", "9 mm planking taken off", "aft face lies on the station", "WL 200",
                   "1 is not fair", "485", "100 %", "Cards 4 and 5 are printed"):  # fmt: skip
        assert wanted in " ".join(first.split())
    assert f"sheet 1 of {len(tiles)}" in tiles[0]
    together = " ".join(tiles)
    for wanted in ("centreline", "WL 300", "card 4", "card 5", "STATION 4", "sheer"):
        assert wanted in together


def test_each_mark_has_its_twin(drawn):
    tiles = share_out(drawn, "a4")
    names = []
    for a in tiles.tiles:
        for step in ((1, 0), (0, 1)):
            b = tiles.at(a.column + step[0], a.row + step[1])
            if b:
                assert mark_name(tiles, a, b) == mark_name(tiles, b, a)
                names.append(mark_name(tiles, a, b))
    assert len(set(names)) == len(names) > 0
    assert pdf(drawn).count(b"/Type /Page\n") == 1 + len(tiles.tiles) + 2 - len(tiles.whole)


def test_a_card_that_a_joint_would_cut_comes_on_a_sheet_of_its_own(table):
    many = pattern.make(table, pattern.Cut(station="4", cards=(0, 1, 2, 3)))
    tiles = share_out(many, "letter")
    loose = {c.card for c in many.cards} - set(tiles.whole)
    words = words_of(pdf(many, paper="letter"))
    assert len(words) == 1 + len(tiles.tiles) + len(loose)
    for number in loose:
        assert f"glue card {number} here" in " ".join(words)


# --- the sheet --------------------------------------------------------------------------------------


@pytest.mark.parametrize("station", "123456789")
def test_cards_lie_on_the_sheet_clear_of_the_edge(table, station):
    made = pattern.make(table, pattern.Cut(station=station, planking_mm=9, cards=(4, 5)))
    assert len(made.cards) == 2
    for spot in made.cards:
        assert inside(spot.outline_mm, made.sheet_mm).all()
        assert distance(spot.outline_mm, made.edge.at_mm).min() >= CLEAR_MM - 0.5
    a, b = (np.array([s.x_mm, s.y_mm]) for s in made.cards)
    assert np.linalg.norm(a - b) > 140
    # x from the lower number to the higher: y of such a frame points away from the wood
    wood = np.array([0.0, made.edge.at_mm[-1, 1]]) - (a + b) / 2
    assert (b - a)[0] * wood[1] - (b - a)[1] * wood[0] < 0


def test_the_template_lies_outside_the_wood(drawn):
    """Its own area is beyond the edge: no point of the sheet lies within the section."""
    section = np.vstack([drawn.edge.at_mm, [0, drawn.edge.at_mm[-1, 1]]])
    middle = np.array([s.outline_mm.mean(axis=0) for s in drawn.cards])
    assert not inside(middle, section).any()
    assert inside(np.array([[100.0, 300.0]]), section)[0]


def test_where_lines_cross_the_edge(drawn):
    """A waterline's mark is at its height; its half-breadth is less than the table's by t / the normal."""
    marks = {m.name: m for m in drawn.marks}
    assert marks["WL 300"].y_mm == pytest.approx(300) and marks["buttock 300"].x_mm == pytest.approx(300)
    assert 510 - 20 < marks["WL 300"].x_mm < 510 - 9
    assert np.degrees(marks["WL 300"].bevel_rad) == pytest.approx(6, abs=2)


def section_of(folder, points, **cut) -> pattern.Pattern:
    """The pattern of one station whose lines are all given both ways. points: name -> (out, up)."""
    rows = ["units,mm", "station,,,A"]
    rows += [f"half-breadth,{name},,{x}\nheight,{name},,{y}" for name, (x, y) in points.items()]
    (folder / "one.csv").write_text("\n".join(rows))
    return pattern.make(
        offsets.read(folder / "one.csv"), pattern.Cut(**({"station": "A", "cards": (20, 21)} | cut))
    )


@pytest.mark.parametrize("lean", [-60, 0, 80])
def test_the_sheer_keeps_its_height(tmp_path, lean):
    """With flare the end of the edge rises when planking comes off, with a side that leans in it sinks."""
    points = {"keel": (0, 90), "chine": (300, 120), "sheer": (300 + lean, 420)}
    made = section_of(tmp_path, points, planking_mm=10)
    sheer = made.marks[-1]
    side = np.array([lean, 300]) / np.hypot(lean, 300)
    inward = 10 / side[1]  # at one height, two parallels stand so far apart
    assert (sheer.name, sheer.y_mm) == ("sheer", pytest.approx(420, abs=1e-6))
    assert sheer.x_mm == pytest.approx(300 + lean - inward, abs=1e-6)
    assert made.edge.at_mm[-1, 1] >= 420 - 1e-6


@pytest.mark.parametrize("cut", [{"planking_mm": 10}, {"proud_mm": 6}])
def test_the_chine_is_marked_at_the_corner_of_the_edge(tmp_path, cut):
    """Two parallels meet on the line that halves the corner (plane geometry)."""
    made = section_of(tmp_path, {"keel": (0, 90), "chine": (300, 120), "sheer": (380, 420)}, **cut)
    off = cut.get("planking_mm", 0) - cut.get("proud_mm", 0)
    u, v = (np.array(d) / np.hypot(*d) for d in ((300, 30), (80, 300)))
    inner = np.array([[-u[1], u[0]], [-v[1], v[0]]])
    corner = np.array([300, 120]) + np.linalg.solve(inner, [off, off])
    (chine,) = [m for m in made.marks if m.name == "chine"]
    assert (chine.x_mm, chine.y_mm) == pytest.approx(corner, abs=1e-6)


def test_planking_in_the_wrong_unit_is_asked_about(table):
    typed = pattern.make(table, pattern.Cut(station="4", planking_mm=9 * 25.4))
    assert any("is its unit right?" in n for n in typed.notes)
    right = pattern.make(table, pattern.Cut(station="4", planking_mm=9))
    assert not any("unit" in n for n in right.notes)


def test_the_face_is_chosen_by_the_bevel(table):
    faces = {s: pattern.make(table, pattern.Cut(station=s)).face for s in "28"}
    assert faces == {"2": "aft", "8": "forward"}  # narrows forward of 2 and aft of 8
    asked = pattern.make(table, pattern.Cut(station="2", face="forward"))
    assert asked.face == "forward" and "bevel the edge" in asked.notes[0]


def test_roughing_leaves_wood_on(table):
    fine = pattern.make(table, pattern.Cut(station="4", planking_mm=9))
    rough = pattern.make(table, pattern.Cut(station="4", planking_mm=9, proud_mm=3))
    lean = 3 / np.cos(fine.edge.bevel_rad[200])
    off = distance(fine.edge.at_mm[200:201], rough.edge.at_mm)[0]
    assert off == pytest.approx(lean, abs=0.01)
    assert "# proud,3" in pattern.outline_csv(rough) and "roughing" in rough.notes[1]


def test_an_unfair_offset_is_passed_by_or_held_to(table):
    fair = pattern.make(table, pattern.Cut(station="6"))
    typed = pattern.make(table, pattern.Cut(station="6", every_point=True))
    assert fair.section.let_go == ("WL 200",) and "past the unfair" in fair.notes[1]
    assert typed.section.let_go == () and "as typed" in typed.notes[1]
    at = np.array([[458.0, 200.0]])
    assert distance(at, typed.edge.at_mm)[0] < 0.6
    assert distance(at, fair.edge.at_mm)[0] > 14


# --- files ------------------------------------------------------------------------------------------


def test_the_outline_file(drawn):
    lines = pattern.outline_csv(drawn).splitlines()
    head = lines.index("x_mm,y_mm")
    assert all(line.startswith("# ") for line in lines[:head])
    run = np.array([[float(v) for v in line.split(",")] for line in lines[head + 1 :]])
    assert "# station,4" in lines and "# face,aft" in lines
    assert f"# tick,0.000,{run[0, 1]:.3f}" in lines and run[0, 0] == 0
    assert distance(drawn.edge.at_mm, run).max() < 0.0025
    assert not offsets.crosses_itself(run)
    assert run[-1] == pytest.approx(drawn.edge.at_mm[-1], abs=1e-3)


def test_the_svg_is_at_true_size(drawn):
    root = Tree.fromstring(svg(drawn))
    name = "{http://www.w3.org/2000/svg}"
    wide, tall = (float(root.get(k).removesuffix("mm")) for k in ("width", "height"))
    assert root.get("viewBox") == f"0 0 {wide:.3f} {tall:.3f}"
    (path,) = [p for p in root.iter(f"{name}path") if p.get("id") == "edge"]
    at = np.array([[float(v) for v in p.split(",")] for p in path.get("d")[1:].split(" L")]) * (1, -1)
    shift = at[0] - drawn.edge.at_mm[0]
    assert abs(at - shift - drawn.edge.at_mm).max() < 2e-4
    assert np.ptp(drawn.sheet_mm, axis=0) + 10 == pytest.approx([wide, tall], abs=0.01)
    words = " ".join(t.text for t in root.iter(f"{name}text"))
    assert "STATION 4" in words and "card 5" in words


def test_the_dxf_is_in_millimetres(drawn):
    document = ezdxf.read(io.StringIO(dxf(drawn)))
    assert document.header["$INSUNITS"] == 4
    space = document.modelspace()
    (edge,) = space.query('LWPOLYLINE[layer=="EDGE"]')
    assert abs(np.array(edge.get_points("xy")) - drawn.edge.at_mm).max() < 1e-9
    assert len(space.query('LWPOLYLINE[layer=="CARDS"]')) == 2
    assert {"EDGE", "SHEET", "CENTRELINE", "WATERLINES", "CARDS"} <= {e.dxf.layer for e in space}
    assert any("STATION 4" in t.dxf.text for t in space.query("TEXT"))


def test_plane_geometry():
    square = np.array([[0, 0], [10, 0], [10, 10], [0, 10.0]])
    assert inside(np.array([[5, 5], [15, 5.0]]), square).tolist() == [True, False]
    assert distance(np.array([[5, -3], [13, -4.0]]), closed(square)) == pytest.approx([3, 5])
    turn = np.linspace(0, 1, 400)
    run = 100 * np.column_stack([np.cos(turn), np.sin(turn)])
    few = thinned(run, within=0.01)
    assert len(few) < 80 and distance(run, few).max() <= 0.01


# --- refusals and the command -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cut", "words"),
    [
        ({"station": "12"}, "no station '12'"),
        ({"station": "4", "cards": (4, 4)}, "named twice"),
        ({"station": "4", "face": "left"}, "not a face"),
        ({"station": "4", "planking_mm": 400}, "thicker than the smallest radius"),
        ({"station": "1", "cards": tuple(range(12))}, "can not be laid out"),
    ],
)
def test_what_can_not_be_drawn_is_refused(table, cut, words):
    with pytest.raises(LightcheckError, match=words) as refusal:
        pattern.make(table, pattern.Cut(**cut))
    assert refusal.value.remedy


def test_an_unknown_paper_is_refused(drawn):
    with pytest.raises(LightcheckError, match="not a paper"):
        pdf(drawn, paper="a3")


def run(*words):
    return CliRunner().invoke(main, ["pattern", *map(str, words)])


def test_the_command_writes_four_files_and_lists_what_is_unfair(tmp_path):
    result = run(OFFSETS, "--station", "6", "--planking", "9mm", "--cards", "4,5", "-o", tmp_path / "six.pdf")
    assert result.exit_code == 0, result.output
    assert sorted(os.listdir(tmp_path)) == ["six.csv", "six.dxf", "six.pdf", "six.svg"]
    for words in ("WL 200", "458.0", "-16.", "not fair", "16.5 mm inside the batten's curve", "485"):
        assert words in result.stdout
    assert "100 %" in result.stderr
    assert "--force" in run(OFFSETS, "--station", "6", "-o", tmp_path / "six.pdf").stderr
    again = run(
        OFFSETS, "--station", "6", "-o", tmp_path / "six.pdf", "--force", "--no-cards", "--json", "-q"
    )
    summary = json.loads(again.stdout)
    assert summary["schema"] == 1 and summary["cards"] == [] and summary["slips"][0]["line"] == "WL 200"
    assert again.stderr == ""


def test_feet_are_echoed_in_mm(tmp_path):
    rows = ["units,feet-inches-eighths", "station,,,A", "half-breadth,keel,,0-0-0",
            "half-breadth,WL,0-8-0,1-0-4", "half-breadth,sheer,,1-4-0",
            "height,keel,,0-3-2+", "height,sheer,,1-6-0"]  # fmt: skip
    (tmp_path / "o.csv").write_text("\n".join(rows))
    result = run(tmp_path / "o.csv", "--station", "a", "-o", tmp_path / "a.pdf")
    assert result.exit_code == 0, result.output
    for millimetres in ("84.1", "317.5", "406.4", "457.2", "203.2"):  # 3-5/16, 12-1/2, 16, 18 and 8 inches
        assert millimetres in result.stdout


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (["--station", "40"], "--station: 1, 2"),
        (["--station", "4", "--planking", "9"], "no unit"),
        (["--station", "4", "--planking", "400mm"], "thicker than the smallest radius"),
        (["--station", "4", "-o", "pattern.png"], "not the name of a PDF"),
        (["--station", "4", "-o", "none/pattern.pdf"], "folder is not there"),
        (["--station", "4", "--cards", "50"], "no card 50"),
    ],
)
def test_the_command_refuses_and_leaves_nothing(tmp_path, monkeypatch, typed, words):
    monkeypatch.chdir(tmp_path)
    result = run(OFFSETS, *typed)
    assert result.exit_code == 1 and words in result.stderr and len(result.stderr.splitlines()) == 2
    assert os.listdir(tmp_path) == []


def test_planking_off_lines_to_the_inside_is_refused(tmp_path):
    (tmp_path / "o.csv").write_text(OFFSETS.read_text().replace("to,outside", "to,inside"))
    with pytest.raises(LightcheckError, match="to the inside of the planking already"):
        pattern.make(offsets.read(tmp_path / "o.csv"), pattern.Cut(station="4", planking_mm=9))
