"""The command line: quick help, refusals in two lines, exit codes, what goes to which stream."""

import json
import os
import subprocess
import sys
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from lightcheck import __version__, humpmap, report
from lightcheck.cli.main import COMMANDS, main
from lightcheck.errors import LightcheckError

LAMPS = ("--lamp", "left,900mm,110mm", "--lamp", "right,900mm,110mm")


def run(*typed):
    return CliRunner().invoke(main, [str(t) for t in typed])


def refused(*typed) -> str:
    """The two lines of a refusal."""
    result = run(*typed)
    assert result.exit_code == 1, result.output
    assert result.stdout == "" and "Traceback" not in result.output
    lines = [n for n in result.stderr.splitlines() if not n.startswith("Reading")]
    assert len(lines) == 2 and all(lines)
    return " / ".join(lines)


# --- help -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("typed", [["--help"], ["-h"], ["--version"], ["map", "-h"], ["cards", "-h"]])
def test_help_loads_nothing_heavy(typed):
    """What makes `--help` slow is importing these; time itself depends on the machine."""
    script = (
        "import sys\nfrom lightcheck.cli.main import main\n"
        f"try:\n    main({typed!r})\nexcept SystemExit as end:\n    assert not end.code\n"
        "heavy = {'numpy', 'cv2', 'scipy', 'matplotlib', 'PIL', 'skimage', 'jinja2', 'reportlab'}\n"
        "assert not heavy & set(sys.modules), heavy & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()


def test_help_names_every_command():
    for short in ("-h", "--help"):
        result = run(short)
        assert result.exit_code == 0
        assert all(name in result.stdout for name in COMMANDS)
    for name in COMMANDS:
        assert run(name, "-h").exit_code == 0
    assert __version__ in run("--version").stdout


@pytest.mark.parametrize(
    "typed", [["plane"], ["map"], ["map", "a.jpg"], ["cards", "--paper", "a3"], ["map", "--no"]]
)
def test_wrong_usage_exits_with_2(typed):
    result = run(*typed)
    assert result.exit_code == 2
    assert result.stdout == "" and "Usage" in result.stderr


# --- cards ----------------------------------------------------------------------------------------


def test_cards_writes_a_pdf_and_names_it(tmp_path):
    out = tmp_path / "cards.pdf"
    result = run("cards", "-o", out, "--numbers", "0,3,20-23", "--paper", "letter")
    assert result.exit_code == 0
    assert result.stdout.strip() == str(out)
    assert "100 %" in result.stderr
    assert out.read_bytes().startswith(b"%PDF")
    assert os.listdir(tmp_path) == ["cards.pdf"]


def test_cards_keeps_what_is_there_unless_forced(tmp_path):
    out = tmp_path / "cards.pdf"
    out.write_text("mine")
    assert "--force" in refused("cards", "-o", out)
    assert out.read_text() == "mine"
    result = run("cards", "-o", out, "--force", "-q")
    assert result.exit_code == 0 and result.stderr == ""
    assert out.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("numbers", ["35", "7-3", "a", "", "0-99", "1,,2"])
def test_cards_refuses_bad_numbers(tmp_path, numbers):
    assert "--numbers" in refused("cards", "-o", tmp_path / "a.pdf", "--numbers", numbers)
    assert os.listdir(tmp_path) == []


def test_cards_refuses_places_it_can_not_write(tmp_path):
    assert "is a folder" in refused("cards", "-o", tmp_path)
    assert "can not be written" in refused("cards", "-o", tmp_path / "none" / "a.pdf")


# --- map ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (["a.jpg", "b.jpg", "--lamp", "left,900mm,110mm"], "fewer lamps than photos"),
        (["a.jpg", *LAMPS], "more lamps than photos"),
        (["a.jpg", "b.jpg", *LAMPS, "--least", "0.1"], "'0.1' has no unit"),
        (["a.jpg", "b.jpg", *LAMPS, "--least", "0mm"], "too small"),
        (["a.jpg", "b.jpg", *LAMPS, "--longest", "1mm,2mm,3mm"], "more than two"),
        (["a.jpg", "b.jpg", *LAMPS, "--scale", "0.35mm"], "mm/px"),
        (["a.jpg", "b.jpg", *LAMPS, "--measured", "9.94mm"], "100 mm ruler"),
        (["a.jpg", "b.jpg", *LAMPS, "--card-thickness", "-1mm"], "too small"),
    ],
)
def test_map_refuses_before_it_reads(tmp_path, typed, words):
    assert words in refused("map", *typed, "-o", tmp_path / "out")
    assert os.listdir(tmp_path) == []


def test_map_refuses_a_folder_with_something_in_it(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    assert "not empty" in refused("map", "a.jpg", "b.jpg", *LAMPS, "-o", tmp_path)


SPOT = SimpleNamespace(
    number=1, kind="hump", x_mm=10.0, y_mm=20.0, height_mm=0.42, sigma_mm=0.05, chance=0.97,
    place="150 mm right of card 2, 40 below it",
)  # fmt: skip


@pytest.fixture
def mapped(monkeypatch):
    """The walk replaced by a finished result, to see only what the command does with it."""
    asked = []

    def make(recipe):
        asked.append(recipe)
        return SimpleNamespace(spots=(SPOT,), warnings=("The phone merged frames.",), response=None)

    def write(result, folder, *, steps=(), force=False):
        folder.mkdir()
        (folder / "map.json").write_text(json.dumps({"schema": 1, "spots": [1]}))
        return folder / "report.html"

    monkeypatch.setattr(humpmap, "make", make)
    monkeypatch.setattr(report, "write", write)
    return asked


def test_map_lists_spots_on_stdout_and_talks_on_stderr(tmp_path, mapped):
    result = run("map", "a.jpg", "b.jpg", *LAMPS, "-o", tmp_path / "out")
    assert result.exit_code == 0, result.output
    (line,) = result.stdout.splitlines()
    assert line.split()[0] == "1"
    for words in ("high by 0.42 mm, about 1/64 in, give or take 0.05", "0.97", SPOT.place):
        assert words in line
    assert "merged frames" in result.stderr
    assert result.stderr.splitlines()[-1] == f"Open {tmp_path / 'out' / 'report.html'}"


def test_map_hands_on_what_was_asked(tmp_path, mapped):
    choices = "--longest 800mm,300mm --least 1/64in --measured 99.4mm,99.6mm --card-thickness 3mm"
    more = [*choices.split(), "--scale", "0.35mm/px", "-q"]
    result = run("map", "a.jpg", "b.jpg", *LAMPS, "-o", tmp_path / "out", *more)
    assert result.exit_code == 0 and result.stderr == ""
    (recipe,) = mapped
    assert recipe.photos == ("a.jpg", "b.jpg")
    assert recipe.lamps == ("left,900mm,110mm", "right,900mm,110mm")
    assert recipe.longest_mm == (800.0, 300.0) and recipe.measured_mm == (99.4, 99.6)
    assert recipe.least_mm == pytest.approx(0.396875) and recipe.scale_mm_px == 0.35
    assert recipe.card_thickness_mm == 3.0


def test_the_defaults_are_those_of_the_recipe(tmp_path, mapped):
    assert run("map", "a.jpg", "b.jpg", *LAMPS, "-o", tmp_path / "out").exit_code == 0
    plain = humpmap.Recipe(photos=("a.jpg", "b.jpg"), lamps=(LAMPS[1], LAMPS[3]))
    assert mapped == [plain]


def test_json_is_one_object_on_stdout(tmp_path, mapped):
    result = run("map", "a.jpg", "b.jpg", *LAMPS, "-o", tmp_path / "out", "--json")
    assert json.loads(result.stdout)["schema"] == 1


def test_a_marked_up_picture_is_saved_beside_the_result_and_named(tmp_path, monkeypatch):
    picture = np.full((20, 30, 3), 128, np.uint8)

    def make(recipe):
        raise LightcheckError("No card could be read.", "Go nearer.", picture=picture)

    monkeypatch.setattr(humpmap, "make", make)
    words = refused("map", "a.jpg", "b.jpg", *LAMPS, "-o", tmp_path / "out")
    assert "Go nearer. See " in words and "out-trouble.png" in words
    assert os.listdir(tmp_path) == ["out-trouble.png"]
    with Image.open(tmp_path / "out-trouble.png") as saved:
        assert saved.size == (30, 20)


def test_a_missing_system_library_is_named(tmp_path, monkeypatch):
    def make(recipe):
        raise ImportError("libGL.so.1: cannot open shared object file", name="cv2")

    monkeypatch.setattr(humpmap, "make", make)
    words = refused("map", "a.jpg", "b.jpg", *LAMPS, "-o", tmp_path / "out")
    assert "libgl1" in words and "libglib2.0-0" in words and "opencv-python-headless" in words


def test_a_fault_of_ours_is_not_hidden(tmp_path, monkeypatch):
    def make(recipe):
        raise ZeroDivisionError("ours")

    monkeypatch.setattr(humpmap, "make", make)
    result = run("map", "a.jpg", "b.jpg", *LAMPS, "-o", tmp_path / "out")
    assert isinstance(result.exception, ZeroDivisionError)


def test_no_colour_where_it_is_not_wanted(tmp_path, monkeypatch):
    typed = ["cards", "-o", str(tmp_path)]
    assert "\x1b[" in CliRunner().invoke(main, typed, color=True).stderr
    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b[" not in CliRunner().invoke(main, typed, color=True).stderr
