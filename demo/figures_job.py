"""Figures of the job: how long a list takes, and whether the chances of readiness hold.

    python demo/figures_job.py                 a job of 40 passes, listed
    python demo/figures_job.py --boards 12     worst gaps and chances on made-up boards, against the truth

The boards are as they stand near the end of the work: a few low humps of known height. The truth is the
straightedge laid on the true heights.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from statistics import median

import numpy as np
from PIL import Image

from lightcheck import job, lay
from lightcheck.humpmap import Recipe, make
from lightcheck.job.laid import TURNS_RAD, about
from lightcheck.specimen import random_board, shoot

PASSES, DRAWS, SPAN_MM = 40, 64, 300.0
TOLERANCES_MM = (0.1, 0.15, 0.2, 0.3, 0.4, 0.5)
LOWER = (0.15, 0.3, 0.5, 0.8)  # share of their height that the humps still have


def long_job(folder: Path) -> None:
    """A job of many passes whose maps and gaps stand there as if made; nothing is mapped."""
    text = job.toml(part="bottom panel", tolerances=("0.3mm over 300mm", "0.7mm over 1m"))
    job.create(folder, text)
    rng = np.random.default_rng(1)
    for number in range(1, PASSES + 1):
        photos = []
        for side in "ab":
            path = folder.parent / f"{number}{side}.jpg"
            Image.fromarray(rng.integers(0, 255, (400, 600, 3)).astype(np.uint8)).save(path)
            photos.append(path)
        with job.changing(folder, "job add") as (held, _):
            new = job.add(held, job.Shots(photos=tuple(photos), lamps=("left,1m,90mm", "right,1m,90mm")))
        held = job.open_job(folder)
        _as_if_made(held, new, 2.0 * 0.93**number, rng)


def _as_if_made(held: job.Job, new: job.Pass, worst_mm: float, rng) -> None:
    new.map_folder.mkdir()
    summary = {
        "worst_hump_mm": worst_mm, "worst_hollow_mm": -worst_mm / 2, "mean_mm": worst_mm / 8,
        "sigma_mm": 0.03, "come_off_mm": worst_mm, "seen": 1.0, "humps": 5, "hollows": 4,
    }  # fmt: skip
    facts = {"schema": 1, "version": "0.1.0", "key": job.key(held, new), "summary": summary}
    (new.map_folder / "made-from.json").write_text(json.dumps(facts))
    gaps = [
        {"over_mm": over, "read_mm": worst_mm, "draws_mm": rng.normal(worst_mm, 0.05, DRAWS).tolist()}
        for over in (300.0, 1000.0)
    ]
    shares = [(0.05 * n, max(0.0, 0.5 - 0.02 * n)) for n in range(1, 61)]
    facts = {
        "schema": 1,
        "key": facts["key"],
        "across_mm": 600.0,
        "seen": 1.0,
        "shares": shares,
        "gaps": gaps,
    }
    (new.map_folder / "gaps.json").write_text(json.dumps(facts))


def listing() -> None:
    """Time of `lightcheck job show`, the program's start included."""
    with tempfile.TemporaryDirectory() as room:
        folder = Path(room) / "job"
        long_job(folder)
        words = [str(Path(sys.executable).parent / "lightcheck"), "job", "show", str(folder)]
        wall, own = [], []
        for _ in range(5):
            start = time.perf_counter()
            shown = subprocess.run(words, check=True, capture_output=True, text=True)
            wall.append(time.perf_counter() - start)
            start = time.process_time()
            job.look(job.open_job(folder))
            own.append(time.process_time() - start)
        rows = sum(line[:4].strip().isdigit() for line in shown.stdout.splitlines())
        print(f"job show, {rows} passes: {median(wall):.2f} s with the start of the program; ", end="")
        print(f"opening and judging alone {median(own):.2f} s of processor time")


def worst(grid, sheets) -> np.ndarray:
    """(n,) widest gap at any of the turns. [mm]"""
    ways = [lay.worst_gap(grid, sheets, length_mm=SPAN_MM, turn_rad=turn) for turn in TURNS_RAD]
    return np.fmax.reduce(ways)


def boards(count: int) -> None:
    """One line a board, then the chances against what was true."""
    told, held = [], []
    print("board           true  read  draws' own middle   give or take   off in sigmas")
    for seed in range(501, 501 + count):
        arrangement = ("pair", "three")[seed % 2]
        share = LOWER[seed % len(LOWER)]
        full = random_board(seed)
        board = replace(full, humps=tuple(replace(h, height_mm=share * h.height_mm) for h in full.humps))
        with tempfile.TemporaryDirectory() as room:
            shots = shoot(board, arrangement, room, seed=seed)
            result = make(
                Recipe(photos=tuple(str(p) for p, _ in shots), lamps=tuple(spec for _, spec in shots))
            )
        grid, fair = result.patch.grid, result.fair
        truth = np.where(np.isfinite(fair.height_mm), board.height_mm(*grid.mesh_mm()), np.nan)
        true, read = worst(grid, np.stack([truth, fair.height_mm]).astype(np.float32))
        draws = worst(grid, fair.draws_mm)
        spread = about(float(read), draws.tolist())
        sigma = float(np.std(spread))
        print(
            f"{arrangement:<6}{seed:>4} {share:.2f}  {true:5.2f} {read:5.2f}  {np.median(draws):5.2f}"
            f"{'':15}{sigma:5.3f}          {(true - read) / max(sigma, 1e-3):+.1f}",
            flush=True,
        )
        for tolerance in TOLERANCES_MM:
            told.append(float(np.mean([g <= tolerance for g in spread])))
            held.append(bool(true <= tolerance))
    _bands(np.array(told), np.array(held))


def _bands(told: np.ndarray, held: np.ndarray) -> None:
    print("\nchance told    tolerances   held")
    for low, high in ((0, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 1.001)):
        there = (told >= low) & (told < high)
        if there.any():
            print(f"{low:.1f} - {min(high, 1):.1f}      {there.sum():>8}     {held[there].mean():.2f}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--boards", type=int, default=0)
    asked = parser.parse_args()
    if asked.boards:
        boards(asked.boards)
    else:
        listing()
