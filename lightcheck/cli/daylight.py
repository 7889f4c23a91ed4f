"""lightcheck daylight: one photo of a template on the wood in, the daylight under it out."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import click

from lightcheck.cli.options import (
    CardList,
    Length,
    LengthPair,
    force_option,
    out_option,
    say,
    talk_options,
)
from lightcheck.errors import LightcheckError


class Angle(click.ParamType):
    """An angle with its unit, in radians inside."""

    name = "angle"

    def convert(self, value, param, ctx) -> float:
        """Radians of what was typed."""
        if isinstance(value, float):
            return value
        match = re.fullmatch(r"\s*(\d{1,2}(?:\.\d+)?)\s*deg\s*", value.lower())
        if not match:
            raise LightcheckError(f"'{value[:40]}' is not a bevel.", "Type it in degrees: --bevel 20deg.")
        return math.radians(float(match[1]))


@click.command("daylight", short_help="Read the daylight under a template from a photo.")
@click.argument("photo", metavar="PHOTO")
@out_option(help="Folder for the result; must be new or empty.")
@click.option(
    "--thick", type=Length(or_equal=True), default="0mm", show_default=True,
    help="Thickness of a square-edged template; 0mm where the edge is bevelled to the face with the cards.",
)  # fmt: skip
@click.option(
    "--outline", metavar="FILE",
    help="The designed edge (CSV of mm points, DXF, SVG): reads how far the wood stands off it.",
)  # fmt: skip
@click.option(
    "--seat", "marks", metavar="MARKS", default="",
    help="Marks that held the template to its place: tick (on the centreline), square (to the "
    "centreline), height (on finished wood or a height mark), line (face on the station line).",
)  # fmt: skip
@click.option(
    "--face", type=click.Choice(["forward", "aft"], case_sensitive=False),
    help="Which face lay on the station, where it is not the one that the outline names.",
)  # fmt: skip
@click.option("--bevel", type=Angle(), help="Bevel of the wood at the station, for --face: 20deg.")
@click.option(
    "--light", type=click.Choice(["back", "front"]),
    help="Lit from behind or from the front; left out, the photo decides.",
)  # fmt: skip
@click.option("--batten", is_flag=True, default=False, help="A thin batten is sprung over the wood.")
@click.option(
    "--measured", type=LengthPair(), default="100mm,100mm", show_default=True,
    help="What the x and y rulers on the card sheet really measure.",
)  # fmt: skip
@click.option(
    "--on-wood", type=CardList(), metavar="NUMBERS",
    help="Cards that lie on the wood and not on the template: 5,6.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, default=False, help="Print daylight.json on stdout.")
@force_option
@talk_options
def command(photo: str, out: Path, as_json: bool, force: bool, **choices) -> None:
    """Read the daylight under a template.

    Stick one or more cards flat on the face towards the phone, put an evenly lit sheet or a window
    behind, and hold the phone level with the edge.

    \b
    lightcheck daylight station4.jpg --thick 6mm -o day4/
    lightcheck daylight station4.jpg --thick 6mm --outline station4.csv --seat tick,square -o day4/
    """
    from lightcheck import template
    from lightcheck.report import daylight as report
    from lightcheck.report import daylight_words as words

    report.check_folder(out, force=force)
    asked = _asked(choices)
    say(f"Reading {photo}.", level=2)
    result = template.measure(photo, asked=asked)
    picture = report.write(result, out, force=force)
    for note in words.notes(result):
        say(f"Note: {note}")
    if as_json:
        click.echo(json.dumps(report.summary(result), indent=1, ensure_ascii=False))
    else:
        for line in words.lines(result):
            click.echo(line)
    say(f"Open {picture}")


def _asked(choices: dict):
    from lightcheck import template

    held = "batten" if choices["batten"] else "template"
    marks = tuple(m.strip().lower() for m in choices["marks"].split(",") if m.strip())
    return template.Asked(
        thick_mm=choices["thick"],
        light=choices["light"],
        held=held,
        measured_mm=choices["measured"],
        on_wood=choices["on_wood"] or (),
        seat=template.seat(marks),
        design=_design(choices, held),
    )


def _design(choices: dict, held: str):
    """The designed edge, read before the photo is; None without one."""
    if choices["outline"] is None:
        if choices["face"] or choices["bevel"] is not None:
            raise LightcheckError(
                "--face and --bevel say how the template lies to its outline, and there is none.",
                "Add --outline station4.csv.",
            )
        return None
    if held == "batten":
        raise LightcheckError(
            "A batten has no designed outline.", "Leave --outline out, or --batten where it is a template."
        )
    from lightcheck import template

    return template.Design(
        outline=template.read_outline(choices["outline"]),
        face=choices["face"] and choices["face"].lower(),
        bevel_rad=choices["bevel"],
    )
