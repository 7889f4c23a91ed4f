"""lightcheck lay: straightedge, batten, longboard and planking laid on a map."""

from __future__ import annotations

import json
from pathlib import Path

import click

from lightcheck.cli import lay_words
from lightcheck.cli.options import Length, LengthPair, force_option, out_option, say, talk_options
from lightcheck.errors import LightcheckError
from lightcheck.units import length_mm

_BOARD = "Type it like --longboard 600mm,70mm,12mm,spruce: length, width, thickness, wood."
_BATTEN = "Type it like --batten 20mm,6mm,spruce: width, thickness, wood."
_PLANKING = "Type it like --planking 6mm,cedar: thickness, wood."
_PLACES = "Type it like --from card0 --to card1, or --through spot2 --turn 0deg."


@click.command("lay", short_help="Lay straightedge, batten, longboard or planking on a map.")
@click.argument("folder", metavar="MAP/")
@click.option("--straightedge", type=Length(above_mm=19.999), help="Its length: 600mm.")
@click.option(
    "--batten", metavar="W,T,WOOD",
    help="Width, thickness and wood of a batten: 20mm,6mm,spruce. A stiffness may stand for the wood: "
    "9.9GPa.",
)  # fmt: skip
@click.option(
    "--longboard", metavar="L,W,T,WOOD", help="Length, width, thickness, wood: 600mm,70mm,12mm,spruce."
)
@click.option("--planking", metavar="T,WOOD", help="What shows through planking so thick: 6mm,cedar.")
@click.option(
    "--press", default="3kg", show_default=True, help="Of both hands on the longboard, spread evenly."
)
@click.option(
    "--hold", metavar="LENGTH,...",
    help="Where the batten is pressed to the wood, along the line from where its wood begins: "
    "0mm,300mm,580mm. Left out: at both ends.",
)  # fmt: skip
@click.option(
    "--weight", "weights", multiple=True, metavar="WEIGHT@LENGTH", help="A weight on the batten: 2kg@300mm."
)
@click.option(
    "--beyond", "points", multiple=True, metavar="LENGTH:HEIGHT|DAYLIGHT/@LENGTH",
    help="A part that is not there yet, for the batten to run on over: points as 650mm:-3mm (along the "
    "line, and above the straight line through the wood at both its ends), or a template reading as "
    "daylight/@560mm (where its first place lies).",
)  # fmt: skip
@click.option(
    "--end-angle", metavar="ANGLE", help="Lean of the batten's far end to that straight line: -4deg."
)
@click.option(
    "--pitch",
    type=LengthPair(),
    default="150mm",
    show_default=True,
    help="Of the planking's fastenings; two lengths are along and across its grain.",
)
@click.option(
    "--bonded", metavar="STIFFNESS", help="Planking glued down all over instead, on a bed so stiff: 0.5N/mm3."
)
@click.option(
    "--from", "start", metavar="PLACE", help="Where the line starts: card0, card0:120mm,-95mm or spot2."
)
@click.option("--to", "end", metavar="PLACE", help="Where the line ends.")
@click.option("--through", metavar="PLACE", help="A line right across the map through this place.")
@click.option(
    "--turn", default="0deg", show_default=True,
    help="How the line lies, or over the whole map the tool: 0deg along, 90deg across, counter-clockwise.",
)  # fmt: skip
@out_option(help="Folder for the result; must be new or empty.")
@click.option("--json", "as_json", is_flag=True, default=False, help="Print lay.json on stdout.")
@force_option
@talk_options
def command(folder: str, out: Path, as_json: bool, force: bool, **choices) -> None:
    """Lay tools on the surface of a map by computation, and draw them.

    With --from and --to, or --through, along one line; without them over the whole map. Tools lie on
    the real surface: heights over the base shape that the map was made on, so a barrel is a barrel.

    \b
    lightcheck lay map/ --straightedge 600mm --from card0 --to card1 -o laid/
    lightcheck lay map/ --batten 20mm,6mm,spruce --through spot1 --turn 90deg -o laid/
    lightcheck lay map/ --longboard 600mm,70mm,12mm,spruce --planking 6mm,cedar -o laid/
    """
    tools = _tools(choices)
    if not tools:
        raise LightcheckError(
            "No tool was named.",
            "Name one or more: --straightedge 600mm, or --longboard 600mm,70mm,12mm,spruce.",
        )
    from lightcheck import lay, stored
    from lightcheck.report import lay as report

    report.check_folder(out, force=force)
    seen = stored.read(folder)
    on = lay.wood(seen)
    line, turn = _line(choices, seen)
    _check_line(choices, line)
    laid = {}
    for name, tool in tools.items():
        say(f"Laying the {name}.")
        laid[name] = tool(on, line, turn)
    report.write(seen, laid, out, force=force)
    if as_json:
        click.echo(json.dumps(json.loads((out / "lay.json").read_text(encoding="utf-8")), indent=1))
    for name, one in laid.items():
        if not as_json:
            click.echo(f"{one.tool}: {report.worst_words(one)}")
        for note in one.notes:
            say(f"Note: {note}")
        say(f"Look at {out / name}.png")
    for name in laid:
        for caution in report.CAUTIONS.get(name, ()):
            say(caution)


def _tools(choices) -> dict:
    """Name -> function of (wood, line or None, turn) for each tool that was asked for."""
    found = {}
    if choices["straightedge"]:
        found["straightedge"] = _straightedge(choices["straightedge"])
    if choices["longboard"]:
        found["longboard"] = _longboard(choices["longboard"], lay_words.newtons(choices["press"]))
    if choices["batten"]:
        found["batten"] = _batten(choices)
    if choices["planking"]:
        found["planking"] = _planking(choices)
    return found


def _straightedge(length_mm: float):
    def laid(on, line, turn):
        from lightcheck import lay

        if line is None:
            return lay.straightedge_over(on, length_mm=length_mm, turn_rad=turn)
        return lay.straightedge(on, *line, length_mm=length_mm)

    return laid


def _longboard(text: str, press_n: float):
    from lightcheck import lay

    (length, width, thick), wood = lay_words.sizes(text, 3, _BOARD)
    board = lay.Board(
        length_mm=length,
        width_mm=width,
        stiffness_nmm2=lay.bending_nmm2(wood, width_mm=width, thick_mm=thick),
        press_n=press_n,
        scatter=wood.scatter,
    )

    def laid(on, line, turn):
        if line is None:
            return _noted(lay.longboard_over(on, board=board, turn_rad=turn), wood)
        return _noted(lay.longboard(on, *line, board=board), wood)

    return laid


def _batten(choices):
    from lightcheck import lay

    (width, thick), wood = lay_words.sizes(choices["batten"], 2, _BATTEN)
    stiffness = lay.bending_nmm2(wood, width_mm=width, thick_mm=thick)
    stick = lay.Batten(stiffness_nmm2=stiffness, width_mm=width, scatter=wood.scatter)
    hold = choices["hold"]
    held = {
        "by_hand_mm": tuple(length_mm(p) for p in hold.split(",")) if hold else None,
        "weights": tuple(lay_words.weight(w) for w in choices["weights"]),
        "end_rad": lay_words.radians(choices["end_angle"]) if choices["end_angle"] else None,
    }

    def laid(on, line, turn):
        if line is None:
            return _noted(lay.batten_over(on, stick=stick, turn_rad=turn), wood)
        points = tuple(p for text in choices["points"] for p in _beyond(text, on, line))
        return _noted(lay.batten(on, *line, stick=stick, held=lay.Held(beyond=points, **held)), wood)

    return laid


def _beyond(text: str, on, line):
    """Typed points, or those of a template reading."""
    from lightcheck import lay

    folder, at, place = text.rpartition("@")
    if at:
        return lay.run_on(on, line, lay.curve_mm(folder), at_mm=length_mm(place))
    along, colon, height = text.partition(":")
    if not colon:
        raise LightcheckError(
            f"'{text[:60]}' is not a point beyond the wood.",
            "Type it like --beyond 650mm:-3mm, or name a template reading: --beyond daylight/@560mm.",
        )
    return ((length_mm(along), length_mm(height)),)


def _planking(choices):
    from lightcheck import lay

    (thick,), wood = lay_words.sizes(choices["planking"], 1, _PLANKING)

    def laid(on, line, turn):
        planking = lay.Planking(
            thick_mm=thick,
            timber=wood,
            pitch_mm=choices["pitch"],
            grain_rad=0.0 if line is not None else turn,
            bed_n_mm3=lay_words.bed(choices["bonded"]),
        )
        return lay.planking_over(on, planking=planking)

    return laid


def _check_line(choices, line) -> None:
    """What only makes sense along a line."""
    only = {"hold": "--hold", "weights": "--weight", "points": "--beyond", "end_angle": "--end-angle"}
    given = next((o for k, o in only.items() if choices[k]), None)
    if given and (line is None or not choices["batten"]):
        raise LightcheckError(f"{given} is for a batten along a line.", _PLACES + " And name a --batten.")


def _noted(one, wood):
    from dataclasses import replace

    return replace(one, notes=(*one.notes, *wood.notes))


def _line(choices, seen):
    """((start, end) or None, turn in radians)."""
    from lightcheck.lay.place import across_mm, place_mm

    turn = lay_words.radians(choices["turn"])
    start, end, through = choices["start"], choices["end"], choices["through"]
    if through and (start or end):
        raise LightcheckError("--through and --from say two different lines.", _PLACES)
    if through:
        return across_mm(place_mm(through, seen), turn, seen), turn
    if bool(start) != bool(end):
        raise LightcheckError("The line has one end only.", _PLACES)
    if start:
        return (place_mm(start, seen), place_mm(end, seen)), turn
    return None, turn
