"""lightcheck job: one boat part through all its passes."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import click

from lightcheck.cli import job_plan
from lightcheck.cli.options import OUT, force_option, out_option, say, talk_options
from lightcheck.errors import LightcheckError

_SIDES = ("port", "starboard", "centre", "none")
_BOWS = ("left", "right", "up", "down", "none")
_JUDGED = 4  # last passes that a list judges: what the gain of one more pass is taken from
folder_argument = click.argument("folder", metavar="JOB/", type=click.Path(path_type=Path))


@click.group("job", short_help="Keep the passes of one part together.")
@talk_options
def command() -> None:
    """One boat part through all its passes: photos, maps, tolerances, when to stop.

    \b
    lightcheck job new topside/ --part "starboard topside" --tolerance "0.3mm over 300mm"
    lightcheck job add topside/ a.jpg b.jpg --lamp left,900mm,110mm --lamp right,900mm,110mm
    lightcheck job show topside/
    lightcheck job plan topside/ -o list/
    """


command.add_command(job_plan.command)


@command.command("new", short_help="Start a job folder.")
@folder_argument
@click.option("--part", default="part without a name", help="What is being faired.")
@click.option("--side", type=click.Choice(_SIDES), default="none", show_default=True)
@click.option("--bow", type=click.Choice(_BOWS), default="none", show_default=True,
              help="Where the bow lies as you face the wood.")  # fmt: skip
@click.option("--tolerance", "tolerances", multiple=True, metavar="'HEIGHT over LENGTH'",
              help="Your own, such as '0.3mm over 300mm'; several may be given.")  # fmt: skip
@talk_options
def new(folder: Path, part: str, side: str, bow: str, tolerances: tuple[str, ...]) -> None:
    """Start a job: a folder with a job.toml to fill in by hand."""
    from lightcheck import job

    path = job.create(folder, job.toml(part=part, side=side, bow=bow, tolerances=tolerances))
    click.echo(path)
    say("Open it in an editor: tolerances, lamp places, tools. It is yours and never written again.")
    say(f"Then, after each pass: lightcheck job add {folder} PHOTO... --lamp ...")


@command.command("add", short_help="Add a pass with its photos and lamps.")
@folder_argument
@click.argument("photos", nargs=-1, required=True, metavar="PHOTO...", type=click.Path(path_type=Path))
@click.option("--lamp", "lamps", multiple=True, metavar="SPEC",
              help="As for map, or the name of a lamp in job.toml; one for each photo.")  # fmt: skip
@click.option("--note", default="", help="A few words to remember the pass by.")
@click.option("--later", is_flag=True, default=False, help="Keep the photos now, make the map later.")
@click.option("--json", "as_json", is_flag=True, default=False, help="Print the pass as one JSON object.")
@talk_options
def add(folder: Path, photos, lamps, note: str, later: bool, as_json: bool) -> None:
    """Add a pass: its photos are copied in and mapped.

    The copies are the photos as they are, with all that the phone wrote into them; keep the folder as
    you would keep the photos. Results name neither where nor with which phone they were taken.
    """
    from lightcheck import job

    click.get_current_context().meta[OUT] = folder  # a marked-up photo is saved beside the job
    with job.changing(folder, "job add") as (held, cut_short):
        _tell(held.told, cut_short)
        _check_lamps(held.settings, lamps)
        added = job.add(held, job.Shots(photos=photos, lamps=lamps, note=" ".join(note.split())))
        say(f"Pass {added.number}: {len(photos)} photo{'s' if len(photos) > 1 else ''} copied in.")
        if not later:
            say("Making the map.")
            job.make_or_drop(held, added, make_map)
    numbers = [] if later else [added.number]
    _print_pass(job.bring_up(folder, numbers, make_map, tell=say), added.number, as_json)


@command.command("show", short_help="List the passes and how far the wood is.")
@folder_argument
@click.option("--pass", "number", type=click.IntRange(1), help="One pass; its map is made if need be.")
@click.option("--again", is_flag=True, default=False, help="With --pass: make its map anew.")
@out_option(help="Folder for a printable page over all passes.", default="")
@force_option
@click.option("--check", is_flag=True, default=False, help="Read every kept photo through.")
@click.option("--json", "as_json", is_flag=True, default=False, help="Print it as one JSON object.")
@talk_options
def show(folder: Path, number: int | None, again: bool, out: Path, force: bool, check: bool, as_json: bool):
    """List the passes of a job, what is missing from it, and when to stop."""
    from lightcheck import job

    view = job.look(job.open_job(folder))
    _tell(view.told, None)
    for one in view.job.passes if check else ():
        for name in job.changed_photos(one):
            say(f"Note: pass {one.number}: {name} is not what was added.")
    if number is not None:
        _print_pass(job.bring_up(folder, [number], make_map, tell=say, again=again), number, as_json)
        return
    page = str(out) not in ("", ".")
    if page:
        from lightcheck.report import job as report

        report.check_folder(out, force=force)
    view = job.bring_up(folder, _wanted(view, every=page), make_map, tell=say)
    if as_json:
        _print(job_words().as_object(view))
    else:
        click.echo("\n".join(job_words().lines(view)))
    if page:
        say(f"Open {report.write(view, out, force=force)}")


@command.command("compare", short_help="One pass against an earlier one.")
@folder_argument
@click.argument("numbers", nargs=-1, type=click.IntRange(1), metavar="[BEFORE AFTER]")
@out_option(help="Folder for the result; must be new or empty.")
@click.option("--json", "as_json", is_flag=True, default=False, help="Print change.json on stdout.")
@force_option
@talk_options
def compare(folder: Path, numbers: tuple[int, ...], out: Path, as_json: bool, force: bool) -> None:
    """Compare two passes; without numbers the last two."""
    from lightcheck import job
    from lightcheck.report import change as report

    report.check_folder(out, force=force)
    before, after = _pair(job.open_job(folder), numbers)
    rows = {r.one.number: r for r in job.bring_up(folder, [before, after], make_map, tell=say).rows}
    from lightcheck import change, stored

    maps = [stored.read(rows[n].one.map_folder) for n in (before, after)]
    say(f"Laying pass {after} on pass {before}.")
    result = replace(change.compare(*maps), names=(f"pass {before}", f"pass {after}"))
    page = report.write(result, out, force=force)
    say(report.where_words(result))
    for warning in result.warnings:
        say(f"Note: {warning}")
    if as_json:
        _print(report.summary(result))
    else:
        from lightcheck.cli.compare import print_changes

        print_changes(result, report)
    say(f"Open {page}")


@command.command("undo", short_help="Move the last pass aside, or put it back.")
@folder_argument
@click.option("--put-back", is_flag=True, default=False, help="Bring back the pass undone last.")
@talk_options
def undo(folder: Path, put_back: bool) -> None:
    """Move the last pass aside, whole, into undone/."""
    from lightcheck import job

    with job.changing(folder, "job undo") as (held, cut_short):
        _tell(held.told, cut_short)
        if put_back:
            back = job.put_back(held)
            click.echo(back.folder)
            say(f"Pass {back.number} is back.")
            return
        aside = job.undo(held)
    click.echo(aside)
    say(f"Pass {held.next_number - 1} lies whole in {aside}. To bring it back: "
        f"lightcheck job undo {folder} --put-back")  # fmt: skip


def make_map(recipe, into: Path) -> None:
    """Make one map and write its folder; what a job calls where a map is wanted."""
    from lightcheck import humpmap, report

    result = humpmap.make(recipe)
    report.write(result, into)
    for warning in result.warnings:
        say(f"Note: {warning}")


def _wanted(view, *, every: bool) -> list[int]:
    """Passes to bring up to date: all for a page; for a list the last ones that have their map."""
    if every:
        return [row.one.number for row in view.rows]
    return [row.one.number for row in view.rows[-_JUDGED:] if row.current]


def _pair(held, numbers: tuple[int, ...]) -> tuple[int, int]:
    """Numbers of the two passes to compare."""
    if len(numbers) == 2:
        return held.get(numbers[0]).number, held.get(numbers[1]).number
    if numbers or len(held.passes) < 2:
        raise LightcheckError(
            "Two passes are needed to compare.",
            "Give both numbers, such as 1 3; without numbers the last two are taken, once there are two.",
        )
    return held.passes[-2].number, held.passes[-1].number


def _check_lamps(settings, lamps) -> None:
    """A lamp that can not be understood is refused before anything is copied."""
    from lightcheck import lamp

    for typed in lamps:
        try:
            lamp.read(settings.lamp(typed))
        except LightcheckError as refusal:
            names = ", ".join(name for name, _ in settings.lamps) or "none yet"
            raise LightcheckError(
                f"--lamp {typed}: {refusal.problem}", f"{refusal.remedy} Lamps named in job.toml: {names}."
            ) from None


def _tell(told, cut_short: str | None) -> None:
    if cut_short:
        say(f"Note: an earlier command ({cut_short}) was cut short. What it left half done is cleared away.")
    for sentence in told:
        say(f"Note: {sentence}")


def job_words():
    """Words of a job, read in only when wanted."""
    from lightcheck.report import job_words as words

    return words


def _print_pass(view, number: int, as_json: bool) -> None:
    row = next(row for row in view.rows if row.one.number == number)
    if as_json:
        _print({"schema": job_words().SCHEMA, **job_words().pass_object(row)})
        return
    click.echo("\n".join(job_words().pass_lines(row)))
    if row is view.last:
        click.echo("\n".join(job_words().readiness(view)))


def _print(content: dict) -> None:
    click.echo(json.dumps(content, indent=1, ensure_ascii=False))
