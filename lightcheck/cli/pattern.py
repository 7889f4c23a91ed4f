"""lightcheck pattern: a table of offsets in, a full-size pattern of one station's template out."""

from __future__ import annotations

import json
import os
from pathlib import Path

import click

from lightcheck.cli.options import CardList, Length, force_option, out_option, say, talk_options
from lightcheck.errors import LightcheckError

ENDINGS = (".pdf", ".svg", ".dxf", ".csv")
SCHEMA = 1


@click.command("pattern", short_help="Draw a template at full size from a table of offsets.")
@click.argument("offsets", metavar="OFFSETS.csv")
@click.option("--station", required=True, help="Name of the station, as in the table.")
@out_option(
    help="The PDF to write; .svg, .dxf and the outline .csv are written beside it.", default="pattern.pdf"
)
@click.option(
    "--planking", type=Length(or_equal=True), default="0mm", show_default=True,
    help="Planking to take off the lines, measured square to it: 9mm.",
)  # fmt: skip
@click.option(
    "--proud", type=Length(or_equal=True), default="0mm", show_default=True,
    help="For a roughing template: how much wood its edge leaves on.",
)  # fmt: skip
@click.option(
    "--cards", type=CardList(), default="18,19", show_default=True,
    help="Cards to print on the template, each template its own: 4,5. Small ones: 20-34.",
)  # fmt: skip
@click.option("--no-cards", is_flag=True, default=False, help="Print no cards on it.")
@click.option(
    "--face", type=click.Choice(["forward", "aft"], case_sensitive=False),
    help="Which face of the template lies on the station; left out, the bevel decides.",
)  # fmt: skip
@click.option(
    "--every-point", is_flag=True, default=False,
    help="Draw through every offset as typed, the unfair ones too.",
)  # fmt: skip
@click.option(
    "--paper", type=click.Choice(["a4", "letter"], case_sensitive=False), default="a4",
    show_default=True, help="Size of the paper.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, default=False, help="Print what was drawn as JSON.")
@force_option
@talk_options
def command(
    offsets: str,
    station: str,
    out: Path,
    cards,
    no_cards: bool,
    paper: str,
    as_json: bool,
    force: bool,
    **choices,
) -> None:
    """Draw the template of one station at full size.

    The table is a CSV from a spreadsheet: one row for each line, one column for each station, in mm or
    in feet-inches-eighths. Points that are not fair are listed with how far they lie off the batten.

    \b
    lightcheck pattern offsets.csv --station 4 --planking 9mm --cards 4,5 -o station4.pdf
    """
    files = _check(out, force)
    from lightcheck import pattern
    from lightcheck.offsets import read

    cut = pattern.Cut(
        station=station,
        planking_mm=choices["planking"],
        proud_mm=choices["proud"],
        cards=() if no_cards else cards,
        face=choices["face"] and choices["face"].lower(),
        every_point=choices["every_point"],
    )
    drawn = pattern.make(read(offsets), cut)
    _write(files, _contents(drawn, paper.lower()))
    if as_json:
        click.echo(json.dumps(_summary(drawn, files), indent=1))
    else:
        _print_points(drawn)
    for note in drawn.notes:
        say(note)
    say(f"Wrote {', '.join(map(str, files))}. Print the PDF at 100 % and check the rulers on every sheet.")


def _contents(drawn, paper: str) -> list[bytes]:
    """What goes into the four files."""
    from lightcheck.pattern import outline_csv
    from lightcheck.pattern.pages import pdf
    from lightcheck.pattern.vector import dxf, svg

    texts = (svg(drawn), dxf(drawn), outline_csv(drawn))
    return [pdf(drawn, paper=paper), *(t.encode("utf-8") for t in texts)]


def _check(out: Path, force: bool) -> list[Path]:
    """Names of the files; refused before anything is drawn."""
    if out.suffix.lower() != ".pdf":
        raise LightcheckError(f"{out} is not the name of a PDF.", "Name it like -o pattern.pdf.")
    files = [out.with_suffix(ending) for ending in ENDINGS]
    there = [f for f in files if f.exists()]
    if any(f.is_dir() for f in there):
        raise LightcheckError(f"{out} is a folder, or one beside it is.", "Give another name after -o.")
    if there and not force:
        raise LightcheckError(
            f"{there[0]} is there already.", "Give another name after -o, or add --force to replace it."
        )
    if not out.absolute().parent.is_dir():
        raise LightcheckError(
            f"{out} can not be written (its folder is not there).",
            "Make the folder, or give another after -o.",
        )
    return files


def _write(files: list[Path], contents: list[bytes]) -> None:
    """All of them beside, then all moved into place."""
    besides = [f.with_name(f".{f.name}.part") for f in files]
    try:
        for beside, content in zip(besides, contents, strict=True):
            beside.write_bytes(content)
        for beside, file in zip(besides, files, strict=True):
            os.replace(beside, file)
    except OSError as error:
        for beside in besides:
            beside.unlink(missing_ok=True)
        raise LightcheckError(
            f"{files[0]} can not be written ({error.strerror or 'unknown trouble'}).",
            "Choose a folder that is there and yours, such as -o pattern.pdf.",
        ) from None


def _print_points(drawn) -> None:
    """The offsets of the station in mm, and what is not fair in the whole table."""
    from lightcheck.pattern.cover import fair_words, slip_words

    click.echo(f"station {drawn.section.station}, offsets in mm")
    click.echo(f"{'line':<20}{'out':>9}{'up':>9}{'off the batten':>16}")
    for point, off in zip(drawn.section.points, drawn.section.off_mm, strict=True):
        gone = "   not fair" if point.line in drawn.section.let_go else ""
        click.echo(f"{point.line[:19]:<20}{point.x_mm:>9.1f}{point.y_mm:>9.1f}{off:>+16.1f}{gone}")
    click.echo(fair_words(drawn.fairness))
    for slip in drawn.fairness.slips:
        click.echo(f"Not fair: {slip_words(slip)}.")


def _summary(drawn, files: list[Path]) -> dict:
    """What was drawn, as one object."""
    import dataclasses

    return {
        "schema": SCHEMA,
        "station": drawn.section.station,
        "title": drawn.title,
        "table_sha256": drawn.table_sha256,
        "cut": dataclasses.asdict(drawn.cut),
        "face": drawn.face,
        "files": [f.name for f in files],
        "points": [
            {"line": p.line, "out_mm": p.x_mm, "up_mm": p.y_mm, "off_mm": round(float(off), 3)}
            for p, off in zip(drawn.section.points, drawn.section.off_mm, strict=True)
        ],
        "let_go": list(drawn.section.let_go),
        "slips": [dataclasses.asdict(s) for s in drawn.fairness.slips],
        "judged": drawn.fairness.judged,
        "numbers": drawn.fairness.numbers,
        "cards": [dataclasses.asdict(c) for c in drawn.cards],
        "notes": list(drawn.notes),
    }
