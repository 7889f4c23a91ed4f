"""lightcheck stations: folders of daylight in, a station table out."""

from __future__ import annotations

import json
from pathlib import Path

import click

from lightcheck.cli.options import Length, force_option, out_option, say, talk_options
from lightcheck.errors import LightcheckError
from lightcheck.units import length_mm

SIDES = ("port", "starboard")
_EXAMPLE = "Type it like day1/@4 or day1/@4,port."


@click.command("stations", short_help="A table of what is left at every station.")
@click.argument("daylights", nargs=-1, required=True, metavar="DAYLIGHT/[@STATION[,SIDE]]...")
@click.option(
    "--at", "places", multiple=True, metavar="STATION=LENGTH",
    help="Where a station stands along the part, once for each: --at 1=600mm --at 2=1200mm.",
)  # fmt: skip
@click.option(
    "--every", type=Length(), default="50mm", show_default=True,
    help="From one place of the table to the next, round the section.",
)  # fmt: skip
@click.option(
    "--proud", type=Length(or_equal=True), default="0mm", show_default=True,
    help="Wood that roughing templates leave on.",
)  # fmt: skip
@out_option(help="Folder for the result; must be new or empty.")
@click.option("--json", "as_json", is_flag=True, default=False, help="Print stations.json on stdout.")
@force_option
@talk_options
def command(daylights, places, every: float, proud: float, out: Path, as_json: bool, force: bool) -> None:
    """Make a station table from readings of several templates.

    Each DAYLIGHT/ is a folder written by lightcheck daylight. Say after an @ which station it is, and
    port or starboard where both were read. Without it the station of its outline, or the folder's own
    name, is taken.

    \b
    lightcheck stations d3/@3 d4p/@4,port d4s/@4,starboard --at 3=1410mm --at 4=1880mm -o table/
    """
    asked = [_asked(text) for text in daylights]
    places_mm = dict(_place(text) for text in places)
    from lightcheck import stations, template
    from lightcheck.report import stations as report

    report.check_folder(out, force=force)
    readings = []
    for folder, station, side in asked:
        seen = template.read(folder)
        own = seen.stand_off.station if seen.stand_off is not None else None
        name = station or own or folder.resolve().name
        readings.append((stations.Where(station=name, side=side, folder=folder.name), seen))
        say(f"  {folder}  station {name} {side}", level=2)
    result = stations.table(readings, places_mm=places_mm, every_mm=every, proud_mm=proud)
    page = report.write(result, out, force=force)
    for warning in result.warnings:
        say(f"Note: {warning}")
    if as_json:
        click.echo(json.dumps(report.summary(result), indent=1, ensure_ascii=False))
    else:
        _print(result)
    say(f"Open {page}")


def _asked(text: str) -> tuple[Path, str, str]:
    """Folder, station and side; the last two "" where not said."""
    folder, at, spec = text.rpartition("@")
    if not at:
        folder, spec = text, ""
    station, _, side = (part.strip() for part in spec.partition(","))
    side = side.lower()
    if at and not station:
        raise LightcheckError(f"'{text[:80]}' does not name its station.", _EXAMPLE)
    if side not in ("", *SIDES):
        raise LightcheckError(f"'{side[:40]}' is neither port nor starboard.", _EXAMPLE)
    return Path(folder), station, side


def _place(text: str) -> tuple[str, float]:
    station, sign, length = text.partition("=")
    if not sign or not station.strip():
        raise LightcheckError(
            f"'{text[:60]}' does not say where a station stands.", "Type it like --at 1=600mm."
        )
    return station.strip(), length_mm(length)


def _print(result) -> None:
    """The table on stdout: a line for each place, then port less starboard, then the spans."""
    for reading in result.readings:
        side = f" {reading.where.side}" if reading.where.side else ""
        click.echo(f"station {reading.where.station}{side}" + ("" if reading.seated else "  (not seated)"))
        _print_places(reading)
    for diff in result.differences:
        click.echo(f"station {diff.station}, port less starboard")
        _print_places(diff, sides=True)
    for span in result.spans:
        side = f" {span.side}" if span.side else ""
        click.echo(f"middle of {span.between[0]} to {span.between[1]}{side}, at least")
        _print_places(span)


def _print_places(thing, *, sides: bool = False) -> None:
    from lightcheck.report.stations_words import left_words

    for girth, left, sigma in zip(thing.girth_mm, thing.left_mm, thing.sigma_mm, strict=True):
        said = left_words(float(left), float(sigma), seated=thing.seated, sides=sides)
        click.echo(f"  {girth:>6.0f} mm  {said}")
