"""Daylight: one reading of a template as numbers and as a picture.

daylight.csv     one row a millimetre along the edge
daylight.json    cards, largest, touching places, what should be trusted less
daylight.png     daylight along the edge, and where it lies on the template
standoff.csv     with a designed outline: how far the wood stands off it, row for row
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lightcheck import __version__
from lightcheck.report import folder as _folder
from lightcheck.template.stored import COLUMNS, OFF_COLUMNS, SCHEMA
from lightcheck.units import inch_fraction

if TYPE_CHECKING:
    from lightcheck.patch import CardPlace
    from lightcheck.template import Daylight

PICTURE = "daylight.png"
FILES = ("daylight.csv", "daylight.json", PICTURE, "standoff.csv")


def check_folder(folder: str | Path, *, force: bool = False) -> None:
    """Refuse a result folder that can not be used, before anything is read."""
    _folder.check_folder(folder, files=FILES, force=force)


def write(result: Daylight, folder: str | Path, *, force: bool = False) -> Path:
    """Write the files; return the path of the picture to open."""
    return _folder.write_folder(folder, lambda into: _fill(result, into), files=FILES, force=force) / PICTURE


def _fill(result: Daylight, into: Path) -> None:
    from lightcheck.report.daylight_plot import daylight_png

    columns = (result.along_mm, *result.edge_mm.T, result.daylight_mm, result.sigma_mm)
    _write_csv(into / "daylight.csv", COLUMNS, columns, digits=(2, 3, 3, 4, 4))
    text = json.dumps(summary(result), indent=1, ensure_ascii=False, allow_nan=False)
    (into / "daylight.json").write_text(text + "\n", encoding="utf-8")
    (into / PICTURE).write_bytes(daylight_png(result))
    off = result.stand_off
    if off is not None:
        columns = (
            *off.design_mm.T, off.off_mm, off.sigma_mm, off.shape_mm, off.shape_sigma_mm, off.cut_mm
        )  # fmt: skip
        _write_csv(into / "standoff.csv", OFF_COLUMNS, columns, digits=(3, 3, 4, 4, 4, 4, 4))


def _write_csv(path: Path, names: tuple[str, ...], columns: tuple, *, digits: tuple[int, ...]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(names)
        for values in zip(*columns, strict=True):
            rows.writerow(
                [f"{v:.{d}f}" if np.isfinite(v) else "" for v, d in zip(values, digits, strict=True)]
            )


def summary(result: Daylight) -> dict:
    """What daylight.json holds, as one object."""
    return {
        "schema": SCHEMA,
        "version": __version__,
        "photo": result.photo,
        "sha256": result.sha256,
        "light": result.light,
        "held": result.held,
        "thick_mm": result.thick_mm,
        "cards": [_card(c) for c in result.cards],
        "largest": _largest(result),
        "touching": [
            {name: round(getattr(t, name), 2) for name in ("from_mm", "to_mm", "along_mm", "x_mm", "y_mm")}
            for t in result.touching
        ],
        "flags": [
            {"what": f.what, "from_mm": round(f.from_mm, 1), "to_mm": round(f.to_mm, 1)} for f in result.flags
        ],
        "seat": {
            "marks": list(result.seat.marks),
            "lift_sigma_mm": _finite(result.seat.lift_sigma_mm),
            "side_sigma_mm": _finite(result.seat.side_sigma_mm),
            "rock_sigma_rad": _finite(result.seat.rock_sigma_rad),
        },
        "stand_off": _stand_off(result),
        "eye_mm": [round(float(v), 2) for v in result.eye_mm],
        "eye_sigma_mm": [round(float(v), 2) for v in result.eye_sigma_mm],
        "mm_per_px": round(float(result.mm_per_px), 5),
        "others": [_card(c) for c in result.others],
    }


def _card(place: CardPlace) -> dict:
    return {
        "card": place.card,
        "x_mm": round(place.x_mm, 3),
        "y_mm": round(place.y_mm, 3),
        "turn_deg": round(float(np.degrees(place.turn_rad)), 4),
    }


def _largest(result: Daylight) -> dict | None:
    at = result.largest
    if at is None:
        return None
    x, y = result.edge_mm[at]
    return {
        "along_mm": round(float(result.along_mm[at]), 2),
        "x_mm": round(float(x), 2),
        "y_mm": round(float(y), 2),
        "daylight_mm": round(float(result.daylight_mm[at]), 4),
        "sigma_mm": round(float(result.sigma_mm[at]), 4),
        "daylight_in": inch_fraction(result.daylight_mm[at], sigma_mm=float(result.sigma_mm[at])),
    }


def _stand_off(result: Daylight) -> dict | None:
    off = result.stand_off
    if off is None:
        return None
    return {
        "source": off.source,
        "station": off.station,
        "tied_by": off.tied_by,
        "mirrored": off.mirrored,
        "face_mm": round(off.face_mm, 4),
        "unknown": list(off.unknown),
    }


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
