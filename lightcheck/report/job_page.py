"""Job page: the whole job on one printable page, its pictures inside, nothing fetched from outside."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightcheck import __version__
from lightcheck.job.ready import STATES, percent
from lightcheck.report import job_words
from lightcheck.report.look import address, template

if TYPE_CHECKING:
    from lightcheck.job import Overview, Row, Settings

CAUTIONS = (
    "These states say how fair the wood is, never how strong. How thin the part may become is for its "
    "designer, class rules or a surveyor; this tool does not know what is left under the plane.",
    "Thin planking hides nothing: feel along it, lay a batten on it and look along the light as well.",
    "Look for hidden fasteners before the plane goes over a spot, and keep hands behind the blade.",
    "Sanding with the longboard makes wood dust: wear a mask and collect it.",
)  # common practice, no source


def page(view: Overview, *, strip: bytes | None, gaps: bytes | None) -> str:
    """The whole page. strip, gaps: the pictures, None where there are none."""
    held, last = view.job.settings, view.last
    now = last.readiness if last is not None and last.current else None
    return template("job.html").render(
        title=job_words.title(held),
        verdict=_verdict(view),
        reason=now.reason if now else "",
        chances=_chances(now) if now else [],
        gain=view.gain,
        warnings=[*view.told, *(now.doubts if now else ())],
        strip=address(strip),
        gaps=address(gaps),
        finest=_finest(held),
        passes=[_pass(row) for row in view.rows],
        within=[_within(w) for w in now.within] if now else [],
        tolerances=job_words.tolerances(held),
        ladder=job_words.ladder(held),
        settings=_settings(held),
        cautions=CAUTIONS,
        originals=job_words.ORIGINALS,
        version=__version__,
    )


def _verdict(view: Overview) -> str:
    last = view.last
    if last is None:
        return "No pass yet."
    if last.made is None:
        return f"Pass {last.one.number} has no map yet."
    if last.readiness is None or not last.current:
        return f"After pass {last.one.number}: highest {last.made.worst_hump_mm:+.2f} mm."
    return f"After pass {last.one.number}: {last.readiness.state}."


def _finest(held: Settings) -> str:
    finest = min((t.height_mm for t in held.tolerances), default=None)
    return f"{held.least_mm:g} mm, the least height" if finest is None else f"{finest:g} mm"


def _chances(now) -> list[tuple[str, str, float, bool]]:
    return [
        (state, percent(share), round(100 * share, 1), state == now.state)
        for state, share in zip(STATES, now.chances, strict=True)
    ]


def _pass(row: Row) -> dict:
    one, made = row.one, row.made
    cells = ["-"] * 5
    if made is not None:
        heights = (f"{h:+.2f}".replace("-", "−") for h in (made.worst_hump_mm, made.worst_hollow_mm))
        cells = [*heights, f"{made.mean_mm:.2f}", f"{made.come_off_mm:.2f}", percent(made.seen)]
    return {
        "number": one.number,
        "added": one.added[:16].replace("T", " "),
        "note": one.note,
        "photos": len(one.photos),
        "cells": cells,
        "state": job_words.state(row),
    }


def _within(one) -> tuple[str, str, str]:
    gap = f"{one.worst_mm:.2f} mm, give or take {max(one.sigma_mm, 0.01):.2f}"
    return str(one.tolerance), gap, percent(one.chance)


def _settings(held: Settings) -> list[tuple[str, str]]:
    """What the builder set, as (name, words); what was not set is left out."""
    longest = " along, ".join(f"{v:g} mm" for v in dict.fromkeys(held.longest_mm))
    planking = f"{held.planking_mm:g} mm" if held.planking_mm else ""
    rows = [
        ("Planking", ", ".join(p for p in (planking, held.species) if p)),
        ("Stations", ", ".join(f"{name} at {place:g} mm" for name, place in held.stations)),
        ("Least height", f"{held.least_mm:g} mm"),
        ("Longest hump that counts", longest + (" across" if "along" in longest else "")),
        ("Left for the longboard", f"{held.for_longboard_mm:g} mm"),
        ("Tools", "; ".join(_tool(t) for t in held.tools)),
        ("Lamp places", "; ".join(f"{name}: {place}" for name, place in held.lamps)),
    ]
    return [(name, text) for name, text in rows if text]


def _tool(tool) -> str:
    sole = " x ".join(f"{v:g}" for v in (tool.length_mm, tool.width_mm) if v)
    parts = [tool.name, f"sole {sole} mm" if sole else ""]
    parts.append(f"shaving {tool.shaving_mm:g} mm" if tool.shaving_mm else "")
    return ", ".join(p for p in parts if p)
