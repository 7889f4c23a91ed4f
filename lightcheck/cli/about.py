"""lightcheck about: what is installed here, what can be read and written, and what is missing."""

from __future__ import annotations

import importlib
import importlib.metadata
import json
import os
import platform
import tempfile
from pathlib import Path

import click

from lightcheck import __version__
from lightcheck.cli.options import talk_options

SCHEMA = 1
LEAST_MEMORY_GB = 1.5  # a map of two 48-megapixel photos
_PARTS = (
    "numpy", "scipy", "opencv-python", "opencv-python-headless", "scikit-image", "pillow", "pi-heif",
    "rawpy", "matplotlib", "jinja2", "reportlab", "ezdxf", "click",
)  # fmt: skip
_OPTIONAL = {"rawpy", "opencv-python", "opencv-python-headless"}
_READERS = {  # kind: (module that reads it, how to get it)
    "JPEG, PNG, TIFF, WebP": ("PIL", "pip install pillow"),
    "HEIC": ("pi_heif", "pip install pi-heif"),
    "raw (DNG)": ("rawpy", "pip install 'lightcheck[raw]'"),
    "16-bit PNG and TIFF, cards": ("cv2", "pip install opencv-python, or opencv-python-headless"),
}


@click.command("about", short_help="Say what is installed and what is missing.")
@click.option("--json", "as_json", is_flag=True, default=False, help="Print one JSON object on stdout.")
@talk_options
def command(as_json: bool) -> None:
    """Say which version this is, which photos it can read, where it can write, and what is missing.

    Nothing here is private: send it along when you ask for help.
    """
    found = about()
    if as_json:
        click.echo(json.dumps(found, indent=1))
        return
    for line in _lines(found):
        click.echo(line)


def about() -> dict:
    """Everything that is printed, as one object."""
    total_gb, free_gb = memory_gb()
    return {
        "schema": SCHEMA,
        "lightcheck": __version__,
        "python": platform.python_version(),
        "system": f"{platform.system()} {platform.machine()}",
        "cores": os.cpu_count() or 1,
        "memory_gb": total_gb,
        "free_memory_gb": free_gb,
        "parts": {name: _version(name) for name in _PARTS},
        "readers": {kind: _loads(module) for kind, (module, _) in _READERS.items()},
        "writes": {"this folder": _writable(Path.cwd()), "temporary": _writable(Path(tempfile.gettempdir()))},
        "kept_responses": _kept(),
        "missing": _missing(free_gb),
    }


def _kept() -> list[dict]:
    """Responses of phones that later maps will use."""
    from lightcheck import response

    return [{"phone": k.phone, "source": k.source, "day": k.day} for k in response.listed()]


def memory_gb() -> tuple[float | None, float | None]:
    """Memory of the machine and what is free of it, None where the system does not say."""
    try:
        page = os.sysconf("SC_PAGE_SIZE") / 1e9
        total = os.sysconf("SC_PHYS_PAGES") * page
    except (AttributeError, ValueError, OSError):
        return None, None
    try:
        rows = dict(row.split(":", 1) for row in Path("/proc/meminfo").read_text().splitlines())
        free = int(rows["MemAvailable"].split()[0]) * 1024 / 1e9
    except (OSError, KeyError, ValueError):
        return round(total, 1), None
    return round(total, 1), round(free, 1)


def _version(name: str) -> str | None:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return None


def _loads(module: str) -> bool:
    try:
        importlib.import_module(module)
    except Exception:  # a part that is there but broken is missing too
        return False
    return True


def _writable(folder: Path) -> bool:
    """Whether a file can be made there, tried with one that is gone again at once."""
    try:
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def _missing(free_gb: float | None) -> list[str]:
    """What to install or change, in sentences."""
    told = [
        f"{kind} can not be read: {remedy}."
        for kind, (module, remedy) in _READERS.items()
        if not _loads(module)
    ]
    gone = [n for n in _PARTS if n not in _OPTIONAL and _version(n) is None]
    if gone:
        told.append(f"Not installed: {', '.join(gone)}. Install lightcheck again: pip install lightcheck.")
    if not _writable(Path.cwd()):
        told.append("This folder can not be written: change to one of your own, or give -o a folder there.")
    if free_gb is not None and free_gb < LEAST_MEMORY_GB:
        told.append(f"Only {free_gb:.1f} GB of memory are free: close other programs, or use 12 MP photos.")
    return told


def _lines(found: dict) -> list[str]:
    memory = f"{found['memory_gb']} GB of memory" if found["memory_gb"] else "memory unknown"
    free = f", {found['free_memory_gb']} free" if found["free_memory_gb"] is not None else ""
    parts = [f"{name} {version}" for name, version in found["parts"].items() if version]
    return [
        f"lightcheck {found['lightcheck']}, Python {found['python']}, {found['system']}",
        f"{found['cores']} cores, {memory}{free}",
        f"With: {', '.join(parts)}",
        *(f"Reads {kind}: {'yes' if can else 'no'}" for kind, can in found["readers"].items()),
        *(f"Writes to {where}: {'yes' if can else 'no'}" for where, can in found["writes"].items()),
        *(_kept_line(k) for k in found["kept_responses"]),
        *(found["missing"] or ["Nothing is missing."]),
    ]


def _kept_line(kept: dict) -> str:
    from lightcheck import response

    return (
        f"Kept response of {kept['phone']}: {kept['source']}, {kept['day']}, in {response.shown_folder()} "
        "(delete it there to forget it)"
    )
