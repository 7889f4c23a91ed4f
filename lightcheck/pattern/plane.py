"""Plane: distances and insides, for laying things out on a sheet. All in mm, arrays (n, 2)."""

from __future__ import annotations

import numpy as np


def inside(points: np.ndarray, polygon: np.ndarray) -> np.ndarray:
    """(n,) True where points lie inside a polygon (m, 2), closed of itself."""
    x, y = points[:, 0, None], points[:, 1, None]
    x0, y0 = polygon.T
    x1, y1 = np.roll(polygon, -1, axis=0).T
    spans = (y0 > y) != (y1 > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        meets = x < x0 + (y - y0) / (y1 - y0) * (x1 - x0)
    return (spans & meets).sum(axis=1) % 2 == 1


def distance(points: np.ndarray, run: np.ndarray) -> np.ndarray:
    """(n,) distance of points from a polyline (m, 2). [mm]"""
    start, along = run[:-1][None], np.diff(run, axis=0)[None]
    length = np.maximum((along**2).sum(axis=2), 1e-12)
    gap = points[:, None] - start
    share = np.clip((gap * along).sum(axis=2) / length, 0, 1)
    return np.linalg.norm(gap - share[..., None] * along, axis=2).min(axis=1)


def closed(polygon: np.ndarray) -> np.ndarray:
    """The polygon with its first point again at the end."""
    return np.concatenate([polygon, polygon[:1]])


def along(run: np.ndarray) -> np.ndarray:
    """(n,) way along a polyline, from 0. [mm]"""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(run, axis=0), axis=1))])


def thinned(run: np.ndarray, *, within: float) -> np.ndarray:
    """As few of the points of a polyline as keep it within so much of all of them. [mm]"""
    keep, stack = {0, len(run) - 1}, [(0, len(run) - 1)]
    while stack:
        a, b = stack.pop()
        if b - a < 2:
            continue
        off = distance(run[a + 1 : b], run[[a, b]])
        worst = int(np.argmax(off))
        if off[worst] > within:
            keep.add(a + 1 + worst)
            stack += [(a, a + 1 + worst), (a + 1 + worst, b)]
    return run[sorted(keep)]


def rectangle(x: float, y: float, turn_rad: float, size: tuple[float, float]) -> np.ndarray:
    """(4, 2) corners of a rectangle about its middle, lower left first, counter-clockwise."""
    half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(size) / 2
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    return half @ np.array([[c, s], [-s, c]]) + (x, y)
