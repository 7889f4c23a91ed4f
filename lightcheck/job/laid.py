"""Laid: straightedges of the job's spans laid on every draw of a map, and the result kept beside it.

Laid on heights above the fair surface, so that the shape of the boat is no gap. Kept in the map's folder
under the map's key: it is derived as the map is.

The widest gap anywhere is an extreme: laid on a draw it finds the widest error too, and a fair board would
read 0.3 mm. So the gap is read off the heights themselves, and the draws only tell how it scatters: they
are shifted until their middle is the gap that was read.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from statistics import median

from lightcheck.job import keep
from lightcheck.job.opened import Job
from lightcheck.job.passes import Pass
from lightcheck.job.ready import Gaps
from lightcheck.job.result import key

NAME = "gaps.json"
SCHEMA = 1
TURNS_RAD = tuple(math.radians(t) for t in (0, 30, 60, 90, 120, 150))  # along, across and aslant
STEP_MM, STEPS = 0.05, 60  # of the heights that the area beyond is kept for

WorstGap = Callable[..., object]  # (grid, sheets, *, length_mm, turn_rad) -> (n,) mm


def kept(job: Job, one: Pass) -> Gaps | None:
    """Gaps laid before, if they belong to the map as it is and hold every span that the job asks for."""
    try:
        facts = json.loads((one.map_folder / NAME).read_text(encoding="utf-8"))
        if facts["key"] != key(job, one):
            return None
        gaps = Gaps(
            draws_mm=tuple(
                (float(g["over_mm"]), about(float(g["read_mm"]), [float(d) for d in g["draws_mm"]]))
                for g in facts["gaps"]
            ),
            shares=tuple((float(h), float(s)) for h, s in facts["shares"]),
            across_mm=float(facts["across_mm"]),
            seen=float(facts["seen"]),
        )
    except (OSError, ValueError, KeyError, TypeError, OverflowError, RecursionError):
        return None
    return gaps if all(gaps.at(t.over_mm) for t in job.settings.tolerances) else None


def lay(job: Job, one: Pass, *, worst_gap: WorstGap | None = None) -> Gaps | None:
    """Lay the job's straightedges on a pass's map and keep the result beside it.

    To be called under `changing`. Refuses as reading the map refuses.
    """
    import numpy as np

    from lightcheck import stored

    if worst_gap is None:
        from lightcheck.lay import worst_gap
    result = stored.read(one.map_folder)
    sheets = np.concatenate([result.height_mm[None], result.draws_mm]).astype(np.float32)
    found = []
    for span in sorted({t.over_mm for t in job.settings.tolerances}):
        ways = [worst_gap(result.grid, sheets, length_mm=span, turn_rad=turn) for turn in TURNS_RAD]
        read, *draws = np.nan_to_num(np.fmax.reduce([np.asarray(w, float) for w in ways])).round(4).tolist()
        found.append({"over_mm": span, "read_mm": read, "draws_mm": draws})
    height = np.abs(result.height_mm[np.isfinite(result.height_mm)])
    heights = [round(STEP_MM * n, 4) for n in range(1, STEPS + 1)]
    content = {
        "schema": SCHEMA,
        "key": key(job, one),
        "across_mm": float(max(np.ptp(result.grid.x_mm), np.ptp(result.grid.y_mm))),
        "seen": round(float(result.facts.get("seen_share") or 0.0), 4),
        "shares": [(h, round(float((height > h).mean()) if height.size else 0.0, 5)) for h in heights],
        "gaps": found,
    }
    keep.write_json(one.map_folder / NAME, content)
    return kept(job, one)


def about(read_mm: float, draws_mm: list[float]) -> tuple[float, ...]:
    """The draws' gaps, shifted until their middle is what was read; no gap is below nothing."""
    middle = median(draws_mm)
    return tuple(max(0.0, read_mm + d - middle) for d in draws_mm)
