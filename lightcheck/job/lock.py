"""Lock: one command at a time changes a job.

The kernel holds the lock and lets go of it when the command ends, however it ends, so a lock can not be
left behind: no clock and no process number is trusted. What stands in the lock file only tells people
who holds it, or, when nobody does, that the last command was cut short.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from lightcheck.errors import LightcheckError

NAME = ".lock"
PATIENCE_S = 3.0
_STEP_S = 0.1


class Busy(LightcheckError):
    """Another command holds the job."""


@contextmanager
def held(folder: Path, command: str, *, patience_s: float = PATIENCE_S) -> Iterator[str | None]:
    """Hold the job while the block runs; yields the name of a command that was cut short, or None.

    Refuses with `Busy` when another command still holds it after `patience_s`.
    """
    handle = os.open(folder / NAME, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        _wait(handle, patience_s)
        cut_short = _note(handle)
        _write(handle, {"command": command, "process": os.getpid()})
        try:
            yield cut_short
        finally:
            _write(handle, None)
            _let_go(handle)
    finally:
        os.close(handle)


def _wait(handle: int, patience_s: float) -> None:
    waited = 0.0
    while not _take(handle):
        if waited >= patience_s:
            other = _note(handle)
            raise Busy(
                f"Another lightcheck command{f' ({other})' if other else ''} is working on this job.",
                "Wait until it is done, then run this one again.",
            )
        time.sleep(_STEP_S)
        waited += _STEP_S


def _note(handle: int) -> str | None:
    """Name of the command noted in the lock file, None where it is empty."""
    try:
        os.lseek(handle, 0, os.SEEK_SET)
        return str(json.loads(os.read(handle, 4096))["command"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _write(handle: int, note: dict | None) -> None:
    """A full disk must not stop the command for want of this note."""
    try:
        os.lseek(handle, 0, os.SEEK_SET)
        os.truncate(handle, 0)
        if note is not None:
            os.write(handle, json.dumps(note).encode())
    except OSError:
        pass


try:
    import fcntl

    def _take(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _let_go(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_UN)

except ImportError:  # Windows; the byte lies far beyond the note, which others may still read
    import msvcrt

    _BYTE = 1 << 20

    def _take(handle: int) -> bool:
        os.lseek(handle, _BYTE, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def _let_go(handle: int) -> None:
        os.lseek(handle, _BYTE, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)
