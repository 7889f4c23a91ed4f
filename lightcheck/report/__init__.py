"""Report: the result folder of a hump map, for people and for other programs.

Everything is made in a folder of its own and moved into place when it is complete, so that a
failure leaves nothing half-written. Nothing heavy is imported until something is written.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from lightcheck.errors import LightcheckError

if TYPE_CHECKING:
    from lightcheck.humpmap import HumpMap

PAGE = "report.html"
FILES = (PAGE, "map.png", "wood.png", "spots.csv", "map.json", "map.npz", "draws.npz")
_LEFT_BY_FILE_BROWSERS = {".DS_Store", "Thumbs.db", "desktop.ini"}


def check_folder(folder: str | Path, *, force: bool = False) -> None:
    """Refuse a result folder that can not be used; to be called before the long work starts.

    Refuses a file, a folder that may not be written to, and one that holds something
    unless `force`.
    """
    folder = Path(folder)
    try:
        if folder.exists():
            _check_existing(folder, force=force)
        else:
            _check_parent(folder)
    except OSError as error:
        raise _not_writable(folder, error) from None


def write(result: HumpMap, folder: str | Path, *, force: bool = False) -> Path:
    """Write the result folder; return the path of the page to open.

    With `force` the files of an earlier map are replaced and all other files are left alone.
    """
    folder = Path(folder)
    check_folder(folder, force=force)
    try:
        return _write(result, folder)
    except OSError as error:
        raise _not_writable(folder, error) from None


def _write(result: HumpMap, folder: Path) -> Path:
    """Fill a hidden folder, then move it, or its files, into place."""
    fresh = not folder.exists()
    beside = folder.parent if fresh else folder
    beside.mkdir(parents=True, exist_ok=True)
    hidden = Path(tempfile.mkdtemp(prefix=".lightcheck-", dir=beside))
    try:
        _fill(result, hidden)
        if fresh:
            hidden.chmod(0o777 & ~_umask())
            hidden.replace(folder)
        else:
            for name in FILES:
                (hidden / name).replace(folder / name)
    finally:
        shutil.rmtree(hidden, ignore_errors=True)
    return folder / PAGE


def _fill(result: HumpMap, folder: Path) -> None:
    from lightcheck.report import page, pictures, plots, tables

    tables.write_arrays(result, folder)
    tables.write_json(result, folder / "map.json")
    tables.write_spots(result, folder / "spots.csv")
    map_png = plots.map_png(result)
    (folder / "map.png").write_bytes(map_png)
    (folder / "wood.png").write_bytes(pictures.wood_png(result.patch))
    (folder / PAGE).write_text(page.render(result, map_png=map_png), encoding="utf-8")


def _check_existing(folder: Path, *, force: bool) -> None:
    if not folder.is_dir():
        raise LightcheckError(f"{folder} is a file, not a folder.", "Give another name after -o.")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise _not_writable(folder)
    there = {p.name for p in folder.iterdir()} - _LEFT_BY_FILE_BROWSERS
    if there and not force:
        raise LightcheckError(
            f"{folder} is not empty.",
            "Give a new folder after -o, or add --force to replace the earlier map in it.",
        )
    blocked = [n for n in FILES if (folder / n).is_dir()]
    if blocked:
        raise LightcheckError(
            f"{folder / blocked[0]} is a folder where a file must go.",
            "Give a new folder after -o.",
        )


def _check_parent(folder: Path) -> None:
    """The nearest folder that is there must let us make the new one."""
    parent = next(p for p in folder.absolute().parents if p.exists())
    if not parent.is_dir():
        raise LightcheckError(f"{parent} is a file, not a folder.", "Give another name after -o.")
    if not os.access(parent, os.W_OK | os.X_OK):
        raise _not_writable(folder)


def _not_writable(folder: Path, error: OSError | None = None) -> LightcheckError:
    why = f" ({error.strerror})" if error is not None and error.strerror else ""
    return LightcheckError(
        f"{folder} can not be written to{why}.",
        "Give a folder of your own after -o, and check that the disk is not full.",
    )


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
