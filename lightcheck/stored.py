"""StoredMap: a hump map read back from its result folder, for whatever comes after the map.

A folder is only believed when its parts belong together: schema known, arrays of one shape, draws on
the same sheet, numbers that can be true. What a later stage needs beyond that, it asks of `facts` (map.json
as it was written).
"""

from __future__ import annotations

import json
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lightcheck.errors import Doubt, LightcheckError
from lightcheck.grid import Grid, frozen
from lightcheck.patch import Base, CardPlace
from lightcheck.spots import Spot

SCHEMA = 1  # of map.json, the newest that is understood
_SHEETS = ("height_mm", "sigma_mm", "come_off_mm", "fair_mm", "z_mm")
_KINDS = ("hump", "hollow")
_FAR_MM = 20_000.0  # no patch in one photo reaches so far, and no height on it; common practice, no source
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
        grid = _grid(facts["grid"])
        spots = tuple(_spot(s, grid) for s in facts["spots"])
        cards = tuple(_card(c) for c in facts["cards"])
        recipe, warnings = facts["recipe"], tuple(facts["warnings"])
        least = _number(recipe["least_mm"])
        longest = tuple(_number(v, above=0.0) for v in recipe["longest_mm"])
        _check_rest(facts, longest)
    except (AttributeError, KeyError, OverflowError, TypeError, ValueError):
        raise LightcheckError(f"{folder / 'map.json'} is incomplete or damaged.", _AGAIN) from None
    wrong = [n for n in _SHEETS if sheets[n].shape != grid.shape]
    if wrong or draws.ndim != 3 or draws.shape[1:] != grid.shape or not len(draws):
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
    except (OSError, ValueError, KeyError, TypeError, OverflowError, RecursionError):
        raise LightcheckError(f"{path} can not be read.", _AGAIN) from None
    if schema > SCHEMA:
        raise LightcheckError(f"{path} was written by a newer lightcheck.", "Bring lightcheck up to date.")
    return facts


def _arrays(path: Path, names: tuple[str, ...]) -> dict[str, np.ndarray]:
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in names}
        if not all(_sound(a) for a in arrays.values()):
            raise ValueError
    except (
        EOFError, KeyError, NotImplementedError, OSError, RuntimeError, TypeError, ValueError,
        zipfile.BadZipFile, zlib.error,
    ):  # fmt: skip
        raise LightcheckError(f"{path} is missing or damaged.", _AGAIN) from None
    return arrays


def _sound(array: np.ndarray) -> bool:
    """Plain numbers that can be lengths; NaN is what was not seen."""
    return array.dtype.kind in "fiu" and not (np.abs(array) > _FAR_MM).any()


def _number(value, *, above: float = -_FAR_MM) -> float:
    """A length or share that can be true. Raises ValueError, TypeError."""
    number = float(value)
    if not above < number <= _FAR_MM:
        raise ValueError
    return number


def _grid(entry: dict) -> Grid:
    grid = Grid(
        x0_mm=_number(entry["x0_mm"]),
        y0_mm=_number(entry["y0_mm"]),
        cell_mm=_number(entry["cell_mm"], above=0.0),
        nx=int(entry["nx"]),
        ny=int(entry["ny"]),
    )
    _number(grid.cell_mm * max(grid.shape))
    return grid


def _check_rest(facts: dict, longest_mm: tuple[float, ...]) -> None:
    """What later stages take as it stands. Raises AttributeError, TypeError, ValueError."""
    Base(**{name: _number(value) for name, value in facts.get("base", {}).items()})
    if len(longest_mm) != 2 or not all(isinstance(s, dict) for s in facts.get("shots", ())):
        raise ValueError


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
        x_mm=_number(entry["x_mm"]),
        y_mm=_number(entry["y_mm"]),
        turn_rad=float(np.radians(_number(entry["turn_deg"]))),
    )


def _spot(entry: dict, grid: Grid) -> Spot:
    """A spot as it was listed, on its sheet. What comes off may be missing (null): it is NaN."""
    for name in ("height_mm", "sigma_mm", "chance", "length_mm", "width_mm", "turn_deg"):
        _number(entry[name])
    outline = np.reshape(np.asarray(entry.get("outline_mm", ()), float), (-1, 2))
    rows, columns = grid.index(*np.vstack([outline, (entry["x_mm"], entry["y_mm"])]).T)
    on_sheet = (rows >= -1) & (rows <= grid.ny) & (columns >= -1) & (columns <= grid.nx)
    if entry["kind"] not in _KINDS or not isinstance(entry["place"], str) or not on_sheet.all():
        raise ValueError
    if len(outline) < 3:
        outline = _ellipse(entry)
    number = {k: np.nan if v is None else v for k, v in entry.items()}
    return Spot(
        number=int(number["spot"]),
        kind=number["kind"],
        turn_rad=float(np.radians(number["turn_deg"])),
        place=number["place"],
        doubts=tuple(Doubt(d) for d in number["doubt"]),
        outline_mm=frozen(outline),
        **{
            name: float(number[name])
            for name in (
                "x_mm", "y_mm", "height_mm", "sigma_mm", "chance", "length_mm", "width_mm", "come_off_mm"
            )
        },
    )  # fmt: skip


def _ellipse(entry: dict) -> np.ndarray:
    """(32, 2) the spot's length and width about its place, where its outline was not kept. [mm]"""
    around, turn = np.linspace(0, 2 * np.pi, 32, endpoint=False), np.radians(entry["turn_deg"])
    u, v = entry["length_mm"] / 2 * np.cos(around), entry["width_mm"] / 2 * np.sin(around)
    x, y = u * np.cos(turn) - v * np.sin(turn), u * np.sin(turn) + v * np.cos(turn)
    return np.column_stack([entry["x_mm"] + x, entry["y_mm"] + y])
