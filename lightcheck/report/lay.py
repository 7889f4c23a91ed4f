"""Lay: tools laid on the wood, as numbers and pictures.

lay.json          each tool: widest daylight, where it rests, what is doubtful; with the map's own hash
lay.csv           along a line one row for each step; over the whole map one row for each 10 mm
lay.npz           only for the whole map: x_mm, y_mm and a sheet for each tool
straightedge.png  batten.png  longboard.png  planking.png: those that were asked for
"""

from __future__ import annotations

import csv
import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lightcheck import __version__
from lightcheck.lay import SHOWS, TOUCH_MM, Laid, Over
from lightcheck.report import folder as _folder
from lightcheck.units import inch_fraction

if TYPE_CHECKING:
    from lightcheck.stored import StoredMap

SCHEMA = 1
TOOLS = ("straightedge", "batten", "longboard", "planking")
FILES = ("lay.json", "lay.csv", "lay.npz", *(f"{t}.png" for t in TOOLS))
COLUMNS = (
    "tool", "along_mm", "x_mm", "y_mm", "wood_mm", "tool_mm", "daylight_mm", "sigma_mm", "least_mm",
    "pressed", "what",
)  # fmt: skip
EVERY_MM = 10.0  # between rows of the table of a whole map
CAUTIONS = {
    "longboard": (
        "Sanding with the longboard makes wood dust: wear a mask and collect it.",
        "Look for hidden fasteners before a longboard goes over a place.",
    ),
    "planking": (
        "What shows through is worked out for sound wood laid dry. How thick planking or the part below it "
        "must be is for its designer, class rules or a surveyor.",
    ),
}  # common practice, no source


def check_folder(folder: str | Path, *, force: bool = False) -> None:
    """Refuse a result folder that can not be used, before anything is laid."""
    _folder.check_folder(folder, files=FILES, force=force)


def write(
    stored: StoredMap, laid: dict[str, Laid | Over], folder: str | Path, *, force: bool = False
) -> Path:
    """Write the result; laid: tool's name -> what came of it. Returns the folder."""
    return _folder.write_folder(folder, lambda into: _fill(stored, laid, into), files=FILES, force=force)


def summary(stored: StoredMap, laid: dict[str, Laid | Over]) -> dict:
    """What lay.json holds, as one object."""
    whole = hashlib.sha256((stored.folder / "map.npz").read_bytes()).hexdigest()
    return {
        "schema": SCHEMA,
        "version": __version__,
        "map_sha256": whole,
        "base": stored.facts.get("base", {}),
        "laid_on": "relief over the base shape of the patch",
        "touch_mm": TOUCH_MM,
        "tools": {name: _over(one) if isinstance(one, Over) else _along(one) for name, one in laid.items()},
        "cautions": [text for name in laid for text in CAUTIONS.get(name, ())],
    }


def worst_words(one: Laid | Over) -> str:
    """The headline of a tool: "widest daylight 0.42 mm, about 1/64 in, give or take 0.05"."""
    sigma = one.worst_sigma_mm
    inches = inch_fraction(one.worst_mm, sigma_mm=sigma if np.isfinite(sigma) else 0.0)
    inches = inches if inches.startswith("<") else f"about {inches}"
    doubt = f", give or take {max(sigma, 0.01):.2f}" if np.isfinite(sigma) else ""
    if isinstance(one, Over) and one.cuts is not None:
        most = f"{one.worst_mm:.2f} mm at most, {inches}{doubt}"
        return f"cuts {one.cuts:.0%} of what it comes over and leaves {most}"
    if isinstance(one, Over) and one.what == SHOWS:
        return f"shows through by {one.worst_mm:+.2f} mm at most, {inches}{doubt}"
    return f"widest daylight {one.worst_mm:.2f} mm, {inches}{doubt}"


def _fill(stored: StoredMap, laid: dict[str, Laid | Over], into: Path) -> None:
    from lightcheck.report.lay_map import over_png
    from lightcheck.report.lay_plot import line_png

    text = json.dumps(summary(stored, laid), indent=1, ensure_ascii=False, allow_nan=False)
    (into / "lay.json").write_text(text + "\n", encoding="utf-8")
    with (into / "lay.csv").open("w", newline="", encoding="utf-8") as file:
        rows = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        rows.writeheader()
        for name, one in laid.items():
            rows.writerows(_map_rows(name, one, stored) if isinstance(one, Over) else _line_rows(name, one))
    for name, one in laid.items():
        picture = over_png(stored, one) if isinstance(one, Over) else line_png(one)
        (into / f"{name}.png").write_bytes(picture)
    sheets = {n: o for n, o in laid.items() if isinstance(o, Over)}
    if sheets:
        arrays = {f"{n}_{part}_mm": np.asarray(getattr(o, f"{part}_mm"), np.float32)
                  for n, o in sheets.items() for part in ("value", "sigma")}  # fmt: skip
        np.savez_compressed(into / "lay.npz", x_mm=stored.grid.x_mm, y_mm=stored.grid.y_mm, **arrays)


def _along(one: Laid) -> dict:
    return {
        "tool": one.tool,
        "worst_mm": _rounded(one.worst_mm),
        "worst_sigma_mm": _rounded(one.worst_sigma_mm),
        "worst_at": {"along_mm": _rounded(one.worst_along_mm, 1), **_place(one.worst_place_mm)},
        "from": _place(one.place_mm[0]),
        "touching": [_stretch(s) for s in one.touching],
        "doubtful": [_stretch(s) for s in one.doubtful],
        "notes": list(one.notes),
    }


def _over(one: Over) -> dict:
    return {
        "tool": one.tool,
        "what": one.what,
        "turn_deg": _rounded(float(np.degrees(one.turn_rad)), 1),
        "worst_mm": _rounded(one.worst_mm),
        "worst_sigma_mm": _rounded(one.worst_sigma_mm),
        "worst_at": _place(one.worst_place_mm),
        "cut_share": None if one.cuts is None else _rounded(one.cuts),
        "notes": list(one.notes),
    }


def _stretch(s) -> dict:
    return {"from_mm": _rounded(s.from_mm, 1), "to_mm": _rounded(s.to_mm, 1), "what": s.what,
            "force_n": _rounded(s.force_n, 2)}  # fmt: skip


def _place(xy) -> dict:
    return {"x_mm": _rounded(xy[0], 1), "y_mm": _rounded(xy[1], 1)}


def _line_rows(name: str, one: Laid):
    """One row for each step that is on the wood or under the tool."""
    for i, along in enumerate(one.along_mm):
        if np.isnan(one.wood_mm[i]) and np.isnan(one.tool_mm[i]):
            continue
        yield _row(
            tool=name, along_mm=_rounded(along, 1), **_place(one.place_mm[i]),
            wood_mm=_rounded(one.wood_mm[i]), tool_mm=_rounded(one.tool_mm[i]),
            daylight_mm=_rounded(one.daylight_mm[i]), sigma_mm=_rounded(one.sigma_mm[i]),
            least_mm=_rounded(one.least_mm[i]), what=_what(one, i),
        )  # fmt: skip


def _what(one: Laid, i: int) -> str:
    along, daylight = one.along_mm[i], one.daylight_mm[i]
    doubts = [s.what for s in one.doubtful if s.from_mm <= along <= s.to_mm]
    if doubts:
        return f"doubtful: {doubts[0]}"
    if np.isnan(one.tool_mm[i]):
        return "not under the tool"
    if np.isnan(daylight):
        return "wood not seen"
    if daylight < TOUCH_MM:
        return "touches"
    ends = [s.from_mm for s in one.touching] + [s.to_mm for s in one.touching]
    return "bridges" if ends and min(ends) <= along <= max(ends) else "hangs over"


def _map_rows(name: str, one: Over, stored: StoredMap):
    every = max(1, round(EVERY_MM / one.grid.cell_mm))
    for row in range(0, one.grid.ny, every):
        for column in range(0, one.grid.nx, every):
            value = float(one.value_mm[row, column])
            if np.isnan(value) and (one.cuts is None or np.isnan(stored.height_mm[row, column])):
                continue
            key = "least_mm" if one.what == "least daylight" else "daylight_mm"
            what = one.what
            if one.cuts is not None:
                what = "untouched" if np.isnan(value) else "cut" if value < TOUCH_MM else "bridged"
            through = one.what == SHOWS
            yield _row(
                tool=name, x_mm=_rounded(one.grid.x_mm[column], 1), y_mm=_rounded(one.grid.y_mm[row], 1),
                **{"tool_mm" if through else key: _rounded(value)},
                sigma_mm=_rounded(one.sigma_mm[row, column]),
                pressed=_rounded(one.pressed[row, column]) if one.cuts is not None else None, what=what,
            )  # fmt: skip


def _row(**values) -> dict:
    return {k: "" if values.get(k) is None else values[k] for k in COLUMNS}


def _rounded(value: float, digits: int = 4) -> float | None:
    return round(float(value), digits) if np.isfinite(value) else None
