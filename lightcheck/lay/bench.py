"""Bench: one line over the wood made ready for a batten, and carried on over a part that is to come."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.lay import wood as _wood
from lightcheck.lay.wood import Wood

STEP_MM = 4.0  # between points of a batten


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bench:
    """A line ready to lay a batten on, its points `step` apart.

    at: (n,) along, from where the wood begins.  wood: (1 + k, n) heights of map and draws, NaN where there
    is none.  place: (n, 2) x, y.  seen: (n,).  last: where the wood ends.
    """

    at: np.ndarray
    wood: np.ndarray
    place: np.ndarray
    seen: np.ndarray
    last: int
    step: float

    def chord_mm(self, at) -> np.ndarray:
        """Height of the straight line through the wood at both ends."""
        a, b = self.wood[0, 0], self.wood[0, self.last]
        return a + (b - a) * np.asarray(at, float) / self.at[self.last]


def on_bench(on: Wood, line, *, reach_mm: float = 0.0) -> Bench:
    """The line (start, end) over the wood, carried on without wood to reach_mm. [mm]"""
    turn = float(np.arctan2(*np.subtract(line[1], line[0])[::-1]))
    plan_step = STEP_MM * _wood.plan_share(on.base, np.add(*line) / 2, turn)
    lines = _wood.beside(on, *line, step_mm=plan_step, offsets_mm=[0.0])
    z = np.concatenate([lines.points_mm[None, 0, :, 2], lines.draws_mm[:, 0]])
    n = z.shape[1]
    along, up = _wood.in_frame(lines, z[:, None], middle=n // 2, columns=slice(None))
    at = along - along[0]
    step = float(at[-1] / (n - 1))
    at, wood = np.arange(n) * step, np.array([_even(at, row, step) for row in up[:, 0]])
    more = max(0, int(np.ceil((reach_mm - at[-1]) / step - 1e-6)))
    blank = np.full((len(wood), more), np.nan)
    return Bench(
        at=np.arange(n + more) * step,
        wood=np.hstack([wood, blank]),
        place=np.vstack([lines.points_mm[0, :, :2], np.full((more, 2), np.nan)]),
        seen=np.r_[lines.seen[0], np.zeros(more, bool)],
        last=n - 1,
        step=step,
    )


def run_on(on: Wood, line, reading: tuple[np.ndarray, np.ndarray], *, at_mm: float):
    """A template reading of the part to come, as points for `Held.beyond`.

    line: (start, end) of the batten.  reading: x (m,) increasing and height (m,) of the part in the
    template's frame; its first x lies at_mm along the line. Where it overlaps the wood it is lifted and
    turned to lie on it. Refuses an overlap under 30 mm, and a reading that does not reach beyond the wood.
    """
    bench = on_bench(on, line)
    x, height = (np.asarray(part, float) for part in reading)
    at = at_mm + x - x[0]
    known = np.isfinite(bench.wood[0])
    end = bench.at[bench.last]
    on_wood = (at >= 0) & (at <= end)
    if on_wood.sum() < 5 or np.ptp(at[on_wood]) < 30 or at[-1] < end + 20:
        raise LightcheckError(
            f"The reading reaches from {at[0]:.0f} to {at[-1]:.0f} mm along the line, the wood to {end:.0f}.",
            "Its first 30 mm or more must lie on the wood, and its end beyond it.",
        )
    wood = np.interp(at[on_wood], bench.at[known], bench.wood[0, known] - bench.chord_mm(bench.at[known]))
    columns = np.column_stack([np.ones(on_wood.sum()), at[on_wood]])
    (lift, lean), *_ = np.linalg.lstsq(columns, wood - height[on_wood], rcond=None)
    over_end = at > end + 5
    wanted = np.unique(np.linspace(0, over_end.sum() - 1, max(2, int(np.ptp(at[over_end]) / 40) + 1)).round())
    picked = np.flatnonzero(over_end)[wanted.astype(int)]
    return tuple((float(at[i]), float(height[i] + lift + lean * at[i])) for i in picked)


def _even(at: np.ndarray, heights: np.ndarray, step: float) -> np.ndarray:
    """Heights at even steps along; what was not known stays so."""
    even = np.arange(len(at)) * step
    known = np.isfinite(heights)
    near = np.interp(even, at, known.astype(float)) > 0.5
    return np.where(near, np.interp(even, at[known], heights[known]), np.nan)
