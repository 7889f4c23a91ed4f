"""Accuracy, honesty and speed, printed for a reader.

    python demo/bench.py                  the table of the path-traced scenes in fixtures/
    python demo/bench.py FOLDER           the same for other scenes made by fixtures/render.py
    python demo/bench.py --boards 40      is `chance` calibrated? reliability over made-up boards
    python demo/bench.py --speed          stage times on two 12-megapixel photos
    python demo/bench.py --part daylight  another part: change, check, daylight, held, job, lay, pattern,
                                          response; see demo/figures_*.py
    python demo/bench.py --everything     all of them, one after the other (an hour or so)

Errors are taken after a robust quadratic is removed from the error, for where the fair surface lies is
a choice. A hump's error is that of the map at its true centre.
"""

from __future__ import annotations

import argparse
import json
import resource
import runpy
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from lightcheck.humpmap import HumpMap, Recipe, make

HERE = Path(__file__).resolve().parent
ARRANGEMENTS = ("pair", "three", "four", "flash", "one")
PARTS = ("change", "check", "daylight", "held", "job", "lay", "pattern", "response")
SCENES = ("pair", "three", "flash", "barrel", "wind", "fair")
BANDS = ((0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 1.01))


def robust_quadratic(error: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """(n,) error less its robust quadratic (Cauchy weights)."""
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    terms /= np.abs(terms).max(axis=0)
    weight = np.ones(len(error))
    for _ in range(30):
        root = np.sqrt(weight)
        fit, *_ = np.linalg.lstsq(terms * root[:, None], error * root, rcond=None)
        left = error - terms @ fit
        weight = 1 / (1 + (left / (2 * 1.4826 * np.median(np.abs(left)) + 1e-9)) ** 2)
    return left


def score(result: HumpMap, truth) -> dict:
    """Errors of one map. truth: (x, y) arrays -> (n,) true heights."""
    x, y = result.patch.grid.mesh_mm()
    seen = np.isfinite(result.fair.height_mm)
    error = np.full(x.shape, np.nan)
    error[seen] = robust_quadratic((result.fair.height_mm - truth(x, y))[seen], x[seen], y[seen])
    sigma = result.fair.sigma_mm
    return {
        "error": error,
        "rms": float(np.sqrt(np.nanmean(error**2))),
        "sigma": float(np.sqrt(np.nanmean(sigma**2))),
        "cover": float(np.mean(np.abs(error[seen]) < 2 * sigma[seen])),
        "seen": float(seen.sum() / result.patch.wood.sum()),
    }


def hump_errors(result: HumpMap, error: np.ndarray, humps: list[tuple]) -> tuple[list, int, list]:
    """Relative errors at (x, y, height) humps, how many over 0.15 mm were missed, spots not real."""
    grid, relative, missed, matched = result.patch.grid, [], 0, set()
    for x, y, height in humps:
        row, column = (round(float(i)) for i in grid.index(x, y))
        if not (0 <= row < grid.ny and 0 <= column < grid.nx) or np.isnan(error[row, column]):
            continue
        relative.append(abs(error[row, column] / height))
        near = [
            s.number
            for s in result.spots
            if np.hypot(s.x_mm - x, s.y_mm - y) < 35 and s.height_mm * height > 0
        ]
        matched.update(near)
        missed += not near and abs(height) > 0.15
    return relative, missed, [s for s in result.spots if s.number not in matched]


def scenes(folder: Path) -> None:
    """One line for each path-traced scene of a folder, and single photos of the pairs."""
    print("scene        rms mm  sigma  in 2s  seen   hump median/worst  missed  not real (chance > 1/2)  s")
    kinds = (p.parent for p in folder.glob("*/truth.json") if p.parent.name.split("-")[0] in SCENES)
    for path in sorted(kinds):
        facts = json.loads((path / "truth.json").read_text())
        scene_line(path, facts, len(facts["lamps"]), path.name)
        if path.name.startswith("pair"):
            scene_line(path, facts, 1, path.name.replace("pair", "one"))


def scene_line(path: Path, facts: dict, photos: int, name: str) -> None:
    """Map one scene and print its figures."""
    stored = np.load(path / "truth.npz")
    field = RegularGridInterpolator(
        (stored["y_mm"], stored["x_mm"]),
        stored["height_mm"].astype(float),
        bounds_error=False,
        fill_value=0.0,
    )
    began = time.perf_counter()
    result = make(
        Recipe(
            photos=tuple(str(path / f"{i}.jpg") for i in range(photos)), lamps=tuple(facts["lamps"][:photos])
        )
    )
    took = time.perf_counter() - began
    got = score(result, lambda x, y: field(np.stack([y, x], axis=-1)))
    humps = [(h["x_mm"], h["y_mm"], h["height_mm"]) for h in facts["humps"]]
    relative, missed, unreal = hump_errors(result, got["error"], humps)
    relative = np.array(relative or [0.0])
    sure = sum(s.chance > 0.5 for s in unreal)
    print(
        f"{name:12s} {got['rms']:6.3f} {got['sigma']:6.3f} {got['cover']:6.1%} {got['seen']:6.1%}"
        f" {np.median(relative):8.1%} / {relative.max():4.0%} {missed:8d} {len(unreal):8d} ({sure})"
        f" {took:12.1f}",
        flush=True,
    )


def reliability(boards: int) -> None:
    """Of spots listed with a chance, the share that is real, over made-up boards."""
    from lightcheck.specimen import random_board, shoot

    listed: list[tuple[float, bool]] = []
    for seed in range(1, boards + 1):
        arrangement = ARRANGEMENTS[seed % len(ARRANGEMENTS)]
        board = random_board(1000 + seed)
        with tempfile.TemporaryDirectory() as folder:
            shots = shoot(board, arrangement, folder, seed=seed)
            result = make(Recipe(photos=tuple(str(p) for p, _ in shots), lamps=tuple(s for _, s in shots)))
        got = score(result, board.height_mm)
        for spot in result.spots:
            true = float(board.height_mm(np.array(spot.x_mm), np.array(spot.y_mm)))
            listed.append((spot.chance, true * np.sign(spot.height_mm) >= result.recipe.least_mm))
        print(
            f"board {seed:3d} {arrangement:6s} rms {got['rms']:.3f} sigma {got['sigma']:.3f}"
            f" in 2 sigma {got['cover']:.1%} spots {len(result.spots)}",
            flush=True,
        )
    print("\nchance      spots  real   0%       25%       50%       75%      100%")
    for low, high in BANDS:
        band = [real for chance, real in listed if low <= chance < high]
        share = float(np.mean(band)) if band else float("nan")
        bar = "#" * round(40 * share) if band else ""
        print(f"{low:.1f} - {min(high, 1):.1f} {len(band):8d} {share:6.2f}   {bar:40s}|")


def speed() -> None:
    """Stage times of a 12-megapixel pair."""
    from lightcheck import card, fair, photo, spots
    from lightcheck.humpmap.make import place_lamps
    from lightcheck.humpmap.refuse import specs
    from lightcheck.patch import lay_out
    from lightcheck.relief import solve
    from lightcheck.specimen import Phone, random_board, shoot

    with tempfile.TemporaryDirectory() as folder:
        shots = shoot(random_board(5), "pair", folder, seed=5, phone=Phone(width_px=4032, height_px=3024))
        recipe = Recipe(photos=tuple(str(p) for p, _ in shots), lamps=tuple(s for _, s in shots))
        clock = [time.perf_counter()]

        def lap(name: str) -> None:
            clock.append(time.perf_counter())
            print(f"{name:30s} {clock[-1] - clock[-2]:6.2f} s")

        photos = photo.load_all(recipe.photos)
        lap("decode and linearise two files")
        sightings = card.find_all(photos)
        lap("cards")
        patch = lay_out(list(photos), list(sightings))
        lap("patch")
        relief = solve(patch, place_lamps(specs(recipe), patch))
        lap("relief and 64 draws")
        surface = fair.surface(relief, longest_mm=recipe.longest_mm)
        lap("fair surface")
        spots.find(patch, relief, surface, least_mm=0.1)
        lap("spots")
    print(f"{'all':30s} {clock[-1] - clock[0]:6.2f} s")
    print(f"most memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")


def part(name: str) -> None:
    """Run one of demo/figures_*.py as if it had been called without arguments."""
    print(f"\n{name}\n")
    kept, sys.argv = sys.argv, [f"figures_{name}.py"]
    try:
        runpy.run_path(str(HERE / f"figures_{name}.py"), run_name="__main__")
    finally:
        sys.argv = kept


def main() -> None:
    """Print what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", nargs="?", type=Path, default=HERE.parent / "fixtures")
    parser.add_argument("--boards", type=int, default=0)
    parser.add_argument("--speed", action="store_true")
    parser.add_argument("--part", choices=PARTS, action="append", default=[])
    parser.add_argument("--everything", action="store_true")
    asked = parser.parse_args()
    if asked.everything:
        scenes(asked.folder)
        speed()
        reliability(40)
    for name in PARTS if asked.everything else asked.part:
        part(name)
    if asked.everything or asked.part:
        return
    if asked.speed:
        speed()
    elif asked.boards:
        reliability(asked.boards)
    else:
        scenes(asked.folder)


if __name__ == "__main__":
    main()
