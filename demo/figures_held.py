"""Maps that hang on templates, printed as a table: lamps misread by a quarter, and a long swell.

    python demo/figures_held.py [FOLDER]      FOLDER of path-traced scenes, else those in fixtures/

Photos of the misread lamps are path-traced. Readings of the templates are made up from the true surface,
with errors of 0.04 mm that are alike over 40 mm of the edge; of the swell, the photos are made up too.
"""

from __future__ import annotations

import argparse
import json
import re
import tempfile
from pathlib import Path

import numpy as np
from bench import HERE, hump_errors, robust_quadratic, score
from scipy.interpolate import RegularGridInterpolator

from lightcheck import specimen as sp
from lightcheck.humpmap import Recipe, make
from lightcheck.report import daylight as written
from lightcheck.template import Daylight

WRONG = (1.25, 0.8)  # typed over true height of every lamp
ERROR_MM, ALIKE_MM, HALF_MM, SKEW_RAD = 0.04, 40.0, 190.0, 0.03
SWELL = sp.Hump(x_mm=0.0, y_mm=0.0, height_mm=0.45, long_mm=112.0, short_mm=112.0)  # 450 mm at its foot
SWELL_LINES = ("y=-60mm", "y=60mm")


def reading(wood_mm: np.ndarray, along_mm: np.ndarray, rng: np.random.Generator) -> Daylight:
    """What a template would read over wood (n,) at places along its line, its cards glued on askew."""
    wood = wood_mm - 80.0
    knots = np.arange(along_mm[0], along_mm[-1] + ALIKE_MM, ALIKE_MM)
    error = np.interp(along_mm, knots, rng.normal(0, ERROR_MM, len(knots)))
    edge = np.stack([along_mm, np.full_like(along_mm, wood.max() + 0.2)], axis=1)
    c, s = np.cos(SKEW_RAD), np.sin(SKEW_RAD)
    return Daylight(
        photo="made-up.jpg", sha256="0" * 64, light="back", held="template", thick_mm=0.0, cards=(),
        along_mm=along_mm - along_mm[0], edge_mm=edge @ np.array([[c, s], [-s, c]]),
        daylight_mm=np.maximum(edge[:, 1] - wood + error, 0.0),
        sigma_mm=np.full(len(along_mm), ERROR_MM), mm_per_px=0.2,
        eye_mm=np.array([0.0, 0.0, 1200.0]), eye_sigma_mm=np.ones(3),
    )  # fmt: skip


def through(humps: list, lines: int) -> list[str]:
    """Lines along the patch through its highest spots."""
    highest = sorted(humps, key=lambda h: -abs(h[2]))
    rows: list[float] = []
    for _, y, _ in highest:
        if abs(y) < 100 and all(abs(y - other) > 60 for other in rows):
            rows.append(y)
    return [f"y={y:.0f}mm" for y in rows[:lines]]


def held(lines: list[str], whole, folder: Path, *, half_mm: float = HALF_MM) -> tuple[str, ...]:
    """Readings along y=... lines of a surface whole(x, y), written to disk; what to type for them."""
    rng, typed = np.random.default_rng(4), []
    for number, text in enumerate(lines):
        along = np.arange(-half_mm, half_mm + 0.5)
        y = float(text.removeprefix("y=").removesuffix("mm"))
        made = reading(whole(along, np.full_like(along, y)), along, rng)
        written.write(made, folder / f"reading-{number}", force=True)
        typed.append(f"{folder / f'reading-{number}'}/@{text}")
    return tuple(typed)


def fields(path: Path) -> tuple:
    """(facts, height(x, y) above the base, the whole surface (x, y)) of a path-traced scene."""
    facts = json.loads((path / "truth.json").read_text())
    stored = np.load(path / "truth.npz")
    axes = (stored["y_mm"], stored["x_mm"])
    sheets = (stored["height_mm"].astype(float), (stored["height_mm"] + stored["base_mm"]).astype(float))
    made = [RegularGridInterpolator(axes, s, bounds_error=False, fill_value=0.0) for s in sheets]
    return facts, *((lambda x, y, f=f: f(np.stack([y, x], axis=-1))) for f in made)


def misread(path: Path, wrong: float, lines: int, folder: Path) -> str:
    """One row: heights with every lamp's height typed wrong, hung on so many templates."""
    facts, height, whole = fields(path)
    lamps = [re.sub(r",(\d+)mm$", lambda m: f",{round(int(m[1]) * wrong)}mm", t) for t in facts["lamps"]]
    humps = [(h["x_mm"], h["y_mm"], h["height_mm"]) for h in facts["humps"]]
    typed = held(through(humps, lines), whole, folder)
    photos = tuple(str(path / f"{i}.jpg") for i in range(len(lamps)))
    result = make(Recipe(photos=photos, lamps=tuple(lamps), templates=typed))
    got = score(result, height)
    relative = np.array(hump_errors(result, got["error"], humps)[0])
    factor = result.relief.height_factor
    return (
        f"{path.name:10s} typed {wrong:4.2f} of true, {lines} lines: heights off {np.median(relative):5.1%}"
        f" / {relative.max():4.0%}, rms {got['rms']:.3f} mm, factor {factor:.2f} (true {1 / wrong:.2f})"
        f" give or take {result.relief.height_factor_sigma:.2f}"
    )


def swell(seed: int, lines: tuple[str, ...], folder: Path) -> str:
    """One row: the top of a swell 450 mm wide, off the truth after a robust quadratic."""
    board = sp.Board(humps=(SWELL,), seed=seed)
    shots = sp.shoot(board, "pair", folder / f"swell-{seed}", seed=seed)
    typed = held(list(lines), board.height_mm, folder, half_mm=230.0)
    photos, lamps = zip(*shots, strict=True)
    wide = (900.0, 900.0)
    recipe = Recipe(photos=tuple(map(str, photos)), lamps=lamps, templates=typed, longest_mm=wide)
    result = make(recipe)
    x, y = result.patch.grid.mesh_mm()
    inside = np.isfinite(result.relief.z_mm)
    error = np.full(x.shape, np.nan)
    off = (result.relief.z_mm - board.height_mm(x, y))[inside]
    error[inside] = robust_quadratic(off, x[inside], y[inside])
    row, column = (round(float(i)) for i in result.patch.grid.index(0.0, 0.0))
    return (
        f"swell {seed}, {len(lines)} lines: top off {abs(error[row, column]) / SWELL.height_mm:5.1%}, "
        f"rms {np.sqrt(np.nanmean(error**2)):.3f} mm"
    )


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", nargs="?", type=Path, default=HERE.parent / "fixtures")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        for path in sorted(asked.folder.glob("*-*/truth.json")):
            if path.parent.name.split("-")[0] in ("pair", "flash", "three", "barrel"):
                for wrong in WRONG:
                    for lines in (0, 1, 2):
                        print(misread(path.parent, wrong, lines, Path(made)), flush=True)
        for seed in (1, 2, 3):
            for lines in ((), SWELL_LINES):
                print(swell(seed, lines, Path(made)), flush=True)


if __name__ == "__main__":
    main()
