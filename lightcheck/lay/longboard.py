"""Longboard: a board of given length, width and stiffness that rides over the wood and is pressed on it.

Across its width the board is stiff: it leans until it rests on two places across, as a straightedge does,
and rides on the highest place of each cross line. Along, it is a springy stick under an even press
(contact.py). It is moved over the ends of the wood too, up to a good third of its length, and then pressed
only where wood is. Its ends may dip into a hollow. Moved to every place, a spot of wood is

    cut         the board touches it somewhere on its way
    bridged     the board spans it between two places where it presses, and always leaves daylight; the
                least of it is told
    untouched   the board never comes over it, or only hangs over it
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.lay import wood as _wood
from lightcheck.lay.bridge import rests
from lightcheck.lay.contact import GIVE_N_MM3, Stick, settle
from lightcheck.lay.product import TOUCH_MM, Laid, Over, Stretch, one_spread, over, runs, unseen
from lightcheck.lay.wood import Lines, Wood

STEP_MM = 4.0  # between points along a board
_ROWS = 3  # lines under a board on each side of its middle
_LEANS = 3  # times that the lean across is mended
_MOVE_MM = 12.0  # from place to place, on a whole map
_OVER_END = 0.4  # of its length that a board is moved out over the end of the wood
_MAP_DRAWS, _LINE_DRAWS = 8, 24  # draws that are laid again: each takes as long as the map itself
G_N_KG = 9.80665  # standard gravity, exact


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """length_mm, width_mm; stiffness_nmm2: E I; press_n: of both hands, spread evenly over its length.

    scatter: one sigma of the stiffness, as a share of it.
    """

    length_mm: float
    width_mm: float
    stiffness_nmm2: float
    press_n: float = 3 * G_N_KG
    scatter: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no board."""
        if self.length_mm < 60 or self.width_mm < 5 or self.length_mm <= self.width_mm:
            raise LightcheckError(
                f"A longboard can not be {self.length_mm:g} by {self.width_mm:g} mm.",
                "Give its length and then its width, such as 600mm,70mm,12mm,spruce.",
            )
        if not (self.stiffness_nmm2 > 0 and self.press_n > 0):
            raise LightcheckError(
                "A longboard needs some stiffness and some press.", "Give for example --press 3kg."
            )

    @property
    def words(self) -> str:
        """What a reader is told it is."""
        stiff = f"stiffness {self.stiffness_nmm2 / 1e6:.3g} N m²"
        return f"longboard, {self.length_mm:g} x {self.width_mm:g} mm, {stiff}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ride:
    """One place of a board: its first column; (r, m) daylight under it, push of the wood, its face."""

    first: int
    daylight: np.ndarray
    push: np.ndarray
    face: np.ndarray

    @property
    def spanned(self) -> np.ndarray:
        """(r, m) daylight between the outermost places where it presses, NaN where it only hangs over."""
        pressed = np.flatnonzero(self.push.any(axis=0))
        found = np.full(self.daylight.shape, np.nan)
        if len(pressed):
            between = slice(pressed[0], pressed[-1] + 1)
            found[:, between] = self.daylight[:, between]
        return found


def longboard(on: Wood, start_mm, end_mm, *, board: Board) -> Laid:
    """A longboard moved along the line from start to end, drawn where the daylight under it is widest."""
    middle, turn = np.add(start_mm, end_mm) / 2, float(np.arctan2(*np.subtract(end_mm, start_mm)[::-1]))
    count, step = _points(on, middle, turn, board)
    offsets = np.linspace(-board.width_mm / 2, board.width_mm / 2, 2 * _ROWS + 1)
    lines = _over_ends(_wood.beside(on, start_mm, end_mm, step_mm=step, offsets_mm=offsets), count)
    rides = _along(lines, lines.points_mm[..., 2], board, count)
    widest = [_widest(r) for r in rides]
    shown = int(np.argmax([w for w, _ in widest]))
    n = lines.points_mm.shape[1]
    least = _least(rides, _ROWS, n)
    centre = rides[shown].first + count // 2
    along, up = _wood.in_frame(lines, lines.points_mm[..., 2], middle=centre, columns=slice(None))
    at = along - along[int(lines.seen[_ROWS].argmax())]
    face, daylight = np.full(n, np.nan), np.full(n, np.nan)
    reach = slice(rides[shown].first, rides[shown].first + count)
    face[reach] = rides[shown].face[_ROWS]
    daylight[reach] = rides[shown].daylight[_ROWS]
    draws, sigma = _drawn(lines, board, count, shown)
    seen = lines.seen[_ROWS]
    return Laid(
        tool=board.words,
        along_mm=frozen(at),
        place_mm=frozen(lines.points_mm[_ROWS, :, :2]),
        wood_mm=frozen(np.where(seen, up[_ROWS], np.nan)),
        tool_mm=frozen(face),
        daylight_mm=frozen(np.where(seen, daylight, np.nan)),
        sigma_mm=frozen(np.where(np.isfinite(daylight), _placed(sigma, reach, n), np.nan)),
        least_mm=frozen(np.where(seen, least, np.nan)),
        worst_mm=widest[shown][0],
        worst_sigma_mm=one_spread(draws),
        worst_along_mm=float(at[rides[shown].first + widest[shown][1]]),
        touching=tuple(_pushes(rides[shown], at)),
        doubtful=unseen(at, seen, np.arange(n)[reach]),
    )


def longboard_over(on: Wood, *, board: Board, turn_rad: float = 0.0) -> Over:
    """The least daylight that a longboard leaves at each place of the map, moved everywhere at turn_rad."""
    middle = (float(on.grid.x_mm.mean()), float(on.grid.y_mm.mean()))
    count, step = _points(on, middle, turn_rad, board)
    apart = board.width_mm / 2 / _ROWS
    lines = _over_ends(_wood.across_map(on, turn_rad=turn_rad, step_mm=step, apart_mm=apart), count)
    every = max(1, int(_MOVE_MM / step))
    least, pressed = _sweep(lines, lines.points_mm[..., 2], board, (count, every, 1))
    rough = [_sweep(lines, z, board, (count, 2 * every, 2))[0] for z in lines.draws_mm[:_MAP_DRAWS]]
    value = _wood.back_on_grid(on, lines, least)
    spread = np.nan_to_num(rough).std(axis=0, ddof=1) if len(rough) > 1 else np.full(least.shape, np.nan)
    covered = np.isfinite(value) & on.seen
    return over(
        on, tool=board.words, what="least daylight", value=value,
        sigma=_wood.back_on_grid(on, lines, spread), turn_rad=turn_rad,
        draws=[np.nanmax(r, initial=0.0) for r in rough],
        pressed=np.nan_to_num(_wood.back_on_grid(on, lines, pressed)),
        cuts=float((value[covered] < TOUCH_MM).mean()) if covered.any() else 0.0,
    )  # fmt: skip


def _points(on: Wood, place_mm, turn_rad: float, board: Board) -> tuple[int, float]:
    """Points along a board, and the step between them in plan."""
    count = 2 * int(np.ceil(board.length_mm / 2 / STEP_MM)) + 1
    return count, board.length_mm / (count - 1) * _wood.plan_share(on.base, place_mm, turn_rad)


def _ride(lines: Lines, z: np.ndarray, board: Board, first: int, count: int) -> _Ride:
    """A board that lies with its first point at a column; z: (2 _ROWS + 1, n) heights over the plane."""
    columns = slice(first, first + count)
    _, up = _wood.in_frame(lines, z, middle=first + count // 2, columns=columns)
    across = (np.arange(len(up)) - len(up) // 2)[:, None] * lines.apart_mm
    step, lean = board.length_mm / (count - 1), _mean_lean(up, across)
    stick = Stick(
        stiffness_nmm2=board.stiffness_nmm2, step_mm=step, give_n_mm=GIVE_N_MM3 * board.width_mm * step
    )
    for _ in range(_LEANS):
        level = up - lean * across
        wood = np.fmax.reduce(level, axis=0)
        rest = settle(stick, wood, _press(wood, board.press_n))
        daylight = rest.place_mm - level
        more = _lean(-np.fmin.reduce(daylight, axis=1), lines.apart_mm)
        if abs(more) * board.width_mm < TOUCH_MM / 2:
            break
        lean += more
    near = daylight < np.fmin.reduce(daylight, axis=0) + TOUCH_MM / 2
    push = rest.push_n * near / np.maximum(near.sum(axis=0), 1)
    face = rest.place_mm + lean * across
    return _Ride(first=first, daylight=np.maximum(daylight, 0), push=push, face=face)


def _mean_lean(up: np.ndarray, across: np.ndarray) -> float:
    """Mean slope of the wood across the board, to start from."""
    known = np.isfinite(up).all(axis=0)
    if not known.any():
        return 0.0
    return float((across * up[:, known]).sum(axis=0).mean() / (across**2).sum())


def _lean(highest: np.ndarray, apart: float) -> float:
    """How much more it leans: across, it rests on the two highest places, as a straightedge does."""
    left, right = (int(i[0]) for i in rests(highest[None]))
    return 0.0 if left < 0 or left == right else (highest[right] - highest[left]) / (right - left) / apart


def _press(wood: np.ndarray, press_n: float) -> np.ndarray:
    """Even press from the first to the last wood under the board. [N]"""
    known = np.flatnonzero(np.isfinite(wood))
    load = np.zeros(len(wood))
    if len(known) > 1:
        load[known[0] : known[-1] + 1] = press_n / (known[-1] - known[0])
        load[[known[0], known[-1]]] /= 2
    return load


def _over_ends(lines: Lines, count: int) -> Lines:
    out = int(_OVER_END * count)
    return _wood.padded(lines, max(count, lines.points_mm.shape[1] + 2 * out))


def _along(lines: Lines, z: np.ndarray, board: Board, count: int) -> list[_Ride]:
    last = z.shape[1] - count
    every = max(1, int(_MOVE_MM / STEP_MM))
    return [_ride(lines, z, board, i, count) for i in sorted({*range(0, last + 1, every), last})]


def _sweep(lines: Lines, z: np.ndarray, board: Board, steps: tuple[int, int, int]):
    """Least daylight and press (r, n) over a board's places. steps: points, moves along and across."""
    count, along, across = steps
    rows, n = z.shape
    least, pressed = np.full(z.shape, np.nan), np.zeros(z.shape)
    for row in sorted({*range(_ROWS, rows - _ROWS, across), rows - _ROWS - 1} - {*range(_ROWS)}):
        beam = slice(row - _ROWS, row + _ROWS + 1)
        part = lines.part(row - _ROWS, row + _ROWS)
        for first in sorted({*range(0, n - count + 1, along), n - count}):
            under = z[beam, first : first + count]
            if np.isfinite(under).any(axis=0).mean() < 0.5:
                continue
            ride = _ride(part, z[beam], board, first, count)
            place = (beam, slice(first, first + count))
            least[place] = np.fmin(least[place], ride.spanned)
            pressed[place] += ride.push
    return least, pressed / max(pressed.max(), 1e-12)


def _widest(ride: _Ride) -> tuple[float, int]:
    """Widest daylight under the middle line between the outermost places that are pressed, and its point."""
    between = np.nan_to_num(ride.spanned[_ROWS], nan=-1.0)
    best = int(np.argmax(between))
    return (max(0.0, float(between[best])), best) if between[best] > 0 else (0.0, len(between) // 2)


def _least(rides: list[_Ride], row: int, n: int) -> np.ndarray:
    least = np.full(n, np.nan)
    for ride in rides:
        part = slice(ride.first, ride.first + ride.daylight.shape[1])
        least[part] = np.fmin(least[part], ride.spanned[row])
    return least


def _drawn(lines: Lines, board: Board, count: int, shown: int) -> tuple[np.ndarray, np.ndarray]:
    """Widest daylight (k,) of the draws, and the spread (m,) of the daylight under the board as shown."""
    rng = np.random.default_rng(1)
    widest, daylight = [], []
    for z in lines.draws_mm[:_LINE_DRAWS]:
        stiff = board.stiffness_nmm2 * float(np.exp(board.scatter * rng.standard_normal()))
        one = Board(
            length_mm=board.length_mm, width_mm=board.width_mm, stiffness_nmm2=stiff, press_n=board.press_n
        )
        rides = _along(lines, z, one, count)
        widest.append(max(_widest(r)[0] for r in rides))
        daylight.append(rides[shown].daylight[_ROWS])
    few = len(widest) < 2
    return np.array(widest), np.full(count, np.nan) if few else np.std(daylight, axis=0, ddof=1)


def _placed(values: np.ndarray, reach: slice, n: int) -> np.ndarray:
    whole = np.full(n, np.nan)
    whole[reach] = values
    return whole


def _pushes(ride: _Ride, at: np.ndarray):
    """Where the board presses, and how hard."""
    push = ride.push.sum(axis=0)
    for a, b in runs(push > 0):
        i, j = ride.first + a, ride.first + b
        yield Stretch(
            from_mm=float(at[i]), to_mm=float(at[j]), what="presses", force_n=float(push[a : b + 1].sum())
        )
