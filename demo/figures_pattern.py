"""Figures of the patterns, printed as a table; and the invented offsets they are drawn from.

    python demo/figures_pattern.py             print the figures
    python demo/figures_pattern.py --offsets   write demo/offsets.csv anew

The boat is invented: 4.7 m, drawn by formulas and therefore fair, written down to whole millimetres.
One offset is then changed on purpose, a slip of the pencil with two figures swapped.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from lightcheck import offsets, pattern

HERE = Path(__file__).parent
LENGTH_MM, SPACING_MM, STATIONS = 4700.0, 470.0, 9
WATERLINES_MM, BUTTOCKS_MM = (100, 150, 200, 250, 300, 400), (100, 200, 300, 400, 500)
KEEL_MM = 14.0  # half the keel's breadth
SLIP = ("half-breadth", "WL 200", 6, "458")  # 485 with two figures swapped


def sheer_mm(x: float) -> float:
    """Height of the sheer, x aft of the stem."""
    t = x / LENGTH_MM
    return 430 + 572 * (0.53 - t) ** 2 + 60 * (0.53 - t)


def keel_mm(x: float) -> float:
    """Height of the keel."""
    t = x / LENGTH_MM
    return 50 + 45.5 * (2 * t - 1) ** 4 + 34 * (2 * t - 1.04) ** 2


def beam_mm(x: float) -> float:
    """Half-breadth of the sheer."""
    t = x / LENGTH_MM
    return (
        612 * (1 - ((0.54 - t) / 0.56) ** 2) ** 0.92
        if t < 0.54
        else 612 * (1 - 0.55 * ((t - 0.54) / 0.46) ** 2)
    )


def half_breadth_mm(x: float, z: float) -> float:
    """Half-breadth of the invented hull at height z."""
    t = x / LENGTH_MM
    full, flare = 1.5 + 3.0 * np.exp(-(((t - 0.6) / 0.30) ** 2)), 0.16 + 0.25 * (1 - t) ** 2
    u = (z - keel_mm(x)) / (sheer_mm(x) - keel_mm(x))
    return KEEL_MM + (beam_mm(x) - KEEL_MM) * ((1 - flare) * (1 - (1 - u) ** full) + flare * u)


def height_mm(x: float, b: float) -> float | None:
    """Height of a buttock; None where it does not reach well below the sheer."""
    if half_breadth_mm(x, sheer_mm(x) - 15) < b:
        return None
    return brentq(lambda z: half_breadth_mm(x, z) - b, keel_mm(x), sheer_mm(x))


def offsets_csv(*, slip: tuple[str, str, int, str] | None = SLIP) -> str:
    """The table of offsets. slip: (kind, line, station, what is written there) or None."""
    at = [SPACING_MM * (i + 1) for i in range(STATIONS)]

    def row(kind, line, level, values):
        return [kind, line, level, *("" if v is None else f"{v:.0f}" for v in values)]

    def waterline(x, z):
        return half_breadth_mm(x, z) if keel_mm(x) + 8 < z < sheer_mm(x) - 15 else None

    rows = [row("half-breadth", "keel", "", [KEEL_MM] * STATIONS)]
    rows += [row("half-breadth", f"WL {z}", str(z), [waterline(x, z) for x in at]) for z in WATERLINES_MM]
    rows.append(row("half-breadth", "sheer", "", map(beam_mm, at)))
    rows.append(row("height", "keel", "", map(keel_mm, at)))
    rows += [row("height", f"buttock {b}", str(b), [height_mm(x, b) for x in at]) for b in BUTTOCKS_MM]
    rows.append(row("height", "sheer", "", map(sheer_mm, at)))
    for cells in rows:
        if slip and tuple(cells[:2]) == slip[:2]:
            cells[2 + slip[2]] = slip[3]
    head = [
        ["# An invented boat: the numbers come from formulas, with one slip of the pencil on purpose."],
        ["title", "Invented rowing boat 4.7 m"],
        ["units", "mm"],
        ["to", "outside"],
        ["station", "", "", *(str(i + 1) for i in range(STATIONS))],
        ["place", "", "", *(f"{x:.0f}" for x in at)],
    ]
    return "\n".join(",".join(cells) for cells in head + rows) + "\n"


def slip_figures(*, tables: int = 8, sizes_mm=(4, 8, 16, 24)) -> dict:
    """False alarms on fair tables, and the share of slips found, by size. One slip to a table."""
    rng = np.random.default_rng(5)
    fair = offsets_csv(slip=None).splitlines()
    found = {size: [] for size in sizes_mm}
    others = 0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "offsets.csv"
        for size in np.repeat(sizes_mm, tables):
            cells, row, column = _somewhere(fair, rng)
            cells[column] = str(int(cells[column]) + int(rng.choice([-1, 1])) * int(size))
            path.write_text("\n".join([*fair[:row], ",".join(cells), *fair[row + 1 :]]) + "\n")
            slips = offsets.fairness(offsets.read(path)).slips
            wanted = (str(column - 2), cells[1], cells[0])
            hits = [s for s in slips if (s.station, s.line, s.kind) == wanted]
            found[int(size)].append(len(hits))
            others += len(slips) - len(hits)
    return {"found": {s: float(np.mean(f)) for s, f in found.items()}, "others": others}


def _somewhere(rows: list[str], rng) -> tuple[list[str], int, int]:
    """Cells of a row, its number and a filled column that is not the keel's."""
    while True:
        row = int(rng.integers(6, len(rows)))
        cells = rows[row].split(",")
        column = int(rng.integers(3, len(cells)))
        if cells[column] and cells[1] != "keel":
            return cells, row, column


def round_mm(points: int, *, across: float, up: float, planking: float) -> float:
    """Largest distance of the edge from the true parallel curve of an ellipse given by so many points."""
    turn = np.linspace(0, np.pi / 2, points)
    x, y = across * np.sin(turn), up * (1 - np.cos(turn))
    rows = ["units,mm", "station,,,1"]
    for i, (px, py) in enumerate(zip(x, y, strict=True)):
        rows += [f"half-breadth,L{i},,{px:.6f}", f"height,L{i},,{py:.6f}"]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "round.csv"
        path.write_text("\n".join(rows) + "\n")
        edge = offsets.edge(offsets.section(offsets.read(path), "1"), planking_mm=planking).at_mm
    return float(abs(_off_ellipse(edge, across, up) + planking).max())


def _off_ellipse(at: np.ndarray, across: float, up: float) -> np.ndarray:
    """(n,) distance of points inside an ellipse from it, less than 0; by Newton's steps."""
    x, y = at[:, 0], up - at[:, 1]
    t = np.arctan2(x / across, y / up)
    for _ in range(40):
        ex, ey = across * np.sin(t), up * np.cos(t)
        dx, dy = across * np.cos(t), -up * np.sin(t)
        slope = (ex - x) * dx + (ey - y) * dy
        t -= slope / (dx**2 + dy**2 + (ex - x) * -ex + (ey - y) * -ey)
    return -np.hypot(across * np.sin(t) - x, up * np.cos(t) - y)


def figures() -> list[tuple[str, str]]:
    """What is measured, in words and numbers."""
    table = offsets.read(HERE / "offsets.csv")
    rows = []
    for count in (13, 17, 25):
        circle = round_mm(count, across=500, up=500, planking=12)
        ellipse = round_mm(count, across=600, up=380, planking=12)
        text = f"{circle:.4f} mm on a circle of 500 mm, {ellipse:.4f} mm on an ellipse of 600 x 380 mm"
        rows.append((f"planking of 12 mm off a section of {count} points, worst place", text))
    slips = offsets.fairness(table).slips
    rows.append(("offsets listed as unfair in demo/offsets.csv (one was changed)", str(len(slips))))
    measured = slip_figures()
    for size, share in measured["found"].items():
        rows.append((f"slips of {size} mm found", f"{100 * share:.0f} %"))
    rows.append(("fair offsets listed beside them", str(measured["others"])))
    drawn = pattern.make(table, pattern.Cut(station="4", planking_mm=9, cards=(4, 5)))
    bevel = np.degrees(drawn.edge.bevel_rad)
    rows.append(("bevel of station 4", f"{np.nanmin(bevel):.1f} to {np.nanmax(bevel):.1f} degrees"))
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--offsets", action="store_true", help="write demo/offsets.csv anew")
    if parser.parse_args().offsets:
        (HERE / "offsets.csv").write_text(offsets_csv(), encoding="utf-8")
        return
    for name, text in figures():
        print(f"{name:<66} {text}")


if __name__ == "__main__":
    main()
