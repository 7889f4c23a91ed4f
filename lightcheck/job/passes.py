"""Pass: one round of planing with its photos, as it lies in the job folder.

    JOB/job.toml                 settings, the builder's own
        originals/SHA256.jpg     photos as they came, read-only, never rewritten
        passes/01/pass.json      photos and lamps of pass 1
        passes/01/map/           its map: derived, may be deleted, is made again when asked for
        undone/02-1/             a pass that was undone, whole
        .lock                    which command is at work

A pass is there once its folder has its name: it is filled beside and renamed into place, photos first.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path

from lightcheck.job.keep import stored_name

ORIGINALS, PASSES, UNDONE, MAP, FACTS = "originals", "passes", "undone", "map", "pass.json"
SCHEMA = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Original:
    """A photo of a pass. name: what the builder calls it.  path: where it is kept."""

    name: str
    sha256: str
    size_bytes: int
    path: Path

    @property
    def lost(self) -> str | None:
        """What is wrong with the kept photo at a glance, or None; its content is not read."""
        try:
            size = self.path.stat().st_size
        except OSError:
            return "is not there any more"
        return None if size == self.size_bytes else "was changed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """One pass. lamps: (as typed, place it stood for then), one per photo.  added: local time with its
    offset, for people: order goes by number, so a clock that was set back does no harm.
    """

    number: int
    folder: Path
    added: str
    note: str
    photos: tuple[Original, ...]
    lamps: tuple[tuple[str, str], ...]

    @property
    def map_folder(self) -> Path:
        """Where its map is, once it is made."""
        return self.folder / MAP


@dataclass(frozen=True, slots=True, kw_only=True)
class Damaged:
    """A pass folder that can not be read, and why."""

    number: int
    folder: Path
    why: str


def read(folder: Path, job: Path) -> Pass | Damaged:
    """Read one pass folder; what is wrong with it is told, never raised."""
    number = int(folder.name.split("-")[0])
    try:
        facts = json.loads((folder / FACTS).read_text(encoding="utf-8"))
        if int(facts["schema"]) > SCHEMA:
            return Damaged(number=number, folder=folder, why="was written by a newer lightcheck")
        photos = tuple(_original(p, job) for p in facts["photos"])
        lamps = tuple((str(a["typed"]), str(a["place"])) for a in facts["lamps"])
        if len(photos) != len(lamps) or not photos:
            raise ValueError
        return Pass(
            number=number,
            folder=folder,
            added=str(facts["added"]),
            note=str(facts["note"]),
            photos=photos,
            lamps=lamps,
        )
    except FileNotFoundError:
        why = f"has lost its {FACTS}"
    except (OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError):
        why = f"has a {FACTS} that can not be read"
    return Damaged(number=number, folder=folder, why=why)


def _original(entry: dict, job: Path) -> Original:
    sha256, name = str(entry["sha256"]), Path(str(entry["name"])).name
    if not re.fullmatch(r"[0-9a-f]{64}", sha256) or not name:
        raise ValueError
    path = job / ORIGINALS / stored_name(sha256, name)
    return Original(name=name, sha256=sha256, size_bytes=int(entry["bytes"]), path=path)


def facts(new: Pass) -> dict:
    """What pass.json holds."""
    return {
        "schema": SCHEMA,
        "pass": new.number,
        "added": new.added,
        "note": new.note,
        "photos": [{"name": p.name, "sha256": p.sha256, "bytes": p.size_bytes} for p in new.photos],
        "lamps": [{"typed": typed, "place": place} for typed, place in new.lamps],
    }


def folder_name(number: int) -> str:
    """01, 02 ... 99, 100: sorted by name as by number."""
    return f"{number:02d}"


def numbered(job: Path) -> list[Path]:
    """Pass folders in order of their numbers."""
    found = [p for p in _listed(job / PASSES) if re.fullmatch(r"\d{2,4}", p.name) and p.is_dir()]
    return sorted(found, key=lambda p: int(p.name))


def undone(job: Path) -> list[Path]:
    """Folders of undone passes, the lowest number first and the latest of each last."""
    found = [p for p in _listed(job / UNDONE) if re.fullmatch(r"\d{2,4}-\d{1,4}", p.name) and p.is_dir()]
    return sorted(found, key=lambda p: tuple(int(n) for n in p.name.split("-")))


def _listed(folder: Path) -> list[Path]:
    try:
        return list(folder.iterdir())
    except OSError:
        return []
