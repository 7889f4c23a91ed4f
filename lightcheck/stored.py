"""StoredMap: a hump map read back from its result folder, for whatever comes after the map.

A folder is only believed when its parts belong together: schema known, arrays of one shape, draws on
the same sheet. What a later stage needs beyond that, it asks of `facts` (map.json as it was written).
"""

from __future__ import annotations

import json
import zipfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lightcheck.errors import Doubt, LightcheckError
from lightcheck.grid import Grid, frozen
from lightcheck.patch import CardPlace
from lightcheck.spots import Spot

SCHEMA = 1  # of map.json, the newest that is understood
_SHEETS = ("height_mm", "sigma_mm", "come_off_mm", "fair_mm", "z_mm")
_AGAIN = "Make the map again with lightcheck map, or give another folder."


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredMap:
    """A result folder. Sheets are (ny, nx), NaN where not seen; draws_mm is (n, ny, nx) float32.

    height_mm: above the fair surface.  come_off_mm: down to the cut-only target.  fair_mm: fair surface
    over the base.  z_mm: relief over the base.  wood: (ny t, nx t) uint8, the evenly lit wood on
    `grid.finer(t)`, row 0 the lowest y, 0 where not seen.  facts: map.json as it stands.
    """

    folder: Path
    grid: Grid
    height_mm: np.ndarray
    sigma_mm: np.ndarray
    come_off_mm: np.ndarray
    fair_mm: np.ndarray
    z_mm: np.ndarray
    draws_mm: np.ndarray
    wood: np.ndarray
    cards: tuple[CardPlace, ...]
    spots: tuple[Spot, ...]
    warnings: tuple[str, ...]
    least_mm: float
    longest_mm: tuple[float, float]
    facts: dict

    @property
    def wood_grid(self) -> Grid:
        """The sheet that `wood` lies on."""
        return self.grid.finer(self.wood.shape[0] // self.grid.ny)


def read(folder: str | Path) -> StoredMap:
    """Read a result folder of `lightcheck map`. Refuses one that is missing, damaged or newer."""
    folder = Path(folder)
    facts = _facts(folder)
    sheets = _arrays(folder / "map.npz", ("x_mm", "y_mm", *_SHEETS))
    draws = _arrays(folder / "draws.npz", ("draws_mm",))["draws_mm"]
    try:
        grid = Grid(**facts["grid"])
        spots = tuple(_spot(s) for s in facts["spots"])
        cards = tuple(_card(c) for c in facts["cards"])
        recipe, warnings = facts["recipe"], tuple(facts["warnings"])
        least, longest = float(recipe["least_mm"]), tuple(float(v) for v in recipe["longest_mm"])
    except (KeyError, TypeError, ValueError):
        raise LightcheckError(f"{folder / 'map.json'} is incomplete.", _AGAIN) from None
    wrong = [n for n in _SHEETS if sheets[n].shape != grid.shape]
    if wrong or draws.ndim != 3 or draws.shape[1:] != grid.shape:
        raise LightcheckError(f"The files in {folder} do not belong together.", _AGAIN)
    return StoredMap(
        folder=folder,
        grid=grid,
        **{name: frozen(sheets[name]) for name in _SHEETS},
        draws_mm=frozen(draws, np.float32),
        wood=_wood(folder / "wood.png", grid),
        cards=cards,
        spots=spots,
        warnings=warnings,
        least_mm=least,
        longest_mm=longest,
        facts=facts,
    )


def _facts(folder: Path) -> dict:
    path = folder / "map.json"
    if not folder.is_dir() or not path.is_file():
        raise LightcheckError(
            f"{folder} is not the result folder of a map.",
            "Give the folder named after -o of lightcheck map.",
        )
    try:
        facts = json.loads(path.read_text(encoding="utf-8"))
        schema = int(facts["schema"])
    except (OSError, ValueError, KeyError, TypeError):
        raise LightcheckError(f"{path} can not be read.", _AGAIN) from None
    if schema > SCHEMA:
        raise LightcheckError(f"{path} was written by a newer lightcheck.", "Bring lightcheck up to date.")
    return facts


def _arrays(path: Path, names: tuple[str, ...]) -> dict[str, np.ndarray]:
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as stored:
            return {name: stored[name] for name in names}
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        raise LightcheckError(f"{path} is missing or damaged.", _AGAIN) from None


def _wood(path: Path, grid: Grid) -> np.ndarray:
    from PIL import Image

    try:
        with Image.open(path) as picture:
            wood = np.asarray(picture.convert("L"))[::-1]
    except (OSError, ValueError, Image.DecompressionBombError):
        raise LightcheckError(f"{path} is missing or damaged.", _AGAIN) from None
    times = max(1, wood.shape[0] // grid.ny)
    if wood.shape != (grid.ny * times, grid.nx * times):
        raise LightcheckError(f"The files in {path.parent} do not belong together.", _AGAIN)
    return frozen(wood, np.uint8)


def _card(entry: dict) -> CardPlace:
    return CardPlace(
        card=int(entry["card"]),
        x_mm=float(entry["x_mm"]),
        y_mm=float(entry["y_mm"]),
        turn_rad=float(np.radians(entry["turn_deg"])),
    )


def _spot(entry: dict) -> Spot:
    """A spot as it was listed; what was not measured (null) is NaN."""
    number = {k: np.nan if v is None else v for k, v in entry.items()}
    return Spot(
        number=int(number["spot"]),
        kind=number["kind"],
        turn_rad=float(np.radians(number["turn_deg"])),
        place=number["place"],
        doubts=tuple(Doubt(d) for d in number["doubt"]),
        outline_mm=frozen(np.reshape(number.get("outline_mm", ()), (-1, 2))),
        **{
            name: float(number[name])
            for name in (
                "x_mm", "y_mm", "height_mm", "sigma_mm", "chance", "length_mm", "width_mm", "come_off_mm"
            )
        },
    )  # fmt: skip
