"""Limits: what a task must not reach. The wood a task would take off, against fasteners and thickness."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from lightcheck.marks import Mark, Marks
from lightcheck.pattern.plane import closed, distance, inside
from lightcheck.plan.product import Wish
from lightcheck.stored import StoredMap

NEAR_MM = 10.0  # of a fastener's middle, that counts as over it; heads and plugs are seldom wider
SURE = 2.0  # sigmas that the cut may be deeper than planned
HAZARD_MM = 60.0  # from the spot, within which a mark is worth a word


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """What a task takes off. cells_mm: (n, 2).  depth_mm: (n,) there, as deep as it may be.

    shaving_mm: of the tool, one of which is kept as a margin over metal.
    """

    cells_mm: np.ndarray
    depth_mm: np.ndarray
    shaving_mm: float


def cut(
    stored: StoredMap, outline_mm: np.ndarray, *, leave_mm: float, shaving_mm: float, wide_mm: float
) -> Cut:
    """Where a task's plane goes, an iron's half width beyond the outline, and how deep it may cut there."""
    x, y = stored.grid.mesh_mm()
    cells = np.column_stack([x.ravel(), y.ravel()])
    ring = closed(outline_mm)
    near = np.flatnonzero(
        (np.abs(cells - outline_mm.mean(axis=0)) <= np.ptp(outline_mm, axis=0) + wide_mm).all(axis=1)
    )
    touched = near[inside(cells[near], outline_mm) | (distance(cells[near], ring) <= wide_mm / 2)]
    if not len(touched):
        touched = np.array([int(np.argmin(np.linalg.norm(cells - outline_mm.mean(axis=0), axis=1)))])
    off = np.asarray(stored.come_off_mm, float).ravel()[touched] - leave_mm
    off = np.minimum(off, np.maximum(np.asarray(stored.height_mm, float).ravel()[touched], 0.0))
    sigma = np.asarray(stored.sigma_mm, float).ravel()[touched]
    most = float(np.nanmax(off)) if np.isfinite(off).any() else np.inf
    off = np.where(np.isfinite(off), off, most)  # what was not seen may be as high as the rest
    depth = np.where(off > 0, off + SURE * np.nan_to_num(sigma), 0.0)
    return Cut(cells_mm=cells[touched], depth_mm=depth, shaving_mm=shaving_mm)


def refusal(cut: Cut, marks: Marks, wish: Wish) -> str:
    """Why the task must not be done as it stands; "" where nothing is in the way."""
    for mark in marks.of("leave"):
        if _deepest(cut, mark) > 0:
            return f"{_named(mark)} is not to be touched"
    for mark in marks.of("fastener"):
        deepest = _deepest(cut, mark)
        if deepest <= 0:
            continue
        if mark.depth_mm is None:
            return f"the strokes would go over a {mark.words}: find its depth first, or punch it down"
        if deepest + cut.shaving_mm >= mark.depth_mm:
            return (
                f"the strokes would reach the {mark.words}: they may go {deepest:.2f} mm deep there. "
                "Set it deeper first"
            )
    for mark in marks.of("no lower"):
        deepest, may = _deepest(cut, mark), mark.depth_mm or 0.0
        if deepest > may:
            what = f"only {may:g} mm may" if may else "nothing may"
            return f"{what} come off at the mark 'no lower', and up to {deepest:.2f} mm would"
    if wish.thickness_mm is not None and wish.least_mm is not None:
        may, deepest = wish.thickness_mm - wish.least_mm, float(cut.depth_mm.max())
        if deepest > may:
            return (
                f"the wood would fall below its least thickness of {wish.least_mm:g} mm: "
                f"{max(may, 0):.2f} mm may come off, and up to {deepest:.2f} mm would"
            )
    return ""


def nearby(outline_mm: np.ndarray, marks: Marks) -> tuple[str, ...]:
    """Marks near a spot that are not to be touched or run over, with their distance."""
    ring = closed(outline_mm)
    words = []
    for mark in marks.of("fastener", "leave", "no lower", "crease", "chine", "rabbet"):
        away = _away(ring, mark)
        if away <= HAZARD_MM:
            words.append(f"{mark.words}, {f'{away:.0f} mm off' if away > 0 else 'in it'}")
    return tuple(words)


def stops(
    outline_mm: np.ndarray, marks: Marks, turn_rad: float, sole_mm: tuple[float, float]
) -> tuple[str, ...]:
    """Lines to stop at that the sole runs over when it strokes the spot. sole_mm: length, width."""
    way = np.array([[np.cos(turn_rad), np.sin(turn_rad)], [-np.sin(turn_rad), np.cos(turn_rad)]])
    swept = outline_mm @ way.T
    low, high = swept.min(axis=0) - np.array(sole_mm) / 2, swept.max(axis=0) + np.array(sole_mm) / 2
    words = []
    for mark in marks.of("centreline", "sheer", "stop"):
        along = _steps(mark.at_mm) @ way.T
        if ((along >= low) & (along <= high)).all(axis=1).any():
            words.append(f"stop at the {mark.words.replace('stop ', '')}")
    return tuple(words)


def _named(mark: Mark) -> str:
    return f"what is marked 'leave'{' (' + mark.name + ')' if mark.name else ''}"


def _deepest(cut: Cut, mark: Mark) -> float:
    """Deepest cut over a mark; 0 where the task does not go there. [mm]"""
    if mark.area_mm is not None:
        over = inside(cut.cells_mm, mark.area_mm) | (distance(cut.cells_mm, closed(mark.area_mm)) <= 2.0)
    else:
        over = np.linalg.norm(cut.cells_mm - mark.at_mm[0], axis=1) <= NEAR_MM
    return float(cut.depth_mm[over].max()) if over.any() else 0.0


def _away(ring: np.ndarray, mark: Mark) -> float:
    """Distance of a mark from an outline, 0 within it. [mm]"""
    steps = _steps(closed(mark.area_mm) if mark.area_mm is not None else mark.at_mm)
    if inside(steps, ring[:-1]).any():
        return 0.0
    return float(distance(steps, ring).min())


def _steps(run: np.ndarray) -> np.ndarray:
    """Places along a run, close together. [mm]"""
    if len(run) < 2:
        return run
    pieces = pairwise(run)
    return np.concatenate(
        [
            a + np.linspace(0, 1, max(2, round(np.linalg.norm(b - a) / 5)))[:, None] * (b - a)
            for a, b in pieces
        ]
    )
