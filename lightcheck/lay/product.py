"""What comes of laying a tool: along one line, or over the whole map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.grid import Grid, frozen

TOUCH_MM = 0.02  # daylight under this is told as touching: own choice, half the thinnest feeler blade


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """From and to along the line [mm], what it is, and the force that is carried there (0 if none) [N]."""

    from_mm: float
    to_mm: float
    what: str
    force_n: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """One tool on one line.

    tool: in words.  along_mm: (n,) from the start of the line, along the tool.  place_mm: (n, 2) x, y in
    the patch frame, NaN beyond it.  wood_mm, tool_mm: (n,) heights square to the wood at the middle of the
    line; NaN where not seen, or where the tool is not.  daylight_mm: (n,) under the tool as it lies there.
    worst_mm, worst_sigma_mm, worst_along_mm: widest daylight between two touching places, over all places
    that the tool was moved to; sigma is the spread over the draws.  sigma_mm: (n,) of the daylight.
    least_mm: (n,) least daylight while the tool was moved along, NaN for a tool that stays.  touching: the
    places where it rests.  doubtful: stretches to be trusted less.  notes: sentences for the reader.
    """

    tool: str
    along_mm: np.ndarray
    place_mm: np.ndarray
    wood_mm: np.ndarray
    tool_mm: np.ndarray
    daylight_mm: np.ndarray
    sigma_mm: np.ndarray
    least_mm: np.ndarray
    worst_mm: float
    worst_sigma_mm: float
    worst_along_mm: float
    touching: tuple[Stretch, ...]
    doubtful: tuple[Stretch, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def worst_place_mm(self) -> tuple[float, float]:
        """x, y of the widest daylight."""
        nearest = int(np.argmin(np.abs(self.along_mm - self.worst_along_mm)))
        return float(self.place_mm[nearest, 0]), float(self.place_mm[nearest, 1])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Over:
    """One tool laid everywhere on the map, or planking over it; sheets are (ny, nx), NaN where unknown.

    value_mm: what `what` says: widest daylight, least daylight, or what shows through (+ high).
    sigma_mm: spread of it over the draws.  pressed: (ny, nx) share of the press that came here, the
    hardest pressed place 1; zeros where the tool has no press.  worst_mm and its place: the largest
    |value|.  turn_rad: how the tool lies, counter-clockwise from +x.  cuts: share of the wood that is cut.
    """

    tool: str
    what: str
    grid: Grid
    value_mm: np.ndarray
    sigma_mm: np.ndarray
    pressed: np.ndarray
    worst_mm: float
    worst_sigma_mm: float
    worst_place_mm: tuple[float, float]
    turn_rad: float
    cuts: float | None = None
    notes: tuple[str, ...] = ()


def over(on, *, value, sigma, draws, **more) -> Over:
    """The sheet on wood `on` with its worst place. draws: (k,) worst of each draw."""
    value = np.where(on.seen, value, np.nan)
    known = np.isfinite(value)
    row, column = np.unravel_index(np.argmax(np.where(known, np.abs(value), -1)), value.shape)
    return Over(
        grid=on.grid,
        value_mm=frozen(value),
        sigma_mm=frozen(np.where(known, sigma, np.nan)),
        pressed=frozen(more.pop("pressed", np.zeros(value.shape))),
        worst_mm=float(value[row, column]) if known.any() else 0.0,
        worst_sigma_mm=one_spread(draws),
        worst_place_mm=(float(on.grid.x_mm[column]), float(on.grid.y_mm[row])),
        **more,
    )


def unseen(at: np.ndarray, seen: np.ndarray, under) -> tuple[Stretch, ...]:
    """Stretches under the tool where the wood was not seen."""
    blind = np.zeros(len(at), bool)
    blind[under] = ~seen[under]
    return tuple(
        Stretch(from_mm=float(at[a]), to_mm=float(at[b]), what="wood not seen") for a, b in runs(blind)
    )


def runs(mask: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of each run of True."""
    turns = np.flatnonzero(np.diff(np.r_[0, np.asarray(mask, int), 0]))
    return [(int(a), int(b) - 1) for a, b in zip(turns[::2], turns[1::2], strict=True)]


def spread(draws: np.ndarray) -> np.ndarray:
    """Standard deviation over the draws, which follow the map in the first place."""
    if len(draws) < 3:
        return np.full(draws.shape[1], np.nan)
    return np.where(np.isfinite(draws[0]), np.nan_to_num(draws[1:]).std(axis=0, ddof=1), np.nan)


def one_spread(draws: np.ndarray) -> float:
    """Standard deviation of one number over the draws; NaN where there are too few."""
    return float(np.std(draws, ddof=1)) if len(draws) > 1 else float("nan")
