"""What `lightcheck about` says of the machine it runs on."""

import importlib.metadata
import json
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from lightcheck import __version__
from lightcheck.cli import about
from lightcheck.cli.main import main


def run(*typed):
    return CliRunner().invoke(main, ["about", *typed])


def test_versions_readers_and_memory_are_told():
    result = run()
    assert result.exit_code == 0 and result.stderr == ""
    assert result.stdout.startswith(f"lightcheck {__version__}, Python {sys.version.split()[0]}")
    assert f"numpy {importlib.metadata.version('numpy')}" in result.stdout
    assert "Reads JPEG, PNG, TIFF, WebP: yes" in result.stdout
    assert "GB of memory" in result.stdout or "memory unknown" in result.stdout


def test_json_is_one_object(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    told = json.loads(run("--json").stdout)
    assert told["schema"] == 1 and told["lightcheck"] == __version__
    assert told["writes"] == {"this folder": True, "temporary": True}
    assert list(tmp_path.iterdir()) == []  # trying leaves nothing behind


@pytest.mark.skipif(sys.platform != "linux", reason="compared with /proc/meminfo")
def test_memory_agrees_with_the_kernel():
    total, free = about.memory_gb()
    rows = dict(row.split(":") for row in Path("/proc/meminfo").read_text("ascii").splitlines())
    assert total == pytest.approx(int(rows["MemTotal"].split()[0]) * 1024 / 1e9, abs=0.06)
    assert 0 < free <= total


@pytest.mark.parametrize(
    ("module", "words"),
    [
        ("rawpy", "raw (DNG) can not be read: pip install 'lightcheck[raw]'."),
        ("pi_heif", "HEIC can not be read: pip install pi-heif."),
        ("cv2", "pip install opencv-python, or opencv-python-headless"),
    ],
)
def test_what_is_missing_and_how_to_get_it(monkeypatch, module, words):
    monkeypatch.setitem(sys.modules, module, None)  # as if it were not installed
    result = run()
    assert words in result.stdout and "Nothing is missing" not in result.stdout


def test_a_folder_that_can_not_be_written_is_told(monkeypatch):
    def refuse(*_, **__):
        raise PermissionError(13, "not yours")

    monkeypatch.setattr(about.tempfile, "TemporaryFile", refuse)
    result = run()
    assert "Writes to this folder: no" in result.stdout
    assert "change to one of your own" in result.stdout


def test_little_memory_is_told(monkeypatch):
    monkeypatch.setattr(about, "memory_gb", lambda: (4.0, 0.6))
    result = run()
    assert "4.0 GB of memory, 0.6 free" in result.stdout
    assert "Only 0.6 GB of memory are free" in result.stdout


def test_a_part_that_is_not_installed_is_named(monkeypatch):
    sound = about._version
    monkeypatch.setattr(about, "_version", lambda name: None if name == "scipy" else sound(name))
    assert "Not installed: scipy." in run().stdout


def test_nothing_private_is_told(monkeypatch, tmp_path):
    private = tmp_path / "somebody-of-mine"
    private.mkdir()
    monkeypatch.chdir(private)
    text = run().stdout + run("--json").stdout
    assert "somebody-of-mine" not in text and str(tmp_path) not in text
