"""lightcheck job plan: the working list of a pass, with what stands in job.toml filled in."""

from __future__ import annotations

import re
from pathlib import Path

import click

from lightcheck.cli.options import Length, force_option, out_option, say, talk_options
from lightcheck.errors import LightcheckError

ENDS = ("left", "right", "up", "down")


@click.command("plan", short_help="The working list of a pass.")
@click.argument("folder", metavar="JOB/", type=click.Path(path_type=Path))
@out_option(help="Folder for the result; must be new or empty.")
@click.option("--pass", "number", type=click.IntRange(1), help="The last one if not said.")
@click.option("--marks", "marks_file", type=click.Path(path_type=Path), metavar="FILE",
              help="What lightcheck mark wrote.")  # fmt: skip
@click.option("--thickness", type=Length(), help="How thick the part is now, as measured.")
@click.option("--least-thickness", type=Length(),
              help="The least it may become, from its designer or class rules.")  # fmt: skip
@click.option("--order", default="stations", show_default=True, metavar="ORDER",
              help="As for lightcheck plan.")  # fmt: skip
@click.option("--full-size", is_flag=True, default=False, help="Also sheets at 1:1.")
@force_option
@talk_options
@click.pass_context
def command(ctx: click.Context, folder: Path, number: int | None, **said) -> None:
    """Make the working list of a pass: tools, wood left, part, side and bow come from job.toml.

    \b
    lightcheck job plan topside/ -o list/
    """
    from lightcheck import job
    from lightcheck.cli import job as jobs
    from lightcheck.cli import plan
    from lightcheck.report import plan as files

    files.check_folder(said["out"], force=said["force"])
    held = job.open_job(folder)
    one = held.get(number or _last(held))
    job.bring_up(folder, [one.number], jobs.make_map, tell=say)
    settings = held.settings
    side = "" if settings.side == "none" else settings.side
    ctx.invoke(
        plan.command,
        map_folder=one.map_folder,
        tools=tuple(typed(tool) for tool in job.bench(settings)),
        leave=settings.for_longboard_mm,
        bow=settings.bow if settings.bow in ENDS else None,
        part=settings.part,
        side=side,
        one_pass=str(one.number),
        date=one.added[:10],
        **said,
    )


def _last(held) -> int:
    if not held.passes:
        raise LightcheckError("This job has no pass yet.", "Add one with lightcheck job add.")
    return held.passes[-1].number


def typed(tool) -> str:
    """A tool as `--tool` takes it."""
    name = tool.name.replace(",", " ")
    if tool.kind == "spokeshave" and not re.search(r"shave\b", name.lower()):
        name += " spokeshave"
    return f"{name},{tool.length_mm:g}mm,{tool.width_mm:g}mm,{tool.shaving_mm:g}mm"
