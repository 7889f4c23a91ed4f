"""Result folders: made beside and moved into place, so that a failure leaves nothing half-written."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from lightcheck.errors import LightcheckError

_LEFT_BY_FILE_BROWSERS = {".DS_Store", "Thumbs.db", "desktop.ini"}

_KEPT = "originals"  # in the folder of a job


def check_folder(folder: str | Path, *, files: tuple[str, ...], force: bool = False) -> None:
    """Refuse a result folder that can not be used; to be called before the long work starts.

    files: names that will be written.  Refuses a file, a folder that may not be written to, one among the
    kept photos of a job, and one that holds something unless `force`.
    """
    folder = Path(folder)
    try:
        _check_not_kept(folder)
        if folder.exists():
            _check_existing(folder, files=files, force=force)
        else:
            _check_parent(folder)
    except OSError as error:
        raise _not_writable(folder, error) from None


def write_folder(
    folder: str | Path, fill: Callable[[Path], None], *, files: tuple[str, ...], force: bool = False
) -> Path:
    """Let `fill` write `files` into a hidden folder, then move it, or them, into place.

    With `force` the files of an earlier result are replaced and all others are left alone. A name
    that `fill` did not write is taken away from an earlier result. Returns the folder.
    """
    folder = Path(folder)
    check_folder(folder, files=files, force=force)
    try:
        _write(folder, fill, files)
    except OSError as error:
        raise _not_writable(folder, error) from None
    return folder


def _write(folder: Path, fill: Callable[[Path], None], files: tuple[str, ...]) -> None:
    fresh = not folder.exists()
    beside = folder.parent if fresh else folder
    beside.mkdir(parents=True, exist_ok=True)
    hidden = Path(tempfile.mkdtemp(prefix=".lightcheck-", dir=beside))
    try:
        fill(hidden)
        if fresh:
            hidden.chmod(0o777 & ~_umask())
            hidden.replace(folder)
            return
        for name in files:
            if (hidden / name).exists():
                (hidden / name).replace(folder / name)
            else:
                (folder / name).unlink(missing_ok=True)
    finally:
        shutil.rmtree(hidden, ignore_errors=True)


def _check_existing(folder: Path, *, files: tuple[str, ...], force: bool) -> None:
    if not folder.is_dir():
        raise LightcheckError(f"{folder} is a file, not a folder.", "Give another name after -o.")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise _not_writable(folder)
    there = {p.name for p in folder.iterdir()} - _LEFT_BY_FILE_BROWSERS
    if there and not force:
        raise LightcheckError(
            f"{folder} is not empty.",
            "Give a new folder after -o, or add --force to replace the earlier result in it.",
        )
    blocked = [n for n in files if (folder / n).is_dir()]
    if blocked:
        raise LightcheckError(
            f"{folder / blocked[0]} is a folder where a file must go.",
            "Give a new folder after -o.",
        )


def _check_not_kept(folder: Path) -> None:
    """Where a job keeps its photos nothing else may be written."""
    whole = folder.resolve()
    kept = next((p for p in (whole, *whole.parents) if p.name == _KEPT and _is_job(p.parent)), None)
    if kept:
        raise LightcheckError(f"{kept} is where a job keeps its photos.", "Give another folder after -o.")


def _is_job(folder: Path) -> bool:
    return (folder / "job.toml").is_file()


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
