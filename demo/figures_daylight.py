"""Figures of the daylight readings against path-traced truth, printed as a table.

    python demo/figures_daylight.py            the scenes in fixtures/daylight-1
    python demo/figures_daylight.py FOLDER     others, made by fixtures/silhouette.py

Over the middle nine tenths of each template, its thickness given. A touching place counts as found
within 3 mm; "more" are stretches without light that do not touch (the far lip hides their daylight).
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import numpy as np

from lightcheck import template
from lightcheck.template import Asked

HERE = Path(__file__).resolve().parent
HEAD = "scene              light  median   95 %    bias   in 2s  sigma  touching  more      s"


def row(folder: Path) -> tuple[str, np.ndarray, str]:
    """One line of the table, the errors and the light."""
    facts = json.loads((folder / "truth.json").read_text())
    rows = np.genfromtxt(folder / "truth.csv", delimiter=",", names=True)
    rows = rows[np.argsort(rows["x_mm"])]
    held = "batten" if facts["scene"] == "batten" else "template"
    start = time.process_time()
    seen = template.measure(folder / "photo.jpg", asked=Asked(thick_mm=facts["thick_mm"], held=held))
    spent = time.process_time() - start
    low, high = rows["x_mm"][[0, -1]]
    middle = np.abs(seen.edge_mm[:, 0] - (low + high) / 2) < 0.45 * (high - low)
    error = (seen.daylight_mm - np.interp(seen.edge_mm[:, 0], rows["x_mm"], rows["daylight_mm"]))[middle]
    sigma, known = seen.sigma_mm[middle], np.isfinite(error)
    x = np.array(facts["touching_x_mm"])
    true = [g.mean() for g in np.split(x, np.flatnonzero(np.diff(x) > 3) + 1)]
    found = np.array([t.x_mm for t in seen.touching])
    hit = sum(bool(len(found)) and bool(np.abs(found - t).min() < 3) for t in true)
    size = np.abs(error[known])
    line = (
        f"{facts['scene'] + '-' + str(facts['seed']):<19}{seen.light:<6}{np.median(size):7.3f}"
        f"{np.quantile(size, 0.95):7.3f}{error[known].mean():+8.3f}"
        f"{np.mean(size < 2 * sigma[known]):8.1%}{np.median(sigma[known]):7.3f}"
        f"{hit:>6} of {len(true)}{max(0, len(found) - hit):>6}{spent:7.1f}"
    )
    return line, error[known], seen.light


def table(folder: Path) -> None:
    """One line for each scene, and all of one light together."""
    print(HEAD)
    errors: dict[str, list[np.ndarray]] = {}
    for truth in sorted(folder.rglob("truth.json")):
        if not (truth.parent / "truth.csv").exists():
            continue
        line, error, light = row(truth.parent)
        print(line, flush=True)
        errors.setdefault(light, []).append(error)
    for light, parts in errors.items():
        error = np.concatenate(parts)
        size = np.abs(error)
        print(
            f"{'all of them':<19}{light:<6}{np.median(size):7.3f}{np.quantile(size, 0.95):7.3f}"
            f"{error.mean():+8.3f}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?", default=HERE.parent / "fixtures" / "daylight-1")
    table(parser.parse_args().folder)


if __name__ == "__main__":
    main()
