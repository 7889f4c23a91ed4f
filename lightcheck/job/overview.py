"""Overview: every pass of a job with its map's figures and its readiness, as far as they are made.

Reading an overview computes nothing, so a long job lists at once. `bring_up` makes what is wanted and not
there; it takes the lock only where there is something to make.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from lightcheck import __version__
from lightcheck.job import gain, laid, ready, result
from lightcheck.job.opened import Job, open_job, without_pass
from lightcheck.job.passes import Pass
from lightcheck.job.ready import Gaps, Readiness
from lightcheck.job.result import Made, MakeMap
from lightcheck.job.work import changing


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One pass; None for what is not made yet or does not belong to the settings as they stand."""

    one: Pass
    made: Made | None
    gaps: Gaps | None
    readiness: Readiness | None

    @property
    def current(self) -> bool:
        """Whether its map is there and made from what stands in the job now."""
        return self.made is not None and self.made.current


@dataclass(frozen=True, slots=True, kw_only=True)
class Overview:
    """A job at a glance. gain: what one more pass would bring, empty where it can not be told."""

    job: Job
    rows: tuple[Row, ...]
    gain: str
    told: tuple[str, ...]

    @property
    def last(self) -> Row | None:
        """The last pass, None where there is none."""
        return self.rows[-1] if self.rows else None


def look(job: Job) -> Overview:
    """Everything that is known without computing."""
    rows = tuple(_row(job, one) for one in job.passes)
    told = list(job.told)
    if loose := without_pass(job):
        told.append(
            f"{len(loose)} of the photos in originals/ belong{'s' if len(loose) == 1 else ''} to no pass: "
            "an add was cut short. They do no harm; add the pass again."
        )
    told += _older(rows)
    return Overview(job=job, rows=rows, gain=_gain(job, rows), told=tuple(told))


def _older(rows: tuple[Row, ...]):
    """Two versions may read one photo a little differently, so it is told where they are mixed."""
    versions = {row.made.version for row in rows if row.made is not None}
    if len(versions) > 1:
        old = [str(r.one.number) for r in rows if r.made is not None and r.made.version != __version__]
        yield (
            f"Maps made by another version of lightcheck: pass {', '.join(old)}. To make one again: "
            "lightcheck job show --pass N --again."
        )


def _row(job: Job, one: Pass) -> Row:
    made, gaps = result.made(job, one), laid.kept(job, one)
    return Row(one=one, made=made, gaps=gaps, readiness=ready.judge(gaps, job.settings) if gaps else None)


def _gain(job: Job, rows: tuple[Row, ...]) -> str:
    if not rows or rows[-1].readiness is None or rows[-1].made is None:
        return ""
    now = rows[-1]
    over = now.readiness.deciding.tolerance.over_mm
    earlier = tuple(
        within.worst_mm
        for row in rows[:-1]
        if row.readiness is not None
        for within in row.readiness.within
        if within.tolerance.over_mm == over
    )
    return gain.one_more(now.readiness, now.gaps, earlier, job.settings, come_off_mm=now.made.come_off_mm)


def bring_up(
    folder: Path,
    numbers: Sequence[int],
    make_map: MakeMap,
    *,
    tell: Callable[[str], None] = lambda _: None,
    again: bool = False,
) -> Overview:
    """See that the maps of these passes are there and current, and their gaps laid.

    tell: hears what is being done.  again: make the maps anew. Refuses where a map can not be made.
    Returns the overview after it.
    """
    held = open_job(folder)
    if again or any(_wanting(held, held.get(n)) for n in numbers):
        with changing(Path(folder), "job show") as (held, _):
            for one in (held.get(n) for n in numbers):
                there = result.made(held, one)
                if again or there is None or not there.current:
                    tell(f"Making the map of pass {one.number}.")
                    result.make(held, one, make_map, again=again)
                if held.settings.tolerances and laid.kept(held, one) is None:
                    tell(f"Laying straightedges on pass {one.number}.")
                    laid.lay(held, one)
    return look(open_job(folder))


def _wanting(held: Job, one: Pass) -> bool:
    there = result.made(held, one)
    if there is None or not there.current:
        return True
    return bool(held.settings.tolerances) and laid.kept(held, one) is None
