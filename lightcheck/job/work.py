"""Work: the three things that change a job, each under the lock and each all or nothing.

`add`   photos copied in -> pass.json in a folder beside -> renamed to passes/03: from here it counts
`undo`  passes/03 renamed to undone/03-1; `put_back` renames it back
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from lightcheck.errors import LightcheckError
from lightcheck.job import keep, lock, passes, settings
from lightcheck.job.opened import Job, is_job, left_over, open_job
from lightcheck.job.passes import FACTS, ORIGINALS, PASSES, UNDONE, Original, Pass


@dataclass(frozen=True, slots=True, kw_only=True)
class Shots:
    """What a pass is made of: photos and their lamps as typed, one each."""

    photos: tuple[Path, ...]
    lamps: tuple[str, ...]
    note: str = ""


def create(folder: Path, toml: str) -> Path:
    """Start a job, or give one that has lost its job.toml a new one. Returns the path of job.toml.

    toml: its text. Refuses one that could not be read back.
    """
    settings.understood(toml, folder / settings.NAME)
    if (folder / settings.NAME).exists():
        raise LightcheckError(
            f"{folder} is a job already.", f"Change {settings.NAME} by hand, or give another folder."
        )
    ours = {ORIGINALS, PASSES, UNDONE, lock.NAME, ".DS_Store", "Thumbs.db", "desktop.ini"}
    with keep.told("The job"):
        if folder.exists() and not folder.is_dir():
            raise LightcheckError(f"{folder} is a file, not a folder.", "Give another name.")
        strangers = folder.is_dir() and {p.name for p in folder.iterdir() if not keep.half(p)} - ours
        if strangers and not is_job(folder):
            raise LightcheckError(f"{folder} is not empty.", "Give a new folder for the job.")
        for name in (ORIGINALS, PASSES):
            (folder / name).mkdir(parents=True, exist_ok=True)
        with lock.held(folder, "job new"):
            keep.write_text(folder / settings.NAME, toml)
    return folder / settings.NAME


@contextmanager
def changing(folder: Path, command: str) -> Iterator[tuple[Job, str | None]]:
    """The job under its lock, swept of what was left half done; and the command cut short, if any."""
    if not is_job(folder):
        open_job(folder)  # refuses
    with keep.told("The change"), lock.held(folder, command) as cut_short:
        for path in left_over(folder):
            keep.remove(path)
        yield open_job(folder), cut_short


def add(job: Job, shots: Shots) -> Pass:
    """Copy photos in and make them the next pass; to be called under `changing`. Nothing is mapped."""
    places = tuple(job.settings.lamp(a) for a in shots.lamps)
    _check(job, shots)
    keep.check_room(job.folder, sum(p.stat().st_size for p in shots.photos))
    (job.folder / ORIGINALS).mkdir(exist_ok=True)
    (job.folder / PASSES).mkdir(exist_ok=True)
    originals, fresh = [], []
    try:
        for photo in shots.photos:
            original, new = _copy(job.folder, photo)
            originals.append(original)
            fresh += [original.path] if new else []
        _refuse_again(job, originals)
        new_pass = Pass(
            number=job.next_number,
            folder=job.folder / PASSES / passes.folder_name(job.next_number),
            added=now(),
            note=shots.note,
            photos=tuple(originals),
            lamps=tuple(zip(shots.lamps, places, strict=True)),
        )
        _place(new_pass)
    except (OSError, LightcheckError):
        for path in fresh:
            keep.remove(path)
        raise
    return new_pass


def now() -> str:
    """Local time with its offset, to the second."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def _check(job: Job, shots: Shots) -> None:
    if not (job.folder / settings.NAME).is_file():
        raise LightcheckError(
            f"{settings.NAME} is missing.", f"Put it back, or write one with lightcheck job new {job.folder}."
        )
    if not shots.photos or len(shots.photos) != len(shots.lamps):
        raise LightcheckError(
            f"There are {len(shots.photos)} photos and {len(shots.lamps)} lamps.",
            "Give one --lamp for each photo, in the same order, such as --lamp left,900mm,110mm, or the "
            f"name of a lamp in {settings.NAME}.",
        )
    for photo in shots.photos:
        if not photo.is_file() or photo.stat().st_size == 0:
            why = "is empty" if photo.is_file() else "is not there"
            raise LightcheckError(f"The photo {photo} {why}.", "Check its name; nothing was added.")


def _copy(job: Path, photo: Path) -> tuple[Original, bool]:
    sha256, size, new = keep.copy_in(photo, job / ORIGINALS)
    path = job / ORIGINALS / keep.stored_name(sha256, photo.name)
    return Original(name=photo.name, sha256=sha256, size_bytes=size, path=path), new


def _refuse_again(job: Job, originals: list[Original]) -> None:
    """The same photo twice tells nothing new: it was picked by mistake."""
    hashes = [p.sha256 for p in originals]
    for photo in originals:
        if hashes.count(photo.sha256) > 1:
            raise LightcheckError(
                f"{photo.name} is given twice.", "Give each photo once, with the lamp that lit it."
            )
    for one in job.passes:
        for photo in originals:
            if photo.sha256 in {p.sha256 for p in one.photos}:
                raise LightcheckError(
                    f"{photo.name} belongs to pass {one.number} already.",
                    f"Give the photos taken after pass {one.number} was planed.",
                )


def _place(new: Pass) -> None:
    """Write the pass beside and rename it into place."""
    parent = new.folder.parent
    beside = Path(tempfile.mkdtemp(prefix=keep.PART, dir=parent))
    try:
        keep.as_usual(beside, 0o777)
        keep.write_json(beside / FACTS, passes.facts(new))
        os.rename(beside, new.folder)
    except BaseException:
        keep.remove(beside)
        raise
    keep.sync_folder(parent)


def drop(job: Job, new: Pass) -> None:
    """Take a pass just added away again, with the photos that no other pass has."""
    keep.remove(new.folder)
    aside = [passes.read(p, job.folder) for p in passes.undone(job.folder)]
    used = {p.path for one in (*job.passes, *aside) if isinstance(one, Pass) for p in one.photos}
    for photo in new.photos:
        if photo.path not in used:
            keep.remove(photo.path)


def undo(job: Job) -> Path:
    """Move the last pass aside, its map with it; to be called under `changing`. Returns where it lies."""
    last = job.next_number - 1
    if last < 1:
        raise LightcheckError("This job has no pass to undo.", "Add one with lightcheck job add.")
    (job.folder / UNDONE).mkdir(exist_ok=True)
    before = [int(p.name.split("-")[1]) for p in passes.undone(job.folder) if _number(p) == last]
    name = f"{passes.folder_name(last)}-{max(before, default=0) + 1}"
    return _move(job.folder / PASSES / passes.folder_name(last), job.folder / UNDONE / name)


def put_back(job: Job) -> Pass:
    """Bring the pass undone last back to its place; to be called under `changing`."""
    aside = passes.undone(job.folder)
    if not aside:
        raise LightcheckError("No pass of this job has been undone.", "Nothing needs to be put back.")
    mine = [p for p in aside if _number(p) == job.next_number]
    if not mine:
        raise LightcheckError(
            f"The pass undone last was number {_number(aside[-1])}; the next one of this job is "
            f"{job.next_number}.",
            f"Undo passes down to that number first. It lies whole in {aside[-1]}.",
        )
    back = _move(mine[-1], job.folder / PASSES / passes.folder_name(job.next_number))
    return open_job(job.folder).get(int(back.name))


def _number(folder: Path) -> int:
    return int(folder.name.split("-")[0])


def _move(source: Path, target: Path) -> Path:
    os.rename(source, target)
    keep.sync_folder(target.parent)
    keep.sync_folder(source.parent)
    return target
