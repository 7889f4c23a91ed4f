"""Planking: a plate of wood fastened over the surface; what of the humps and hollows shows through.

    ____x_______________x_______________x____     x fastenings at a stated pitch hold it to the wood
        |``--..      ..-|--..______..--`|         between them it is held up by humps and spans hollows

The plate is flat before it is bent on (Kirchhoff, orthotropic, edges free, seams glued):

    energy(w) = 1/2 sum (Dx wxx^2 + 2 D1 wxx wyy + Dy wyy^2 + 4 Dxy wxy^2) h^2  +  contact as in contact.py

Bonded all over instead, it lies on a bed of stiffness k per area, and of a wave of length l along x

    1 / (1 + (Dx / k) (2 pi / l)^4)      shows through (plate on an elastic bed, textbook, from memory)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import map_coordinates
from scipy.sparse import csr_array, diags_array, eye_array, kron
from scipy.sparse.linalg import splu

from lightcheck.errors import LightcheckError
from lightcheck.lay.contact import GIVE_N_MM3, share_of_step
from lightcheck.lay.product import Over, over
from lightcheck.lay.stiffness import POISSON, Timber
from lightcheck.lay.wood import Wood

_CELL_MM = 8.0  # of the plate's own sheet: finer than that planking does not bend
_BONDED_CELL_MM = 4.0  # one solve only, so it can be finer: short waves come out right to 1 %
_MOST_NODES, _MOST_BONDED = 6000, 17000
_DRAWS = 6  # each takes as long as the map itself
_GRIP = 1e3  # how much stiffer a fastening is than the wood under one cell
_MOST_STEPS = 60
SHOWS = "shows through"


@dataclass(frozen=True, slots=True, kw_only=True)
class Planking:
    """thick_mm, timber; pitch_mm: of fastenings along and across the grain.  grain_rad: 0 or a right angle,
    from +x.  bed_n_mm3: stiffness of the glue and what is under it; None where it is only fastened."""

    thick_mm: float
    timber: Timber
    pitch_mm: tuple[float, float] = (150.0, 150.0)
    grain_rad: float = 0.0
    bed_n_mm3: float | None = None

    def __post_init__(self) -> None:
        """Refuse what can not be laid."""
        if not 0.3 <= self.thick_mm <= 60 or min(self.pitch_mm) < 2 * self.thick_mm:
            raise LightcheckError(
                f"Planking of {self.thick_mm:g} mm fastened every {min(self.pitch_mm):g} mm can not be laid.",
                "Give a thickness from 0.3 to 60 mm, and fastenings further apart than twice that: "
                "--planking 6mm,cedar --pitch 150mm.",
            )
        if abs(np.sin(2 * self.grain_rad)) > 1e-6:
            raise LightcheckError(
                "The grain of planking runs along or across the map.", "Give --turn 0deg or --turn 90deg."
            )

    @property
    def rigidities_nmm(self) -> tuple[float, float, float, float]:
        """Dx, Dy, D1, Dxy with x along the map: E t^3 / 12 / (1 - nu nu'). [N mm]"""
        wood, cube = self.timber, self.thick_mm**3 / 12
        minor = POISSON * wood.across
        along = wood.mpa * cube / (1 - POISSON * minor)
        pair = (along, along * wood.across)
        x, y = pair if abs(np.cos(self.grain_rad)) > 0.5 else pair[::-1]
        return x, y, POISSON * along * wood.across, wood.mpa * wood.shear * cube

    @property
    def words(self) -> str:
        """What a reader is told it is."""
        how = "bonded all over" if self.bed_n_mm3 else "fastened every " + " x ".join(
            f"{p:g}" for p in dict.fromkeys(self.pitch_mm)) + " mm"  # fmt: skip
        return f"planking, {self.thick_mm:g} mm {self.timber.name}, {how}"


def transfer(planking: Planking, wave_mm, *, across: bool = False) -> np.ndarray:
    """Share of a wave that shows through bonded planking, running along x, or across it along y."""
    rigid = planking.rigidities_nmm[1 if across else 0]
    return 1 / (1 + rigid / planking.bed_n_mm3 * (2 * np.pi / np.asarray(wave_mm, float)) ** 4)


def planking_over(on: Wood, *, planking: Planking) -> Over:
    """What shows through on the outside, above (+) or below the fair surface, thickness left out."""
    sheet = _sheet(on, planking)
    shows = [sheet.on_grid(f) - on.fair_mm for f in sheet.lay([on.height_mm, *on.draws_mm[:_DRAWS]])]
    spread = np.std(shows[1:], axis=0, ddof=1) if len(shows) > 2 else np.full(on.grid.shape, np.nan)
    worst = [float(np.nanmax(np.abs(np.where(on.seen, s, np.nan)))) for s in shows[1:]]
    return over(
        on, value=shows[0], sigma=spread, draws=worst, tool=planking.words, what=SHOWS,
        turn_rad=planking.grain_rad, notes=tuple(_notes(planking)),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sheet:
    """The plate's own nodes: x (m,), y (l,); its bending as a matrix; fastened nodes; springs under one."""

    on: Wood
    x: np.ndarray
    y: np.ndarray
    bending: csr_array
    grip: np.ndarray
    give: float
    bonded: bool

    def lay(self, heights_mm: list[np.ndarray]) -> list[np.ndarray]:
        """(l m,) faces of the plate on woods of these heights (ny, nx), alike but for small differences."""
        woods = [self._nodes(h) for h in heights_mm]
        known = np.isfinite(woods[0])
        grounds = [np.where(known & np.isfinite(w), w, 0.0) for w in woods]
        grip = np.where(known, self.grip, 0.0)
        if self.bonded:
            return list(self.solve(self.give * known, np.transpose(grounds)).T)
        place, faces = self.solve(grip + self.give * known, grounds[0]), []
        for ground in grounds:
            place = _newton(self, ground, (known, grip), faces[0] if faces else place)
            faces.append(place)
        return faces

    def on_grid(self, face: np.ndarray) -> np.ndarray:
        """(ny, nx) face between nodes."""
        gx, gy = self.on.grid.mesh_mm()
        h = self.x[1] - self.x[0]
        places = np.stack([(gy - self.y[0]) / h, (gx - self.x[0]) / h])
        return map_coordinates(face.reshape(len(self.y), len(self.x)), places, order=3, mode="nearest")

    def _nodes(self, height_mm: np.ndarray) -> np.ndarray:
        row, column = self.on.grid.index(*np.meshgrid(self.x, self.y))
        supposed = np.where(np.isfinite(height_mm), height_mm, self.on.fair_mm)  # under cards there is wood
        known = np.isfinite(supposed)
        values, weight = (
            map_coordinates(a, np.stack([row, column]), order=1, mode="nearest")
            for a in (np.where(known, supposed, 0.0), known.astype(float))
        )
        return np.where(weight > 0.999, values, np.nan).ravel()

    def solve(self, springs: np.ndarray, ground: np.ndarray) -> np.ndarray:
        """Face on springs (m,) that all hold, each to its ground (m,) or (m, k)."""
        held = springs + 1e-9 * self.give  # where nothing holds a corner up
        factor = splu((self.bending + diags_array(held)).tocsc(), permc_spec="MMD_AT_PLUS_A",
                      options={"SymmetricMode": True})  # fmt: skip
        return factor.solve((springs * ground.T).T)


def _newton(sheet: _Sheet, ground: np.ndarray, held, place: np.ndarray) -> np.ndarray:
    """Least energy: solve with the places that touch, go as far as the energy falls, until they stay."""
    known, grip = held
    touch = known & (place < ground)
    for _ in range(_MOST_STEPS):
        ahead = sheet.solve(grip + sheet.give * touch, ground) - place
        place = place + _far(sheet, (ground, grip, known), place, ahead) * ahead
        new = known & (place < ground)
        if (new == touch).all():
            break
        touch = new
    return place


def _far(sheet: _Sheet, bed, place: np.ndarray, ahead: np.ndarray) -> float:
    ground, grip, known = bed
    fixed = ahead @ (sheet.bending @ place + grip * (place - ground))
    bent = ahead @ (sheet.bending @ ahead + grip * ahead)

    def slope(share: float) -> float:
        dent = np.where(known, np.maximum(ground - place - share * ahead, 0.0), 0.0)
        return fixed + share * bent - sheet.give * (ahead @ dent)

    return share_of_step(slope)


def _sheet(on: Wood, planking: Planking) -> _Sheet:
    grid = on.grid
    wide, tall = np.ptp(grid.x_mm), np.ptp(grid.y_mm)
    bonded = planking.bed_n_mm3 is not None
    least = _BONDED_CELL_MM if bonded else max(_CELL_MM, grid.cell_mm)
    h = max(least, float(np.sqrt(wide * tall / (_MOST_BONDED if bonded else _MOST_NODES))))
    m, rows = int(np.ceil(wide / h)) + 1, int(np.ceil(tall / h)) + 1
    x = grid.x_mm.mean() + (np.arange(m) - (m - 1) / 2) * h
    y = grid.y_mm.mean() + (np.arange(rows) - (rows - 1) / 2) * h
    give = (planking.bed_n_mm3 if bonded else GIVE_N_MM3) * h * h
    grip = np.zeros((rows, m))
    pitch = planking.pitch_mm if abs(np.cos(planking.grain_rad)) > 0.5 else planking.pitch_mm[::-1]
    grip[np.ix_(_every(y, pitch[1]), _every(x, pitch[0]))] = _GRIP * give
    return _Sheet(
        on=on, x=x, y=y, bending=_bending(rows, m, h, planking.rigidities_nmm), grip=grip.ravel(), give=give,
        bonded=bonded,
    )  # fmt: skip


def _every(ticks: np.ndarray, pitch: float) -> np.ndarray:
    """Indices of fastenings: at the pitch about the middle, and along both edges."""
    count = max(1, int(np.ptp(ticks) / pitch))
    places = ticks.mean() + (np.arange(count + 1) - count / 2) * pitch
    return np.unique([0, len(ticks) - 1, *(int(np.abs(ticks - p).argmin()) for p in places)])


def _bending(rows: int, m: int, h: float, rigid) -> csr_array:
    """The plate's bending energy as a matrix, second differences on nodes and the twist on cells."""
    dx, dy, d1, dxy = rigid
    along, up = _second(m), _second(rows)
    xx, yy = kron(eye_array(rows), along), kron(up, eye_array(m))
    xy = kron(_first(rows), _first(m))
    total = dx * xx.T @ xx + dy * yy.T @ yy + 4 * dxy * xy.T @ xy
    both = xx.T @ _shared(rows, m) @ yy
    return csr_array((total + d1 * (both + both.T)) / h**2)


def _second(n: int):
    return diags_array([1.0, -2.0, 1.0], offsets=[0, 1, 2], shape=(n - 2, n))


def _first(n: int):
    return diags_array([-1.0, 1.0], offsets=[0, 1], shape=(n - 1, n))


def _shared(rows: int, m: int):
    """(rows (m-2), (rows-2) m): 1 where a row of xx and one of yy stand at the same node."""
    pick_x = diags_array([1.0], offsets=[1], shape=(m - 2, m))
    pick_y = diags_array([1.0], offsets=[1], shape=(rows - 2, rows))
    return kron(pick_y.T, pick_x)


def _notes(planking: Planking):
    yield from planking.timber.notes
    if planking.bed_n_mm3:
        rigid = max(planking.rigidities_nmm[:2])
        half = 2 * np.pi * (rigid / planking.bed_n_mm3) ** 0.25
        yield (
            f"Bonded all over, a wave of {half:.0f} mm along the grain shows through by half; "
            "longer ones more."
        )
    else:
        yield (
            "Where the fastenings really go is not known: here they stand on an even net about the middle "
            "of the map and along its edges; one that falls in a hollow pulls the planking into it."
        )
