"""Batten: a springy stick laid along a line; it rests on the highs and shows daylight over the rest.

    o-----___            ___-----o - - x - - x     o held to the wood by hand    x typed points of a part
     \\___    ``--.....--``    ___/                                               that is not there yet
         ```---_______---```

A free end carries no bend, so from the last place that holds it to the last but one the batten runs
straighter than a fair curve would: that span is doubtful. A batten that runs on over the part that is to
come keeps its bend, best with the angle at its far end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.lay import wood as _wood
from lightcheck.lay.bench import STEP_MM, Bench, on_bench
from lightcheck.lay.contact import GIVE_N_MM3, Contact, Stick, settle
from lightcheck.lay.product import Laid, Over, Stretch, one_spread, over, runs, unseen
from lightcheck.lay.wood import Wood

_APART_MM = 12.0  # between battens laid over a whole map
_MAP_DRAWS = 8
_LEAST_PUSH_N = 1e-3
_SHORT_STEPS = 3  # a span so short is not worth a doubt
CLOSE_MM = 40.0  # places that hold nearer than this count as one: own choice
FREE_END = "a free end runs straight here"


@dataclass(frozen=True, slots=True, kw_only=True)
class Batten:
    """stiffness_nmm2: E I.  width_mm: across the line.  scatter: one sigma of the stiffness, as a share."""

    stiffness_nmm2: float
    width_mm: float
    scatter: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no batten."""
        if not (self.stiffness_nmm2 > 0 and self.width_mm > 0):
            raise LightcheckError(
                "A batten needs a width and some stiffness.", "Type it like --batten 20mm,6mm,spruce."
            )

    @property
    def words(self) -> str:
        """What a reader is told it is."""
        return f"batten, stiffness {self.stiffness_nmm2 / 1e6:.3g} N m²"


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """How a batten is held. Places are mm along the line from where its wood begins.

    by_hand_mm: pressed to the wood there; None for both ends of the wood (only the first where the batten
    runs on).  weights: (place, N).  beyond: (place, height above the straight line through the wood at
    both ends of the line) of a part that is not there yet.  end_rad: lean of the far end to that line.
    """

    by_hand_mm: tuple[float, ...] | None = None
    weights: tuple[tuple[float, float], ...] = ()
    beyond: tuple[tuple[float, float], ...] = ()
    end_rad: float | None = None


def batten(on: Wood, start_mm, end_mm, *, stick: Batten, held: Held | None = None) -> Laid:
    """A batten along the line from start to end. Refuses holds and weights that are not on it."""
    held = held or Held()
    bench = on_bench(on, (start_mm, end_mm), reach_mm=max([0.0, *(p for p, _ in held.beyond)]))
    rng = np.random.default_rng(2)
    factors = np.exp(stick.scatter * rng.standard_normal(len(bench.wood)))
    factors[0] = 1.0
    rests = [_lay(bench, w, stick, held, f) for w, f in zip(bench.wood, factors, strict=True)]
    light = np.array([r.place_mm - w for r, w in zip(rests, bench.wood, strict=True)])
    known = np.isfinite(light[0]) & bench.seen
    worst = np.where(known, np.nan_to_num(light), -1.0).max(axis=1)
    where = int(np.where(known, np.nan_to_num(light[0]), -1.0).argmax())
    touching = tuple(_touching(bench, rests[0], held))
    spread = light[1:].std(axis=0, ddof=1) if len(light) > 2 else np.full(len(bench.at), np.nan)
    return Laid(
        tool=stick.words,
        along_mm=frozen(bench.at),
        place_mm=frozen(bench.place),
        wood_mm=frozen(np.where(bench.seen, bench.wood[0], np.nan)),
        tool_mm=frozen(rests[0].place_mm),
        daylight_mm=frozen(np.where(bench.seen, np.maximum(light[0], 0.0), np.nan)),
        sigma_mm=frozen(np.where(known, spread, np.nan)),
        least_mm=frozen(np.full(len(bench.at), np.nan)),
        worst_mm=max(0.0, float(worst[0])),
        worst_sigma_mm=one_spread(worst[1:]),
        worst_along_mm=float(bench.at[where]),
        touching=touching,
        doubtful=(*_free_ends(bench, touching, held),
                  *unseen(bench.at, bench.seen, np.arange(bench.last + 1))),
    )  # fmt: skip


def batten_over(on: Wood, *, stick: Batten, turn_rad: float = 0.0) -> Over:
    """Daylight under battens laid side by side over the whole map, each held at both ends of its wood."""
    lines = _wood.across_map(on, turn_rad=turn_rad, step_mm=STEP_MM, apart_mm=_APART_MM)
    z = np.concatenate([lines.points_mm[None, :, :, 2], lines.draws_mm[:_MAP_DRAWS]])
    light = np.full(z.shape, np.nan)
    for row in range(z.shape[1]):
        wood = np.flatnonzero(np.isfinite(z[0, row]))
        if len(wood) < 10:
            continue
        columns = slice(wood[0], wood[-1] + 1)
        one = lines.part(row, row)
        _, up = _wood.in_frame(one, z[:, row : row + 1], middle=int(wood[len(wood) // 2]), columns=columns)
        for draw, heights in enumerate(up[:, 0]):
            rest = settle(_stick(stick, lines.step_mm, heights), heights, np.zeros(len(heights)))
            light[draw, row, columns] = np.maximum(rest.place_mm - heights, 0.0)
    return over(
        on,
        value=_wood.back_on_grid(on, lines, light[0]),
        sigma=_wood.back_on_grid(on, lines, np.nan_to_num(light[1:]).std(axis=0)),
        draws=np.nan_to_num(light[1:]).max(axis=(1, 2)),
        tool=stick.words,
        what="daylight",
        turn_rad=turn_rad,
    )


def _lay(bench: Bench, wood: np.ndarray, stick: Batten, held: Held, factor: float) -> Contact:
    """One batten on one draw's wood."""
    end = bench.at[bench.last]
    hands = held.by_hand_mm
    if hands is None:
        hands = (0.0,) if held.beyond else (0.0, end)
    holds = [(i, float(wood[i])) for i in (_index(bench, p, "held", wood) for p in hands)]
    holds += _typed(bench, wood, held)
    load = np.zeros(len(wood))
    for place, newton in held.weights:
        i = min(int(place / bench.step), len(load) - 2)
        if not 0 <= place <= bench.at[-1]:
            raise _off(bench, place, "weighed down")
        share = place / bench.step - i
        load[i] += newton * (1 - share)
        load[i + 1] += newton * share
    slope = None
    if held.end_rad is not None:
        slope = float(np.diff(bench.chord_mm([0.0, end]))[0]) / end + float(np.tan(held.end_rad))
    one = Stick(
        stiffness_nmm2=stick.stiffness_nmm2 * factor,
        step_mm=bench.step,
        give_n_mm=GIVE_N_MM3 * stick.width_mm * bench.step,
        hold=tuple(dict(holds).items()),
        end_slope=slope,
    )
    return settle(one, wood, load)


def _typed(bench: Bench, wood: np.ndarray, held: Held) -> list[tuple[int, float]]:
    """Typed points at the nearest points of the batten, moved along the straight line between them."""
    if not held.beyond:
        return []
    end = bench.at[bench.last]
    places, heights = np.array(sorted(held.beyond)).T
    if places[0] <= end:
        raise LightcheckError(
            f"The point at {places[0]:g} mm is on the wood, which ends at {end:.0f} mm.",
            "Give points of the part that is not there yet, further along the line.",
        )
    heights = heights + bench.chord_mm(places)
    index = np.round(places / bench.step).astype(int)
    at = np.interp(bench.at[index], np.r_[end, places], np.r_[wood[bench.last], heights])
    beyond_last = bench.at[index] > places[-1]
    if beyond_last.any():
        before = (end, wood[bench.last]) if len(places) == 1 else (places[-2], heights[-2])
        lean = (heights[-1] - before[1]) / (places[-1] - before[0])
        at[beyond_last] = heights[-1] + lean * (bench.at[index][beyond_last] - places[-1])
    return [(int(i), float(h)) for i, h in zip(index, at, strict=True)]


def _index(bench: Bench, place: float, word: str, wood: np.ndarray) -> int:
    """The nearest point with wood, within two steps."""
    near = np.flatnonzero(np.isfinite(wood) & (np.abs(bench.at - place) <= 2 * bench.step + 1e-6))
    if not len(near):
        raise _off(bench, place, word)
    return int(near[np.abs(bench.at[near] - place).argmin()])


def _off(bench: Bench, place: float, word: str) -> LightcheckError:
    return LightcheckError(
        f"There is no wood {place:g} mm along the line, where the batten is to be {word}.",
        f"The wood reaches from 0 to {bench.at[bench.last]:.0f} mm; leave out places that were not seen.",
    )


def _stick(stick: Batten, step: float, heights: np.ndarray) -> Stick:
    ends = ((0, float(heights[0])), (len(heights) - 1, float(heights[-1])))
    return Stick(
        stiffness_nmm2=stick.stiffness_nmm2,
        step_mm=step,
        give_n_mm=GIVE_N_MM3 * stick.width_mm * step,
        hold=ends,
    )


def _touching(bench: Bench, rest: Contact, held: Held):
    """Where it rests and where it is held, along the line; a hand's push down is a force below 0."""
    found = [
        Stretch(from_mm=float(bench.at[a]), to_mm=float(bench.at[b]), what="rests here",
                force_n=float(rest.push_n[a : b + 1].sum()))
        for a, b in runs(rest.push_n > _LEAST_PUSH_N)
    ]  # fmt: skip
    for index, force in zip(rest.held_at, rest.grip_n, strict=True):
        at = float(bench.at[index])
        beyond = index > bench.last
        found.append(
            Stretch(from_mm=at, to_mm=at, what="typed point" if beyond else "held by hand", force_n=force)
        )
    return sorted(found, key=lambda s: s.from_mm)


def _free_ends(bench: Bench, touching: tuple[Stretch, ...], held: Held):
    """From the last place that holds it to the last but one, on each side that is free.

    Two places close together hold too little bend to count as more than one.
    """
    if len(touching) < 2:
        yield Stretch(from_mm=0.0, to_mm=float(bench.at[-1]), what=FREE_END)
        return
    least, length = _SHORT_STEPS * bench.step, float(bench.at[-1])
    first, last = touching[0].from_mm, touching[-1].to_mm
    ahead = next((s.from_mm for s in touching[1:] if s.to_mm - first >= CLOSE_MM), last)
    if ahead - first > least:
        yield Stretch(from_mm=0.0, to_mm=ahead, what=FREE_END)
    back = next((s.to_mm for s in touching[-2::-1] if last - s.from_mm >= CLOSE_MM), first)
    if held.end_rad is None and last - back > least:
        yield Stretch(from_mm=back, to_mm=length, what=FREE_END)
