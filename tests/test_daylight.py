"""Daylight of path-traced photographs against their truth, and the command and its folder."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from lightcheck import template
from lightcheck.cli.main import main
from lightcheck.errors import LightcheckError
from lightcheck.report import daylight as report
from lightcheck.template import Asked

SCENES = Path(__file__).parents[1] / "fixtures" / "daylight-1"
RADIUS_MM, THICK_MM = 620.0, 6.0  # of the invented section and its template


class Scene:
    """One path-traced photo, its truth and its reading."""

    def __init__(self, name: str, folder: Path = SCENES) -> None:
        self.photo = folder / name / "photo.jpg"
        self.facts = json.loads((folder / name / "truth.json").read_text())
        rows = np.genfromtxt(folder / name / "truth.csv", delimiter=",", names=True)
        self.rows = rows[np.argsort(rows["x_mm"])]
        held = "batten" if name == "batten" else "template"
        self.reading = template.measure(self.photo, asked=Asked(thick_mm=THICK_MM, held=held))

    def middle(self) -> np.ndarray:
        """Rows in the middle nine tenths of the template."""
        low, high = self.rows["x_mm"][[0, -1]]
        return np.abs(self.reading.edge_mm[:, 0] - (low + high) / 2) < 0.45 * (high - low)

    def error(self) -> np.ndarray:
        true = np.interp(self.reading.edge_mm[:, 0], self.rows["x_mm"], self.rows["daylight_mm"])
        return (self.reading.daylight_mm - true)[self.middle()]

    def touching_mm(self) -> list[float]:
        """x of true touching places; places closer than 3 mm are one."""
        x = np.array(self.facts["touching_x_mm"])
        return [float(g.mean()) for g in np.split(x, np.flatnonzero(np.diff(x) > 3) + 1)]


@pytest.fixture(scope="module")
def back():
    return Scene("back")


@pytest.fixture(scope="module")
def front():
    return Scene("front")


@pytest.fixture(scope="module")
def batten():
    return Scene("batten")


@pytest.mark.parametrize("name", ["back", "batten"])
def test_against_the_light(name, request):
    scene = request.getfixturevalue(name)
    error, sigma = scene.error(), scene.reading.sigma_mm[scene.middle()]
    assert scene.reading.light == "back"
    assert np.isfinite(error).all()
    assert np.median(np.abs(error)) < 0.04 and np.quantile(np.abs(error), 0.95) < 0.12
    assert abs(error.mean()) < 0.03
    assert np.mean(np.abs(error) < 2 * sigma) > 0.9


def test_without_a_light_behind(front):
    error, sigma = front.error(), front.reading.sigma_mm[front.middle()]
    assert front.reading.light == "front"
    assert np.median(np.abs(error)) < 0.08 and np.quantile(np.abs(error), 0.95) < 0.2
    assert np.mean(np.abs(error) < 2 * sigma) > 0.9


@pytest.mark.parametrize("name", ["back", "batten", "front"])
def test_touching_places_are_found_to_3_mm(name, request):
    scene = request.getfixturevalue(name)
    found = np.array([t.x_mm for t in scene.reading.touching])
    for x in scene.touching_mm():
        assert np.abs(found - x).min() < 3


def test_thickness_matters(back):
    """Not told of its thickness, the far lip's shade is missing from the reading."""
    bevelled = template.measure(back.photo)
    there = np.interp(back.reading.edge_mm[:, 0], bevelled.edge_mm[:, 0], bevelled.daylight_mm)
    lost = (back.reading.daylight_mm - there)[back.middle()]
    assert np.median(lost) > 0.05


def round_outline(scene: Scene, path: Path, scale: float = 1.0) -> Path:
    """The round that the template was cut to, in a drawing of its own."""
    turn = np.linspace(np.pi / 2 + 0.34, np.pi / 2 - 0.34, 400)
    points = RADIUS_MM * np.stack([np.cos(turn), np.sin(turn)], -1) * scale
    path.write_text("# station,4\nx_mm,y_mm\n" + "\n".join(f"{x:.4f},{y:.4f}" for x, y in points) + "\n")
    return path


def run(*words):
    return CliRunner().invoke(main, ["daylight", *map(str, words)])


@pytest.fixture(scope="module")
def folder(back, tmp_path_factory):
    """The command as a builder types it."""
    base = tmp_path_factory.mktemp("daylight")
    outline = round_outline(back, base / "station4.csv")
    done = run(
        back.photo, "--thick", "6mm", "--outline", outline, "--seat", "tick,square", "-o", base / "out"
    )
    assert done.exit_code == 0, done.output
    return base / "out", done


def test_the_folder_keeps_its_contract(folder):
    out, _ = folder
    with (out / "daylight.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["along_mm", "x_mm", "y_mm", "daylight_mm", "sigma_mm"]
    facts = json.loads((out / "daylight.json").read_text())
    assert facts["schema"] == 1 and {"cards", "largest", "touching"} <= set(facts)
    assert {"card", "x_mm", "y_mm", "turn_deg"} == set(facts["cards"][0])
    widest = max(float(r["daylight_mm"]) for r in rows if r["daylight_mm"])
    assert facts["largest"]["daylight_mm"] == pytest.approx(widest, abs=1e-3)
    assert (out / "daylight.png").read_bytes().startswith(b"\x89PNG")
    assert sorted(p.name for p in out.iterdir()) == [
        "daylight.csv", "daylight.json", "daylight.png", "standoff.csv"
    ]  # fmt: skip


def test_what_is_said(folder):
    _, done = folder
    assert "largest daylight 1." in done.stdout and "give or take" in done.stdout
    assert "station 4, less an unknown lift" in done.stdout
    assert "carries a template high" in done.stderr and "Open" in done.stderr


def test_a_folder_is_read_back(folder, back):
    again = template.read(folder[0])
    assert again.daylight_mm == pytest.approx(back.reading.daylight_mm, abs=1e-4, nan_ok=True)
    assert again.edge_mm == pytest.approx(back.reading.edge_mm, abs=1e-3)
    assert [t.along_mm for t in again.touching] == pytest.approx(
        [t.along_mm for t in back.reading.touching], abs=0.01
    )
    assert again.seat.marks == ("tick", "square") and np.isinf(again.seat.lift_sigma_mm)
    off = again.stand_off
    assert off.unknown == ("lift",) and off.station == "4" and len(off.off_mm) == len(again.along_mm)
    assert np.hypot(*off.design_mm.T) == pytest.approx(RADIUS_MM, abs=0.02)
    true = -np.interp(again.edge_mm[:, 0], back.rows["x_mm"], back.rows["daylight_mm"])
    assert np.quantile(np.abs(off.off_mm - true)[back.middle()], 0.95) < 0.06


def test_folders_that_can_not_be_read(folder, tmp_path):
    with pytest.raises(LightcheckError, match="not the result folder"):
        template.read(tmp_path)
    facts = json.loads((folder[0] / "daylight.json").read_text())
    for change, problem in (({"schema": 2}, "newer"), ({"cards": None}, "incomplete")):
        (tmp_path / "daylight.json").write_text(json.dumps(facts | change))
        (tmp_path / "daylight.csv").write_bytes((folder[0] / "daylight.csv").read_bytes())
        (tmp_path / "standoff.csv").write_bytes((folder[0] / "standoff.csv").read_bytes())
        with pytest.raises(LightcheckError, match=problem):
            template.read(tmp_path)


def test_an_outline_in_inches_is_refused_and_nothing_is_written(back, tmp_path):
    outline = round_outline(back, tmp_path / "inches.csv", 1 / 25.4)
    done = run(back.photo, "--thick", "6mm", "--outline", outline, "-o", tmp_path / "out")
    assert done.exit_code == 1 and "25.4 times too small" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 2 and not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        (["--seat", "glue"], "not a mark"),
        (["--face", "aft"], "there is none"),
        (["--bevel", "20"], "not a bevel"),
        (["--thick", "6"], "no unit"),
        (["--batten", "--outline", "x.csv"], "no designed outline"),
        (["--outline", "nowhere.csv"], "can not be read"),
    ],
)
def test_words_that_make_no_sense_are_refused(tmp_path, words, problem):
    done = run("photo.jpg", *words, "-o", tmp_path / "out")
    assert done.exit_code == 1 and problem in done.stderr
    assert len(done.stderr.strip().splitlines()) == 2 and not (tmp_path / "out").exists()


def test_a_full_folder_is_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    done = run("photo.jpg", "-o", tmp_path)
    assert done.exit_code == 1 and "not empty" in done.stderr
    with pytest.raises(LightcheckError, match="not empty"):
        report.check_folder(tmp_path)
