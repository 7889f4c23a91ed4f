"""Figures of the tools laid on surfaces, printed as a table: reached against a closed form.

    python demo/figures_lay.py

Surfaces are formulas; nothing here is measured on wood.
"""

from __future__ import annotations

import time

import numpy as np
from scipy.ndimage import gaussian_filter

from lightcheck import lay
from lightcheck.grid import Grid
from lightcheck.lay.contact import Stick, settle
from lightcheck.patch import Base

GRID = Grid.over((-300.0, 300.0), (-60.0, 60.0), cell_mm=2.0)
X, Y = GRID.mesh_mm()
LINE = ((-300.0, 0.0), (300.0, 0.0))
STIFFNESS_NMM2 = 1.215e8  # 40 x 15 mm flat, 10 800 MPa
AIM = 0.01


def sagitta():
    base = Base(along_x=1 / 3000.0)
    wood = lay.plain(GRID, base.height_mm(X, Y), base=base)
    for length in (229.0, 356.0, 559.0):
        exact = 3000 - np.sqrt(3000**2 - length**2 / 4)
        laid = lay.straightedge(wood, *LINE, length_mm=length)
        yield f"sagitta, straightedge {length:g} mm in R 3000", laid.worst_mm, exact


def sine():
    wood = lay.plain(GRID, -0.5 * np.cos(2 * np.pi * X / 600))
    for length in (150.0, 300.0, 600.0):
        exact = 0.5 * (1 - np.cos(np.pi * length / 600))
        name = f"sine 1 mm over 600 mm, straightedge {length:g} mm"
        yield name, lay.straightedge(wood, *LINE, length_mm=length).worst_mm, exact
    stiff = lay.Board(length_mm=304, width_mm=70, stiffness_nmm2=1e12, press_n=30)
    wood = lay.plain(GRID, -0.5 * np.cos(2 * np.pi * X / 304))
    yield (
        "sine 1 mm over 304 mm, stiff longboard 304 mm",
        lay.longboard(wood, *LINE, board=stiff).worst_mm,
        1.0,
    )


def beams():
    wood = np.full(301, -100.0)
    wood[[0, -1]] = 0.0
    stick = Stick(stiffness_nmm2=STIFFNESS_NMM2, step_mm=5.0, give_n_mm=1e6)
    point, even = np.zeros(301), np.full(301, 0.05)
    point[150] = 10.0
    even[[0, -1]] /= 2
    for name, load, exact in (("10 N in the middle", point, 5.7870), ("0.01 N/mm", even, 5.4253)):
        yield f"beam on two supports 1500 mm, {name}", -settle(stick, wood, load).place_mm[150], exact
    gap = lay.plain(GRID, np.where(np.abs(X) == 148, 0.0, -5.0))
    soft = lay.Board(length_mm=312, width_mm=70, stiffness_nmm2=5e6, press_n=30)
    laid = lay.longboard(gap, *LINE, board=soft)
    w, span, over = 30 / 312, 296.0, 8.0
    exact = (5 * w * span**4 / 384 - w * over**2 * span**2 / 16) / 5e6
    middle = np.abs(laid.along_mm - 300).argmin()
    yield "soft longboard between two supports 296 mm", 5 - laid.daylight_mm[middle], exact
    hollow = lay.plain(GRID, 1e-4 * X**2)
    held = lay.Held(weights=((300.0, 5.0),))
    stick = lay.Batten(stiffness_nmm2=1e7, width_mm=20)
    laid = lay.batten(hollow, *LINE, stick=stick, held=held)
    yield "batten held at both ends, 5 N in the middle", 9 - laid.worst_mm, 5 * 600**3 / (48 * 1e7)


def bonded():
    plank = lay.Planking(thick_mm=6.0, timber=lay.timber("cedar"), bed_n_mm3=0.5)
    for wave in (100.0, 150.0, 300.0):
        over = lay.planking_over(lay.plain(GRID, 0.5 * np.cos(2 * np.pi * X / wave)), planking=plank)
        near = np.abs(GRID.x_mm) <= wave / 2
        columns = np.column_stack([np.cos(2 * np.pi * GRID.x_mm[near] / wave), np.ones(near.sum())])
        share = np.linalg.lstsq(columns, over.value_mm[GRID.ny // 2, near], rcond=None)[0][0] / 0.5
        yield f"bonded planking 6 mm, wave {wave:g} mm", share, float(lay.transfer(plank, wave))


def speed() -> None:
    grid = Grid.over((-300.0, 300.0), (-210.0, 210.0), cell_mm=2.0)
    rng = np.random.default_rng(1)
    sheets = gaussian_filter(rng.standard_normal((64, *grid.shape)), (0, 20, 20)).astype(np.float32)
    for length in (150.0, 300.0, 600.0):
        for turn in (0, 45):
            start, worked = time.perf_counter(), time.process_time()
            lay.worst_gap(grid, sheets, length_mm=length, turn_rad=np.radians(turn))
            took = time.perf_counter() - start
            print(
                f"worst gap, {length:g} mm at {turn} degrees, 64 draws of 600 x 420 mm: "
                f"{time.process_time() - worked:.2f} s of work, {took:.2f} s by the clock (aim 1)"
            )


def main() -> None:
    print(f"{'what':<56}{'reached':>10}{'exact':>10}{'off':>9}")
    for rows in (sagitta(), sine(), beams(), bonded()):
        for name, reached, exact in rows:
            off = reached / exact - 1
            short = "" if abs(off) <= AIM else "   falls short"
            print(f"{name:<56}{reached:>10.4f}{exact:>10.4f}{off:>+9.2%}{short}")
    speed()


if __name__ == "__main__":
    main()
