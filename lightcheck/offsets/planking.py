"""Planking: the surface of the wood below it, square to the curve and corrected for the bevel.

Planking is as thick as it is square to the surface. Where the surface runs at an angle b to the length
of the boat (the bevel), the saw of the station cuts it aslant, and in the section it is

    thickness / cos b        square to the curve; exact for a cone, to the second order for all else

                 outside        d: from this section out to the next one, square to the curve
    ----o------- station       tan b = change of d for each mm aft, by a batten through the neighbours
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.offsets.batten import spring
from lightcheck.offsets.section import Section, section
from lightcheck.offsets.table import Table

_NEIGHBOURS = 2  # stations each way that tell the bevel
_EVERY_MM = 10.0  # along the curve, between places where the bevel is taken
_RUN_ON_MM = 500.0  # a neighbour's curve is carried on straight beyond its ends, to be met there
_STEEPEST = np.tan(np.radians(75))  # a bevel beyond this is not believed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edge:
    """The designed edge of the wood at a station, from the centreline to the sheer.

    at_mm: (n, 2) x out from the centreline, y up.  bevel_rad: (n,) angle of the surface to the length of
    the boat, + where it widens aft; NaN where not known.
    """

    at_mm: np.ndarray
    bevel_rad: np.ndarray


def bevels(
    table: Table, drawn: Section, *, let_go: dict[str, tuple[str, ...]]
) -> tuple[np.ndarray, ...] | None:
    """Tangent of the bevel at the points of `drawn.pieces_mm()`, + where it widens aft; None if unknown.

    let_go: lines to let go at each station. None where the table gives no places of the stations or no
    neighbour can be used.
    """
    if table.place_mm is None:
        return None
    here = table.index(drawn.station)
    near = range(max(0, here - _NEIGHBOURS), min(len(table.stations), here + _NEIGHBOURS + 1))
    curves = {}
    for i in near:
        name = table.stations[i]
        try:
            other = section(table, name, let_go=let_go.get(name, ()))
        except LightcheckError:
            continue  # a station that can not be drawn tells no bevel
        if i != here and len(other.battens) == len(drawn.battens):
            curves[i] = other.pieces_mm(2.0)
    if not curves:
        return None
    place = {i: float(table.place_mm[i] - table.place_mm[here]) for i in curves}
    return tuple(
        _piece_bevel(piece, {place[i]: curves[i][number] for i in curves})
        for number, piece in enumerate(drawn.pieces_mm())
    )


def edge(
    drawn: Section,
    *,
    planking_mm: float = 0.0,
    proud_mm: float = 0.0,
    bevel: tuple[np.ndarray, ...] | None = None,
) -> Edge:
    """The edge of the wood when planking is taken off and roughing wood left on, both square to it.

    bevel: as from `bevels`; without it thicknesses count as in the section. Between the centreline and
    the first line of the table the edge is level; it reaches at least to the height of the last one.
    Refuses planking thicker than the smallest radius.
    """
    pieces = drawn.pieces_mm()
    lean = bevel or tuple(np.full(len(p), np.nan) for p in pieces)
    runs = []
    for piece, tangent, batten in zip(pieces, lean, drawn.battens, strict=True):
        inward = (planking_mm - proud_mm) * np.sqrt(1 + np.nan_to_num(tangent) ** 2)
        _check_radius(batten, piece, inward, drawn)
        runs.append(np.column_stack([piece[:, :2] - inward[:, None] * piece[:, 2:], np.arctan(tangent)]))
    run = runs[0]
    for following in runs[1:]:
        run = _join(run, following, abs(planking_mm - proud_mm), drawn.station)
    run = _to_centreline(run, on_centre=drawn.points[0].x_mm < 1e-6)
    run = _to_sheer(run, drawn.points[-1].y_mm)
    if crosses_itself(run[:, :2]):
        raise LightcheckError(
            f"The edge of station {drawn.station} crosses itself.",
            "Look for a slip in its offsets, or take a thinner planking.",
        )
    return Edge(at_mm=frozen(run[:, :2]), bevel_rad=frozen(run[:, 2]))


def crossings(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """(k, 4) where polylines (n, 2) and (m, 2) cross: x, y, and how many segments along each."""
    p, r = one[:-1, None], np.diff(one, axis=0)[:, None]
    q, s = other[None, :-1], np.diff(other, axis=0)[None]
    across = r[..., 0] * s[..., 1] - r[..., 1] * s[..., 0]
    gap = q - p
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (gap[..., 0] * s[..., 1] - gap[..., 1] * s[..., 0]) / across
        u = (gap[..., 0] * r[..., 1] - gap[..., 1] * r[..., 0]) / across
    i, j = np.nonzero((t >= 0) & (t <= 1) & (u >= 0) & (u <= 1))
    places = one[i] + t[i, j][:, None] * np.diff(one, axis=0)[i]
    return np.column_stack([places, i + t[i, j], j + u[i, j]])


def crosses_itself(run: np.ndarray, *, closed: bool = False) -> bool:
    """True where a polyline (n, 2) crosses itself other than at points it shares."""
    if closed:
        run = np.concatenate([run, run[:1]])
    met = crossings(run, run)
    apart = np.abs(met[:, 2] - met[:, 3])
    if closed:
        apart = np.minimum(apart, len(run) - 1 - apart)
    return bool((apart > 1 + 1e-9).any())


def _piece_bevel(piece: np.ndarray, others: dict[float, np.ndarray]) -> np.ndarray:
    """Tangent of the bevel along one piece; others: place aft of this station -> its curve."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(piece[:, :2], axis=0), axis=1))])
    count = max(3, int(along[-1] / _EVERY_MM))
    chosen = np.unique(np.searchsorted(along, np.linspace(0, along[-1], count)).clip(0, len(piece) - 1))
    out = {place: _out_to(piece[chosen], _run_on(curve)) for place, curve in others.items()}
    tangents = np.array([_slope({p: d[i] for p, d in out.items()}) for i in range(len(chosen))])
    known = np.isfinite(tangents)
    if not known.any():
        return np.full(len(piece), np.nan)
    return np.interp(along, along[chosen][known], tangents[known])


def _slope(out: dict[float, float]) -> float:
    """Slope at 0 of a batten through (place, distance out) and (0, 0)."""
    near = {p: d for p, d in out.items() if np.isfinite(d) and abs(d) <= _STEEPEST * abs(p)} | {0.0: 0.0}
    places = np.array(sorted(near))
    if len(places) == 1:
        return np.nan
    return float(spring(places, [near[p] for p in places]).place(0.0, 1)[0, 0])


def _out_to(piece: np.ndarray, curve: np.ndarray) -> np.ndarray:
    """(n,) distance along the outward square from points to a curve; NaN where it is not met."""
    p, r = piece[:, None, :2], piece[:, None, 2:]
    q, s = curve[None, :-1], np.diff(curve, axis=0)[None]
    across = r[..., 0] * s[..., 1] - r[..., 1] * s[..., 0]
    gap = q - p
    with np.errstate(divide="ignore", invalid="ignore"):
        out = (gap[..., 0] * s[..., 1] - gap[..., 1] * s[..., 0]) / across
        share = (gap[..., 0] * r[..., 1] - gap[..., 1] * r[..., 0]) / across
    out = np.where((share >= 0) & (share <= 1), out, np.nan)
    nearest = np.nanargmin(np.where(np.isnan(out), np.inf, np.abs(out)), axis=1)
    return out[np.arange(len(piece)), nearest]


def _run_on(curve: np.ndarray) -> np.ndarray:
    """Points of a curve (n, 4) with a straight piece before and after."""
    points, square = curve[:, :2], curve[:, 2:]
    onward = np.column_stack([-square[:, 1], square[:, 0]])
    return np.concatenate(
        [[points[0] - _RUN_ON_MM * onward[0]], points, [points[-1] + _RUN_ON_MM * onward[-1]]]
    )


def _check_radius(batten, piece: np.ndarray, inward_mm: np.ndarray, drawn: Section) -> None:
    """Refuse a thickness that the curve can not be moved by."""
    turn = np.unwrap(np.arctan2(piece[:, 3], piece[:, 2]))
    step = np.linalg.norm(np.diff(piece[:, :2], axis=0), axis=1)
    bend = np.diff(turn) / np.maximum(step, 1e-9)
    thick = np.where(np.abs(inward_mm[:-1]) > np.abs(inward_mm[1:]), inward_mm[:-1], inward_mm[1:])
    worst = int(np.argmax(bend * thick))
    if bend[worst] * thick[worst] < 1:
        return
    radius, (x, y) = abs(1 / bend[worst]), piece[worst, :2]
    what = "The planking" if thick[worst] > 0 else "The wood left for roughing"
    raise LightcheckError(
        f"{what} ({abs(thick[worst]):.1f} mm in the section) is thicker than the smallest radius of station "
        f"{drawn.station}, {radius:.1f} mm at {x:.0f} mm out and {y:.0f} mm up.",
        "Check the thickness and the offsets there; where there is a corner, call its line chine or knuckle.",
    )


def _join(run: np.ndarray, following: np.ndarray, thick_mm: float, station: str) -> np.ndarray:
    """Two runs (n, 3) cut or carried on to where they meet at a corner."""
    reach = 6 * thick_mm + 1e-3
    tail, head = run[-1, :2] - run[-2, :2], following[0, :2] - following[1, :2]
    longer = np.vstack([run[:, :2], run[-1, :2] + reach * tail / np.linalg.norm(tail)])
    earlier = np.vstack([following[0, :2] + reach * head / np.linalg.norm(head), following[:, :2]])
    met = crossings(longer, earlier)
    if not len(met):
        raise LightcheckError(
            f"The wood does not meet at the corner of station {station}, {thick_mm:.1f} mm in.",
            "Check the planking and the offsets of the chine; too sharp a corner has to be drawn by hand.",
        )
    corner = met[np.argmin(np.linalg.norm(met[:, :2] - (run[-1, :2] + following[0, :2]) / 2, axis=1))]
    before = run[np.arange(len(run)) < corner[2]]
    after = following[np.arange(1, len(following) + 1) > corner[3]]
    return np.vstack([before, [*corner[:2], before[-1, 2]], after])


def _to_centreline(run: np.ndarray, *, on_centre: bool) -> np.ndarray:
    """The run cut at the centreline, or carried on to it: level, or straight where it began on it."""
    if run[0, 0] < 0:
        beyond = int(np.argmax(run[:, 0] >= 0))
        a, b = run[beyond - 1], run[beyond]
        first = a + (b - a) * (0 - a[0]) / (b[0] - a[0])
        return np.vstack([first, run[beyond:][np.linalg.norm(run[beyond:, :2] - first[:2], axis=1) > 1e-9]])
    if run[0, 0] < 1e-9:
        return run
    first = run[0].copy()
    if on_centre:
        onward = run[1, :2] - run[0, :2]
        first[1] -= onward[1] / onward[0] * first[0]
    first[0] = 0.0
    return np.vstack([first, run])


def _to_sheer(run: np.ndarray, height_mm: float) -> np.ndarray:
    """The run carried on straight where it ends below a height, as it does where the side leans in."""
    onward = run[-1, :2] - run[-2, :2]
    short = height_mm - run[-1, 1]
    if short < 1e-6 or onward[1] < 0.2 * np.linalg.norm(onward):  # a side that lies flat is left as it is
        return run
    last = run[-1].copy()
    last[:2] += short / onward[1] * onward
    return np.vstack([run, last])
