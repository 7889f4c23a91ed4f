"""lightcheck check: whether photos are fit to measure from, before anything is measured."""

from __future__ import annotations

import dataclasses
import json

import click

from lightcheck.cli.options import Length, say, talk_options
from lightcheck.errors import LightcheckError

SCHEMA = 1
_VERDICTS = {
    "red": "Take the photos marked red again before you map.",
    "amber": "These can be mapped; the doubt will be wider for what is marked amber.",
    "green": "These are fit to map.",
}


@click.command("check", short_help="Check photos before measuring.")
@click.argument("photos", nargs=-1, required=True, metavar="PHOTO...")
@click.option(
    "--lamp", "lamps", multiple=True, metavar="SPEC",
    help="Where the lamp stood, one for each photo, as for map. Without it the lamps are not checked.",
)  # fmt: skip
@click.option(
    "--least", type=Length(), default="0.1mm", show_default=True, help="Least height that you want to see."
)
@click.option("--json", "as_json", is_flag=True, default=False, help="Print one JSON object on stdout.")
@talk_options
def command(photos, lamps, least: float, as_json: bool) -> None:
    """Check photos of one patch: sharp, well lit, unmerged, cards flat, lamps where they were typed.

    Each finding is red (take it again), amber (mapped with more doubt) or green, and says what to do.

    \b
    lightcheck check left.jpg right.jpg --lamp left,900mm,110mm --lamp right,900mm,110mm
    """
    if lamps and len(lamps) != len(photos):
        raise LightcheckError(
            f"There are {len(photos)} photos and {len(lamps)} lamps.",
            "Give one --lamp for each photo, in the same order, or none.",
        )
    from lightcheck import check, lamp

    specs = tuple(lamp.read(text) for text in lamps)
    say(f"Looking at {len(photos)} photo{'s' if len(photos) > 1 else ''}.")
    findings = check.files(photos, lamps=specs, least_mm=least)
    if as_json:
        rows = [dataclasses.asdict(f) for f in findings]
        click.echo(
            json.dumps({"schema": SCHEMA, "verdict": findings[0].severity, "findings": rows}, indent=1)
        )
        return
    for line in lines(findings):
        click.echo(line)
    say(_VERDICTS[findings[0].severity])


def lines(findings) -> list[str]:
    """Each finding in two or three lines: severity, what, how much doubt it adds, what to do."""
    told = []
    for one in findings:
        where = f"{one.photo}: " if one.photo else ""
        doubt = f" Adds about {one.sigma_mm:.2f} mm of doubt." if _worth(one.sigma_mm) else ""
        told.append(f"{one.severity.upper():<6} {one.name}: {where}{one.what}{doubt}")
        if one.remedy:
            told.append(f"{'':<6} Do: {one.remedy}")
    return told


def _worth(sigma_mm: float | None) -> bool:
    return sigma_mm is not None and sigma_mm >= 0.005
