"""What becomes of the heights when the phone has an odd tone curve, and what helps.

    python demo/figures_response.py              every table
    python demo/figures_response.py --boards 2   fewer made-up boards

Made-up boards by a phone whose curve is S-shaped (e - 0.05 sin 2 pi e on coded values), and the
path-traced scenes of fixtures/ that have such a curve. Columns: median and worst error of the humps over
0.15 mm at their true centres, rms, share of cells within 2 sigma. Ways: `ignored` holds the curve at the
standard one, `fall-off` is the map as it comes, `strip` two grey strips in sight, `bracket` three
exposures. For light evened out by 10 %: told by two strips, by the phone (merged frames), by nothing.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from unittest import mock

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests"))
import response_sets as sets  # noqa: E402
from scoring import score, stored_truth  # noqa: E402

from lightcheck import specimen as sp  # noqa: E402
from lightcheck.humpmap import Recipe, make  # noqa: E402
from lightcheck.photo.slope import LogSlope  # noqa: E402
from lightcheck.response import Response  # noqa: E402

LEAST_MM = 0.15


def ignored(shots: int) -> Response:
    """The standard curve, and no room to leave it."""
    knots = np.array([-12.0, 0.0])
    flat = LogSlope(light_log=knots, slope=np.ones(2), sigma=np.full(2, 1e-4))
    return Response(source="standard", curve=flat, bent=(True,) * shots)


def line(name: str, way: str, made: tuple, truth: tuple) -> np.ndarray:
    """Print one map's figures; returns the errors of its humps."""
    result, seconds = made
    surface, humps = truth
    grid = result.patch.grid
    told = score(grid, result.fair.height_mm, result.fair.sigma_mm, surface, humps)
    errors = told.humps[[abs(h[2]) > LEAST_MM for h in humps]]
    curve = " ".join(f"{1 / r - 1:+.2f}" for r in result.relief.response)
    found = ", ".join(f.name for f in result.findings if f.severity != "green")
    print(
        f"{name:<12} {way:<9} {np.nanmedian(errors):6.1%} {np.nanmax(errors):6.1%}  {told.rms:.3f}  "
        f"{told.sigma:.3f}  {told.cover:6.1%}  {seconds:4.1f} s  {curve}  {found}",
        flush=True,
    )
    return errors


def mapped(shots: list, *, way: str, brackets: tuple[str, ...] = ()) -> tuple:
    """The map and the seconds it took."""
    recipe = Recipe(
        photos=tuple(str(p) for p, _ in shots), lamps=tuple(s for _, s in shots), brackets=brackets,
        kept_response=False,
    )  # fmt: skip
    start = time.perf_counter()
    if way == "ignored":
        with mock.patch("lightcheck.humpmap.make._response", lambda *_: ignored(len(shots))):
            return make(recipe), time.perf_counter() - start
    return make(recipe), time.perf_counter() - start


def truth_of(board: sp.Board) -> tuple:
    """Heights, and (x, y, height) of each hump where it stands."""
    at = [(h.x_mm, h.y_mm) for h in board.humps]
    return (
        lambda x, y: board.height_mm(x, y, tracks=False),
        [(x, y, float(board.height_mm(np.float64(x), np.float64(y), tracks=False))) for x, y in at],
    )


def odd_boards(boards: int, folder: Path, arrangement: str = "pair") -> None:
    """The main table."""
    every: dict[str, list] = {}
    for seed in range(41, 41 + boards):
        board = sets.board(seed)
        truth = truth_of(board)
        place = folder / f"{arrangement}-{seed}"
        plain = sp.shoot(board, arrangement, place / "plain", seed=seed, phone=replace(sets.PHONE))
        odd = sp.shoot(board, arrangement, place / "odd", seed=seed, phone=sets.ODD)
        with sets.strips():
            grey = sp.shoot(board, arrangement, place / "grey", seed=seed, phone=sets.ODD)
        ways = (
            ("standard", plain, ()), ("ignored", odd, ()), ("fall-off", odd, ()), ("strip", grey, ()),
            ("bracket", odd, sets.bracket(sets.board(90), place / "bracket")),
        )  # fmt: skip
        for way, shots, brackets in ways:
            errors = line(f"{arrangement} {seed}", way, mapped(shots, way=way, brackets=brackets), truth)
            every.setdefault(way, []).extend(errors[np.isfinite(errors)])
    for way, errors in every.items():
        print(f"{arrangement}: {way:<9} median {np.median(errors):5.1%} of {len(errors)} humps")


def fixtures() -> None:
    """Path-traced scenes with an odd curve."""
    for name in ("barrel-1", "wind-1"):
        facts, surface, humps = stored_truth(name)
        here = HERE.parent / "fixtures" / name
        shots = [(here / f"{i}.jpg", lamp) for i, lamp in enumerate(facts["lamps"])]
        for way in ("ignored", "fall-off"):
            line(name, way, mapped(shots, way=way), (surface, humps))


def evened(boards: int, folder: Path) -> None:
    """Local tone mapping of 10 %, told by strips, by the phone, or by nothing."""
    cases = (
        ("none", "strip", ()), ("by place", "strip", (sets.contrast_by_place,)),
        ("by place", "phone", (sets.contrast_by_place, sets.said_to_be_merged)),
        ("lifted", "phone", (sets.shadows_lifted, sets.said_to_be_merged)),
        ("by place", "nothing", (sets.contrast_by_place,)), ("lifted", "nothing", (sets.shadows_lifted,)),
    )  # fmt: skip
    for seed in range(61, 61 + boards):
        board = sets.board(seed)
        for name, told, changes in cases:
            place = folder / f"evened-{seed}-{told}-{name.replace(' ', '-')}"
            with sets.strips(sets.ENDS if told == "strip" else ()):
                shots = sp.shoot(board, "pair", place, seed=seed, phone=sets.PHONE)
            for change in changes:
                for path, _ in shots:
                    change(path)
            line(f"{name} {seed}", told, mapped(shots, way=told), truth_of(board))


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    asked.add_argument("--boards", type=int, default=4)
    asked.add_argument("--only", choices=("odd", "fixtures", "evened"))
    given = asked.parse_args()
    print("scene        way       median  worst     rms  sigma  in 2s         time  slope - 1, dark to light")
    with tempfile.TemporaryDirectory() as kept:
        folder = Path(kept)
        if given.only in (None, "odd"):
            odd_boards(given.boards, folder)
        if given.only in (None, "fixtures"):
            fixtures()
        if given.only in (None, "evened"):
            evened(given.boards, folder)


if __name__ == "__main__":
    main()
