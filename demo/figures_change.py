"""How true is a comparison of two passes? Path-traced boards photographed before and after the plane.

    python demo/figures_change.py              the passes in fixtures/
    python demo/figures_change.py FOLDER       others made by fixtures/passes.py

For each: how far the wood is laid from where it lies, the error of the change at every spot of the list,
how many states are right, and the seconds that reading and comparing two stored maps take.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from pathlib import Path

import numpy as np

from lightcheck import change, report, stored
from lightcheck.humpmap import Recipe, make

HERE = Path(__file__).resolve().parent
NEAR_MM = 35.0  # a spot this near to a true hump is that hump


def states(hump: dict, row, least_mm: float) -> set[str]:
    """What the true heights allow: a true change of about twice sigma may be told or not."""
    before, after = hump["before_mm"], hump["after_mm"]
    if abs(after) < least_mm:
        return {"gone"}
    if abs(before) < least_mm:
        return {"new"}
    if before * after < 0:
        return {"cut too far"}
    told, times = "down" if after < before else "up", abs(after - before) / row.sigma_mm
    return {"same"} if times < 1 else {told} if times > 3 else {"same", told}


def measure(folder: Path) -> dict:
    """Figures of one pair of passes."""
    truth = json.loads((folder / "passes.json").read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory() as place:
        for name in ("before", "after"):
            photos = tuple(str(p) for p in sorted((folder / name).glob("*.jpg")))
            report.write(make(Recipe(photos=photos, lamps=tuple(truth[name]["lamps"]))), Path(place) / name)
        began = time.perf_counter()
        result = change.compare(*(stored.read(Path(place) / n) for n in ("before", "after")))
        took = time.perf_counter() - began
    places = np.array(truth["check_before_mm"]).T
    off = np.hypot(*(np.stack(result.registration.to_after_mm(*places), axis=1) - truth["check_after_mm"]).T)
    errors, scores, right, unreal = [], [], 0, 0
    for row in result.spots:
        hump = min(truth["humps"], key=lambda h: np.hypot(h["x_mm"] - row.x_mm, h["y_mm"] - row.y_mm))
        if np.hypot(hump["x_mm"] - row.x_mm, hump["y_mm"] - row.y_mm) > NEAR_MM:
            unreal += 1
            continue
        if np.isfinite(row.change_mm):
            errors.append(row.change_mm - (hump["after_mm"] - hump["before_mm"]))
            scores.append(errors[-1] / row.sigma_mm)
            right += str(row.state) in states(hump, row, result.least_mm)
    return {
        "off": float(off.max()), "sigma": result.registration.sigma_mm, "errors": np.abs(errors),
        "scores": np.array(scores), "right": right, "unreal": unreal, "took": took,
    }  # fmt: skip


def figures(folder: Path = HERE.parent / "fixtures") -> list[str]:
    """A line for each pair of passes under a folder, the heading first."""
    lines = ["passes              laid off mm (sigma)   change mm median / worst   z rms   states right   s"]
    for path in sorted(p.parent for p in folder.glob("*/passes.json")):
        got = measure(path)
        errors, spread = got["errors"], np.sqrt(np.mean(got["scores"] ** 2))
        more = f"  ({got['unreal']} not real)" if got["unreal"] else ""
        lines.append(
            f"{path.name:20s} {got['off']:9.2f} ({got['sigma']:.2f}) {np.median(errors):18.3f} / "
            f"{errors.max():.3f} {spread:10.1f} {got['right']:9d} of {len(errors)} "
            f"{got['took']:6.1f}{more}"
        )
    return lines


def main() -> None:
    """Print what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", nargs="?", type=Path, default=HERE.parent / "fixtures")
    for line in figures(parser.parse_args().folder):
        print(line, flush=True)


if __name__ == "__main__":
    main()
