"""Keep: how files get onto the disk so that nothing is ever half there.

    write beside  ->  fsync the file  ->  rename into place  ->  fsync the folder

A rename within one folder is all or nothing (POSIX rename), and only after the last step is it told that
the file is kept. What a killed command leaves behind carries a name of its own (`PART`, `MAKING`) and
is swept away by the next one.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from lightcheck.errors import LightcheckError

PART = ".part-"  # start of the names of what is not yet in place
MAKING = ".making-"  # start of the names of maps in the making
BLOCK = 1 << 20
SPARE_BYTES = 20 << 20  # left free beyond the photos, for the map: own estimate
_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_CLOSED = (errno.EACCES, errno.EPERM, errno.EROFS)
DISK = (*_FULL, *_CLOSED, errno.EIO)  # failures of the disk, not of what is written


@contextmanager
def told(what: str) -> Iterator[None]:
    """Turn a failing disk into a refusal. what: the sentence's subject, such as "The photos"."""
    try:
        yield
    except OSError as error:
        raise cannot_write(what, error) from error


def cannot_write(what: str, error: OSError) -> LightcheckError:
    """The refusal for a disk that would not take `what`."""
    if error.errno in _FULL:
        return LightcheckError(
            f"{what} could not be kept: the disk is full. Earlier passes are whole.",
            "Make room on the disk and run the same command again.",
        )
    if error.errno in _CLOSED:
        return LightcheckError(
            f"{what} could not be kept: the job folder may not be written to.",
            "Give yourself the right to write there, or copy the job to a folder of your own.",
        )
    return LightcheckError(
        f"{what} could not be kept ({error.strerror or error}). Earlier passes are whole.",
        "Check the disk and run the same command again.",
    )


def check_room(folder: Path, need_bytes: int) -> None:
    """Refuse before the first byte is copied where the disk has no room for it."""
    free = shutil.disk_usage(folder).free
    if free < need_bytes + SPARE_BYTES:
        raise LightcheckError(
            f"The disk has {free / 1e6:.0f} MB left; this pass needs about "
            f"{(need_bytes + SPARE_BYTES) / 1e6:.0f} MB.",
            "Make room on the disk and run the same command again.",
        )


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable. Some disks can not; then there is nothing more to do."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EBADF):
            raise
    finally:
        os.close(handle)


def write_json(path: Path, content: dict) -> None:
    """Write a JSON file whole or not at all."""
    write_text(path, json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n")


def write_text(path: Path, text: str) -> None:
    """Write a text file whole or not at all."""
    handle, beside = tempfile.mkstemp(prefix=PART, dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        as_usual(Path(beside), 0o666)
        os.replace(beside, path)
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def copy_in(photo: Path, folder: Path) -> tuple[str, int, bool]:
    """Copy an original into `folder` under the name of its content; the original is only read.

    Returns SHA-256, size in bytes, and whether it is new there. One that lies there whole already is
    left alone; one that is there but damaged is set right.
    """
    handle, beside = tempfile.mkstemp(prefix=PART, dir=folder)
    try:
        content = hashlib.sha256()
        with os.fdopen(handle, "wb") as copy, photo.open("rb") as original:
            while block := original.read(BLOCK):
                content.update(block)
                copy.write(block)
            copy.flush()
            os.fsync(copy.fileno())
            size = copy.tell()
        kept = folder / stored_name(content.hexdigest(), photo.name)
        if kept.is_file() and digest(kept) == content.hexdigest():
            return content.hexdigest(), size, False
        os.chmod(beside, 0o444)
        os.replace(beside, kept)
        sync_folder(folder)
        return content.hexdigest(), size, True
    finally:
        Path(beside).unlink(missing_ok=True)


def stored_name(sha256: str, name: str) -> str:
    """File name in originals/: the content's hash with the photo's own ending."""
    ending = Path(name).suffix.lower()
    plain = 1 < len(ending) <= 6 and ending[1:].isascii() and ending[1:].isalnum()
    return sha256 + (ending if plain else "")


def digest(path: Path) -> str:
    """SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def half(path: Path) -> bool:
    """Whether this is something of ours that is not in place yet, or not any more."""
    return path.name.startswith((PART, MAKING))


def remove(path: Path) -> None:
    """Take away something of ours. A folder in place loses its name first, so that it goes at once."""
    if path.is_dir() and not path.is_symlink():
        if not half(path):
            gone = Path(tempfile.mkdtemp(prefix=PART, dir=path.parent)) / path.name
            path.rename(gone)
            path = gone.parent
        shutil.rmtree(path, ignore_errors=True)
    else:
        path.unlink(missing_ok=True)


def as_usual(path: Path, mode: int) -> None:
    """Give a file or folder made beside the rights it would have had in place."""
    mask = os.umask(0)
    os.umask(mask)
    path.chmod(mode & ~mask)
