"""Damaged files and nonsense typed: refused in words, without a trace, a hang, or a file left behind."""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from damage import KINDS, damaged, whole
from hypothesis import given, settings
from hypothesis import strategies as st

from lightcheck import lamp, offsets, units
from lightcheck.cli.main import main
from lightcheck.cli.options import CardList, LengthPair, Scale
from lightcheck.errors import LightcheckError
from lightcheck.job import settings as job_settings
from lightcheck.offsets.typed import offset_mm

HERE = Path(__file__).parent
EACH, SLOWEST_S, MOST_GB = 240, 5.0, 1.0  # 9 kinds: 2160 files


@pytest.mark.parametrize("kind", KINDS)
def test_damaged_pictures_are_read_or_refused(tmp_path, kind):
    """In a process of its own: a reader that crashed or hung would take only that one with it."""
    if kind == "DNG":
        pytest.importorskip("rawpy")
    ran = subprocess.run(
        [sys.executable, str(HERE / "damage.py"), kind, str(EACH), "7", str(tmp_path)],
        capture_output=True, text=True, check=False, timeout=60,
        env=os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr[-3000:]
    worst_s, most_gb, read = map(float, ran.stdout.split())
    assert worst_s < SLOWEST_S and most_gb < MOST_GB
    assert 0 < read < EACH  # the damage is neither always fatal nor never
    assert {p.name for p in tmp_path.iterdir()} == {"bench.jpg"}


def refused_or(parse, text: str):
    """What was parsed, or None where it was refused with a way out."""
    try:
        return parse(text)
    except LightcheckError as refusal:
        assert refusal.problem and refusal.remedy
        return None


def one_of(words: str):
    """Any of the words."""
    return st.sampled_from(words.split())


WORDS = one_of(
    "left right top bottom flash off far deg mm cm m in ft thou ' \" , : - + / . 0 1 9 135deg 900mm 110mm "
    "1/2in 1e3 nan inf 0: 3: px mm/px / ² ٣ 0x10 1_000"
)
TYPED = st.one_of(st.text(max_size=80), st.lists(WORDS, max_size=9).map("".join))


@settings(max_examples=700, deadline=None, derandomize=True)
@given(TYPED)
def test_any_lamp_is_understood_or_refused(text):
    spec = refused_or(lamp.read, text)
    if spec is None or spec.kind in ("flash", "off"):
        return
    numbers = [
        spec.bearing_rad,
        spec.out_mm,
        spec.up_mm,
        spec.elevation_rad,
        *(r for _, r in spec.reaches_mm),
    ]
    assert np.isfinite(numbers).all() and min(r for r in [1, *(r for _, r in spec.reaches_mm)]) > 0


@settings(max_examples=700, deadline=None, derandomize=True)
@given(TYPED)
def test_any_length_is_understood_or_refused(text):
    length = refused_or(units.length_mm, text)
    assert length is None or np.isfinite(length)


@settings(max_examples=400, deadline=None, derandomize=True)
@given(TYPED, st.sampled_from([LengthPair, Scale, CardList]))
def test_any_option_is_understood_or_refused(text, option):
    refused_or(lambda typed: option().convert(typed, None, None), text)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(
    bearing=st.floats(-999, 999).map(lambda v: round(v, 3)),
    out=st.integers(1, 29_000), up=st.integers(1, 29_000),
)  # fmt: skip
def test_a_sound_lamp_is_always_understood(bearing, out, up):
    spec = lamp.read(f"{bearing:.3f}deg,{out}mm,{up}mm")
    assert (spec.out_mm, spec.up_mm) == (out, up) and spec.bearing_rad == pytest.approx(np.radians(bearing))


OFFSET = st.one_of(
    st.text(max_size=12),
    st.sampled_from(["2-3-4", "2-3-4+", "0-11-7-", "-", "", "12", "401,5", "1e9", "nan", "3/4/05"]),
)
CELL = st.one_of(
    OFFSET,
    one_of("station place spacing units mm title half-breadth height keel sheer chine to 200 #"),
)


@settings(max_examples=600, deadline=None, derandomize=True)
@given(OFFSET, st.sampled_from(["mm", "feet-inches-eighths"]))
def test_any_offset_is_understood_or_refused(text, unit):
    length = refused_or(lambda typed: offset_mm(typed, units=unit, place="WL 200, station 3"), text)
    assert length is None or np.isnan(length) or abs(length) < 1e5


@settings(max_examples=250, deadline=None, derandomize=True)
@given(st.lists(st.lists(CELL, max_size=7), max_size=9), st.sampled_from(",;\t"), st.binary(max_size=20))
def test_any_table_of_offsets_is_understood_or_refused(tmp_path_factory, rows, between, tail):
    path = tmp_path_factory.getbasetemp() / "offsets.csv"
    path.write_bytes("\n".join(between.join(r) for r in rows).encode("utf-8", "replace") + tail)
    table = refused_or(offsets.read, path)
    assert table is None or len(table.stations) > 1


KEYS = one_of(
    "schema part side bow least longest measured card_thickness tolerances planking stations lamps tools "
    "left_on_the_wood thickness species roughed for_the_longboard name kind sole_length nonsense"
)
PLAIN = st.one_of(
    TYPED, st.integers(-9, 9), st.booleans(), st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from(["3mm", "0.3mm over 300mm", "left", "port", "800mm,300mm", "left,900mm,110mm"]),
)  # fmt: skip
TOML = st.recursive(
    PLAIN,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEYS, inner, max_size=4)),
    max_leaves=8,
)


def toml(value) -> str:
    """A value as the format writes it (TOML 1.0, inline tables); a JSON string is a TOML basic string."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    text = json.dumps(value)
    return text if not isinstance(value, str) else text.replace("\x7f", "\\u007f")


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.dictionaries(KEYS, TOML, max_size=8), st.integers(0, 400), st.binary(max_size=3))
def test_any_job_file_is_understood_or_refused(tmp_path_factory, table, at, noise):
    """Sound TOML with nonsense in it; and, half of the time, a few bytes broken."""
    path = tmp_path_factory.getbasetemp() / "job.toml"
    content = "\n".join(f"{k} = {toml(v)}" for k, v in table.items()).encode("utf-8", "replace")
    path.write_bytes(content[:at] + noise + content[at + len(noise) :] if noise else content)
    read = refused_or(job_settings.read, path)
    if read is not None:
        assert read.least_mm > 0 and min(read.longest_mm) > 0 and 0 < read.for_longboard_mm < read.roughed_mm
        assert all(t.height_mm > 0 for t in read.tolerances) and all(isinstance(t, str) for t in read.told)


@pytest.mark.parametrize("command", ["map", "check"])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "HEIF"])
def test_the_whole_command_ends_in_words(tmp_path, command, kind):
    """Damaged files through the command line: two lines, exit code 1 (check: 0), nothing written."""
    rng = np.random.default_rng([3, *kind.encode()])
    work = tmp_path / "work"
    work.mkdir()
    for _ in range(6):
        for name in ("a.jpg", "b.jpg"):
            (work / name).write_bytes(damaged(whole(kind), rng))
        typed = [command, str(work / "a.jpg"), str(work / "b.jpg"), "--lamp", "left,900mm,110mm"]
        typed += ["--lamp", "right,900mm,110mm"] + (["-o", str(work / "out")] if command == "map" else [])
        result = CliRunner().invoke(main, typed)
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
        assert result.exit_code == (1 if command == "map" else 0)
        assert "Traceback" not in result.output
        assert {p.name for p in work.iterdir()} <= {"a.jpg", "b.jpg", "out-trouble.png"}
