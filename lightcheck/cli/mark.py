"""lightcheck mark: what only the builder knows of the wood, kept in marks.toml."""

from __future__ import annotations

import os
from pathlib import Path

import click

from lightcheck.cli.options import force_option, out_option, say, talk_options
from lightcheck.errors import LightcheckError


@click.command("mark", short_help="Mark fasteners, grain, stations, lines to stop at and creases.")
@click.argument("map_folder", metavar="MAP", type=click.Path(path_type=Path))
@click.argument("said", nargs=-1, metavar="MARK...")
@click.option("--drawn", type=click.Path(path_type=Path), metavar="PICTURE",
              help="A copy of the map's wood.png with coloured marks drawn on it.")  # fmt: skip
@click.option("--colour", "pens", multiple=True, metavar="'COLOUR = MARK'",
              help="What a colour stands for: 'blue = crease', 'red = fastener, 3mm deep'.")  # fmt: skip
@click.option("--add", is_flag=True, default=False, help="Keep what the file holds already.")
@out_option(help="The file to write.", default="marks.toml")
@force_option
@talk_options
def command(map_folder: Path, said, drawn: Path | None, pens, add: bool, out: Path, force: bool) -> None:
    """Mark what the photos do not show, typed or drawn on a copy of wood.png.

    Places are x,y from the middle of the map, or from the middle of a card. Marks: fastener, grain (from
    where to where it planes clean), no lower, leave, centreline, sheer, stop, station NAME, crease, chine,
    rabbet, flat, bevel.

    \b
    lightcheck mark map/ "fastener at 40mm,-20mm from card 2, 3mm deep"
    lightcheck mark map/ "grain from -100mm,0mm to 100mm,5mm" "station 3 from 0mm,-150mm to 0mm,150mm"
    lightcheck mark map/ "crease from -200mm,20mm to 90mm,40mm, dies out" -o marks.toml
    lightcheck mark map/ --drawn my-wood.png --colour "blue = crease" --colour "red = fastener, 3mm deep"
    """
    if not said and drawn is None:
        raise LightcheckError(
            "No mark was given.",
            'Type one, such as "fastener at 40mm,-20mm from card 2, 3mm deep", or draw them: --drawn.',
        )
    if (drawn is None) != (not pens):
        raise LightcheckError(
            "A drawing and what its colours stand for belong together.",
            "Give both: --drawn my-wood.png --colour 'blue = crease'.",
        )
    _check(out, force or add)
    found = _found(map_folder, said, drawn, pens, out if add else None)
    _write(out, found)
    for mark in found.marks:
        places = " to ".join(
            f"{x:.0f}mm,{y:.0f}mm" for x, y in (mark.at_mm + 0.0)[[0, -1][: len(mark.at_mm)]]
        )
        click.echo(f"{mark.words}: {places}")
    say(f"{out} can be changed by hand. Then: lightcheck plan {map_folder} --marks {out} -o plan/")


def _found(map_folder: Path, said, drawn: Path | None, pens, before: Path | None):
    from lightcheck import marks, stored

    result = stored.read(map_folder)
    known = ()
    if before is not None and before.exists():
        known = marks.read(before, result.cards).marks
    typed = tuple(marks.read_mark(text, result.cards) for text in said)
    colours = tuple(marks.read_pen(p) for p in pens)
    traced = marks.of_drawing(drawn, colours, result.wood_grid) if drawn is not None else ()
    cards = tuple((c.card, float(c.x_mm), float(c.y_mm)) for c in result.cards)
    return marks.Marks(marks=(*known, *typed, *traced), cards=cards)


def _check(out: Path, may_exist: bool) -> None:
    if out.is_dir():
        raise LightcheckError(f"{out} is a folder.", "Name a file after -o, such as marks.toml.")
    if not out.absolute().parent.is_dir():
        raise LightcheckError(
            f"{out} can not be written (its folder is not there).", "Choose a folder that is there and yours."
        )
    if out.exists() and not may_exist:
        raise LightcheckError(
            f"{out} is there already.", "Add --add to keep what it holds, or --force to replace it."
        )


def _write(out: Path, found) -> None:
    from lightcheck import marks

    beside = out.with_name(f".{out.name}.part")
    try:
        beside.write_text(marks.text(found), encoding="utf-8")
        os.replace(beside, out)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise LightcheckError(
            f"{out} can not be written ({error.strerror}).", "Choose a folder that is there and yours."
        ) from None
