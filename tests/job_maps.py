"""Small made-up maps and photos for jobs: invented, and quick to write."""

import json
from pathlib import Path

import numpy as np
from PIL import Image

from lightcheck.grid import Grid

SHEET = Grid.over((-250.0, 250.0), (-150.0, 150.0), cell_mm=10.0)


def photo(path: Path, *, tone: int = 120, size=(64, 48)) -> Path:
    """A tiny JPEG that no other tone shares its bytes with."""
    path.parent.mkdir(parents=True, exist_ok=True)
    grain = np.random.default_rng(tone).integers(0, 60, (size[1], size[0], 3))
    Image.fromarray((tone % 190 + grain).astype(np.uint8)).save(path, "JPEG", quality=60)
    return path


def heights(top_mm: float) -> np.ndarray:
    """One hump and a hollow half as deep, both round, 40 mm sigma."""
    x, y = SHEET.mesh_mm()
    bell = [np.exp(-((x - at) ** 2 + y**2) / (2 * 40.0**2)) for at in (-120.0, 130.0)]
    return top_mm * bell[0] - 0.5 * top_mm * bell[1]


def write_map(folder: Path, height_mm: np.ndarray, *, sigma_mm: float = 0.02, draws: int = 16) -> None:
    """The files of a result folder that come after the map reads, for any heights on SHEET."""
    folder.mkdir(parents=True)
    rng = np.random.default_rng(4)
    sheets = height_mm + sigma_mm * rng.standard_normal((draws, 1, 1)) * np.sign(height_mm)
    level = np.zeros(SHEET.shape)
    np.savez(
        folder / "map.npz", x_mm=SHEET.x_mm, y_mm=SHEET.y_mm, height_mm=height_mm, fair_mm=level,
        sigma_mm=level + sigma_mm, come_off_mm=height_mm - height_mm.min(), z_mm=height_mm,
    )  # fmt: skip
    np.savez(folder / "draws.npz", x_mm=SHEET.x_mm, y_mm=SHEET.y_mm, draws_mm=sheets.astype(np.float16))
    wood = np.random.default_rng(1).integers(90, 160, (2 * SHEET.ny, 2 * SHEET.nx)).astype(np.uint8)
    Image.fromarray(wood).save(folder / "wood.png")
    (folder / "map.json").write_text(json.dumps(_facts(height_mm, sigma_mm)))
    (folder / "report.html").write_text("<p>made up</p>")


def _facts(height_mm: np.ndarray, sigma_mm: float) -> dict:
    top, low = np.nanmax(height_mm), np.nanmin(height_mm)
    grid = {k: getattr(SHEET, k) for k in ("x0_mm", "y0_mm", "cell_mm", "nx", "ny")}
    return {
        "schema": 1,
        "recipe": {"least_mm": 0.1, "longest_mm": [400.0, 400.0]},
        "cards": [{"card": 0, "x_mm": -200.0, "y_mm": -110.0, "turn_deg": 0.0}],
        "spots": [
            _spot(1, "hump", -120.0, float(top), sigma_mm),
            _spot(2, "hollow", 130.0, float(low), sigma_mm),
        ],
        "warnings": [],
        "seen_share": 1.0,
        "grid": grid,
    }


def _spot(number: int, kind: str, x_mm: float, height_mm: float, sigma_mm: float) -> dict:
    return {
        "spot": number, "kind": kind, "x_mm": x_mm, "y_mm": 0.0, "height_mm": height_mm,
        "sigma_mm": sigma_mm, "chance": 1.0, "length_mm": 94.0, "width_mm": 94.0, "turn_deg": 0.0,
        "come_off_mm": max(height_mm, 0.0), "place": "beside card 0", "doubt": [], "outline_mm": [],
    }  # fmt: skip


class Shaped:
    """A quick stand-in for the map: one hump, `left` of it each time. calls: how often it was asked."""

    def __init__(self, tops=(1.2, 0.5, 0.2)) -> None:
        self.tops, self.calls = list(tops), 0

    def __call__(self, recipe, into: Path) -> None:
        """Write the next map."""
        for path in recipe.photos:
            Image.open(path).verify()
        write_map(into, heights(self.tops[min(self.calls, len(self.tops) - 1)]))
        self.calls += 1
