"""Change report: what became of every spot, as numbers, as one picture and as a page to print.

change.csv    one row for each spot of BEFORE, then the new ones
change.json   the same with where the wood lies and how sure that is
change.npz    x_mm (nx,), y_mm (ny,), before_mm, after_mm, change_mm, sigma_mm (ny, nx), grid of BEFORE
change.png    before, after and change on one colour scale
change.html   printable
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lightcheck import __version__
from lightcheck.report import folder as _folder

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightcheck.change import Change, Curve, SpotChange
    from lightcheck.stored import StoredMap

SCHEMA = 1
PAGE = "change.html"
FILES = (PAGE, "change.png", "change.csv", "change.json", "change.npz")
COLUMNS = (
    "spot", "kind", "x_mm", "y_mm", "before_mm", "after_mm", "change_mm", "sigma_mm", "state", "noise",
    "place",
)  # fmt: skip

MIRRORED = {
    "gone": "on this side only",
    "cut too far": "the other way on the other side",
    "down": "lower on the other side",
    "up": "higher on the other side",
    "new": "on the other side only",
    "": "not seen on both sides",
    "same": "same on both sides",
}


def check_folder(folder: str | Path, *, force: bool = False) -> None:
    """Refuse a result folder that can not be used, before anything is read."""
    _folder.check_folder(folder, files=FILES, force=force)


def write(result: Change, folder: str | Path, *, force: bool = False) -> Path:
    """Write the five files; return the path of the page to open."""
    return _folder.write_folder(folder, lambda into: _fill(result, into), files=FILES, force=force) / PAGE


def strip_png(passes: Sequence[StoredMap], curve: Curve) -> bytes:
    """All passes side by side on one colour scale, over the curve of worst, mean and area."""
    from lightcheck.report.change_strip import strip

    return strip(passes, curve)


def _fill(result: Change, into: Path) -> None:
    from lightcheck.report.change_page import page
    from lightcheck.report.change_plot import change_png

    with (into / "change.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        for row in rows(result):
            row["noise"] = "" if row["noise"] is None else "yes" if row["noise"] else "no"
            writer.writerow({k: "" if row[k] is None else row[k] for k in COLUMNS})
    text = json.dumps(summary(result), indent=1, ensure_ascii=False, allow_nan=False)
    (into / "change.json").write_text(text + "\n", encoding="utf-8")
    sheets = {
        n: getattr(result, n).astype(np.float32) for n in ("before_mm", "after_mm", "change_mm", "sigma_mm")
    }
    np.savez_compressed(into / "change.npz", x_mm=result.grid.x_mm, y_mm=result.grid.y_mm, **sheets)
    picture = change_png(result)
    (into / "change.png").write_bytes(picture)
    (into / PAGE).write_text(page(result, picture=picture), encoding="utf-8")


def rows(result: Change) -> list[dict]:
    """One object for each spot, as in change.csv; None where not seen. noise: true or false."""
    return [
        {
            "spot": row.spot,
            "kind": row.kind,
            "x_mm": _rounded(row.x_mm, 1),
            "y_mm": _rounded(row.y_mm, 1),
            "before_mm": _rounded(row.before_mm, 4),
            "after_mm": _rounded(row.after_mm, 4),
            "change_mm": _rounded(row.change_mm, 4),
            "sigma_mm": _rounded(row.sigma_mm, 4),
            "state": str(row.state),
            "noise": row.noise if np.isfinite(row.change_mm) else None,
            "place": row.place,
            "after_spot": row.after_spot,
        }
        for row in result.spots
    ]


def summary(result: Change) -> dict:
    """What change.json holds, as one object."""
    lie = result.registration
    return {
        "schema": SCHEMA,
        "version": __version__,
        "before": result.names[0],
        "after": result.names[1],
        "mirror": result.mirror,
        "least_mm": result.least_mm,
        "registration": {
            "shift_mm": [round(float(v), 3) for v in lie.shift_mm],
            "turn_deg": round(float(np.degrees(lie.turn_rad)), 4),
            "sigma_mm": round(lie.sigma_mm, 3),
            "sigma_turn_deg": round(float(np.degrees(lie.sigma_turn_rad)), 4),
            "chance": round(lie.chance, 4),
            "hangs_on": str(lie.hung),
            "squares": lie.squares,
            "agreeing": lie.agreeing,
            "by_accident": lie.by_accident,
            "cards": list(lie.cards),
        },
        "unchanged_share": round(result.stayed, 4),
        "spots": rows(result),
        "warnings": list(result.warnings),
    }


def where_words(result: Change) -> str:
    """Where the wood lies and how sure that is, in a sentence or two."""
    lie = result.registration
    hangs = f"It hangs on {lie.hung}"
    if lie.squares:
        hangs += (
            f": {lie.agreeing} of {lie.squares} squares of wood agree, at most {lie.by_accident} would by "
            "accident"
        )
    elif lie.cards:
        hangs += f": {', '.join(str(c) for c in lie.cards)}"
    moved = np.hypot(*(np.array(lie.to_after_mm(*lie.middle_mm)) - lie.middle_mm))
    turn = abs(np.degrees(lie.turn_rad))
    return (
        f"The wood lies {moved:.1f} mm off and turned by {turn:.1f} degrees from one map to the other, "
        f"give or take {max(lie.sigma_mm, 0.1):.1f} mm. {hangs}."
    )


def height(height_mm: float) -> str:
    """A signed height: "+0.42 mm", or "not seen"."""
    if not np.isfinite(height_mm):
        return "not seen"
    text = f"{height_mm:+.2f}"
    return "0.00\u00a0mm" if float(text) == 0 else f"{text}\u00a0mm".replace("-", "−")


def change_words(row: SpotChange) -> str:
    """The change of one spot: "down 0.30 mm, give or take 0.02"."""
    if not np.isfinite(row.change_mm):
        return "not known"
    size = f"{abs(row.change_mm):.2f} mm"
    way = "" if float(size[:-3]) == 0 else "up " if row.change_mm > 0 else "down "
    return f"{way}{size}, give or take {max(row.sigma_mm, 0.01):.2f}"


def state_words(row: SpotChange, *, mirror: bool = False) -> str:
    """What became of one spot, and whether the change lies inside the noise."""
    words = MIRRORED[row.state] if mirror else str(row.state) or "not seen both times"
    return f"{words} (inside the noise)" if row.noise and np.isfinite(row.change_mm) else words


def _rounded(value: float, digits: int) -> float | None:
    return round(float(value), digits) if np.isfinite(value) else None
