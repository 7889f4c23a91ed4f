"""The bottom panel of the demo: a job of three passes, its working list, and when to stop."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from lightcheck.cli.demo import comparison
from lightcheck.cli.demo_shots import lamp_words, shoot
from lightcheck.report.demo import Step

PANEL = "bottom-panel"
PART = "bottom panel"
TOLERANCE = "0.2mm over 300mm"
MARKS = (
    "centreline from -290mm,0mm to 290mm,0mm",
    "station 4 from 40mm,-205mm to 40mm,205mm",
    "fastener at 236mm,-20mm, 2mm deep",
)
HEAD = ("at x, y (mm)", "true", "found", "give or take", "spot")
TOOLS = """
[[tools]]
name = "jack plane"
sole_length = "355mm"
sole_width = "60mm"
shaving = "0.08mm"

[[tools]]
name = "block plane"
sole_length = "150mm"
sole_width = "50mm"
shaving = "0.04mm"
"""


def new_job(folder: Path) -> None:
    """Start the job, with a station and two tools filled in as by hand."""
    from lightcheck import job

    text = job.toml(part=PART, side="centre", bow="left", tolerances=(TOLERANCE,))
    job.create(folder, text.replace('# 4 = "1350mm"', '4 = "940mm"') + TOOLS)


def make_map(recipe, into: Path) -> None:
    """What a job calls where a map is wanted."""
    from lightcheck import humpmap, report

    report.write(humpmap.make(recipe), into)


def _add(out: Path, number: int, tell) -> tuple[tuple[str, ...], object]:
    """Photograph the panel and add the pass: the command's lines, and the pass."""
    from lightcheck import job
    from lightcheck.specimen import scenario

    visit, folder = scenario.passes()[number - 1], out / PANEL / "job"
    tell(f"Pass {number}: photographing the bottom panel, lamp left and lamp right.")
    photos, lamps = shoot(visit, out / PANEL / f"photos-{number}")
    tell(f"Pass {number}: mapping it.")
    with job.changing(folder, "job add") as (held, _):
        added = job.add(held, job.Shots(photos=photos, lamps=lamps, note=visit.note))
        job.make_or_drop(held, added, make_map)
    names = " ".join(f"{PANEL}/photos-{number}/{p.name}" for p in photos)
    typed = f"lightcheck job add {PANEL}/job {names} {lamp_words(lamps)}"
    return (typed,), added


def pass_one(out: Path, tell) -> Step:
    """The first pass: two photos, one map."""
    from lightcheck import stored
    from lightcheck.specimen import scenario

    typed, added = _add(out, 1, tell)
    new = f'lightcheck job new {PANEL}/job --part "{PART}" --side centre --bow left --tolerance "{TOLERANCE}"'
    spots = stored.read(added.map_folder).spots
    return first(scenario.passes()[0], spots, map_at=f"{PANEL}/job/passes/01/map", typed=(new, *typed))


def first(visit, spots, *, map_at: str, typed: tuple[str, ...]) -> Step:
    """The step that shows a first map."""
    return Step(
        title="Two photos become a map",
        words=(
            "The bottom panel lies bottom up on the mould, the bow to the left, as it came off the jack "
            "plane. Four printed cards lie on it. One photo with the lamp low on the left, one with the lamp "
            "low on the right.",
            "The map shows every hump and hollow with its height and how sure that is. Below it stands "
            "beside what was true: x and y from the middle of the cards, true heights from the panel's "
            "round.",
        ),
        typed=typed,
        open=(
            (f"{map_at}/report.html", "the map with its list, sections and cautions"),
            (f"{map_at}/spots.csv", "the same list for a spreadsheet"),
        ),
        picture=f"{map_at}/map.png",
        caption="The panel after pass 1: numbers are spots, hollows are hatched.",
        head=HEAD,
        rows=tuple(comparison(visit.board.humps, spots)),
    )


def working_list(out: Path, tell) -> Step:
    """Marks and the working list of the first pass."""
    from lightcheck import job, marks, plan, stored
    from lightcheck.report import plan as files
    from lightcheck.report.plan_plot import plan_png
    from lightcheck.report.plan_words import Heading

    tell("Making the working list and the page for the bench.")
    held = job.open_job(out / PANEL / "job")
    one = held.get(1)
    result = stored.read(one.map_folder)
    cards = tuple((c.card, float(c.x_mm), float(c.y_mm)) for c in result.cards)
    said = marks.Marks(marks=tuple(marks.read_mark(m, result.cards) for m in MARKS), cards=cards)
    (out / PANEL / "marks.toml").write_text(marks.text(said), encoding="utf-8")
    wish = plan.Wish(tools=job.bench(held.settings), leave_mm=held.settings.for_longboard_mm, fine_end="left")
    heading = Heading(part=PART, side="centre", bow="left", one_pass="1", date=one.added[:10])
    made = plan.make(result, marks.read(out / PANEL / "marks.toml", result.cards), wish)
    files.write(made, out / PANEL / "list", heading, full_size=True)
    (out / PANEL / "list.png").write_bytes(plan_png(made, heading))
    quoted = " ".join(f'"{m}"' for m in MARKS)
    return Step(
        title="What to plane, with what, and where to stop",
        words=(
            "What the photos can not show is marked once: the centreline, station 4, a fastener.",
            f"The list has {len(made.tasks)} humps to plane and {len(made.lows)} hollows to leave alone: "
            "which tool and how it is held, how many strokes, where to stop. bench.pdf is made to be taped "
            "on the mould and read from where you stand.",
        ),
        typed=(
            f"lightcheck mark {PANEL}/job/passes/01/map {quoted} -o {PANEL}/marks.toml",
            f"lightcheck job plan {PANEL}/job --marks {PANEL}/marks.toml --full-size -o {PANEL}/list",
        ),
        open=(
            (f"{PANEL}/list/plan.html", "the list in full"),
            (f"{PANEL}/list/bench.pdf", "one page to tape on the mould"),
            (f"{PANEL}/list/full-size.pdf", "sheets at 1:1 to lay on the wood and prick through"),
        ),
        picture=f"{PANEL}/list.png",
        caption="The working list on the wood.",
    )


def next_pass(out: Path, number: int, tell) -> Step:
    """A later pass against the one before."""
    from lightcheck import change, job, stored
    from lightcheck.report import change as files
    from lightcheck.specimen import scenario

    typed, _ = _add(out, number, tell)
    tell(f"Laying pass {number} on pass {number - 1}.")
    held = job.open_job(out / PANEL / "job")
    maps = [stored.read(held.get(n).map_folder) for n in (number - 1, number)]
    result = replace(change.compare(*maps), names=(f"pass {number - 1}", f"pass {number}"))
    at = f"{PANEL}/change-{number - 1}-{number}"
    files.write(result, out / at)
    visits = scenario.passes()
    title, words = _PASS_WORDS[number]
    return Step(
        title=title,
        words=words,
        typed=(*typed, f"lightcheck job compare {PANEL}/job {number - 1} {number} -o {at}"),
        open=(
            (f"{at}/change.html", "before, after and what changed, spot by spot"),
            (f"{PANEL}/job/passes/{number:02d}/map/report.html", f"the map of pass {number}"),
        ),
        picture=f"{at}/change.png",
        caption=f"Pass {number - 1}, pass {number} and the change, on one colour scale.",
        head=("at x, y (mm)", "true", "found", "give or take", "became"),
        rows=_changes(visits[number - 2].board.humps, visits[number - 1].board.humps, result.spots),
    )


_PASS_WORDS = {
    2: (
        "After planing: what went down, what went too far",
        (
            "Three humps were planed, and one of them was cut too far. The cards were taken off to plane and "
            "put back by hand a few millimetres off: the wood that stayed tells where everything lies.",
            "Look for 'cut too far': planing there must stop.",
        ),
    ),
    3: (
        "The last pass with the plane",
        (
            "The hump that had not been touched went down, and the wood round the hollows with it. No plane "
            "fills a hollow: it becomes shallower because the fair surface comes down.",
            "Small changes lie inside the noise, and the page says so.",
        ),
    ),
}


def _changes(before, after, spots) -> tuple[tuple[str, ...], ...]:
    """True and found change of height at each true hump that was listed before."""
    rows = []
    for old, new in zip(before, after, strict=True):
        spot = _at(old, spots)
        if spot is None or spot.change_mm is None:
            continue
        rows.append(
            (
                f"{old.x_mm:.0f}, {old.y_mm:.0f}",
                f"{new.height_mm - old.height_mm:+.2f}",
                f"{spot.change_mm:+.2f}",
                f"{max(spot.sigma_mm, 0.01):.2f}",
                spot.state,
            )
        )
    return tuple(rows)


def _at(hump, spots):
    """The spot of a change nearest to a hump."""
    near = [(np.hypot(s.x_mm - hump.x_mm, s.y_mm - hump.y_mm), s.spot, s) for s in spots]
    away, _, spot = min(near, default=(np.inf, "", None))
    return spot if away < 40 else None


def ready(out: Path, tell) -> Step:
    """How far the wood is, over all passes."""
    from lightcheck import job
    from lightcheck.report import job as files

    tell("Laying straightedges on all three passes.")
    view = job.bring_up(out / PANEL / "job", (1, 2, 3), make_map)
    files.write(view, out / PANEL / "passes")
    now = view.last.readiness
    return Step(
        title="When to lay the plane aside",
        words=(
            f"The shop allows itself {TOLERANCE} here; the tolerance is its own and no standard's. After "
            f"pass 3 the panel is {now.state}.",
            now.reason,
        ),
        typed=(f"lightcheck job show {PANEL}/job -o {PANEL}/passes",),
        open=(
            (f"{PANEL}/passes/job.html", "all passes on one page, with the chance of each state"),
            (f"{PANEL}/job/job.toml", "the job's own settings, to change by hand"),
        ),
        picture=f"{PANEL}/passes/strip.png",
        caption="The three passes side by side, and the curve of worst and mean.",
        head=("pass", "state", "worst gap under 300 mm", "give or take", "note"),
        rows=tuple(_state(row) for row in view.rows),
    )


def _state(row) -> tuple[str, ...]:
    worst = row.readiness.deciding
    return (
        str(row.one.number),
        row.readiness.state,
        f"{worst.worst_mm:.2f} mm",
        f"{max(worst.sigma_mm, 0.01):.2f}",
        row.one.note,
    )
