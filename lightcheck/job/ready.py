"""Readiness: how far a pass is, against the builder's own tolerances, with the chance of each state.

Every draw of the map is judged on its own (`laid` says what a draw's gap is). With `over` the most by
which a gap goes beyond its tolerance,

    over <= 0                  ready for planking
    over <= for the longboard  ready for the longboard: what is over is what is left for it
    over <= left by roughing   plane
    beyond                     rough

A state counts as reached when the share of draws that are there or further is `SURE`. The tolerances are
the builder's; no state is any standard's.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import fmean, median, pstdev

from lightcheck.job.settings import Settings, Tolerance

STATES = ("rough", "plane", "ready for the longboard", "ready for planking")
SURE = 0.8  # chance from which a state counts as reached: own choice
FINEST_SHARE = 1 / 3  # of a tolerance that its measurement may be off: precision rule of the precast trade
LEAST_SEEN = 0.9  # share of the wood below which the reader is reminded of the rest


@dataclass(frozen=True, slots=True, kw_only=True)
class Gaps:
    """Worst gap under straightedges laid anywhere, as it scatters, and what bounds the judgement.

    draws_mm: for each span, one number per draw; their median is the gap that was read.  shares: (height,
    share of the seen wood further than that from fair), heights increasing.  across_mm: the longer side of
    the patch.  seen: share of it.
    """

    draws_mm: tuple[tuple[float, tuple[float, ...]], ...]
    shares: tuple[tuple[float, float], ...]
    across_mm: float
    seen: float

    def at(self, over_mm: float) -> tuple[float, ...] | None:
        """Worst gap of every draw for one span, None where it was not laid."""
        return next((gaps for span, gaps in self.draws_mm if abs(span - over_mm) < 1e-6), None)

    def area_over(self, height_mm: float) -> float:
        """Share of the seen wood further from fair than a height, by straight lines between shares."""
        below = (0.0, 1.0)
        for height, share in self.shares:
            if height >= height_mm:
                part = (height_mm - below[0]) / max(height - below[0], 1e-9)
                return below[1] + part * (share - below[1])
            below = (height, share)
        return 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Within:
    """One tolerance: the worst gap (median of the draws), its give or take, the chance that it holds."""

    tolerance: Tolerance
    worst_mm: float
    sigma_mm: float
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Readiness:
    """State, the chance of each of STATES (they add up to 1), why in one sentence, and what limits it."""

    state: str
    chances: tuple[float, float, float, float]
    reason: str
    within: tuple[Within, ...]
    doubts: tuple[str, ...]

    @property
    def deciding(self) -> Within:
        """The tolerance that is furthest from being held."""
        return max(self.within, key=lambda w: w.worst_mm - w.tolerance.height_mm)


def judge(gaps: Gaps, settings: Settings) -> Readiness | None:
    """Readiness against the job's tolerances; None where it has none, or where they were not laid."""
    laid = [(t, gaps.at(t.over_mm)) for t in settings.tolerances]
    laid = [(t, g) for t, g in laid if g]
    if not laid:
        return None
    chances = chances_of(laid, settings)
    within = tuple(
        Within(
            tolerance=t,
            worst_mm=median(g),
            sigma_mm=pstdev(g),
            chance=fmean(v <= t.height_mm for v in g),
        )
        for t, g in laid
    )
    state = STATES[max(n for n in range(4) if sum(chances[n:]) >= SURE - 1e-9)]
    return Readiness(
        state=state,
        chances=chances,
        reason=_reason(state, chances, within, settings),
        within=within,
        doubts=tuple(_doubts(within, gaps, settings)),
    )


def chances_of(laid, settings: Settings, *, left: float = 1.0) -> tuple[float, float, float, float]:
    """Chance of each state. laid: (tolerance, gaps of the draws).  left: share of each gap that stays."""
    limits = (settings.roughed_mm, settings.for_longboard_mm, 0.0)
    counts = [0, 0, 0, 0]
    draws = list(zip(*(g for _, g in laid), strict=True))
    for gaps in draws:
        over = max(left * g - t.height_mm for g, (t, _) in zip(gaps, laid, strict=True))
        counts[sum(over <= limit for limit in limits)] += 1
    return tuple(c / len(draws) for c in counts)


def _reason(state: str, chances, within: tuple[Within, ...], settings: Settings) -> str:
    """Why, in one sentence."""
    worst = max(within, key=lambda w: w.worst_mm - w.tolerance.height_mm)
    gap = f"the worst gap under a straightedge of {worst.tolerance.over_mm:g} mm is {worst.worst_mm:.2f} mm"
    allowed = f"you allow {worst.tolerance.height_mm:g} mm"
    over = worst.worst_mm - worst.tolerance.height_mm
    further = STATES.index(state) + 1
    if state == STATES[3]:
        return f"Every tolerance is held: {gap}, and {allowed}."
    if sum(chances[further:]) >= 0.5:
        return (
            f"Most likely {STATES[further]}, but not surely enough ({percent(sum(chances[further:]))}): "
            f"{gap}, give or take {max(worst.sigma_mm, 0.01):.2f}, and {allowed}."
        )
    if state == STATES[2]:
        return (
            f"What is over is no more than the {settings.for_longboard_mm:g} mm left for the longboard: "
            f"{gap}, and {allowed}."
        )
    left = settings.for_longboard_mm if state == STATES[1] else settings.roughed_mm
    whose = "the longboard" if state == STATES[1] else "the plane"
    return (
        f"{gap[0].upper()}{gap[1:]}, {over:.2f} over the {worst.tolerance.height_mm:g} you allow: more than "
        f"the {left:g} mm left for {whose}."
    )


def _doubts(within: tuple[Within, ...], gaps: Gaps, settings: Settings):
    for one in within:
        tolerance = one.tolerance
        if one.sigma_mm > FINEST_SHARE * tolerance.height_mm:
            yield (
                f"{tolerance} is finer than this map can tell (give or take {one.sigma_mm:.2f}): "
                "add photos with the lamp on a third side."
            )
        if tolerance.over_mm > gaps.across_mm:
            yield f"{tolerance}: only {gaps.across_mm:.0f} mm of the wood was seen in one piece."
        if tolerance.over_mm > max(settings.longest_mm):
            yield (
                f"{tolerance} is judged in part only: waves longer than {max(settings.longest_mm):g} mm "
                f'are taken for the shape of the boat. Set longest = "{tolerance.over_mm:g}mm" in job.toml.'
            )
    if gaps.seen < LEAST_SEEN:
        yield f"{percent(1 - gaps.seen)} of the wood was not measured and is not judged."


def percent(share: float) -> str:
    """Never 0 or 100 unless it is."""
    if 0 < share < 1:
        share = min(max(share, 0.01), 0.99)
    return f"{100 * share:.0f} %"
