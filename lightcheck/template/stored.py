"""Stored: a reading taken back from its result folder, for the station table and the map.

daylight.csv     one row a millimetre: along_mm, x_mm, y_mm, daylight_mm, sigma_mm; blank where unseen
daylight.json    everything that is said once
standoff.csv     with a designed outline, row for row: where on it, how far the wood stands off it
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.patch import CardPlace
from lightcheck.template.product import UNKNOWN, Daylight, Flag, Seat, StandOff, Touch

SCHEMA = 1  # of daylight.json, the newest that is understood
COLUMNS = ("along_mm", "x_mm", "y_mm", "daylight_mm", "sigma_mm")
OFF_COLUMNS = ("out_mm", "up_mm", "off_mm", "sigma_mm", "shape_mm", "shape_sigma_mm", "cut_mm")
_AGAIN = "Measure the photo again with lightcheck daylight, or give another folder."


def read(folder: str | Path) -> Daylight:
    """Read a result folder of `lightcheck daylight`. Refuses one that is missing, damaged or newer."""
    folder = Path(folder)
    facts = _facts(folder)
    table = _table(folder / "daylight.csv", COLUMNS)
    try:
        off = facts["stand_off"]
        rows = _table(folder / "standoff.csv", OFF_COLUMNS) if off is not None else None
        if rows is not None and len(rows["off_mm"]) != len(table["along_mm"]):
            raise LightcheckError(f"The files in {folder} do not belong together.", _AGAIN)
        return Daylight(
            photo=str(facts["photo"]),
            sha256=str(facts["sha256"]),
            light=str(facts["light"]),
            held=str(facts["held"]),
            thick_mm=float(facts["thick_mm"]),
            cards=tuple(map(_card, facts["cards"])),
            along_mm=table["along_mm"],
            edge_mm=frozen(np.stack([table["x_mm"], table["y_mm"]], -1)),
            daylight_mm=table["daylight_mm"],
            sigma_mm=table["sigma_mm"],
            touching=tuple(Touch(**{k: float(v) for k, v in t.items()}) for t in facts["touching"]),
            flags=tuple(map(_flag, facts["flags"])),
            seat=_seat(facts["seat"]),
            stand_off=None if off is None else _stand_off(off, rows),
            eye_mm=frozen(facts["eye_mm"]),
            eye_sigma_mm=frozen(facts["eye_sigma_mm"]),
            mm_per_px=float(facts["mm_per_px"]),
            others=tuple(map(_card, facts["others"])),
        )
    except (AttributeError, KeyError, TypeError, ValueError):
        raise LightcheckError(f"{folder / 'daylight.json'} is incomplete.", _AGAIN) from None


def _facts(folder: Path) -> dict:
    path = folder / "daylight.json"
    if not path.is_file():
        raise LightcheckError(
            f"{folder} is not the result folder of a daylight reading.",
            "Give the folder named after -o of lightcheck daylight.",
        )
    try:
        facts = json.loads(path.read_text(encoding="utf-8"))
        schema = int(facts["schema"])
    except (OSError, ValueError, KeyError, TypeError, OverflowError, RecursionError):
        raise LightcheckError(f"{path} can not be read.", _AGAIN) from None
    if schema > SCHEMA:
        raise LightcheckError(f"{path} was written by a newer lightcheck.", "Bring lightcheck up to date.")
    return facts


def _table(path: Path, columns: tuple[str, ...]) -> dict[str, np.ndarray]:
    """Columns of a CSV by name, NaN where blank."""
    try:
        with path.open(newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        return {name: frozen([float(row[name] or "nan") for row in rows]) for name in columns}
    except (OSError, ValueError, KeyError, TypeError):
        raise LightcheckError(f"{path} is missing or damaged.", _AGAIN) from None


def _card(entry: dict) -> CardPlace:
    return CardPlace(
        card=int(entry["card"]),
        x_mm=float(entry["x_mm"]),
        y_mm=float(entry["y_mm"]),
        turn_rad=float(np.radians(entry["turn_deg"])),
    )


def _flag(entry: dict) -> Flag:
    return Flag(what=str(entry["what"]), from_mm=float(entry["from_mm"]), to_mm=float(entry["to_mm"]))


def _known(value: float | None) -> float:
    return UNKNOWN if value is None else float(value)


def _seat(entry: dict) -> Seat:
    return Seat(
        marks=tuple(map(str, entry["marks"])),
        lift_sigma_mm=_known(entry["lift_sigma_mm"]),
        side_sigma_mm=_known(entry["side_sigma_mm"]),
        rock_sigma_rad=_known(entry["rock_sigma_rad"]),
    )


def _stand_off(entry: dict, rows: dict[str, np.ndarray]) -> StandOff:
    return StandOff(
        source=str(entry["source"]),
        design_mm=frozen(np.stack([rows["out_mm"], rows["up_mm"]], -1)),
        off_mm=rows["off_mm"],
        sigma_mm=rows["sigma_mm"],
        shape_mm=rows["shape_mm"],
        shape_sigma_mm=rows["shape_sigma_mm"],
        cut_mm=rows["cut_mm"],
        unknown=tuple(map(str, entry["unknown"])),
        face_mm=float(entry["face_mm"]),
        tied_by=str(entry["tied_by"]),
        mirrored=bool(entry["mirrored"]),
        station=entry["station"],
    )
