"""Plan: the working list as a folder, for the bench and for other programs.

plan.csv    one row per task in the order of work, then one per hollow
plan.json   the same with marks, tools and where it came from
plan.html   the page to read; bench.pdf: one page to tape on the mould; full-size.pdf: where asked for
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
from pathlib import Path
from typing import TYPE_CHECKING

from lightcheck import __version__
from lightcheck.report import folder as _folder
from lightcheck.report.plan_words import Heading, count

if TYPE_CHECKING:
    from lightcheck.plan import Low, Plan, Task

SCHEMA = 1
PAGE, BENCH, FULL = "plan.html", "bench.pdf", "full-size.pdf"
FILES = ("plan.csv", "plan.json", PAGE, BENCH, FULL)
DO_NOT = "do not plane"
COLUMNS = (
    "order", "spot", "part", "do", "x_mm", "y_mm", "height_mm", "sigma_mm", "chance", "take_mm", "leave_mm",
    "long_mm", "wide_mm", "tool", "skew_deg", "acts_mm", "stroke_deg", "grain", "strokes", "lanes", "station",
    "from_station_mm", "girth_mm", "group", "stop", "avoid", "reason", "round_mm", "round_cm3", "fill_mm",
    "fill_cm3", "place", "doubt",
)  # fmt: skip


def check_folder(folder: str | Path, *, force: bool = False) -> None:
    """Refuse a result folder that can not be used."""
    _folder.check_folder(folder, files=FILES, force=force)


def write(
    plan: Plan,
    folder: str | Path,
    heading: Heading,
    *,
    paper: str = "a4",
    full_size: bool = False,
    force: bool = False,
) -> Path:
    """Write the result folder whole or not at all; return the path of the page to open."""

    def fill(into: Path) -> None:
        from lightcheck.report import bench_sheet, plan_page

        (into / "plan.csv").write_text(table(plan), encoding="utf-8")
        text = json.dumps(summary(plan, heading), indent=1, ensure_ascii=False, allow_nan=False)
        (into / "plan.json").write_text(text + "\n", encoding="utf-8")
        (into / PAGE).write_text(plan_page.page(plan, heading), encoding="utf-8")
        (into / BENCH).write_bytes(bench_sheet.pdf(plan, heading, paper=paper))
        if full_size:
            from lightcheck.report import full_size as sheets

            (into / FULL).write_bytes(sheets.pdf(plan, heading, paper=paper))

    return _folder.write_folder(folder, fill, files=FILES, force=force) / PAGE


def table(plan: Plan) -> str:
    """plan.csv."""
    text = io.StringIO()
    rows = csv.DictWriter(text, COLUMNS, lineterminator="\n", restval="")
    rows.writeheader()
    for row in (*map(_task, plan.tasks), *map(_low, plan.lows)):
        flat = {k: "; ".join(v) if isinstance(v, list) else v for k, v in row.items()}
        rows.writerow({k: "" if flat.get(k) is None else flat[k] for k in COLUMNS})
    return text.getvalue()


def summary(plan: Plan, heading: Heading) -> dict:
    """What plan.json holds, as one object."""
    wish, map_json = plan.wish, plan.stored.folder / "map.json"
    return {
        "schema": SCHEMA,
        "version": __version__,
        "map": {
            "folder": plan.stored.folder.resolve().name,
            "map_json_sha256": _sha256(map_json),
        },
        "part": heading.part,
        "side": heading.side,
        "bow": heading.bow,
        "pass": heading.one_pass,
        "date": heading.date,
        "leave_mm": wish.leave_mm,
        "thickness_mm": wish.thickness_mm,
        "least_thickness_mm": wish.least_mm,
        "order": list(wish.order) if isinstance(wish.order, tuple) else wish.order,
        "fine_end": wish.fine_end or None,
        "tools": [
            {"name": t.name, "kind": t.kind, "length_mm": t.length_mm, "width_mm": t.width_mm,
             "shaving_mm": t.shaving_mm}
            for t in wish.tools
        ],
        "marks": [
            {"kind": m.kind, "name": m.name, "at_mm": [[_r(x, 1), _r(y, 1)] for x, y in m.at_mm],
             "depth_mm": m.depth_mm, "dies_out": m.dies_out}
            for m in plan.marks.marks
        ],
        "tasks": [_task(t) for t in plan.tasks],
        "lows": [_low(w) for w in plan.lows],
        "notes": list(plan.notes),
    }  # fmt: skip


def _sha256(path: Path) -> str | None:
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else None


def _task(task: Task) -> dict:
    spot = task.spot
    planed = task.tool is not None
    return _spot(task) | {
        "order": task.number,
        "part": task.part,
        "do": task.do,
        "take_mm": _r(task.take_mm, 3),
        "leave_mm": _r(task.leave_mm, 3),
        "long_mm": _r(task.long_mm, 1),
        "wide_mm": _r(task.wide_mm, 1),
        "tool": task.tool.name if planed else None,
        "skew_deg": _r(math.degrees(task.skew_rad), 0) if planed else None,
        "acts_mm": _r(task.acts_mm, 0) if planed else None,
        "stroke_deg": _r(math.degrees(task.turn_rad) % 360, 0),
        "grain": task.grain,
        "strokes": count(task) if planed else 0,
        "lanes": task.lanes,
        "stop": list(task.stop),
        "avoid": list(task.avoid),
        "reason": task.reason,
        "doubt": [str(d) for d in spot.doubts],
    }


def _low(low: Low) -> dict:
    return _spot(low) | {
        "order": None,
        "do": DO_NOT,
        "round_mm": _r(low.round_mm, 3),
        "round_cm3": _r(low.round_cm3, 2),
        "fill_mm": _r(low.fill_mm, 3),
        "fill_cm3": _r(low.fill_cm3, 2),
        "reason": "filler or a shim is less" if low.fill_less else "filler or a shim is no less",
        "doubt": [str(d) for d in low.spot.doubts],
    }


def _spot(item: Task | Low) -> dict:
    spot, where = item.spot, item.where
    return {
        "spot": spot.number,
        "x_mm": _r(spot.x_mm, 1),
        "y_mm": _r(spot.y_mm, 1),
        "height_mm": _r(spot.height_mm, 3),
        "sigma_mm": _r(spot.sigma_mm, 3),
        "chance": _r(spot.chance, 2),
        "station": where.station,
        "from_station_mm": _r(where.from_station_mm, 0),
        "girth_mm": _r(where.girth_mm, 0),
        "group": where.group,
        "place": spot.place,
    }


def _r(value: float | None, digits: int) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0
