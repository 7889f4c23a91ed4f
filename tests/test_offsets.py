"""Tables of offsets, battens and planking, against geometry, published values and invented boats."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from lightcheck import offsets
from lightcheck.errors import LightcheckError
from lightcheck.offsets.batten import FREE, spring
from lightcheck.offsets.section import off_batten_mm
from lightcheck.offsets.typed import EIGHTHS, offset_mm, step_mm
from lightcheck.units import length_mm

DEMO = Path(__file__).parents[1] / "demo"
FLAT = """title,Invented skiff
units,mm
station,,,1,2,3
place,,,500,1000,1500
half-breadth,keel,,0,0,0
half-breadth,chine,,300,400,350
half-breadth,sheer,,400,500,450
height,keel,,100,90,95
height,chine,,150,120,140
height,sheer,,450,400,420
"""


def invented():
    """The module that draws the invented boat."""
    spec = importlib.util.spec_from_file_location("figures_pattern", DEMO / "figures_pattern.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


BOAT = invented()


def table(folder, text: str) -> offsets.Table:
    path = folder / "offsets.csv"
    path.write_text(text, encoding="utf-8")
    return offsets.read(path)


def given(folder, sections, places=None) -> offsets.Table:
    """A table with every point given both ways. sections: list of (n, 2), one for each station."""
    names = [str(i) for i in range(1, len(sections) + 1)]
    rows = ["units,mm", "station,,," + ",".join(names)]
    if places is not None:
        rows.append("place,,," + ",".join(f"{p:.4f}" for p in places))
    for j in range(len(sections[0])):
        for axis, kind in enumerate(("half-breadth", "height")):
            rows.append(f"{kind},L{j},," + ",".join(f"{s[j][axis]:.6f}" for s in sections))
    return table(folder, "\n".join(rows) + "\n")


def arc(radius, *, points=17, centre=800.0, until=np.pi / 2):
    turn = np.linspace(0, until, points)
    return np.column_stack([radius * np.sin(turn), centre - radius * np.cos(turn)])


# --- what is typed ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "inches"),
    [
        ("2-3-4", 27.5),
        ("0-11-7", 11.875),
        ("2-3-4+", 27.5625),
        ("2-3-4-", 27.4375),
        ("-0-3-4", -3.5),
        ("1 0 1", 12.125),
    ],
)
def test_feet_inches_eighths(typed, inches):
    """Book notation; + and - are a sixteenth of an inch (as several boatbuilding pages have it)."""
    assert offset_mm(typed, units=EIGHTHS, place="x") == pytest.approx(25.4 * inches, abs=1e-9)


def test_feet_inches_eighths_agree_with_lengths_typed_elsewhere():
    assert offset_mm("2-3-4", units=EIGHTHS, place="x") == pytest.approx(length_mm("27-1/2in"))


@pytest.mark.parametrize(
    ("typed", "units", "words"),
    [
        ("2-12-4", EIGHTHS, "inches go to 11"),
        ("2-3-8", EIGHTHS, "eighths to 7"),
        ("2-3", EIGHTHS, "not feet-inches-eighths"),
        ("02/03/2004", EIGHTHS, "looks like a date"),
        ("2-Mar-04", EIGHTHS, "looks like a date"),
        ("2-3-4", "mm", "not a number of millimetres"),
        ("nan", "mm", "not a number"),
        ("1e9", "mm", "not a number"),
    ],
)
def test_cells_that_can_not_be_read_are_refused(typed, units, words):
    with pytest.raises(LightcheckError) as refusal:
        offset_mm(typed, units=units, place="row 7, sheer")
    assert words in refusal.value.problem and "row 7, sheer" in refusal.value.problem
    assert refusal.value.remedy


def test_the_step_of_a_table():
    assert step_mm(["412", "", "-", "88"], units="mm") == 1
    assert step_mm(["412", "88.25"], units="mm") == 0.01
    assert step_mm(["1-2-3", "0-4-4"], units=EIGHTHS) == pytest.approx(25.4 / 8)
    assert step_mm(["1-2-3", "0-4-4+"], units=EIGHTHS) == pytest.approx(25.4 / 16)


# --- the table --------------------------------------------------------------------------------------


def test_a_table_is_read(tmp_path):
    read = table(tmp_path, FLAT)
    assert read.stations == ("1", "2", "3") and read.title == "Invented skiff" and read.to == "outside"
    assert read.place_mm.tolist() == [500, 1000, 1500] and read.step_mm == 1
    chine = next(line for line in read.lines if line.name == "chine")
    assert chine.corner and chine.kind == "both" and chine.height_mm.tolist() == [150, 120, 140]


def test_semicolons_with_decimal_commas_and_tabs_read_the_same(tmp_path):
    commas = table(tmp_path, FLAT.replace(",300,", ",300.5,"))
    semicolons = table(tmp_path, FLAT.replace(",", ";").replace(";300;", ";300,5;"))
    tabs = table(tmp_path, "\ufeff" + FLAT.replace(",", "\t").replace("\t300\t", "\t300.5\t"))
    for other in (semicolons, tabs):
        for a, b in zip(commas.lines, other.lines, strict=True):
            assert a.half_breadth_mm.tolist() == b.half_breadth_mm.tolist()
            assert a.height_mm.tolist() == b.height_mm.tolist()


def test_feet_table_is_the_mm_table(tmp_path):
    feet = FLAT.replace("units,mm", "units,feet-inches-eighths")
    cells = {"0": "0-0-0", "300": "0-11-6", "400": "1-3-6", "350": "1-1-6", "500": "1-7-5+", "450": "1-5-6",
             "100": "0-4-0", "90": "0-3-4", "95": "0-3-6", "150": "0-5-7", "120": "0-4-6", "140": "0-5-4",
             "420": "1-4-4", "1000": "3-3-3", "1500": "4-11-0"}  # fmt: skip
    rows = [r.split(",") for r in feet.splitlines()]
    rows = [[*r[:3], *(cells[c] for c in r[3:])] if len(r) > 3 and r[0] != "station" else r for r in rows]
    read = table(tmp_path, "\n".join(",".join(r) for r in rows))
    mm = table(tmp_path, FLAT)
    for a, b in zip(read.lines, mm.lines, strict=True):
        assert abs(a.half_breadth_mm - b.half_breadth_mm).max() < 2  # within a sixteenth
        assert abs(a.height_mm - b.height_mm).max() < 2


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("units,mm", "units,cubits", "units row says"),
        ("units,mm", "# nothing", "does not say its units"),
        ("station,,,1,2,3", "# none", "No row names the stations"),
        ("station,,,1,2,3", "station,,,1,2,2", "two have the same"),
        ("place,,,500,1000,1500", "place,,,500,1500,1000", "not in order: 3 does not lie aft of 2"),
        ("place,,,500,1000,1500", "place,,,500,,1500", "no place"),
        ("height,sheer,,450,400,420", "height,sheer,,450,400,420,430", "more cells than there are stations"),
        ("height,sheer,", "heigth,sheer,", "not known here"),
        ("height,sheer,", "height,chine,", "two rows height of chine"),
        (
            "half-breadth,sheer,,400,500,450",
            "half-breadth,WL 300,,400,500,450",
            "at which height WL 300 lies",
        ),
    ],
)
def test_tables_that_can_not_be_read_are_refused(tmp_path, old, new, words):
    assert old in FLAT
    with pytest.raises(LightcheckError, match=words):
        table(tmp_path, FLAT.replace(old, new))


def test_what_is_no_table_is_refused(tmp_path):
    with pytest.raises(LightcheckError, match="can not be read"):
        offsets.read(tmp_path / "none.csv")
    (tmp_path / "sheet.csv").write_bytes(b"PK\x03\x04")
    with pytest.raises(LightcheckError, match="not a CSV"):
        offsets.read(tmp_path / "sheet.csv")
    with pytest.raises(LightcheckError, match="holds no offsets"):
        table(tmp_path, "units,mm\nstation,,,1,2\n")


def test_an_unknown_station_is_refused_with_the_names_there_are(tmp_path):
    with pytest.raises(LightcheckError) as refusal:
        offsets.section(table(tmp_path, FLAT), "4")
    assert "1, 2, 3" in refusal.value.remedy


def test_fewer_than_three_points_are_refused(tmp_path):
    cells = FLAT.replace("chine,,300,", "chine,,,")
    with pytest.raises(LightcheckError, match="2 points"):
        offsets.section(table(tmp_path, cells), "1")


def test_points_out_of_order_are_refused(tmp_path):
    rows = FLAT + "half-breadth,WL 200,200,320,420,370\nhalf-breadth,WL 300,300,120,450,400\n"
    with pytest.raises(LightcheckError, match=r"WL .* not in order"):
        offsets.section(table(tmp_path, rows), "1")
    assert len(offsets.section(table(tmp_path, rows), "2").points) == 5


# --- the batten -------------------------------------------------------------------------------------


def test_natural_spline_has_least_energy():
    """Through (0,0) (1,1) (2,0): 6 against 6.0881 for the sine and 8 for the parabola (closed forms)."""
    batten = spring([0, 1, 2], [0, 1, 0], ends=FREE)
    assert batten.energy == pytest.approx(6, abs=1e-9)
    assert batten.place(0.5)[0, 0] == pytest.approx(0.6875) and batten.place(0, 1)[0, 0] == pytest.approx(1.5)
    x = np.linspace(0, 2, 20001)
    sine = np.trapezoid(((np.pi / 2) ** 2 * np.sin(np.pi * x / 2)) ** 2, x)
    assert sine == pytest.approx(6.0881, abs=1e-4)
    assert batten.energy < sine < np.trapezoid(np.full_like(x, 4.0), x) == pytest.approx(8)


def test_a_batten_on_springs_has_the_published_moment():
    """McGuire, Gallagher & Ziemian, Matrix Structural Analysis, 2nd ed., example 4.15: 547 kip-in.

    17 nodes 15 in apart, springs of 22.5 kip/in, E 29000 ksi, I 128.5 in4, 40 kip in the middle, ends
    pinned. (Its deflection is quoted as .238 in, which is that of the endless beam: next test.)
    """
    at, stiff = np.arange(17) * 15.0, 29000 * 128.5
    hold, pins = np.full(17, 22.5), np.zeros(17)
    pins[8], hold[[0, -1]] = 40 / 22.5, 1e9
    batten = spring(at, pins, stiffness=stiff, hold=hold, ends=FREE)
    assert abs(stiff * batten.bend[8, 0]) == pytest.approx(547, abs=0.5)


def test_a_long_batten_on_springs_is_the_endless_beam():
    """Closed form P beta / 2k = .23748 in; with the same springs on a batten of 720 in."""
    at, stiff = np.arange(49) * 15.0, 29000 * 128.5
    pins = np.zeros(49)
    pins[24] = 40 / 22.5
    batten = spring(at, pins, stiffness=stiff, hold=np.full(49, 22.5), ends=FREE)
    beta = (1.5 / (4 * stiff)) ** 0.25
    assert beta == pytest.approx(0.0178108, abs=1e-7)
    assert batten.pin[24, 0] == pytest.approx(40 * beta / (2 * 1.5), rel=0.002)


@pytest.mark.parametrize("wave", [8.0, 16.0, 40.0])
def test_a_batten_on_springs_passes_a_wave_as_the_closed_form_says(wave):
    """1 / (1 + (l0 / l)^4), l0 = 2 pi (EI / k)^(1/4): half of it at l = l0."""
    at = np.arange(0, 400, 0.5)
    stiff = 0.5 * (16 / (2 * np.pi)) ** 4 / 0.5  # springs of 1 at every 0.5: k = 2, so EI = 2 (l0 / 2 pi)^4
    batten = spring(at, np.sin(2 * np.pi * at / wave), stiffness=2 * stiff, ends=FREE)
    middle = slice(200, 600)
    share = (batten.pin[middle, 0] @ np.sin(2 * np.pi * at[middle] / wave)) / (
        np.sin(2 * np.pi * at[middle] / wave) ** 2
    ).sum()
    assert share == pytest.approx(1 / (1 + (16 / wave) ** 4), rel=0.01)


@pytest.mark.parametrize(
    ("chord", "radius", "sagitta"),
    [(229, 3000, 2.186), (356, 3000, 5.285), (559, 3000, 13.048), (914, 3000, 35.01)],
)
def test_a_batten_round_an_arc_has_the_sagitta_of_the_handbook(tmp_path, chord, radius, sagitta):
    """R - sqrt(R^2 - L^2 / 4), exact; the batten touches seven points of the arc."""
    half = np.arcsin(chord / 2 / radius)
    turn = np.linspace(-half, half, 7)
    batten = spring(radius * turn, np.column_stack([radius * np.sin(turn), radius * (1 - np.cos(turn))]))
    rise = batten.place(0.0)[0, 1] - batten.place(batten.at[-1])[0, 1]
    assert abs(rise) == pytest.approx(sagitta, abs=0.006)


def test_how_far_a_point_lies_off_a_batten():
    batten = spring([0, 50, 100], [[0, 0], [50, 0], [100, 0]])
    assert off_batten_mm(batten, (30, -2)) == pytest.approx(2)  # to the right of the run: outside
    assert off_batten_mm(batten, (30, 2)) == pytest.approx(-2)


# --- sections and slips -----------------------------------------------------------------------------


def test_a_section_passes_within_the_rounding_of_the_table(tmp_path):
    read = table(tmp_path, BOAT.offsets_csv(slip=None))
    for station in read.stations:
        drawn = offsets.section(read, station)
        assert abs(drawn.off_mm).max() <= 0.5
        x = BOAT.SPACING_MM * int(station)
        for piece in drawn.pieces_mm(20.0):  # and so it follows the hull it was written down from
            true = [
                BOAT.half_breadth_mm(x, np.clip(z, BOAT.keel_mm(x), BOAT.sheer_mm(x))) for z in piece[:, 1]
            ]
            assert abs((piece[:, 0] - true) * piece[:, 2]).max() < 1.2


def test_a_chine_stays_a_corner(tmp_path):
    drawn = offsets.section(table(tmp_path, FLAT), "2")
    assert len(drawn.battens) == 2 and abs(drawn.off_mm).max() < 1e-9
    for piece in drawn.pieces_mm():  # straight planks between two points
        assert abs(np.diff(piece[:, 2])).max() < 1e-9


def test_a_fair_table_has_no_slip(tmp_path):
    told = offsets.fairness(table(tmp_path, BOAT.offsets_csv(slip=None)))
    assert told.slips == () and 0.9 * told.numbers < told.judged < told.numbers


def test_a_table_too_small_to_judge_says_so(tmp_path):
    told = offsets.fairness(table(tmp_path, FLAT))
    assert (told.slips, told.judged, told.numbers) == ((), 0, 18)


def test_the_slip_in_the_demo_is_found_and_explained():
    read = offsets.read(DEMO / "offsets.csv")
    (slip,) = offsets.fairness(read).slips
    kind, line, station, typed = BOAT.SLIP
    assert (slip.kind, slip.line, slip.station, slip.typed_mm) == (kind, line, str(station), float(typed))
    true = BOAT.half_breadth_mm(BOAT.SPACING_MM * station, 200)
    assert slip.fair_mm == pytest.approx(true, abs=2)
    assert f"{true:.0f}" in slip.perhaps and "swapped" in slip.perhaps
    kept = offsets.section(read, slip.station, let_go=(line,))
    off = kept.off_mm[[p.line for p in kept.points].index(line)]
    assert off == pytest.approx(slip.off_mm, abs=1.5) and off < -14  # inside the batten's curve


def test_the_demo_is_the_boat_of_the_formulas():
    assert (DEMO / "offsets.csv").read_text(encoding="utf-8") == BOAT.offsets_csv()


@pytest.mark.parametrize(
    ("kind", "line", "station", "by"),
    [("height", "buttock 300", 5, 12), ("half-breadth", "sheer", 4, -15), ("height", "sheer", 7, 10),
     ("half-breadth", "WL 300", 1, 12)],
)  # fmt: skip
def test_slips_in_all_kinds_of_lines_are_found(tmp_path, kind, line, station, by):
    """In waterlines and buttocks, in the sheer (which only its own line judges), at the end station."""
    rows = [r.split(",") for r in BOAT.offsets_csv(slip=None).splitlines()]
    row = next(r for r in rows if r[:2] == [kind, line])
    true = int(row[2 + station])
    row[2 + station] = str(true + by)
    slips = offsets.fairness(table(tmp_path, "\n".join(",".join(r) for r in rows))).slips
    (slip,) = slips
    assert (slip.kind, slip.line, slip.station) == (kind, line, str(station))
    assert slip.fair_mm == pytest.approx(true, abs=max(3, 2.5 * slip.sigma_mm))


# --- planking ---------------------------------------------------------------------------------------


def off_ellipse(at, across, up):
    return BOAT._off_ellipse(np.asarray(at), across, up)


@pytest.mark.parametrize(("across", "up"), [(500.0, 500.0), (380.0, 380.0), (600.0, 380.0)])
def test_planking_off_circles_and_an_ellipse_is_the_parallel_curve(tmp_path, across, up):
    """To 0.01 mm all along, from 17 points; the parallel curve is exact geometry."""
    turn = np.linspace(0, np.pi / 2, 17)
    read = given(tmp_path, [np.column_stack([across * np.sin(turn), up * (1 - np.cos(turn))])])
    drawn = offsets.section(read, "1")
    edge = offsets.edge(drawn, planking_mm=12)
    assert abs(off_ellipse(edge.at_mm, across, up) + 12).max() < 0.01
    assert edge.at_mm[0, 0] == pytest.approx(0, abs=1e-6)
    for at in edge.at_mm[5:-5:40]:  # and 12 mm from the batten's own curve to the last figure
        assert off_batten_mm(drawn.battens[0], at) == pytest.approx(-12, abs=1e-4)


def test_planking_on_a_cone_is_corrected_for_its_bevel(tmp_path):
    """On a cone of tangent 0.36 the section loses t sqrt(1 + 0.36^2) at every place: exact."""
    places = np.arange(5) * 400.0
    radii = 300 + 0.36 * places
    read = given(tmp_path, [arc(r) for r in radii], places)
    drawn = offsets.section(read, "3")
    bevel = offsets.bevels(read, drawn, let_go={})
    edge = offsets.edge(drawn, planking_mm=9, bevel=bevel)
    radius = np.hypot(edge.at_mm[:, 0], edge.at_mm[:, 1] - 800)
    assert abs(radius - (radii[2] - 9 * np.sqrt(1 + 0.36**2))).max() < 0.01
    assert np.degrees(edge.bevel_rad) == pytest.approx(np.degrees(np.arctan(0.36)), abs=0.01)


def test_planking_on_a_sphere(tmp_path):
    """Inner sphere of radius 991 under 9 mm of a sphere of 1000, cut 300 mm from its middle: exact."""
    places = np.arange(7) * 150.0 - 300
    read = given(tmp_path, [arc(np.sqrt(1000**2 - p**2), centre=1000) for p in places], places)
    drawn = offsets.section(read, "5")
    edge = offsets.edge(drawn, planking_mm=9, bevel=offsets.bevels(read, drawn, let_go={}))
    radius = np.hypot(edge.at_mm[:, 0], edge.at_mm[:, 1] - 1000)
    assert abs(radius - np.sqrt(991**2 - 300**2)).max() < 0.01


def test_without_places_or_neighbours_there_is_no_bevel(tmp_path):
    read = given(tmp_path, [arc(300), arc(400)])
    assert offsets.bevels(read, offsets.section(read, "1"), let_go={}) is None
    read = given(tmp_path, [arc(300)], [0])
    assert offsets.bevels(read, offsets.section(read, "1"), let_go={}) is None


def test_planking_round_a_chine_meets_in_a_corner(tmp_path):
    """Two straight planks: the inner corner lies on both parallels (by plane geometry)."""
    drawn = offsets.section(table(tmp_path, FLAT), "2")
    edge = offsets.edge(drawn, planking_mm=10)
    a, b, c = np.array([0, 90.0]), np.array([400, 120.0]), np.array([500, 400.0])

    def inner(p, q):
        u = (q - p) / np.linalg.norm(q - p)
        return p + 10 * np.array([-u[1], u[0]]), u

    (p, u), (q, v) = inner(a, b), inner(b, c)
    along = np.linalg.solve(np.column_stack([u, -v]), q - p)
    corner = p + along[0] * u
    assert np.linalg.norm(edge.at_mm - corner, axis=1).min() < 1e-6
    assert edge.at_mm[0] == pytest.approx([0, p[1] - p[0] * u[1] / u[0]])  # on the centreline
    assert edge.at_mm[-1] == pytest.approx(c + 10 * np.array([-v[1], v[0]]))


def test_a_roughing_edge_stands_outside(tmp_path):
    drawn = offsets.section(given(tmp_path, [arc(400)]), "1")
    edge = offsets.edge(drawn, planking_mm=9, proud_mm=12)
    assert np.hypot(edge.at_mm[1:, 0], edge.at_mm[1:, 1] - 800) == pytest.approx(403, abs=0.01)


def test_planking_thicker_than_the_smallest_radius_is_refused(tmp_path):
    read = given(tmp_path, [arc(40, centre=200)])
    drawn = offsets.section(read, "1")
    assert drawn.tightest()[0] == pytest.approx(40, abs=0.3)
    offsets.edge(drawn, planking_mm=38)
    with pytest.raises(
        LightcheckError, match=r"42.0 mm in the section\) is thicker than the smallest radius"
    ) as no:
        offsets.edge(drawn, planking_mm=42)
    assert "chine" in no.value.remedy
    turn = np.linspace(0, np.pi / 2, 17)
    hollow = given(tmp_path, [np.column_stack([300 - 40 * np.cos(turn), 40 * np.sin(turn)])])
    offsets.edge(offsets.section(hollow, "1"), planking_mm=42)  # away from a hollow there is room
    with pytest.raises(LightcheckError, match="wood left for roughing"):
        offsets.edge(offsets.section(hollow, "1"), proud_mm=42)


def test_crossings():
    one = np.array([[0, 0], [10, 10.0]])
    other = np.array([[0, 10], [10, 0.0]])
    assert offsets.crossings(one, other)[0] == pytest.approx([5, 5, 0.5, 0.5])
    assert offsets.crosses_itself(np.array([[0, 0], [10, 10], [10, 0], [0, 10.0]]))
    assert not offsets.crosses_itself(np.array([[0, 0], [10, 10], [20, 0.0]]))
    assert not offsets.crosses_itself(np.array([[0, 0], [10, 0], [10, 10], [0, 10.0]]), closed=True)
