"""Job report: every pass of a job on one printable page, and the same as numbers.

job.html      state, chances, maps side by side, curves, passes
strip.png     the maps on one colour scale, over worst, mean and area beyond tolerance
gaps.png      the worst gap under each straightedge, pass by pass, and what is allowed
job.json      what `job show --json` prints
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from lightcheck.report import folder as _folder

if TYPE_CHECKING:
    from lightcheck.job import Overview, Row

PAGE = "job.html"
FILES = (PAGE, "strip.png", "gaps.png", "job.json")


def check_folder(folder: str | Path, *, force: bool = False) -> None:
    """Refuse a result folder that can not be used, before anything is made."""
    _folder.check_folder(folder, files=FILES, force=force)


def write(view: Overview, folder: str | Path, *, force: bool = False) -> Path:
    """Write the page and its pictures; return the path of the page to open.

    The maps of the passes are to be there and current (`job.bring_up`); a pass without one is left out
    of the pictures.
    """
    return _folder.write_folder(folder, lambda into: _fill(view, into), files=FILES, force=force) / PAGE


def _fill(view: Overview, into: Path) -> None:
    from lightcheck.report import job_page, job_plot, job_words

    rows = [row for row in view.rows if row.current]
    tolerances = view.job.settings.tolerances
    strip = gaps = None
    if rows:
        strip = _strip(rows, min((t.height_mm for t in tolerances), default=None))
        (into / "strip.png").write_bytes(strip)
    if any(row.readiness for row in rows):
        gaps = job_plot.gaps_png(rows, tolerances)
        (into / "gaps.png").write_bytes(gaps)
    text = json.dumps(job_words.as_object(view), indent=1, ensure_ascii=False, allow_nan=False)
    (into / "job.json").write_text(text + "\n", encoding="utf-8")
    (into / PAGE).write_text(job_page.page(view, strip=strip, gaps=gaps), encoding="utf-8")


def _strip(rows: list[Row], tolerance_mm: float | None) -> bytes:
    """Maps side by side over their curve. tolerance_mm: the finest; without one the least height."""
    from lightcheck import change, stored
    from lightcheck.report.change import strip_png

    maps = [stored.read(row.one.map_folder) for row in rows]
    in_a_row = [row.one.number for row in rows] == list(range(1, len(rows) + 1))
    names = [row.one.added[:10] if in_a_row else f"pass {row.one.number}" for row in rows]
    return strip_png(maps, change.curve(maps, tolerance_mm=tolerance_mm, names=names))
