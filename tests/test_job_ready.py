"""When to stop: states and chances against the builder's own tolerances, and what one more pass gains."""

import math
import random
import re

import job_maps
import numpy as np
import pytest

from lightcheck import job
from lightcheck.job import gain, laid, ready
from lightcheck.job.ready import STATES, Gaps
from lightcheck.job.settings import BenchTool, Settings, Tolerance
from lightcheck.report import job_words

IN = 25.4


def settings(*pairs, **more) -> Settings:
    """pairs: (height, over) in mm."""
    found = tuple(Tolerance(height_mm=h, over_mm=o) for h, o in pairs)
    return Settings(tolerances=found, **{"longest_mm": (4000.0, 4000.0)} | more)


def gaps(*rows, across=3000.0, seen=1.0, shares=((0.1, 0.0),)) -> Gaps:
    """rows: (span, worst gap of each draw)."""
    return Gaps(draws_mm=tuple((s, tuple(g)) for s, g in rows), shares=shares, across_mm=across, seen=seen)


def certain(gap_mm: float, over_mm: float = 300.0) -> Gaps:
    return gaps((over_mm, [gap_mm] * 10))


@pytest.mark.parametrize(
    ("gap", "state"),
    [
        (0.30, "ready for planking"),
        (0.31, "ready for the longboard"),
        (0.60, "ready for the longboard"),
        (0.61, "plane"),
        (3.30, "plane"),
        (3.31, "rough"),
    ],
)
def test_a_state_reaches_as_far_as_the_wood_that_is_left_for_it(gap, state):
    """0.3 mm allowed, 0.3 left for the longboard, 3 left by roughing (common practice, no source)."""
    now = ready.judge(certain(gap), settings((0.3, 300)))
    assert now.state == state
    assert now.chances[STATES.index(state)] == 1.0


def test_chances_are_shares_of_the_draws_and_add_up():
    now = ready.judge(gaps((300, [0.2] * 7 + [0.5] * 2 + [1.0])), settings((0.3, 300)))
    assert now.chances == (0.0, 0.1, 0.2, 0.7)
    assert sum(now.chances) == pytest.approx(1)
    assert now.state == "ready for the longboard", "0.7 for planking is not sure enough, 0.9 so far is"
    assert now.within[0].chance == 0.7
    assert "Most likely ready for planking, but not surely enough (70 %)" in now.reason


def test_all_tolerances_must_hold_in_the_same_draw():
    """Each holds in half of the draws, both together in none."""
    both = gaps((300, [0.2, 0.5] * 5), (1000, [0.9, 0.5] * 5))
    now = ready.judge(both, settings((0.3, 300), (0.7, 1000)))
    assert [w.chance for w in now.within] == [0.5, 0.5]
    assert now.chances[3] == 0.0


# Two-span rules of the flooring trade (floortrendsmag.com/articles/111022; hardwoodfloorsmag.com 2018/02/02):
# long fasteners 1/4 in over 10 ft or 3/16 over 6 ft; glued 3/16 over 10 ft or 1/8 over 6 ft. Examples of a
# rule with two spans, never the boat's.
LONG = ((IN / 4, 120 * IN), (3 * IN / 16, 72 * IN))
GLUED = ((3 * IN / 16, 120 * IN), (IN / 8, 72 * IN))


@pytest.mark.parametrize(
    ("rule", "ten_ft", "six_ft", "holds"),
    [
        (LONG, 1 / 4, 3 / 16, True),
        (LONG, 1 / 4, 7 / 32, False),
        (LONG, 5 / 16, 3 / 16, False),
        (GLUED, 3 / 16, 1 / 8, True),
        (GLUED, 1 / 4, 1 / 8, False),
    ],
)
def test_a_two_span_rule_of_another_trade_works_as_it_is_told(rule, ten_ft, six_ft, holds):
    laid_on = gaps((120 * IN, [ten_ft * IN] * 4), (72 * IN, [six_ft * IN] * 4))
    now = ready.judge(laid_on, settings(*rule))
    assert (now.state == "ready for planking") is holds


# DIN 18202, table 3, row 4 (face-consultants.com/din-18202): 1 mm at 0.1 m, 3 mm at 1 m, 9 mm at 4 m.
ROW_4 = ((1.0, 100.0), (3.0, 1000.0), (9.0, 4000.0))


def test_spans_are_looked_up_each_by_its_own_height_and_never_scaled():
    """A gap of 2.5 mm holds over 1 m and not over 0.1 m: allowance over span falls as the span grows."""
    now = ready.judge(gaps((100.0, [2.5] * 4), (1000.0, [2.5] * 4), (4000.0, [2.5] * 4)), settings(*ROW_4))
    assert [w.chance for w in now.within] == [0.0, 1.0, 1.0]
    assert now.deciding.tolerance.over_mm == 100.0
    assert "straightedge of 100 mm is 2.50 mm" in now.reason


def test_a_wave_under_a_straightedge_is_judged_by_its_closed_form():
    """z = H/2 cos(2 pi x / W), laid on its crests, shows H; a straightedge of W/2 about the trough H/2.

    The shorter rests where it ends: H/2 (1 - cos(pi L / W)), which is H/2 at L = W/2.
    """
    x, _ = job_maps.SHEET.mesh_mm()
    wave, high = 200.0, 0.8
    sheet = 0.5 * high * np.cos(2 * math.pi * x / wave)
    long, short = (_worst(sheet, over) for over in (200.0, 100.0))
    assert long == pytest.approx(high, rel=0.01)
    assert short == pytest.approx(high / 2, rel=0.01)


def test_an_i_unit_wave_is_judged_by_its_height():
    """0.125 in over an 18 in cycle is 12 I-units (leveltek.com/Iunits.asp): 3.175 mm under 457 mm."""
    x, _ = job_maps.SHEET.mesh_mm()
    cycle, high = 18 * IN, 0.125 * IN
    assert 2.47 * (high / cycle) ** 2 * 1e5 == pytest.approx(11.9, abs=0.05)
    sheet = 0.5 * high * np.cos(2 * math.pi * (x - cycle / 2) / cycle)
    assert _worst(sheet, 480.0) == pytest.approx(high, rel=0.02)


def _worst(sheet, over_mm: float) -> float:
    from lightcheck import lay

    (worst,) = lay.worst_gap(job_maps.SHEET, sheet[None], length_mm=over_mm, turn_rad=0.0)
    return float(worst)


def test_one_that_a_map_can_not_tell_is_told():
    """To be measured to a third of the tolerance: precision rule of the precast trade."""
    rng = random.Random(3)
    wide = gaps((300, [0.25 + rng.gauss(0, 0.15) for _ in range(64)]))
    now = ready.judge(wide, settings((0.3, 300)))
    assert any("finer than this map can tell" in d for d in now.doubts)
    fine = gaps((300, [0.25 + rng.gauss(0, 0.05) for _ in range(64)]))
    assert ready.judge(fine, settings((0.3, 300))).doubts == ()


def test_what_bounds_the_judgement_is_told():
    now = ready.judge(
        gaps((1000, [0.2] * 4), across=600.0, seen=0.8), settings((0.7, 1000), longest_mm=(400.0, 300.0))
    )
    told = " ".join(now.doubts)
    assert "only 600 mm of the wood" in told and "20 % of the wood was not measured" in told
    assert 'longest = "1000mm"' in told


def test_without_a_tolerance_nothing_is_said_of_stopping():
    assert ready.judge(gaps(), settings()) is None
    words = job_words.tolerances(settings())
    assert "No tolerance is set" in words


def test_area_over_a_height_runs_between_the_kept_heights():
    kept = gaps(shares=((0.05, 0.8), (0.1, 0.4), (0.15, 0.0)))
    assert [kept.area_over(h) for h in (0.0, 0.05, 0.075, 0.1, 0.125, 0.5)] == pytest.approx(
        [1.0, 0.8, 0.6, 0.4, 0.2, 0.0]
    )


@pytest.mark.parametrize("share", [0.0, 0.0001, 0.5, 0.9999, 1.0])
def test_a_chance_is_never_rounded_to_never_or_always(share):
    words = ready.percent(share)
    assert (words == "0 %") is (share == 0) and (words == "100 %") is (share == 1)


# What one more pass would gain.


def test_a_geometric_row_goes_on():
    """1.6, 0.8, 0.4: each pass leaves half, so the next leaves 0.2."""
    now = ready.judge(certain(0.4), held := settings((0.25, 300)))
    words = gain.one_more(now, certain(0.4), (1.6, 0.8), held, come_off_mm=1.0)
    assert "leave a worst gap of 0.20 mm" in words
    assert "ready for planking would go from 0 % to 100 %" in words
    assert gain.ratio((9.0, 1.6, 0.8, 0.4, 0.2)) == pytest.approx(0.5), "only the last steps count"


def test_a_row_that_stands_still_gains_nothing():
    now = ready.judge(certain(0.9), held := settings((0.3, 300)))
    words = gain.one_more(now, certain(0.9), (0.9, 0.88), held, come_off_mm=1.0)
    assert "gain nothing" in words and "another tool" in words


def test_a_gain_inside_the_noise_is_called_that():
    unsure = gaps((300, [0.4 + 0.1 * math.sin(n) for n in range(64)]))
    now = ready.judge(unsure, held := settings((0.3, 300)))
    words = gain.one_more(now, unsure, (0.47, 0.43), held, come_off_mm=1.0)
    assert "less of a gain than this map can tell" in words


def test_ready_means_stop():
    now = ready.judge(certain(0.1), held := settings((0.3, 300)))
    assert "stop here" in gain.one_more(now, certain(0.1), (0.5,), held, come_off_mm=0.2)


@pytest.mark.parametrize(
    ("off_in", "shaving_in", "strokes"), [(1 / 8, 0.002, 63), (1 / 8, 1 / 64, 8), (0.006, 0.002, 3)]
)
def test_the_first_pass_goes_by_strokes(off_in, shaving_in, strokes):
    """1/8 in at 0.002 in is 62.5 strokes, so 63; in 1/64 in shavings 8 (arithmetic of the trade)."""
    tools = (
        BenchTool(name="jack plane", kind="plane", shaving_mm=shaving_in * IN),
        BenchTool(name="long board", kind="longboard", shaving_mm=1.0),
    )
    held = settings((0.3, 300), tools=tools, for_longboard_mm=0.3, roughed_mm=3.0)
    now = ready.judge(certain(1.0), held)
    words = gain.one_more(now, certain(1.0), (), held, come_off_mm=off_in * IN + 0.3)
    assert f"{strokes} strokes of the jack plane" in words
    assert "leave 0.3 mm of it for the longboard" in words


def test_with_no_more_to_come_off_than_is_left_the_longboard_is_named():
    held = settings((0.3, 300))
    words = gain.one_more(ready.judge(certain(1.0), held), certain(1.0), (), held, come_off_mm=0.25)
    assert "try the longboard before the plane" in words


def test_no_reason_names_a_standard():
    for gap in (0.1, 0.5, 2.0, 9.0):
        now = ready.judge(certain(gap), held := settings((0.3, 300)))
        words = " ".join(
            [now.reason, *now.doubts, *job_words.ladder(held), job_words.tolerances(held)]
        ).lower()
        assert not re.search(
            r"\b(iso|din|astm|aci|class|according to|standard)\b", words.replace("no standard", "")
        )
        assert "your own" in words and "common practice, no source" in words


# Laid on a map.


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    import job_add

    folder = tmp_path_factory.mktemp("ready") / "job"
    job.create(folder, job.toml(part="panel", tolerances=("0.3mm over 300mm",)))
    job_add.add(folder, job_add.photos(folder.parent, 1))
    return folder


def test_the_gaps_of_a_map_are_those_of_its_hump(folder):
    """Every draw is a multiple of one hump and hollow, so its worst gap is that multiple of theirs."""
    view = job.bring_up(folder, [1], job_maps.Shaped())
    kept = view.last.gaps.at(300.0)
    plain = max(_turned(job_maps.heights(1.0), t) for t in laid.TURNS_RAD)
    assert np.median(kept) == pytest.approx(1.2 * plain, rel=0.05)
    share = float((np.abs(job_maps.heights(1.2)) > 0.3).mean())
    assert view.last.gaps.area_over(0.3) == pytest.approx(share, abs=1e-4)


def _turned(sheet, turn_rad: float) -> float:
    from lightcheck import lay

    (worst,) = lay.worst_gap(job_maps.SHEET, sheet[None], length_mm=300.0, turn_rad=turn_rad)
    return float(worst)


def test_straightedges_are_laid_once_and_again_for_a_new_length(folder, monkeypatch):
    job.bring_up(folder, [1], job_maps.Shaped())
    calls = []
    real = laid.lay
    monkeypatch.setattr(laid, "lay", lambda *a, **k: (calls.append(1), real(*a, **k))[1])
    job.bring_up(folder, [1], job_maps.Shaped())
    assert calls == []
    path = folder / "job.toml"
    before = path.read_text()
    path.write_text(before.replace('"0.3mm over 300mm"', '"0.2mm over 300mm"'))
    assert job.bring_up(folder, [1], job_maps.Shaped()).last.readiness.within[0].tolerance.height_mm == 0.2
    assert calls == [], "another height is read off the gaps that are kept"
    path.write_text(before.replace('"0.3mm over 300mm"', '"0.3mm over 250mm"'))
    assert job.bring_up(folder, [1], job_maps.Shaped()).last.readiness is not None
    assert calls == [1]
