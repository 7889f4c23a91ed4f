"""Order: where spots lie along the part, and which comes first.

Stations first, for they are what the templates hold; then the middle of the spans; then along what is
left. Within each from the fine end, so that untouched wood stays behind.  Common practice, no source.
"""

from __future__ import annotations

import numpy as np

from lightcheck.errors import LightcheckError
from lightcheck.marks import Mark, Marks
from lightcheck.plan.product import Where, Wish
from lightcheck.plan.wood import Wood
from lightcheck.spots import Spot

STATION, MIDDLE, ALONG = "station", "middle of the span", "along"
AT_STATION, AT_LEAST_MM = 0.15, 40.0  # of the span, or so much: nearer than this is at the station
IN_MIDDLE = 0.2  # of the span to either side of its middle
_TOWARDS = {"left": (-1.0, 0.0), "right": (1.0, 0.0), "up": (0.0, 1.0), "down": (0.0, -1.0)}


def where(spot: Spot, marks: Marks, wood: Wood) -> Where:
    """Station, distance and girth of a spot, as far as marks tell them."""
    at = np.array([spot.x_mm, spot.y_mm])
    stations = sorted(((_signed(at, m), m) for m in marks.of("station")), key=lambda p: abs(p[0][0]))
    centre = next(iter(marks.of("centreline")), None)
    girth = None
    if centre is not None:
        away, foot = _signed(at, centre)
        girth = float(np.sign(away)) * wood.girth_mm(foot, at)
    if not stations:
        return Where(station=None, from_station_mm=None, girth_mm=girth, group=ALONG)
    (away, foot), mark = stations[0]
    return Where(
        station=mark.name or "?",
        from_station_mm=float(np.sign(away)) * wood.girth_mm(foot, at),
        girth_mm=girth,
        group=_group([d for (d, _), _ in stations]),
    )


def _signed(at: np.ndarray, mark: Mark) -> tuple[float, np.ndarray]:
    """Distance from a line carried on past its ends, + right of it or above; and its nearest place. [mm]"""
    best = None
    last = len(mark.at_mm) - 2
    for i, (a, b) in enumerate(zip(mark.at_mm[:-1], mark.at_mm[1:], strict=True)):
        way = (b - a) / max(np.linalg.norm(b - a), 1e-9)
        low = -np.inf if i == 0 else 0.0
        high = np.inf if i == last else np.linalg.norm(b - a)
        foot = a + np.clip((at - a) @ way, low, high) * way
        away = at - foot
        side = away[0] if abs(way[1]) > abs(way[0]) else away[1]
        found = float(np.linalg.norm(away)) * (1.0 if side >= 0 else -1.0), foot
        if best is None or abs(found[0]) < abs(best[0]):
            best = found
    return best


def _group(away_mm: list[float]) -> str:
    """Where between the nearest stations on either side, or at one of them."""
    nearest = abs(away_mm[0])
    beyond = [abs(d) for d in away_mm[1:] if d * away_mm[0] <= 0]
    if not beyond:
        return STATION if nearest <= AT_LEAST_MM else ALONG
    span = nearest + min(beyond)
    if nearest <= max(AT_STATION * span, min(AT_LEAST_MM, span / 4)):
        return STATION
    return MIDDLE if abs(nearest / span - 0.5) <= IN_MIDDLE else ALONG


def rank(spots: list[tuple[Spot, Where]], wish: Wish) -> list[int]:
    """Indices of the spots in the order of work. Refuses a told order that names spots not there."""
    if isinstance(wish.order, tuple):
        return _as_told(spots, wish.order)
    if wish.order == "highest":
        return sorted(range(len(spots)), key=lambda i: -spots[i][0].height_mm)
    groups = (STATION, MIDDLE, ALONG)
    from_x, from_y = _TOWARDS.get(wish.fine_end, _TOWARDS["left"])

    def key(i: int) -> tuple:
        spot, at = spots[i]
        group = groups.index(at.group) if wish.order == "stations" else 0
        return group, -(spot.x_mm * from_x + spot.y_mm * from_y)

    return sorted(range(len(spots)), key=key)


def _as_told(spots: list[tuple[Spot, Where]], order: tuple[int, ...]) -> list[int]:
    numbers = [s.number for s, _ in spots]
    strange = [n for n in order if n not in numbers]
    if strange:
        raise LightcheckError(
            f"There is no hump {strange[0]} on this map.",
            f"Humps are: {', '.join(map(str, sorted(numbers))) or 'none'}.",
        )
    told = list(dict.fromkeys(order))
    return [numbers.index(n) for n in told] + [i for i, n in enumerate(numbers) if n not in told]
