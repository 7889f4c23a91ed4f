"""lightcheck cards: a sheet of cards to print."""

from __future__ import annotations

import os
from pathlib import Path

import click

from lightcheck.cli.options import CardList, force_option, out_option, say, talk_options
from lightcheck.errors import LightcheckError


@click.command("cards", short_help="Make a PDF of cards to print.")
@out_option(help="The PDF to write.", default="cards.pdf")
@click.option(
    "--paper", type=click.Choice(["a4", "letter"], case_sensitive=False), default="a4",
    show_default=True, help="Size of the paper.",
)  # fmt: skip
@click.option(
    "--numbers", type=CardList(), default="0-7", show_default=True,
    help="Which cards: 0-19 are large, 20-34 small. Lists work too: 0,3,20-23.",
)  # fmt: skip
@click.option(
    "--grey", type=CardList(), metavar="NUMBERS",
    help="Cards to print with a grey strip, one for each end of the patch: 0,1.",
)  # fmt: skip
@force_option
@talk_options
def command(out: Path, paper: str, numbers: tuple[int, ...], grey, force: bool) -> None:
    """Make a PDF of cards to print at 100 %.

    Four large cards (110 x 70 mm) do for most patches. Small ones (55 x 35 mm) are for round and
    narrow work. Measure the rulers on the sheet before you cut. A grey strip in the picture tells how
    the phone answers to light.

    \b
    lightcheck cards -o cards.pdf
    lightcheck cards -o small.pdf --paper letter --numbers 20-23
    """
    from lightcheck.card.print import sheet

    _check(out, force)
    content = sheet(numbers, paper=paper.lower(), grey=grey or ())
    beside = out.with_name(f".{out.name}.part")
    try:
        beside.write_bytes(content)
        os.replace(beside, out)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise _unwritable(out, error.strerror) from None
    click.echo(out)
    say("Print it at 100 % (actual size) and measure both rulers on the sheet.")


def _check(out: Path, force: bool) -> None:
    """Refuse before anything is drawn."""
    if out.is_dir():
        raise LightcheckError(f"{out} is a folder.", "Name a file after -o, such as cards.pdf.")
    if out.exists() and not force:
        raise LightcheckError(
            f"{out} is there already.", "Give another name after -o, or add --force to replace it."
        )
    if not out.absolute().parent.is_dir():
        raise _unwritable(out, "its folder is not there")


def _unwritable(out: Path, why: str | None) -> LightcheckError:
    return LightcheckError(
        f"{out} can not be written ({why or 'unknown trouble'}).",
        "Choose a folder that is there and yours, such as -o cards.pdf.",
    )
