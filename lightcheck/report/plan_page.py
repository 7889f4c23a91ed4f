"""Plan page: the working list to read and to print, nothing fetched from outside."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightcheck import __version__
from lightcheck.plan.product import LEAVE, PLANE, REFUSED
from lightcheck.report import plan_words as words
from lightcheck.report.look import address, template
from lightcheck.report.plan_plot import plan_png
from lightcheck.report.plan_words import Heading
from lightcheck.units import height_words, inch_fraction

if TYPE_CHECKING:
    from lightcheck.plan import Plan, Task, Tool


def page(plan: Plan, heading: Heading) -> str:
    """The page as text."""

    facts = (heading.side, f"pass {heading.one_pass}" if heading.one_pass else "", heading.date)
    return template("plan.html").render(
        title=heading.part or "Working list",
        facts=", ".join(f for f in facts if f),
        verdict=words.verdict(plan),
        notes=plan.notes,
        picture=address(plan_png(plan, heading)),
        tasks=[_task(t, heading) for t in plan.tasks],
        lows=[
            {
                "name": low.spot.number,
                "low": f"{abs(low.spot.height_mm):.2f}",
                "where": words.where_words(low.where, low.spot.place, heading),
                "words": words.low_words(low),
            }
            for low in plan.lows
        ],
        tools=[_tool(t) for t in plan.wish.tools],
        cautions=words.CAUTIONS,
        version=f"lightcheck {__version__}",
    )


def _task(task: Task, heading: Heading) -> dict:
    spot = task.spot
    what = {PLANE: words.how_words(task), LEAVE: "leave for the longboard", REFUSED: "DO NOT PLANE YET"}
    return {
        "name": task.name,
        "no": task.do == REFUSED,
        "what": what[task.do],
        "height": height_words(spot.height_mm, sigma_mm=spot.sigma_mm),
        "lines": [(n, w) for n, w in _lines(task, heading) if w],
    }


def _lines(task: Task, heading: Heading):
    """Name and words of each line under a task."""
    where = words.where_words(task.where, task.spot.place, heading)
    yield "Where", where if where == task.spot.place else f"{where} ({task.spot.place})"
    yield (
        "How wide",
        f"{task.long_mm:.0f} mm along the stroke, {task.wide_mm:.0f} mm across it, at half height",
    )
    if task.do == PLANE:
        inches = inch_fraction(task.take_mm, sigma_mm=task.spot.sigma_mm)
        about = inches if inches.startswith("<") else f"about {inches}"
        yield "Take off", f"{task.take_mm:.2f} mm, {about}"
        yield "Grain", words.stroke_words(task)
        yield "Stop", "; ".join(task.stop)
    yield "Why" if task.do != PLANE else "Mind", task.reason
    yield "Keep off", "; ".join(task.avoid)
    yield "Unsure", "; ".join(str(d) for d in task.spot.doubts)


def _tool(tool: Tool) -> str:
    return (
        f"{tool.name}: sole {tool.length_mm:.0f} x {tool.width_mm:.0f} mm, shaving {tool.shaving_mm:g} mm, "
        f"{inch_thou(tool.shaving_mm)}"
    )


def inch_thou(length_mm: float) -> str:
    """A shaving in thousandths of an inch."""
    return f"{length_mm / 0.0254:.1f} thou"
