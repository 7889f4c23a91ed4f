"""lightcheck map: photos in, hump map out."""

from __future__ import annotations

import json
from pathlib import Path

import click

from lightcheck.cli.options import (
    Length,
    LengthPair,
    Scale,
    force_option,
    out_option,
    say,
    talk_options,
)
from lightcheck.errors import LightcheckError
from lightcheck.units import height_words

RULER_RANGE_MM = (80.0, 125.0)  # a print further from 100 mm than this was not meant to be at scale


@click.command("map", short_help="Map humps and hollows from photos.")
@click.argument("photos", nargs=-1, required=True, metavar="PHOTO...")
@click.option(
    "--lamp", "lamps", multiple=True, metavar="SPEC",
    help="Where the lamp stood, one for each photo in the same order: left,900mm,110mm (side, "
    "distance along the wood, height above it), 135deg,900mm,110mm, 0:870mm,1:1120mm,2:990mm "
    "(tape from the bulb to three or more cards), 135deg,far,8deg, flash, off.",
)  # fmt: skip
@out_option(help="Folder for the result; must be new or empty.")
@click.option(
    "--longest", type=LengthPair(), default="400mm", show_default=True,
    help="Longest hump that still counts; two lengths are along x and across it: 800mm,300mm.",
)  # fmt: skip
@click.option(
    "--least", type=Length(), default="0.1mm", show_default=True, help="Least height worth listing."
)
@click.option("--scale", type=Scale(), help="For square-on photos without cards: 0.35mm/px.")
@click.option(
    "--measured", type=LengthPair(), default="100mm,100mm", show_default=True,
    help="What the x and y rulers on the card sheet really measure.",
)  # fmt: skip
@click.option(
    "--card-thickness", type=Length(or_equal=True), default="0mm", show_default=True,
    help="Of cards glued to something stiff; 0mm for paper.",
)  # fmt: skip
@click.option(
    "--template", "templates", multiple=True, metavar="READING/@LINE",
    help="Hang the heights on a template: a folder of lightcheck daylight, and where it stood: "
    "d3/@card0-card1, d3/@x=120mm, d3/@y=-70mm; add ,at=40mm for the place of its origin on that line.",
)  # fmt: skip
@click.option(
    "--shadow", "shadows", multiple=True, metavar="THING",
    help="A thing of known thickness on the wood, whose shadow tells how high the lamp stood: "
    "'euro 2 at 120mm,-40mm from card 2' or 'dowel 10mm x 60mm at ...'.",
)  # fmt: skip
@click.option("--marks", metavar="FILE", help="What lightcheck mark wrote: lines not to fair across.")
@click.option(
    "--step", "steps", multiple=True, metavar="STEP",
    help="Self-check against tape of known thickness on the wood: "
    "'3 layers of 0.178mm at 120mm,-40mm from card 2, 150mm x 48mm'.",
)  # fmt: skip
@click.option(
    "--bracket", "brackets", multiple=True, metavar="FILE",
    help="One unmoved scene at two or more exposures, one --bracket for each photo: the phone's tone curve "
    "is read from them. Not needed with raw photos or a grey strip in sight (lightcheck cards --grey).",
)  # fmt: skip
@click.option(
    "--keep-response", is_flag=True, default=False,
    help="Keep the tone curve that was read, for later maps with this phone.",
)  # fmt: skip
@click.option(
    "--no-kept-response", is_flag=True, default=False, help="Leave out what was kept of this phone."
)
@click.option("--json", "as_json", is_flag=True, default=False, help="Print map.json on stdout.")
@force_option
@talk_options
def command(photos, lamps, out: Path, as_json: bool, force: bool, keep_response: bool, **choices) -> None:
    """Map humps and hollows from photos of one patch.

    \b
    lightcheck map left.jpg right.jpg --lamp left,900mm,110mm --lamp right,900mm,110mm -o map/
    """
    recipe = _recipe(photos, lamps, choices)
    from lightcheck import report, step

    strips = tuple(step.read(text) for text in choices["steps"])
    report.check_folder(out, force=force)
    say(f"Reading {len(photos)} photo{'s' if len(photos) > 1 else ''}.")
    for photo, lamp in zip(photos, lamps, strict=True):
        say(f"  {photo}  lamp {lamp}", level=2)
    from lightcheck import humpmap

    report.get_ready()
    result = humpmap.make(recipe)
    steps = tuple(step.of_map(strip, result) for strip in strips)
    page = report.write(result, out, steps=steps, force=force)
    if result.response and result.response.sentence:
        say(f"Note: {result.response.sentence}")
    for warning in result.warnings:
        say(f"Note: {warning}")
    if as_json:
        click.echo(json.dumps(json.loads((out / "map.json").read_text(encoding="utf-8")), indent=1))
    else:
        print_spots(result.spots)
    for reading in steps:
        say(reading.sentence)
    say(f"Open {page}")
    if keep_response:
        _keep(result.response)


def _keep(found) -> None:
    from lightcheck import response

    response.keep(found)
    say(f"The response of {found.phone} is kept in {response.shown_folder()} for later maps.")


def _recipe(photos, lamps, choices):
    """What was asked for, refused where it makes no sense."""
    _check_lamps(photos, lamps)
    measured = choices["measured"]
    if not all(RULER_RANGE_MM[0] <= m <= RULER_RANGE_MM[1] for m in measured):
        raise LightcheckError(
            f"A 100 mm ruler can not measure {min(measured):g} and {max(measured):g} mm.",
            "Measure both 100 mm rulers on the sheet and type --measured 99.4mm,99.6mm.",
        )
    from lightcheck.humpmap import Recipe

    return Recipe(
        photos=tuple(photos),
        lamps=tuple(lamps),
        longest_mm=choices["longest"],
        least_mm=choices["least"],
        scale_mm_px=choices["scale"],
        measured_mm=measured,
        card_thickness_mm=choices["card_thickness"],
        templates=tuple(choices["templates"]),
        shadows=tuple(choices["shadows"]),
        marks=choices["marks"],
        brackets=tuple(choices["brackets"]),
        kept_response=not choices["no_kept_response"],
    )


def _check_lamps(photos, lamps) -> None:
    if len(photos) == len(lamps):
        return
    fewer = "fewer" if len(lamps) < len(photos) else "more"
    raise LightcheckError(
        f"There are {fewer} lamps than photos: {len(lamps)} --lamp, {len(photos)} "
        f"photo{'s' if len(photos) != 1 else ''}.",
        "Give one --lamp for each photo, in the same order, such as --lamp left,900mm,110mm "
        "(flash for the phone's own light, off for a photo with the lamp off).",
    )


def print_spots(spots) -> None:
    """The list on stdout: number, height in words, chance, place."""
    if not spots:
        click.echo("No hump or hollow worth listing.")
    for spot in spots:
        words = height_words(float(spot.height_mm), sigma_mm=float(spot.sigma_mm))
        click.echo(f"{spot.number:>3}  {words:<60}  chance {spot.chance:.2f}  {spot.place}")
