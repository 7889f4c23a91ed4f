"""lightcheck demo: an invented job from the first pass to the longboard, with the truth beside it."""

from __future__ import annotations

import math
import shutil
from pathlib import Path

import click

from lightcheck.cli.options import force_option, out_option, say, talk_options
from lightcheck.errors import LightcheckError

MATCH_MM = 40.0  # a spot this near to a true hump of the same kind is that hump
FOLDERS = ("bottom-panel", "station-4", "rudder-blade")


@click.command("demo", short_help="Try it on an invented boat.")
@out_option(help="Folder for photos, job and pages.", default="lightcheck-demo")
@click.option(
    "--short", is_flag=True, default=False, help="Only the first map: a pair of photos and its page."
)
@force_option
@talk_options
def command(out: Path, short: bool, force: bool) -> None:
    """Tell a whole job on an invented boat: three passes, a template, a rudder blade.

    Everything is made up and known, so what was true stands beside what was found. It takes about a minute.
    """
    from lightcheck.cli import demo_story as story
    from lightcheck.report import demo as report
    from lightcheck.specimen import scenario

    clear(out, force=force)
    say(scenario.INTRODUCTION)
    words = {"introduction": scenario.INTRODUCTION}
    report.write((), out, done=False, **words)
    steps = story.short(out) if short else story.whole(out)
    page = report.write(steps, out, **words)
    for step in steps:
        _print(step)
    say(f"Open {page}")


def clear(out: Path, *, force: bool) -> None:
    """Make room for the demo. Refuses what `check_folder` refuses, and folders that no demo made."""
    from lightcheck.report import demo as report
    from lightcheck.report import folder

    folder.check_folder(out, files=(report.PAGE,), force=force)
    there = [out / name for name in FOLDERS if (out / name).exists()]
    if there and not report.is_demo(out):
        raise LightcheckError(
            f"{there[0]} was not made by the demo.", "Give a new folder after -o: it is left as it is."
        )
    try:
        for path in there:
            shutil.rmtree(path) if path.is_dir() else path.unlink()
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise LightcheckError(
            f"{out} can not be written to ({error.strerror}).", "Give a folder of your own after -o."
        ) from None


def comparison(humps, spots) -> list[tuple[str, ...]]:
    """Rows that set each true hump beside the spot found there, then what was found beyond.

    Place, true height, height found, its give or take, number of the spot.
    """
    rows, matched = [], set()
    for hump in sorted(humps, key=lambda h: -abs(h.height_mm)):
        start = (f"{hump.x_mm:.0f}, {hump.y_mm:.0f}", f"{hump.height_mm:+.2f}")
        spot = nearest(hump, [s for s in spots if s.number not in matched])
        if spot is None:
            rows.append((*start, "not listed", "", ""))
            continue
        matched.add(spot.number)
        rows.append((*start, *_found(spot)))
    for spot in spots:
        if spot.number not in matched:
            *found, number = _found(spot)
            place = f"{spot.x_mm:.0f}, {spot.y_mm:.0f}"
            rows.append((place, "none", *found, f"{number} (chance {spot.chance:.2f})"))
    return rows


def _found(spot) -> tuple[str, str, str]:
    return f"{spot.height_mm:+.2f}", f"{max(spot.sigma_mm, 0.01):.2f}", str(spot.number)


def nearest(hump, spots):
    """The nearest spot of the same kind within reach, or None."""
    kind = "hump" if hump.height_mm > 0 else "hollow"
    near = [(math.hypot(s.x_mm - hump.x_mm, s.y_mm - hump.y_mm), s) for s in spots if s.kind == kind]
    away, spot = min(near, key=lambda pair: pair[0], default=(math.inf, None))
    return spot if away <= MATCH_MM else None


def _print(step) -> None:
    """A step's table on stdout."""
    if not step.rows:
        return
    click.echo(step.title)
    table = (step.head, *step.rows)
    wide = [max(len(row[i]) for row in table) for i in range(len(step.head))]
    for row in table:
        click.echo("  " + "  ".join(f"{cell:>{w}}" for cell, w in zip(row, wide, strict=True)))
