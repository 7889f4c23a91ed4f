"""Result: the map of a pass, derived from its photos and made again only when something changed.

What a map was made from is one key: hashes of the photos, lamps, and what the settings ask for. It is
written last, into the folder that is then renamed into place, so a map without its key does not count.
The version stands beside it and is told, but does not count: a job must not fall silent because the
program was brought up to date.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from lightcheck import __version__
from lightcheck.errors import LightcheckError
from lightcheck.job import keep, work
from lightcheck.job.opened import Job, changed_photos
from lightcheck.job.passes import ORIGINALS, Pass

if TYPE_CHECKING:
    from lightcheck.humpmap import Recipe

MADE = "made-from.json"
SCHEMA = 1
MakeMap = Callable[["Recipe", Path], None]  # writes the result folder of one map


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A map that is there. current: made from what stands in the job now.  version: of the lightcheck
    that made it.  worst_hump_mm, worst_hollow_mm: highest and lowest cell, signed.  mean_mm: mean absolute
    height.  sigma_mm: median.  seen: share of the patch.
    """

    current: bool
    version: str
    worst_hump_mm: float
    worst_hollow_mm: float
    mean_mm: float
    sigma_mm: float
    come_off_mm: float
    seen: float
    humps: int
    hollows: int


def key(job: Job, one: Pass) -> str:
    """What the map of a pass depends on, as one hash."""
    held = job.settings
    content = {
        "photos": [p.sha256 for p in one.photos],
        "lamps": [place for _, place in one.lamps],
        "longest": held.longest_mm,
        "least": held.least_mm,
        "measured": held.measured_mm,
        "card_thickness": held.card_thickness_mm,
    }
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def made(job: Job, one: Pass) -> Made | None:
    """The map of a pass as far as a list needs it, or None where there is none."""
    try:
        facts = json.loads((one.map_folder / MADE).read_text(encoding="utf-8"))
        numbers = {k: float(facts["summary"][k]) for k in _NUMBERS}
        counts = {k: int(facts["summary"][k]) for k in ("humps", "hollows")}
        version = str(facts["version"])
        return Made(current=facts["key"] == key(job, one), version=version, **numbers, **counts)
    except (OSError, ValueError, KeyError, TypeError, OverflowError, RecursionError):
        return None


_NUMBERS = ("worst_hump_mm", "worst_hollow_mm", "mean_mm", "sigma_mm", "come_off_mm", "seen")


def make(job: Job, one: Pass, make_map: MakeMap, *, again: bool = False) -> bool:
    """See that the map of a pass is there and current; to be called under `changing`.

    again: make it even so. Returns whether it was made. Refuses as the map refuses, and where a photo is
    gone or changed.
    """
    there = made(job, one)
    if there is not None and there.current and not again:
        return False
    _check(one)
    beside = Path(tempfile.mkdtemp(prefix=keep.MAKING, dir=one.folder))
    try:
        make_map(_recipe(job, one, _named(one, beside)), beside / "map")
        facts = {"schema": SCHEMA, "version": __version__, "key": key(job, one)}
        facts["summary"] = _summary(beside / "map")
        keep.write_json(beside / "map" / MADE, facts)
        _sync(beside / "map")
        if one.map_folder.exists():
            keep.remove(one.map_folder)
        os.rename(beside / "map", one.map_folder)
    finally:
        keep.remove(beside)
    keep.sync_folder(one.folder)
    return True


def make_or_drop(job: Job, new: Pass, make_map: MakeMap) -> None:
    """Map a pass just added. Photos that can not be mapped are no pass: it is taken away again.

    Where only the disk is to blame the pass stays, for its photos are safe and the map can follow.
    """
    try:
        make(job, new, make_map)
    except OSError as error:
        raise _unmapped(job, new, error) from error
    except LightcheckError as refusal:
        if isinstance(why := refusal.__context__, OSError) and why.errno in keep.DISK:
            raise _unmapped(job, new, why) from why
        work.drop(job, new)
        raise LightcheckError(
            f"{refusal.problem} Pass {new.number} was not added.", refusal.remedy, picture=refusal.picture
        ) from None


def _unmapped(job: Job, new: Pass, error: OSError) -> LightcheckError:
    return LightcheckError(
        f"The photos of pass {new.number} are kept, but its map could not be written "
        f"({error.strerror or error}).",
        f"Make room on the disk, then: lightcheck job show {job.folder} --pass {new.number}",
    )


def _check(one: Pass) -> None:
    """The kept originals must be those that were added."""
    for name in changed_photos(one):
        photo = next(p for p in one.photos if p.name == name)
        raise LightcheckError(
            f"Pass {one.number} can not be mapped: {name} {photo.lost or 'was changed'}.",
            f"Put a copy of that photo back as {ORIGINALS}/{photo.path.name}.",
        )


def _named(one: Pass, beside: Path) -> list[Path]:
    """The originals under the names the builder knows, for the report; links, no second copies."""
    names = [p.name for p in one.photos]
    (beside / "photos").mkdir()
    paths = []
    for number, photo in enumerate(one.photos, start=1):
        name = photo.name if names.count(photo.name) == 1 else f"{number}-{photo.name}"
        paths.append(beside / "photos" / name)
        try:
            os.link(photo.path, paths[-1])
        except OSError:
            shutil.copyfile(photo.path, paths[-1])
    return paths


def _recipe(job: Job, one: Pass, photos: list[Path]) -> Recipe:
    from lightcheck.humpmap import Recipe

    held = job.settings
    return Recipe(
        photos=tuple(str(p) for p in photos),
        lamps=tuple(place for _, place in one.lamps),
        longest_mm=held.longest_mm,
        least_mm=held.least_mm,
        measured_mm=held.measured_mm,
        card_thickness_mm=held.card_thickness_mm,
        kept_response=False,  # what lies elsewhere on this machine is no part of the job
    )


def _summary(folder: Path) -> dict:
    """Figures of a finished map for the list."""
    import numpy as np

    from lightcheck import stored

    result = stored.read(folder)
    seen = np.isfinite(result.height_mm)

    def of(sheet, figure) -> float:
        return round(float(figure(sheet[seen])), 4) if seen.any() else 0.0

    return {
        "worst_hump_mm": max(0.0, of(result.height_mm, np.max)),
        "worst_hollow_mm": min(0.0, of(result.height_mm, np.min)),
        "mean_mm": of(np.abs(result.height_mm), np.mean),
        "sigma_mm": of(result.sigma_mm, np.median),
        "come_off_mm": of(np.nan_to_num(result.come_off_mm), np.max),
        "seen": round(float(result.facts.get("seen_share") or 0.0), 4),
        "humps": sum(s.kind == "hump" for s in result.spots),
        "hollows": sum(s.kind == "hollow" for s in result.spots),
    }


def _sync(folder: Path) -> None:
    """Make a result folder durable before it gets its name."""
    for path in folder.iterdir():
        handle = os.open(path, os.O_RDWR)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
    keep.sync_folder(folder)
