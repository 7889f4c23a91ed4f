"""Job: the folder opened, with what is missing from it told in sentences.

Opening never changes anything and never refuses for a lost photo, a damaged pass or a command that was
cut short: the other passes are whole, and the reader is told what is not.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from lightcheck.errors import LightcheckError
from lightcheck.job import passes, settings
from lightcheck.job.keep import digest, half
from lightcheck.job.passes import MAP, ORIGINALS, PASSES, UNDONE, Damaged, Pass
from lightcheck.job.settings import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One boat part through all its passes. told: sentences about what is missing or odd."""

    folder: Path
    settings: Settings
    passes: tuple[Pass, ...]
    damaged: tuple[Damaged, ...]
    told: tuple[str, ...]

    @property
    def next_number(self) -> int:
        """Number of the pass to come."""
        return max((p.number for p in (*self.passes, *self.damaged)), default=0) + 1

    def get(self, number: int) -> Pass:
        """One pass by its number."""
        for one in self.passes:
            if one.number == number:
                return one
        for one in self.damaged:
            if one.number == number:
                raise LightcheckError(
                    f"Pass {number} {one.why}.",
                    "If it is the last one: lightcheck job undo, then add it again.",
                )
        have = ", ".join(str(p.number) for p in self.passes) or "none yet"
        raise LightcheckError(f"There is no pass {number}.", f"Passes of this job: {have}.")


def is_job(folder: Path) -> bool:
    """Whether a folder is one of a job, even one that has lost its job.toml."""
    return (folder / settings.NAME).is_file() or bool(passes.numbered(folder))


def open_job(folder: str | Path) -> Job:
    """Open a job folder. Refuses only what is no job, and a job.toml that can not be understood."""
    folder = Path(folder)
    if not is_job(folder):
        raise LightcheckError(
            f"{folder} is not the folder of a job.",
            f"Start one with: lightcheck job new {folder} --part 'starboard topside'",
        )
    told = []
    held = Settings()
    if (folder / settings.NAME).is_file():
        held = settings.read(folder / settings.NAME)
        told += held.told
    else:
        told.append(
            f"{settings.NAME} is missing, so tolerances, lamps and tools are not known: "
            f"put it back, or write a new one with lightcheck job new {folder}."
        )
    read = [passes.read(p, folder) for p in passes.numbered(folder)]
    whole = tuple(p for p in read if isinstance(p, Pass))
    damaged = tuple(p for p in read if isinstance(p, Damaged))
    told += _gaps([p.number for p in read])
    told += [f"Pass {p.number} {p.why}. The other passes are whole." for p in damaged]
    told += [sentence for p in whole for sentence in _lost(p)]
    told += _clock(whole)
    return Job(folder=folder, settings=held, passes=whole, damaged=damaged, told=tuple(told))


def _gaps(numbers: list[int]):
    for number in sorted(set(range(1, max(numbers, default=0) + 1)) - set(numbers)):
        yield f"Pass {number} is missing from {PASSES}/."


def _lost(one: Pass):
    for photo in one.photos:
        if why := photo.lost:
            yield (
                f"Pass {one.number}: {photo.name} {why}; put a copy of it back as "
                f"{ORIGINALS}/{photo.path.name}."
            )


def _clock(whole: tuple[Pass, ...]):
    for before, after in itertools.pairwise(whole):
        try:
            back = datetime.fromisoformat(after.added) < datetime.fromisoformat(before.added)
        except (ValueError, TypeError):
            continue
        if back:
            yield (
                f"The clock says that pass {after.number} came before pass {before.number}: it was set "
                "back. The numbers count, so nothing is lost."
            )


def changed_photos(one: Pass) -> tuple[str, ...]:
    """Names of photos that are gone or whose content is not what was added; reads them all."""
    return tuple(p.name for p in one.photos if p.lost or digest(p.path) != p.sha256)


def without_pass(job: Job) -> tuple[Path, ...]:
    """Originals that belong to no pass, undone ones included: an add that was cut short left them."""
    aside = [passes.read(p, job.folder) for p in passes.undone(job.folder)]
    used = {p.path.name for one in (*job.passes, *aside) if isinstance(one, Pass) for p in one.photos}
    if job.damaged or any(isinstance(one, Damaged) for one in aside):
        return ()  # whose photos they are can not be known
    kept = job.folder / ORIGINALS
    if not kept.is_dir():
        return ()
    return tuple(p for p in sorted(kept.iterdir()) if p.name not in used and not p.name.startswith("."))


def left_over(folder: Path) -> list[Path]:
    """What commands that were cut short have left half done; only names that nothing else has."""
    places = [folder, folder / ORIGINALS, folder / PASSES, folder / UNDONE]
    held = [*passes.numbered(folder), *passes.undone(folder)]
    places += [*held, *(one / MAP for one in held)]
    return [p for place in places if place.is_dir() for p in place.iterdir() if half(p)]
