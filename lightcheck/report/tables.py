"""Tables: the result as numbers for other programs.

map.npz     x_mm (nx,), y_mm (ny,), height_mm and its kin (ny, nx), row 0 the lowest y
draws.npz   draws_mm (n, ny, nx), heights of the draws
map.json    shots, cards, spots, warnings and how it was made
spots.csv   one row per spot
"""

from __future__ import annotations

import csv
import dataclasses
import json
from pathlib import Path, PurePath
from typing import TYPE_CHECKING

import numpy as np

from lightcheck import __version__

if TYPE_CHECKING:
    from lightcheck.humpmap import HumpMap
    from lightcheck.photo import Photo
    from lightcheck.relief import LampFound
    from lightcheck.spots import Spot
    from lightcheck.step import StepReading

SCHEMA = 1
COLUMNS = (
    "spot", "kind", "x_mm", "y_mm", "height_mm", "sigma_mm", "chance", "length_mm", "width_mm",
    "turn_deg", "come_off_mm", "place", "doubt",
)  # fmt: skip


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """A photo with its lamp as typed and as found; None where it was not used for shading."""

    photo: Photo
    lamp: str
    found: LampFound | None
    misfit_mm: float | None
    likeness: float | None


def shots(result: HumpMap) -> tuple[Shot, ...]:
    """Every photo with what belongs to it, in the order typed."""
    lamps, laid, rows = list(result.relief.lamps), list(result.patch.names), []
    for photo, lamp in zip(result.photos, result.recipe.lamps, strict=True):
        used = bool(lamps) and lamps[0].spec.strip() == lamp.strip()
        at = len(result.patch.names) - len(laid) if laid and laid[0] == photo.name else None
        rows.append(
            Shot(
                photo=photo,
                lamp=lamp,
                found=lamps.pop(0) if used else None,
                misfit_mm=None if at is None else result.patch.misfit_mm[at],
                likeness=None if at is None else result.patch.likeness[at],
            )
        )
        if at is not None:
            laid.pop(0)
    return tuple(rows)


def seen_share(result: HumpMap) -> float:
    """Share of the open wood between the cards that has a height."""
    wood = result.patch.wood
    return float(np.isfinite(result.fair.height_mm[wood]).mean()) if wood.any() else 0.0


def write_arrays(result: HumpMap, folder: Path) -> None:
    """Write map.npz and draws.npz."""
    grid, fair = result.patch.grid, result.fair
    axes = {"x_mm": grid.x_mm, "y_mm": grid.y_mm}
    sheets = {
        "height_mm": fair.height_mm,
        "sigma_mm": fair.sigma_mm,
        "come_off_mm": fair.come_off_mm,
        "fair_mm": fair.fair_mm,
        "z_mm": result.relief.z_mm,
    }
    sheets = {name: np.asarray(sheet, np.float32) for name, sheet in sheets.items()}
    np.savez_compressed(folder / "map.npz", **axes, **sheets)
    # half floats resolve 0.0005 mm at 1 mm: finer than any height here is known
    np.savez_compressed(folder / "draws.npz", **axes, draws_mm=fair.draws_mm.astype(np.float16))


def write_spots(result: HumpMap, path: Path) -> None:
    """Write spots.csv; a header alone where no spot was found."""
    with path.open("w", newline="", encoding="utf-8") as file:
        rows = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        rows.writeheader()
        for spot in result.spots:
            row = _spot(spot) | {"doubt": "; ".join(spot.doubts)}
            rows.writerow({k: "" if row[k] is None else row[k] for k in COLUMNS})


def write_json(result: HumpMap, path: Path, *, steps: tuple[StepReading, ...] = ()) -> None:
    """Write map.json."""
    facts = summary(result) | {"steps": [_step(s) for s in steps]}
    text = json.dumps(_plain(facts), indent=1, ensure_ascii=False, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8")


def summary(result: HumpMap) -> dict:
    """What map.json holds, as one object."""
    patch, relief = result.patch, result.relief
    recipe = dataclasses.asdict(result.recipe)
    recipe["photos"] = [PurePath(p).name for p in result.recipe.photos]  # folders are nobody's business
    recipe["templates"] = [hold_name(t) for t in result.recipe.templates]
    recipe["brackets"] = [PurePath(p).name for p in result.recipe.brackets]
    recipe["marks"] = PurePath(result.recipe.marks).name if result.recipe.marks else None
    return {
        "schema": SCHEMA,
        "version": __version__,
        "recipe": recipe,
        "cards": [
            {"card": c.card, "x_mm": c.x_mm, "y_mm": c.y_mm, "turn_deg": np.degrees(c.turn_rad)}
            for c in patch.cards
        ],
        "shots": [_shot(s) for s in shots(result)],
        "spots": [_spot(s) for s in result.spots],
        "warnings": list(result.warnings),
        "seen_share": seen_share(result),
        "base": dataclasses.asdict(patch.base),
        "grid": dataclasses.asdict(patch.grid),
        "corner_rms_px": patch.corner_rms_px,
        "response": list(relief.response),
        "response_from": result.response.source if result.response else None,
        "ambient_share": relief.ambient_share,
        "noise": relief.noise,
        "draws": len(result.fair.draws_mm),
        "templates": _templates(result),
        "findings": [dataclasses.asdict(f) for f in result.findings],
        "shadows": [dataclasses.asdict(c) for c in result.shadows],
    }


def _step(reading: StepReading) -> dict:
    return {
        "step": reading.spec.text,
        "was_mm": reading.was_mm,
        "read_mm": reading.read_mm,
        "sigma_mm": reading.sigma_mm,
        "agrees": reading.agrees,
    }


def hold_name(spec: str) -> str:
    """A template as typed, without the folders that its reading lies in."""
    folder, at, where = spec.rpartition("@")
    return f"{PurePath(folder).name}/{at}{where}"


def changes_mm(result: HumpMap) -> list[tuple[Spot, float, float]]:
    """Each spot with its height and the height there without the templates."""
    rows = []
    for spot in result.spots:
        row, column = (round(float(i)) for i in result.patch.grid.index(spot.x_mm, spot.y_mm))
        rows.append((spot, float(spot.height_mm), float(result.without_mm[row, column])))
    return rows


def _templates(result: HumpMap) -> dict | None:
    """What hangs on templates, and what they changed."""
    relief = result.relief
    if not relief.holds:
        return None
    return {
        "lamp_height_factor": relief.height_factor,
        "lamp_height_factor_sigma": relief.height_factor_sigma,
        "lines": [
            {
                "template": h.name,
                "places": len(h.left_mm),
                "left_rms_mm": np.sqrt(np.average(h.left_mm**2, weights=h.trust)),
                "trusted_share": h.trust.mean(),
                "slide_mm": h.slide_mm,
                "slide_sigma_mm": h.slide_sigma_mm,
            }
            for h in relief.holds
        ],
        "spots": [
            {"spot": s.number, "height_mm": held, "without_mm": free} for s, held, free in changes_mm(result)
        ],
    }


def _shot(shot: Shot) -> dict:
    found = shot.found
    return {
        "photo": shot.photo.name,
        "sha256": shot.photo.sha256,
        "lamp": shot.lamp,
        "kind": found.kind
        if found
        else shot.lamp.strip().lower()
        if shot.lamp.strip().lower() == "off"
        else None,
        "lamp_place_mm": found.place_mm if found else None,
        "lamp_sigma_mm": found.sigma_mm if found else None,
        "misfit_mm": shot.misfit_mm,
        "likeness": shot.likeness,
        "camera": dataclasses.asdict(shot.photo.facts),
    }


def _spot(spot: Spot) -> dict:
    return {
        "spot": spot.number,
        "kind": spot.kind,
        "x_mm": _rounded(spot.x_mm, 1),
        "y_mm": _rounded(spot.y_mm, 1),
        "height_mm": _rounded(spot.height_mm, 4),
        "sigma_mm": _rounded(spot.sigma_mm, 4),
        "chance": _rounded(spot.chance, 3),
        "length_mm": _rounded(spot.length_mm, 1),
        "width_mm": _rounded(spot.width_mm, 1),
        "turn_deg": _rounded(np.degrees(spot.turn_rad), 1),
        "come_off_mm": _rounded(spot.come_off_mm, 4),
        "place": spot.place,
        "doubt": [str(d) for d in spot.doubts],
        "outline_mm": np.round(spot.outline_mm, 1),
    }


def _rounded(value: float, digits: int) -> float | None:
    return round(float(value), digits) if np.isfinite(value) else None


def _plain(thing):
    """The same with numpy's own kinds turned into plain ones and NaN into null."""
    if isinstance(thing, dict):
        return {str(k): _plain(v) for k, v in thing.items()}
    if isinstance(thing, (list, tuple, np.ndarray)):
        return [_plain(v) for v in thing]
    if isinstance(thing, np.generic):
        thing = thing.item()
    if isinstance(thing, float) and not np.isfinite(thing):
        return None
    return thing
