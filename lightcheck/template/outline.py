"""Outline: the designed edge of a template, from a list of points, a DXF or an SVG, in millimetres.

    # station,4                     lines with # belong to a list of points; all may be left out
    # face,aft                      the face that lies on the station
    # card,4,591.2,345.6,67.5       a card printed on the template: middle and turn, mm and degrees
    # tick,0,52                     where the centreline meets the edge
    x_mm,y_mm
    0.0000,52.0000                  points in order along the edge

A drawing must hold the edge as one line that does not cross itself: alone, on the layer EDGE of a DXF, or
as the path with the id "edge" of an SVG.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.interpolate import CubicSpline

from lightcheck.errors import LightcheckError
from lightcheck.grid import frozen
from lightcheck.patch import CardPlace
from lightcheck.template import drawing

LEAST_POINTS = 3
FINE_MM = 0.25  # pitch of the edge as it is compared
SAGITTA_MM = 0.02  # points further apart than this allows are joined by a spline, where they bend softly
SOFT_RAD = np.radians(15.0)
_LIKE = "Give a CSV with the header x_mm,y_mm and one point a row, a DXF or an SVG."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outline:
    """The designed edge. points_mm: (n, 2) in order, in the drawing's own frame.

    cards: printed on the template, in that frame.  face: that lies on the station, "forward" or "aft".
    """

    source: str
    points_mm: np.ndarray
    cards: tuple[CardPlace, ...] = ()
    tick_mm: tuple[float, float] | None = None
    station: str | None = None
    face: str | None = None

    def fine_mm(self) -> np.ndarray:
        """(m, 2) the edge at a fine pitch; points that lie far apart on a soft bend are faired through."""
        points = self.points_mm
        steps = np.hypot(*np.diff(points, axis=0).T)
        along = np.r_[0, np.cumsum(steps)]
        turn = np.abs(np.diff(np.unwrap(np.arctan2(*np.diff(points, axis=0).T))))
        sagitta = turn * np.maximum(steps[1:], steps[:-1]) / 8
        at = np.linspace(0, along[-1], max(2, round(along[-1] / FINE_MM)) + 1)
        if len(turn) and turn.max() < SOFT_RAD and sagitta.max() > SAGITTA_MM:
            return CubicSpline(along, points, bc_type="natural")(at)
        return np.stack([np.interp(at, along, points[:, i]) for i in (0, 1)], -1)


def read(path: str | Path) -> Outline:
    """Read an outline. Refuses one that is in pieces, crosses itself, or holds fewer than three points."""
    path = Path(path)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise LightcheckError(
            f"{path} can not be read ({error.strerror or 'unknown trouble'}).", "Give the outline's file."
        ) from None
    kind = path.suffix.lower()
    if kind == ".dxf":
        return _checked(path, drawing.dxf_lines(path), {})
    if kind == ".svg":
        return _checked(path, drawing.svg_lines(path), {})
    return _checked(path, *_listed(path, content))


def _listed(path: Path, content: bytes) -> tuple[list[np.ndarray], dict]:
    """Pieces of a list of points, parted by blank lines, and what its # lines say."""
    try:
        lines = content.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise LightcheckError(f"{path.name} is not a list of points.", _LIKE) from None
    pieces: list[list[tuple[float, float]]] = [[]]
    said: dict = {"card": []}
    for number, line in enumerate(lines, 1):
        words = [w.strip() for w in line.split(",")]
        if line.lstrip().startswith("#"):
            key = words[0].lstrip("# ").lower()
            said[key] = [*said["card"], words[1:]] if key == "card" else words[1:]
        elif not line.strip():
            pieces.append([])
        elif words[:2] != ["x_mm", "y_mm"]:
            pieces[-1].append(_point(path, number, words))
    return [np.array(p) for p in pieces if p], said


def _point(path: Path, number: int, words: list[str]) -> tuple[float, float]:
    try:
        x, y = float(words[0]), float(words[1])
        if np.isfinite([x, y]).all():
            return x, y
    except (ValueError, IndexError):
        pass
    raise LightcheckError(f"Line {number} of {path.name} is not a point in millimetres.", _LIKE)


def _checked(path: Path, pieces: list[np.ndarray], said: dict) -> Outline:
    if len(pieces) > 1:
        raise LightcheckError(
            f"The outline in {path.name} is in {len(pieces)} pieces.",
            "Draw the edge as one line from end to end: alone in the file, on the layer EDGE of a DXF, or "
            "as the path with the id edge of an SVG.",
        )
    points = pieces[0] if pieces else np.zeros((0, 2))
    keep = np.r_[True, np.hypot(*np.diff(points, axis=0).T) > 1e-6] if len(points) else np.zeros(0, bool)
    points = points[keep]
    if len(points) < LEAST_POINTS:
        raise LightcheckError(f"The outline in {path.name} holds fewer than three points.", _LIKE)
    if _crosses(points):
        raise LightcheckError(
            f"The outline in {path.name} crosses itself.", "Put its points in order along the edge."
        )
    try:
        cards = tuple(
            CardPlace(card=int(n), x_mm=float(x), y_mm=float(y), turn_rad=float(np.radians(float(turn))))
            for n, x, y, turn in said.get("card", ())
        )
        tick = tuple(float(v) for v in said["tick"][:2]) if "tick" in said else None
    except ValueError:
        raise LightcheckError(
            f"A # line of {path.name} can not be read.",
            "Write them like # card,4,591.2,345.6,67.5 and # tick,0,52.",
        ) from None
    word = {k: (said.get(k) or [""])[0] or None for k in ("station", "face")}
    return Outline(source=path.name, points_mm=frozen(points), cards=cards, tick_mm=tick, **word)


def _crosses(points: np.ndarray) -> bool:
    """Whether two pieces of the line cross that are not neighbours; a closed line may meet its start."""
    points = points[:: max(1, len(points) // 1500)]
    a, b = points[:-1], points[1:]
    for i in range(len(a) - 2):
        last = len(a) - 1 if i == 0 and np.allclose(points[0], points[-1]) else len(a)
        c, d = a[i + 2 : last], b[i + 2 : last]
        if not len(c):
            continue
        one = _side(a[i], b[i], c) * _side(a[i], b[i], d) < 0
        if (one & (_side(c, d, a[i]) * _side(c, d, b[i]) < 0)).any():
            return True
    return False


def _side(a: np.ndarray, b: np.ndarray, p: np.ndarray) -> np.ndarray:
    """> 0 where p lies left of the way from a to b."""
    u, v = b - a, p - a
    return u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
