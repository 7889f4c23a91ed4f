"""Plan words: the working list in short sentences for the bench."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from lightcheck.plan.product import LEAVE, PLANE, REFUSED

if TYPE_CHECKING:
    from lightcheck.plan import Low, Plan, Task
    from lightcheck.plan.product import Where

CAUTIONS = (
    "Look for hidden fasteners with a magnet and an awl before the plane goes over a spot. Only those "
    "that were marked are known here.",
    "Keep both hands behind the blade, and clamp or wedge the work so that it can not move.",
    "Sanding with the longboard makes dust that harms the lungs: wear a mask and collect it.",
    "No wax, chalk, oil or pencil lead ground in where glue will go.",
    "How thin a part may become is for its designer, class rules or a surveyor. This list never says "
    "that what is left is strong enough.",
    "Strokes are arithmetic: wood to come off over the shaving. Measure your shaving, look after every "
    "few strokes, and photograph again.",
)  # common practice, no source
_DO = {PLANE: "plane", LEAVE: "leave for the longboard", REFUSED: "do not plane yet"}
_FORWARD = {"left": (-1, "x"), "right": (1, "x"), "up": (1, "y"), "down": (-1, "y")}


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """What stands at the top: part, side ("port", "starboard" or ""), bow ("left" ... or ""), pass, date."""

    part: str = ""
    side: str = ""
    bow: str = ""
    one_pass: str = ""
    date: str = ""


def do_words(task: Task) -> str:
    """What to do, in a word or two."""
    return _DO[task.do]


def count(task: Task) -> int:
    """Whole strokes over each place."""
    return math.ceil(task.strokes - 1e-9)


def how_words(task: Task) -> str:
    """Tool, skew and strokes: "4 strokes with the jack plane, held 30 degrees askew"."""
    if task.tool is None:
        return ""
    strokes = count(task)
    text = f"{strokes} stroke{'s' if strokes != 1 else ''} with the {task.tool.name}"
    if task.lanes > 1:
        text += f" in {task.lanes} lanes side by side"
    return f"{text}, {skew_words(task)}"


def skew_words(task: Task) -> str:
    """How to hold it: "held 30° askew, so it acts as 210 mm"."""
    if task.skew_rad < 1e-9:
        return "held straight"
    return f"held {math.degrees(task.skew_rad):.0f}° askew, so it acts as {task.acts_mm:.0f} mm"


def stroke_words(task: Task) -> str:
    """Which way the strokes run, as the map is seen."""
    if task.grain == "not known":
        return "along the grain, which the picture does not show"
    to_end = task.grain == "as marked"
    words = direction(task.turn_rad, both=not to_end)
    return f"strokes {words}" + ("" if to_end else "; try which way is clean")


def direction(turn_rad: float, *, both: bool) -> str:
    """A direction on the map in words."""
    names = ("right", "up to the right", "up", "up to the left", "left", "down to the left", "down",
             "down to the right")  # fmt: skip
    step = round(math.degrees(turn_rad) / 45) % 8
    if not both:
        return f"run {names[step]}"
    pairs = ("left and right", "aslant, up to the right", "up and down", "aslant, up to the left")
    return f"run {pairs[step % 4]}"


def where_words(where: Where, place: str, heading: Heading, *, short: bool = False) -> str:
    """Distance from the station and girth from the centreline; else the place from a card."""
    parts = []
    if where.station is not None:
        away = where.from_station_mm
        name = f"st. {where.station}" if short else f"station {where.station}"
        parts.append(f"at {name}" if abs(away) < 5 else f"{abs(away):.0f} mm {_side(away, heading)} {name}")
    if where.girth_mm is not None:
        line = "CL" if short else "the centreline"
        girth = "girth " if short else "girth from "
        parts.append(
            f"{girth}{line} {abs(where.girth_mm):.0f}"
            if short
            else f"{girth}{line} {abs(where.girth_mm):.0f} mm"
        )
    return ", ".join(parts) or place


def _side(away: float, heading: Heading) -> str:
    sign, axis = _FORWARD.get(heading.bow, (0, "x"))
    if sign and axis == "x":
        return "forward of" if away * sign > 0 else "aft of"
    return "right of" if away > 0 else "left of"


def low_words(low: Low) -> str:
    """What planing the wood down to a hollow would cost, and what would do instead."""
    text = (
        f"Do not plane. To lose it, up to {low.round_mm:.2f} mm would have to come off round it, over "
        f"{low.over_mm:.0f} mm ({low.round_cm3:.1f} cm³)"
    )
    if low.fill_less:
        return f"{text}; filler or a shim {low.fill_mm:.2f} mm thick ({low.fill_cm3:.1f} cm³) is less."
    return f"{text}; filler or a shim would take {low.fill_cm3:.1f} cm³, which is no less."


def verdict(plan: Plan) -> str:
    """One sentence: how many humps to plane, the first of them."""
    tasks = [t for t in plan.tasks if t.do == PLANE]
    rest = []
    for do, words in ((LEAVE, "for the longboard"), (REFUSED, "refused")):
        number = sum(t.do == do for t in plan.tasks)
        rest += [f"{number} {words}"] if number else []
    if plan.lows:
        rest.append(f"{len(plan.lows)} low, not to be planed")
    text = f"{len(tasks)} to plane" if tasks else "Nothing to plane"
    text += f"; {', '.join(rest)}" if rest else ""
    if tasks:
        text += f". First spot {tasks[0].name}: {how_words(tasks[0])}"
    return text + "."
