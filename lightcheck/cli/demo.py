"""lightcheck demo: an invented board, photographed and mapped, with the truth beside it."""

from __future__ import annotations

import math
from pathlib import Path

import click

from lightcheck.cli.options import force_option, out_option, say, talk_options

MATCH_MM = 40.0  # a spot this near to a true hump of the same kind is that hump


@click.command("demo", short_help="Try it on an invented boat.")
@out_option(help="Folder for the photos and maps.", default="lightcheck-demo")
@force_option
@talk_options
def command(out: Path, force: bool) -> None:
    """Make photos of two invented boat parts, map them, and show what was true beside it."""
    from lightcheck import report
    from lightcheck.specimen import scenario

    report.check_folder(out, force=force)
    say(scenario.INTRODUCTION)
    pages = [_one(part, out / part.folder, force) for part in scenario.parts()]
    for page in pages:
        say(f"Open {page}")


def _one(part, folder: Path, force: bool) -> Path:
    """Photograph one part, map it, print the comparison; returns the page to open."""
    from lightcheck import humpmap, report, specimen

    say(f"Photographing: {part.title}")
    shots = specimen.shoot(part.board, part.arrangement, folder, seed=part.seed)
    photos, lamps = zip(*shots, strict=True)
    typed = " ".join([*(p.name for p in photos), *(f"--lamp {spec}" for spec in lamps), "-o map/"])
    say(f"Mapping, as if you had typed in {folder}:\n  lightcheck map {typed}")
    result = humpmap.make(humpmap.Recipe(photos=tuple(map(str, photos)), lamps=lamps))
    page = report.write(result, folder / "map", force=force)
    click.echo(f"{part.title} (true humps are invented, heights in mm)")
    for line in comparison(part.board.humps, result.spots):
        click.echo(line)
    return page


def comparison(humps, spots) -> list[str]:
    """Lines that set each true hump beside the spot found there, then what was found beyond."""
    lines = [f"  {'at x, y':>12}  {'true':>6}  {'found':>6}  {'give or take':>12}  spot"]
    matched = set()
    for hump in sorted(humps, key=lambda h: -abs(h.height_mm)):
        start = f"  {f'{hump.x_mm:.0f}, {hump.y_mm:.0f}':>12}  {hump.height_mm:>+6.2f}"
        spot = _nearest(hump, [s for s in spots if s.number not in matched])
        if spot is None:
            lines.append(f"{start}  not found")
            continue
        matched.add(spot.number)
        found = f"{spot.height_mm:>+6.2f}  {spot.sigma_mm:>12.2f}  {spot.number}"
        lines.append(f"{start}  {found}")
    for spot in spots:
        if spot.number not in matched:
            place = f"{spot.x_mm:.0f}, {spot.y_mm:.0f}"
            found = f"{spot.height_mm:>+6.2f}  {spot.sigma_mm:>12.2f}  {spot.number}"
            lines.append(f"  {place:>12}  {'none':>6}  {found} (chance {spot.chance:.2f})")
    return lines


def _nearest(hump, spots):
    """The nearest spot of the same kind within reach, or None."""
    kind = "hump" if hump.height_mm > 0 else "hollow"
    near = [(math.hypot(s.x_mm - hump.x_mm, s.y_mm - hump.y_mm), s) for s in spots if s.kind == kind]
    away, spot = min(near, key=lambda pair: pair[0], default=(math.inf, None))
    return spot if away <= MATCH_MM else None
