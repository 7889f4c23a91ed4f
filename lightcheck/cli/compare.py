"""lightcheck compare: two stored maps in, what changed out."""

from __future__ import annotations

import json
from pathlib import Path

import click

from lightcheck.cli.options import Length, force_option, out_option, say, talk_options


@click.command("compare", short_help="Show what changed from one map to the next.")
@click.argument("before", metavar="BEFORE/", type=click.Path(path_type=Path))
@click.argument("after", metavar="AFTER/", type=click.Path(path_type=Path))
@out_option(help="Folder for the result; must be new or empty.")
@click.option(
    "--mirror", is_flag=True, default=False,
    help="AFTER is the other side of the boat: compare with its mirror image.",
)  # fmt: skip
@click.option(
    "--least", type=Length(), default=None,
    help="Least height that counts; without it that of the maps.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, default=False, help="Print change.json on stdout.")
@force_option
@talk_options
def command(
    before: Path, after: Path, out: Path, mirror: bool, least: float | None, as_json: bool, force: bool
) -> None:
    """Compare two result folders of lightcheck map: what went down, what was cut too far, what is new.

    The cards may have been taken off and put back elsewhere: the wood that was not planed tells where
    it lies. With --mirror, port and starboard are compared; then the cards must lie at mirrored places.

    \b
    lightcheck compare pass1/ pass2/ -o change/
    """
    from lightcheck.report import change as report

    report.check_folder(out, force=force)
    from lightcheck import change, stored

    maps = stored.read(before), stored.read(after)
    say(f"Laying {after} on {before}.")
    result = change.compare(*maps, mirror=mirror, least_mm=least)
    page = report.write(result, out, force=force)
    say(report.where_words(result))
    for warning in result.warnings:
        say(f"Note: {warning}")
    if as_json:
        click.echo(json.dumps(report.summary(result), indent=1, ensure_ascii=False))
    else:
        print_changes(result, report)
    say(f"Open {page}")


def print_changes(result, report) -> None:
    """A line for each spot on stdout."""
    if not result.spots:
        click.echo("No hump or hollow is listed in either map.")
    for row in result.spots:
        was, now = report.height(row.before_mm), report.height(row.after_mm)
        click.echo(
            f"{row.spot:>3}  {row.kind:<7} {was:>8} to {now:>8}  {report.change_words(row):<36} "
            f"{report.state_words(row, mirror=result.mirror):<32} {row.place}"
        )
