"""Report: the result folder of a hump map, for people and for other programs.

Nothing heavy is imported until something is written.
"""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

from lightcheck.report import folder as _folder

if TYPE_CHECKING:
    from lightcheck.humpmap import HumpMap
    from lightcheck.step import StepReading

PAGE = "report.html"
FILES = (PAGE, "map.png", "wood.png", "spots.csv", "map.json", "map.npz", "draws.npz")


def check_folder(folder: str | Path, *, force: bool = False) -> None:
    """Refuse a result folder for a map that can not be used, before the long work starts."""
    _folder.check_folder(folder, files=FILES, force=force)


def get_ready() -> None:
    """Load what drawing needs, in the shade of the measuring: half a second on its own."""
    Thread(target=import_module, args=("lightcheck.report.page",), daemon=True).start()


def write(
    result: HumpMap, folder: str | Path, *, steps: tuple[StepReading, ...] = (), force: bool = False
) -> Path:
    """Write the result folder; return the path of the page to open. steps: self-checks to tell of."""
    return (
        _folder.write_folder(folder, lambda into: _fill(result, steps, into), files=FILES, force=force) / PAGE
    )


def _fill(result: HumpMap, steps: tuple[StepReading, ...], folder: Path) -> None:
    from lightcheck.report import page, pictures, plots, tables

    tables.write_arrays(result, folder)
    tables.write_json(result, folder / "map.json", steps=steps)
    tables.write_spots(result, folder / "spots.csv")
    map_png = plots.map_png(result)
    (folder / "map.png").write_bytes(map_png)
    (folder / "wood.png").write_bytes(pictures.wood_png(result.patch))
    (folder / PAGE).write_text(page.render(result, map_png=map_png, steps=steps), encoding="utf-8")
