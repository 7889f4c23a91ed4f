"""Demo page: what the demo made, in the order to look at it, with a picture of each.

index.html    start here; pictures and pages are linked from the folders beside it, so that it works offline
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

PAGE = "index.html"
MARK = '<meta name="generator" content="lightcheck demo">'


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of the story. All paths are relative to the demo's folder.

    words: sentences on what to look at.  typed: the commands that make the same.  open: (path, what it is).
    picture: path of an image, "" for none.  head, rows: a table of what was true beside what was found.
    """

    title: str
    words: tuple[str, ...]
    typed: tuple[str, ...] = ()
    open: tuple[tuple[str, str], ...] = ()
    picture: str = ""
    caption: str = ""
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


def write(steps: tuple[Step, ...], folder: Path, *, introduction: str, done: bool = True) -> Path:
    """Write the page. done: False while the demo is still at work. Refuses nothing; returns its path."""
    from lightcheck.report.look import template

    text = template("demo.html").render(steps=steps, introduction=introduction, done=done, version=_version())
    beside = folder / f".{PAGE}.part"
    beside.write_text(text, encoding="utf-8")
    os.replace(beside, folder / PAGE)
    return folder / PAGE


def is_demo(folder: Path) -> bool:
    """Whether a folder was written by the demo, finished or not."""
    page = folder / PAGE
    return page.is_file() and MARK in page.read_text(encoding="utf-8", errors="replace")


def _version() -> str:
    from lightcheck import __version__

    return __version__
