"""Gain: what one more pass would most likely bring, from what earlier passes brought.

A pass takes a share of what stands out, so the worst gaps of one pass after the other fall roughly as a
geometric row. Its ratio over the last steps, applied to every draw, gives what the next pass would leave.
Without an earlier pass, what is to come off and the shaving of the plane have to do.
"""

from __future__ import annotations

import math

from lightcheck.job.ready import STATES, Gaps, Readiness, chances_of, percent
from lightcheck.job.settings import BenchTool, Settings

STEPS = 3  # passes back that the ratio is taken from
NOTHING = 0.95  # ratio from which a pass is said to bring nothing


def one_more(
    now: Readiness, gaps: Gaps, earlier_mm: tuple[float, ...], settings: Settings, *, come_off_mm: float
) -> str:
    """What one more pass would gain, in a sentence or two.

    earlier_mm: worst gaps of the passes before, under the straightedge that decides now, the latest last.
    come_off_mm: most wood above the cut-only target anywhere.
    """
    if now.state == STATES[3]:
        return "One more pass would gain nothing that your tolerances ask for: stop here."
    if earlier_mm:
        return _by_rate(now, gaps, earlier_mm, settings)
    return _by_shaving(now, settings, come_off_mm)


def ratio(worst_mm: tuple[float, ...]) -> float:
    """Share of the worst gap that a pass left, over the last steps; worst_mm in order of the passes."""
    last = worst_mm[-(STEPS + 1) :]
    return (max(last[-1], 1e-4) / max(last[0], 1e-4)) ** (1 / (len(last) - 1))


def _by_rate(now: Readiness, gaps: Gaps, earlier_mm: tuple[float, ...], settings: Settings) -> str:
    worst = now.deciding
    row = (*earlier_mm, worst.worst_mm)[-(STEPS + 1) :]
    left = ratio(row)
    so_far = " to ".join(f"{g:.2f}" for g in row) + " mm"
    if left >= NOTHING:
        return (
            f"One more pass like the last would most likely gain nothing: the worst gap went from {so_far}. "
            "Look where it is and take another tool or another way to it."
        )
    after = left * worst.worst_mm
    text = (
        f"One more pass would most likely leave a worst gap of {after:.2f} mm, as it went from {so_far} "
        "so far"
    )
    if worst.worst_mm - after < worst.sigma_mm:
        return f"{text}; that is less of a gain than this map can tell (give or take {worst.sigma_mm:.2f})."
    goal = STATES.index(now.state) + 1
    laid = [(t, g) for t in settings.tolerances if (g := gaps.at(t.over_mm))]
    chance = sum(chances_of(laid, settings, left=left)[goal:])
    return (
        f"{text}; the chance of being {STATES[goal]} would go from {percent(sum(now.chances[goal:]))} "
        f"to {percent(chance)}."
    )


def _by_shaving(now: Readiness, settings: Settings, come_off_mm: float) -> str:
    goal = STATES[STATES.index(now.state) + 1]
    left = settings.for_longboard_mm if now.state in STATES[:2] else 0.0
    off = come_off_mm - left
    start = f"There is no earlier pass to go by. {come_off_mm:.2f} mm is to come off where it is most"
    if off <= 0:
        return f"{start}, no more than is left for the longboard: try the longboard before the plane."
    tool = _tool(settings, longboard=now.state == STATES[2])
    strokes = ""
    if tool is not None:
        count = math.ceil(round(off / tool.shaving_mm, 6))
        strokes = f", {count} stroke{'s' if count > 1 else ''} of the {tool.name} at {tool.shaving_mm:g} mm"
    leave = f"; leave {left:g} mm of it for the longboard and take off {off:.2f} mm" if left else ""
    return f"{start}{leave}{strokes}. That would most likely bring it to {goal}."


def _tool(settings: Settings, *, longboard: bool) -> BenchTool | None:
    """The tool with the thickest shaving of the right kind, None where none has a shaving."""
    fit = [t for t in settings.tools if t.shaving_mm and (t.kind == "longboard") == longboard]
    return max(fit, key=lambda t: t.shaving_mm, default=None)
