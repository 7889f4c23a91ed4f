"""Job words: the passes of a job as lines for the terminal and as one object for other programs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightcheck.job.ready import STATES, SURE, percent

if TYPE_CHECKING:
    from lightcheck.job.overview import Overview, Row
    from lightcheck.job.settings import Settings

SCHEMA = 1
OWN = "Your own tolerances, no standard's."
ORIGINALS = (
    "The photos in originals/ are kept as they came, with all that the phone wrote into them, such as "
    "where they were taken. Nothing made from them repeats it."
)
_HEAD = (
    f"{'pass':>4}  {'added':<16}  {'photos':>6}  {'worst hump':>10}  {'hollow':>8}  {'mean':>5}  {'seen':>5}"
)


def title(held: Settings) -> str:
    """Part, side and bow in one line."""
    side = "" if held.side == "none" or held.side in held.part.lower() else f", {held.side}"
    bow = (
        "" if held.bow == "none" else f", bow {'to the ' if held.bow in ('left', 'right') else ''}{held.bow}"
    )
    return f"{held.part}{side}{bow}"


def tolerances(held: Settings) -> str:
    """The builder's tolerances in one sentence."""
    if not held.tolerances:
        return "No tolerance is set in job.toml, so nothing is said about when to stop."
    return f"Tolerances: {'; '.join(map(str, held.tolerances))}. {OWN}"


def ladder(held: Settings) -> tuple[str, str]:
    """What the four states mean with the amounts of this job."""
    return (
        "Ready for planking: no gap is over what you allow. Ready for the longboard: the worst gap is over "
        f"by no more than the {held.for_longboard_mm:g} mm left for it. Plane: over by no more than the "
        f"{held.roughed_mm:g} mm left by roughing. Rough: over by more. A state counts as reached at a "
        f"chance of {percent(SURE)}.",
        "The two amounts left are a starting point, common practice, no source, and stand in job.toml for "
        "you to change; no document sets a limit of fairness for a wooden hull.",
    )


def state(row: Row) -> str:
    """State of a pass in a word or two."""
    if row.made is None:
        return "no map yet"
    if not row.current:
        return "map is of earlier settings"
    return row.readiness.state if row.readiness else "-"


def lines(view: Overview) -> list[str]:
    """The whole job for the terminal."""
    text = [title(view.job.settings), tolerances(view.job.settings)]
    if not view.rows:
        return [*text, "No pass yet. Add one with lightcheck job add."]
    text += ["", _HEAD, *(_line(row) for row in view.rows), "Heights in mm from the fair surface."]
    if any(not row.current for row in view.rows):
        text.append(f"To make a map that is wanting: lightcheck job show {view.job.folder} --pass N")
    return [*text, *readiness(view)]


def _line(row: Row) -> str:
    one = row.one
    start = f"{one.number:>4}  {one.added[:16].replace('T', ' '):<16}  {len(one.photos):>6}  "
    if row.made is None:
        return f"{start}no map yet{_note(row)}"
    made = row.made
    return (
        f"{start}{made.worst_hump_mm:>+10.2f}  {made.worst_hollow_mm:>+8.2f}  {made.mean_mm:>5.2f}  "
        f"{percent(made.seen):>5}  {state(row)}{_note(row)}"
    )


def _note(row: Row) -> str:
    return f"  ({row.one.note})" if row.one.note else ""


def readiness(view: Overview) -> list[str]:
    """State of the last pass, why, the chances, each tolerance, what limits it, and what is to gain."""
    last = view.last
    if last is None or last.readiness is None or not last.current:
        return []
    now = last.readiness
    text = ["", f"After pass {last.one.number}: {now.state}. {now.reason}", f"  {chances(now.chances)}"]
    for one in now.within:
        text.append(
            f"  {one.tolerance}: worst gap {one.worst_mm:.2f} mm, give or take "
            f"{max(one.sigma_mm, 0.01):.2f}, held with a chance of {percent(one.chance)}"
        )
    text += [f"  But: {doubt}" for doubt in now.doubts]
    return [*text, *([view.gain] if view.gain else [])]


def chances(shares) -> str:
    """The chance of each state in one line."""
    return ", ".join(f"{state} {percent(share)}" for state, share in zip(STATES, shares, strict=True))


def pass_lines(row: Row) -> list[str]:
    """One pass with its photos and lamps."""
    one = row.one
    text = [f"Pass {one.number}, added {one.added[:16].replace('T', ' ')}{_note(row)}"]
    for photo, (typed, place) in zip(one.photos, one.lamps, strict=True):
        lamp = typed if typed == place else f"{typed}, which stood for {place}"
        lost = f"  {photo.lost}" if photo.lost else ""
        text.append(f"  {photo.name}  lamp {lamp}{lost}")
    if row.made is None:
        return [*text, "  No map yet."]
    made = row.made
    return [
        *text,
        f"  Highest {made.worst_hump_mm:+.2f} mm, lowest {made.worst_hollow_mm:+.2f} mm, "
        f"{made.humps} humps, {made.hollows} hollows, most to come off {made.come_off_mm:.2f} mm",
        f"  {one.map_folder / 'report.html'}",
    ]


def as_object(view: Overview) -> dict:
    """The job as one object for other programs."""
    held = view.job.settings
    return {
        "schema": SCHEMA,
        "part": held.part,
        "side": held.side,
        "bow": held.bow,
        "tolerances": [{"height_mm": t.height_mm, "over_mm": t.over_mm} for t in held.tolerances],
        "passes": [pass_object(row) for row in view.rows],
        "gain": view.gain or None,
        "told": list(view.told),
    }


def pass_object(row: Row) -> dict:
    """One pass as an object."""
    one, made, now = row.one, row.made, row.readiness
    return {
        "pass": one.number,
        "added": one.added,
        "note": one.note,
        "photos": [{"name": p.name, "sha256": p.sha256, "lost": p.lost} for p in one.photos],
        "lamps": [{"typed": typed, "place": place} for typed, place in one.lamps],
        "map": None
        if made is None
        else {
            "folder": str(one.map_folder),
            "current": made.current,
            "worst_hump_mm": made.worst_hump_mm,
            "worst_hollow_mm": made.worst_hollow_mm,
            "mean_mm": made.mean_mm,
            "come_off_mm": made.come_off_mm,
            "seen_share": made.seen,
        },
        "readiness": None
        if now is None or not row.current
        else {
            "state": now.state,
            "chances": dict(zip(STATES, now.chances, strict=True)),
            "reason": now.reason,
            "within": [
                {
                    "height_mm": w.tolerance.height_mm,
                    "over_mm": w.tolerance.over_mm,
                    "worst_mm": round(w.worst_mm, 4),
                    "sigma_mm": round(w.sigma_mm, 4),
                    "chance": w.chance,
                }
                for w in now.within
            ],
            "doubts": list(now.doubts),
        },
    }
