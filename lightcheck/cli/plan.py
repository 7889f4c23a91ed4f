"""lightcheck plan: the working list of a map."""

from __future__ import annotations

import json
import re
from pathlib import Path

import click

from lightcheck.cli.options import Length, force_option, out_option, say, talk_options
from lightcheck.errors import LightcheckError


@click.command("plan", short_help="Make the working list: what to plane, with what, in which order.")
@click.argument("map_folder", metavar="MAP", type=click.Path(path_type=Path))
@out_option(help="Folder for the result; must be new or empty.")
@click.option("--marks", "marks_file", type=click.Path(path_type=Path), metavar="FILE",
              help="What lightcheck mark wrote: fasteners, grain, stations, lines to stop at.")  # fmt: skip
@click.option("--tool", "tools", multiple=True, metavar="NAME,LENGTH,WIDTH,SHAVING",
              help="A tool on the bench: 'jack plane,355mm,60mm,0.1mm'. Once for each; without any, an "
              "ordinary bench.")  # fmt: skip
@click.option("--leave", type=Length(or_equal=True), default="0.3mm", show_default=True,
              help="Wood to leave for the longboard; 0.2 to 0.4 mm is common practice.")  # fmt: skip
@click.option("--thickness", type=Length(), help="How thick the part is now, as measured.")
@click.option("--least-thickness", type=Length(),
              help="The least it may become, from its designer or class rules.")  # fmt: skip
@click.option("--order", default="stations", show_default=True, metavar="ORDER",
              help="stations (they first, then the middle of spans, then along), along, highest, or the "
              "numbers of the spots as you want them: 3,1,2.")  # fmt: skip
@click.option("--fine-end", type=click.Choice(["left", "right", "up", "down"]),
              help="Side of the map to start from; the bow where that is said.")  # fmt: skip
@click.option("--bow", type=click.Choice(["left", "right", "up", "down"]), help="Where the bow is.")
@click.option("--part", default="", help="Name of the part, for the top of the sheet.")
@click.option("--side", default="", help="port or starboard, for the top of the sheet.")
@click.option("--pass", "one_pass", default="", help="Number of the pass, for the top of the sheet.")
@click.option("--date", default="", help="Date for the top of the sheet; today if not said.")
@click.option("--paper", type=click.Choice(["a4", "letter"], case_sensitive=False), default="a4",
              show_default=True, help="Size of the paper.")  # fmt: skip
@click.option("--full-size", is_flag=True, default=False,
              help="Also full-size.pdf: sheets at 1:1 to lay on the wood and prick through.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, default=False, help="Print plan.json on stdout.")
@force_option
@talk_options
def command(map_folder: Path, out: Path, marks_file: Path | None, as_json: bool, force: bool, **said) -> None:
    """Make the working list of a map: order, tool and skew, strokes, where to stop, what to leave.

    Strokes are arithmetic over the map's heights. How thin a part may become is for its designer, class
    rules or a surveyor.

    \b
    lightcheck plan map/ -o plan/
    lightcheck plan map/ --marks marks.toml --bow left --part "bottom panel" --full-size -o plan/
    """
    from lightcheck.report import plan as files

    files.check_folder(out, force=force)
    result = _made(map_folder, marks_file, said)
    page = files.write(
        result, out, _heading(said), paper=said["paper"].lower(), full_size=said["full_size"], force=force
    )
    if as_json:
        click.echo(json.dumps(json.loads((out / "plan.json").read_text(encoding="utf-8")), indent=1))
    else:
        _print(result, _heading(said))
    for note in result.notes:
        say(f"Note: {note}")
    say(f"Open {page}, and print {out / files.BENCH} for the bench.")


def _made(map_folder: Path, marks_file: Path | None, said: dict):
    from lightcheck import marks, plan, stored

    tools = tuple(plan.read_tool(t) for t in said["tools"]) or plan.BENCH
    result = stored.read(map_folder)
    found = marks.read(marks_file, result.cards) if marks_file else marks.none()
    wish = plan.Wish(
        tools=tools,
        leave_mm=said["leave"],
        thickness_mm=said["thickness"],
        least_mm=said["least_thickness"],
        order=_order(said["order"]),
        fine_end=said["fine_end"] or said["bow"] or "",
    )
    return plan.make(result, found, wish)


def _order(text: str) -> str | tuple[int, ...]:
    from lightcheck.plan.product import ORDERS

    word = text.strip().lower()
    if word in ORDERS:
        return word
    if re.fullmatch(r"\d{1,3}(\s*,\s*\d{1,3})*", word):
        return tuple(int(n) for n in word.split(","))
    raise LightcheckError(
        f"'{text[:40]}' is no order of work.", f"Use {', '.join(ORDERS)}, or numbers of spots such as 3,1,2."
    )


def _heading(said: dict):
    from datetime import date

    from lightcheck.report.plan_words import Heading

    return Heading(
        part=said["part"].strip(),
        side=said["side"].strip(),
        bow=said["bow"] or "",
        one_pass=said["one_pass"].strip(),
        date=said["date"].strip() or date.today().isoformat(),
    )


def _print(result, heading) -> None:
    """The list on stdout, in the order of work."""
    from lightcheck.report import plan_words as words

    if not result.tasks and not result.lows:
        click.echo("No hump or hollow on this map.")
    for task in result.tasks:
        how = words.how_words(task) or words.do_words(task)
        where = words.where_words(task.where, task.spot.place, heading)
        click.echo(
            f"{task.number:>3}  spot {task.name:<4} high by {task.spot.height_mm:.2f} mm: {how}; {where}"
        )
        off = f"take off {task.take_mm:.2f} mm" if task.take_mm > 0 and not task.reason else ""
        for line in (task.reason, off, *task.stop):
            if line:
                click.echo(f"{'':15}{line}")
    for low in result.lows:
        click.echo(
            f"  -  spot {low.spot.number:<4} low by {abs(low.spot.height_mm):.2f} mm: {words.low_words(low)}"
        )
