"""Adds to a job in processes of their own, which may be killed.

Run as a program it forks one process for each line that it reads, so that none has to start from nothing:
{"folder": ..., "photos": [...]}, and answers with its exit status when it has ended. May be added: "kill_s"
kill it after so long; "at" stop dead before the n-th touch of a file of the job; "file_bytes" no file may
grow beyond it; "told" where a refusal is to be written.
"""

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import job_maps

from lightcheck import job
from lightcheck.errors import LightcheckError

LAMPS = ("left,900mm,110mm", "right,900mm,110mm")
KILLED = 9
_TOUCHES = ("open", "os.")
_WITHIN = ("os.remove", "os.rmdir")  # told with names only, when a folder is taken away


def photos(folder: Path, number: int, *, size=(64, 48)) -> tuple[Path, ...]:
    """Two invented photos that no other number shares."""
    return tuple(
        job_maps.photo(folder / f"{number}-{side}.jpg", tone=2 * number + i, size=size)
        for i, side in enumerate("ab")
    )


def add(folder: Path, shots: tuple[Path, ...], make_map=None) -> job.Pass:
    """Photos copied in, then mapped, as the command does it."""
    with job.changing(Path(folder), "job add") as (held, _):
        new = job.add(held, job.Shots(photos=shots, lamps=LAMPS))
        job.make_or_drop(held, new, make_map or job_maps.Shaped())
    return new


class Adder:
    """The forking program, as the tests talk to it."""

    def __init__(self) -> None:
        self.program = subprocess.Popen(
            [sys.executable, __file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
            env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},
        )  # fmt: skip

    def start(self, folder: Path, shots, **how) -> None:
        """Begin an add."""
        ask = {"folder": str(folder), "photos": [str(p) for p in shots], **how}
        self.program.stdin.write(json.dumps(ask) + "\n")
        self.program.stdin.flush()

    def end(self) -> int:
        """Wait until it has ended: 0 added, 1 refused, KILLED (by signal or by stopping dead)."""
        return int(self.program.stdout.readline())

    def close(self) -> None:
        """End the forking program."""
        self.program.stdin.close()
        self.program.wait(10)
        self.program.stdout.close()


def _child(ask: dict) -> int:
    with contextlib.suppress(KeyError):
        _stop_at(ask["at"], ask["folder"])
    with contextlib.suppress(KeyError):
        import resource

        resource.setrlimit(resource.RLIMIT_FSIZE, (ask["file_bytes"],) * 2)
    try:
        add(Path(ask["folder"]), tuple(Path(p) for p in ask["photos"]))
    except LightcheckError as refusal:
        Path(ask["told"]).write_text(f"{refusal.problem}\n{refusal.remedy}")
        return 1
    return 0


def _stop_at(number: int, folder: str) -> None:
    left = [number]

    def count(event: str, args) -> None:
        if event in _WITHIN or (event.startswith(_TOUCHES) and any(folder in str(a) for a in args)):
            left[0] -= 1
            if left[0] <= 0:
                os._exit(KILLED)

    sys.addaudithook(count)


def _serve() -> None:
    for line in sys.stdin:
        ask = json.loads(line)
        child = os.fork()
        if child == 0:
            status = 77  # a fault of the program
            try:
                status = _child(ask)
            finally:
                os._exit(status)
        if "kill_s" in ask:
            time.sleep(ask["kill_s"])
            os.kill(child, signal.SIGKILL)  # its number is its own until it is waited for
        _, status = os.waitpid(child, 0)
        print(abs(os.waitstatus_to_exitcode(status)), flush=True)


if __name__ == "__main__":
    from lightcheck import stored  # noqa: F401 - read in before the first fork

    os.fsync = lambda _: None  # it waits for the disk, and what a killed process wrote is not lost with it
    _serve()
