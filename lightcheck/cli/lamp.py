"""lightcheck lamp: where to put the lamp, and what it will show."""

from __future__ import annotations

import json
import math
import os
from pathlib import Path

import click

from lightcheck.cli.options import Length, force_option, keep_out, say, talk_options
from lightcheck.errors import LightcheckError

SCHEMA = 1


@click.command("lamp", short_help="Say where to put the lamp.")
@click.option("--see", type=Length(), default="0.1mm", show_default=True, help="Height that you want to see.")
@click.option(
    "--across", type=Length(), default="60mm", show_default=True, help="Width of the hump at its foot."
)
@click.option(
    "--patch", type=Length(), default="600mm", show_default=True,
    help="Length of the patch, along the light.",
)  # fmt: skip
@click.option(
    "--out", "out_mm", type=Length(), help="Lamp's distance from the middle, where the shop leaves no choice."
)
@click.option(
    "--round", "round_mm", type=Length(),
    help="Radius of wood that is rounded along the light: says how far over it the light reaches.",
)  # fmt: skip
@click.option(
    "-o", "--output", "sketch", metavar="PATH", callback=keep_out, help="Draw it into this PNG as well."
)
@click.option("--json", "as_json", is_flag=True, default=False, help="Print one JSON object on stdout.")
@force_option
@talk_options
def command(see, across, patch, out_mm, round_mm, sketch: Path | None, as_json: bool, force: bool) -> None:
    """Say where to put the lamp so that a hump of a given height shows.

    \b
    lightcheck lamp --see 0.1mm --across 60mm --patch 600mm -o lamp.png
    """
    if sketch is not None:
        _check(sketch, force)
    from lightcheck import reach

    stand = reach.stand(see_mm=see, across_mm=across, patch_mm=patch, out_mm=out_mm)
    lit = None
    if round_mm is not None:
        lit = reach.lit_over_crown_mm(radius_mm=round_mm, out_mm=stand.out_mm, up_mm=stand.up_mm)
    if sketch is not None:
        _draw(sketch, stand)
    if as_json:
        click.echo(json.dumps(_plain(stand, lit), indent=1))
    else:
        for line in lines(stand, round_mm, lit):
            click.echo(line)
    if sketch is not None:
        say(f"Open {sketch}")


def typed(stand) -> list[str]:
    """The lamp specs to type for the pair."""
    out, up = stand.set_mm
    return [f"{side},{out}mm,{up}mm" for side in ("left", "right")]


def lines(stand, round_mm: float | None, lit_mm: float | None) -> list[str]:
    """The answer in words."""
    out, up = typed(stand)[0].split(",")[1:]
    degrees = [math.degrees(e) for e in stand.elevation_rad]
    said = [
        f"Lamp: {out.replace('mm', ' mm')} from the middle of the patch, {up.replace('mm', ' mm')} above "
        f"the wood (between {stand.lowest_mm:.0f} and {stand.highest_mm:.0f} mm will do).",
        "First on one side, then on the other, and for the map type",
        "  " + " ".join(f"--lamp {spec}" for spec in typed(stand)),
        "",
        f"{'':34}{'near end':>9}{'middle':>9}{'far end':>9}",
        f"{'light above the wood, degrees':34}" + "".join(f"{d:>9.1f}" for d in degrees),
        f"{'a hump of ' + f'{stand.see_mm:g} mm changes light by':34}"
        + "".join(f"{100 * c:>8.1f}%" for c in stand.contrast),
        "",
        f"The near end is lit {stand.span:.0f} times as strongly as the far end: let no white burn out.",
        f"At {stand.across_mm:.0f} mm across, about {stand.least_mm:.2f} mm is the least that can be told.",
        f"In its own shadow, at the far end: humps {stand.across_mm:.0f} mm across and over "
        f"{stand.shadow_mm:.1f} mm high; behind a square edge of 1 mm, "
        f"{1 / math.tan(stand.elevation_rad[2]):.0f} mm of wood.",
    ]
    if lit_mm is not None:
        said.append(
            f"On wood rounded to {round_mm:.0f} mm the light ends {lit_mm:.0f} mm beyond the crown: "
            "lay it along the part instead."
        )
    return said


def _plain(stand, lit_mm: float | None) -> dict:
    ends = ("near", "middle", "far")
    return {
        "schema": SCHEMA,
        "see_mm": stand.see_mm,
        "across_mm": stand.across_mm,
        "patch_mm": stand.patch_mm,
        "lamps": typed(stand),
        "out_mm": round(stand.out_mm, 1),
        "up_mm": round(stand.up_mm, 1),
        "up_range_mm": [round(stand.lowest_mm, 1), round(stand.highest_mm, 1)],
        "least_mm": round(stand.least_mm, 4),
        "elevation_deg": {
            e: round(math.degrees(v), 2) for e, v in zip(ends, stand.elevation_rad, strict=True)
        },
        "contrast": {e: round(float(v), 5) for e, v in zip(ends, stand.contrast, strict=True)},
        "light_span": round(stand.span, 2),
        "self_shadow_from_mm": round(stand.shadow_mm, 3),
        "lit_over_crown_mm": None if lit_mm is None else round(lit_mm, 1),
    }


def _check(path: Path, force: bool) -> None:
    """Refuse before anything is worked out."""
    if path.is_dir():
        raise LightcheckError(f"{path} is a folder.", "Name a picture after -o, such as lamp.png.")
    if path.suffix.lower() != ".png":
        raise LightcheckError(f"{path} is no name for a PNG.", "Name it like lamp.png.")
    if path.exists() and not force:
        raise LightcheckError(
            f"{path} is there already.", "Give another name after -o, or add --force to replace it."
        )
    if not path.absolute().parent.is_dir():
        raise LightcheckError(
            f"{path} can not be written (its folder is not there).", "Choose a folder that is there."
        )


def _draw(path: Path, stand) -> None:
    from lightcheck.report.lamp import sketch_png

    beside = path.with_name(f".{path.name}.part")
    try:
        beside.write_bytes(sketch_png(stand))
        os.replace(beside, path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise LightcheckError(
            f"{path} can not be written ({error.strerror or 'unknown trouble'}).",
            "Choose a folder that is yours, such as -o lamp.png.",
        ) from None
