"""Drawing: lines of a DXF or an SVG as points in millimetres, joined where their ends meet."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from lightcheck.errors import LightcheckError

WITHIN_MM = 0.005  # a bend is drawn as straight pieces that keep so near to it
JOIN_MM = 0.05  # ends so near to each other are one point
SVG_PX_MM = 25.4 / 96  # a CSS pixel, exact (CSS Values and Units, W3C)
_EDGE = "edge"
# DXF header $INSUNITS: 1 inches, 2 feet, 4 mm, 5 cm, 6 m; 0 says nothing (Autodesk DXF reference)
_DXF_UNITS_MM = {0: 1.0, 1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0}


def dxf_lines(path: Path) -> list[np.ndarray]:
    """Lines of a DXF, those on the layer EDGE where there is one."""
    import ezdxf
    from ezdxf.path import make_path

    try:
        document = ezdxf.readfile(path)
        unit = _DXF_UNITS_MM.get(int(document.header.get("$INSUNITS", 0)))
        drawn = [e for e in document.modelspace() if e.dxftype() in _DXF_KINDS]
    except (OSError, ValueError, ezdxf.DXFError, UnicodeError):
        raise _damaged(path, "DXF") from None
    if unit is None:
        raise LightcheckError(
            f"{path.name} is in a unit that is not known here.", "Save it in millimetres or inches."
        )
    edge = [e for e in drawn if e.dxf.layer.lower() == _EDGE]
    lines = [
        np.array([(p.x, p.y) for p in make_path(e).flattening(WITHIN_MM / unit)]) * unit
        for e in edge or drawn
    ]
    return joined(lines)


_DXF_KINDS = ("LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE")


def svg_lines(path: Path) -> list[np.ndarray]:
    """Lines of an SVG at its true size, y up; the path with the id "edge" where there is one."""
    from svgelements import SVG, Shape
    from svgelements import Path as Drawn

    try:
        shapes = [s for s in SVG.parse(str(path), ppi=96.0).elements() if isinstance(s, Shape)]
        edge = [s for s in shapes if str(s.id or "").lower() == _EDGE]
        lines = [_flat(sub) for s in edge or shapes for sub in Drawn(s).as_subpaths()]
    except (OSError, ValueError, TypeError, AttributeError, SyntaxError):
        raise _damaged(path, "SVG") from None
    return joined([line * SVG_PX_MM * (1, -1) for line in lines if len(line) > 1])


def _flat(sub) -> np.ndarray:
    """(n, 2) points of one subpath, bends as short straight pieces. [px]"""
    from svgelements import Close, Line, Move
    from svgelements import Path as Drawn

    points: list[tuple[float, float]] = []
    for segment in Drawn(sub):
        if isinstance(segment, Move):
            points.append((segment.end.x, segment.end.y))
            continue
        if segment.end is None or segment.start is None:
            continue
        straight = isinstance(segment, (Line, Close))
        count = 1 if straight else max(8, int(segment.length(error=1e-4) * SVG_PX_MM))
        points += [(p.x, p.y) for p in map(segment.point, np.arange(1, count + 1) / count)]
    return np.array(points)


def joined(lines: list[np.ndarray]) -> list[np.ndarray]:
    """Lines whose ends meet become one."""
    rest = [line for line in lines if len(line) > 1]
    found = []
    while rest:
        chain = rest.pop(0)
        while (hit := _next(chain, rest)) is not None:
            i, before, turned = hit
            line = rest.pop(i)
            line = line[::-1] if turned else line
            chain = np.concatenate([line, chain[1:]] if before else [chain, line[1:]])
        found.append(chain)
    return found


def _next(chain: np.ndarray, rest: list[np.ndarray]) -> tuple[int, bool, bool] | None:
    """Which line meets the chain, whether before its start, and whether it runs the other way."""
    if np.hypot(*(chain[0] - chain[-1])) < JOIN_MM and len(chain) > 2:
        return None  # closed
    for i, line in enumerate(rest):
        for before, end in ((False, chain[-1]), (True, chain[0])):
            for turned in (False, True):
                meets = line[-1 if turned != before else 0]
                if np.hypot(*(meets - end)) < JOIN_MM:
                    return i, before, turned
    return None


def _damaged(path: Path, kind: str) -> LightcheckError:
    return LightcheckError(
        f"{path.name} is not a {kind} that can be read.",
        "Save the drawing again, or give the points as a CSV with the header x_mm,y_mm.",
    )
