"""One step of the solve: the bordered sparse system, linearised about what is known so far.

Unknown are the height z of every cell and a few dozen nuisances b. Per cell the wood's tone is taken
out by subtracting the weighted mean over the shots; the mean itself stays as one more, weak equation,
for tone varies by a few per cent only.

    [ R'R + P    R'B - P T        ] [z]   [R'd + P c   ]      R rows of shading, P the prior of heights
    [  ...       B'B + T'P T + Q  ] [b] = [B'd - T'P c ]      (diagonal) and bending, B columns of nuisances,
                                                              Q their priors

The prior wants heights near c + T b, not near zero: bells, whose form is among the unknowns, and what
nuisances stretch.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

from lightcheck.relief.bell import Bells
from lightcheck.relief.nuisance import RESPONSE_RANGE, Nuisances
from lightcheck.relief.scene import Scene
from lightcheck.relief.state import Guess, System
from lightcheck.shade import light_on

DATA_SIGMA = 0.02  # of log light in a unit cell: noise, and what the columns leave over
TONE_SCATTER = 0.3  # of the wood's tone: 6 % widened for grain that is alike over many cells
FLASH_SCATTER = 0.6  # the same where the flash is among the shots: their mean leans on one raking lamp
BENDING = 3e4  # weight of squared curvature in a unit cell, mm^2
NONE = 1e12  # weight of an unknown that is held at nothing
ROBUST = 3.0  # residuals beyond so many sigmas lose weight
# Lamps in sigmas: keeps the first, rough steps from throwing one across the shop.
RANGES = {
    "ambient": (0.0, 0.6),
    "lamp": (-10.0, 10.0),
    "response": RESPONSE_RANGE,
}


class Step:
    """Linearises a scene about a guess."""

    def __init__(self, scene: Scene, nuisances: Nuisances, guess: Guess) -> None:
        """Work out the model, its slopes and the weights at the guess."""
        self.scene, self.nuisances, self.guess = scene, nuisances, guess
        self.b = {name: guess.b[nuisances.of(name)] for name in np.unique(nuisances.group)}
        self._linearise()
        self._weigh()

    def _linearise(self) -> None:
        """Model of the log light and its slopes at the guess."""
        scene, cells = self.scene, self.scene.cells
        total = self.guess.z + self.nuisances.bowls.T @ self.b["base"]
        moved = np.einsum("sij,sj->si", self.nuisances.lamp_root, self.b["lamp"].reshape(-1, 3))
        places = np.array([lamp.place_mm for lamp in scene.lamps]) + moved
        slopes = cells.by_x @ total, cells.by_y @ total
        self.lights = [light_on(scene.facing, place, total, *slopes) for place in places]
        logs = np.array([light.log for light in self.lights])
        self.usable = scene.usable & np.isfinite(logs)
        rakes = scene.rakes[:, None]
        lit = logs[scene.rakes]
        # ambient light is told against the lamps' own
        logs = logs - (np.nanmedian(lit) if np.isfinite(lit).any() else 0.0)
        relative = np.exp(logs)
        ambient = float(self.b["ambient"][0])
        self.share = np.where(rakes, relative / (relative + ambient), 1.0)
        self.by_ambient = np.where(rakes, 1 / (relative + ambient), 0.0)
        self.model = np.where(rakes, np.log(relative + ambient), logs)

    def _weigh(self) -> None:
        """Weights of the equations; steep parts of the curve magnify noise and count less."""
        area = self.scene.area
        steep = 1 + np.tensordot(self.b["response"], self.nuisances.hats, (0, 0))
        self.steep = np.clip(steep, 0.3, 3.0)
        weight = np.where(self.usable, self.guess.trust * area / (DATA_SIGMA * self.steep) ** 2, 0.0)
        if len(weight) > 1:
            weight[:, (weight > 0).sum(0) < 2] = 0.0
        self.weight = weight
        self.total = weight.sum(0)
        scatter = TONE_SCATTER if self.scene.rakes.all() else FLASH_SCATTER
        tone = area / scatter**2
        self.common = np.sqrt(self.total * tone / (self.total + tone))

    def project(self, column: np.ndarray) -> np.ndarray:
        """(s + 1, n) weighted equations of an (s, n) column: tone taken out, and the mean."""
        column = np.where(self.usable, column, 0.0)
        mean = (self.weight * column).sum(0) / np.where(self.total > 0, self.total, 1.0)
        return np.concatenate([np.sqrt(self.weight) * (column - mean), (self.common * mean)[None]])

    def rows(self) -> list:
        """Shading of heights: s + 1 sparse (n, n) matrices."""
        cells = self.scene.cells
        parts = [
            self.project(
                np.array([s * getattr(light, name) for s, light in zip(self.share, self.lights, strict=True)])
            )
            for name in ("by_z", "by_dzdx", "by_dzdy")
        ]
        return [
            sparse.diags_array(z) + sparse.diags_array(x) @ cells.by_x + sparse.diags_array(y) @ cells.by_y
            for z, x, y in zip(*parts, strict=True)
        ]

    def columns(self, rows: list) -> np.ndarray:
        """((s + 1) n, m) nuisance columns."""
        shots, count = self.weight.shape
        own = self.nuisances
        made = list(own.fixed)
        made += [-p + self.guess.left * h / self.steep for p, h in zip(own.response, own.hats, strict=True)]
        made.append(self.by_ambient)
        for shot, light in enumerate(self.lights):
            for axis in range(3):
                column = np.zeros((shots, count))
                column[shot] = self.share[shot] * (light.by_lamp @ own.lamp_root[shot][:, axis])
                made.append(column)
        flat = [self.project(c).ravel() for c in made]
        flat += [np.concatenate([r @ bowl for r in rows]) for bowl in own.bowls]
        seats = np.zeros((len(flat[0]), 3 * len(self.scene.holds)))
        return np.concatenate([np.stack(flat, axis=1), seats], axis=1)

    def target(self, rows: list, columns: np.ndarray) -> np.ndarray:
        """Right side, written for the unknowns themselves and not for their changes."""
        own, b = self.nuisances, self.guess.b
        curved = self.scene.measured + np.tensordot(self.b["response"], own.response, (0, 0))
        target = self.project(curved - self.model).ravel()
        target = target + np.concatenate([r @ self.guess.z for r in rows])
        moving = np.isin(own.group, ("response", "ambient", "lamp", "base"))
        return target + columns[:, moving] @ b[moving]

    def templates(self) -> tuple:
        """Equations of the templates, (k, n), (k, m) and (k,): linear as they stand."""
        own, equations = self.nuisances, self.scene.held
        columns = np.zeros((len(equations.reading), len(own.group)))
        columns[:, own.of("base")] = equations.rows @ own.bowls.T
        columns[:, own.of("seat")] = equations.seat
        return equations.rows, columns, equations.reading


def advance(
    scene: Scene,
    nuisances: Nuisances,
    guess: Guess,
    height_weight: np.ndarray,
    *,
    bending=BENDING,
    robust=ROBUST,
):
    """One Gauss-Newton step with given prior weights of heights and bends. Returns (guess, system).

    robust: residuals beyond so many sigmas lose weight in the step after this one.
    """
    step = Step(scene, nuisances, guess)
    rows = step.rows()
    columns = step.columns(rows)
    target = step.target(rows, columns)
    shading = len(target)
    if scene.holds:
        held_rows, held_columns, reading = step.templates()
        rows = [*rows, held_rows]
        columns, target = np.concatenate([columns, held_columns]), np.concatenate([target, reading])
    fair = scene.area * (sparse.diags_array(height_weight) + bending * scene.cells.bend)
    stacked = sparse.vstack(rows).T.tocsr()
    matrix = (stacked @ stacked.T + fair).tocsc()
    factor = splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}, diag_pivot_thresh=0.0)
    wanted, centre = _wanted(scene, guess, nuisances.stretch)
    cross, square, right, pull = _bordered((stacked, columns, target), fair, wanted, centre)
    border, free = factor.solve(cross), factor.solve(right)
    unknowns = _unknowns(nuisances, guess.bells)
    b, inner, prior = _bounded(square - cross.T @ border, pull - cross.T @ free, *unknowns)
    mine = len(nuisances.group)
    b[:mine] = _within(b[:mine], nuisances)
    z = free - border @ b
    system = System(
        factor=factor,
        rows=rows,
        columns=columns,
        cross=cross,
        border=border,
        inner=inner,
        height_weight=height_weight,
        prior=prior,
        wanted=wanted,
    )
    left = target - columns @ b[:mine] - stacked.T @ z
    better = _judged(step, z, b[:mine], left[:shading].reshape(-1, len(z))[:-1], robust)
    return replace(better, bells=guess.bells.moved(b[mine:])), system


def _wanted(scene: Scene, guess: Guess, stretch: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n, m) and (n,): what the prior wants heights near, by the unknowns and where they are all zero.

    A curve said to be steeper, or a room darker, makes every height lower and leaves the photos as they
    are. So the prior is on heights as the standard curve would show them: one on heights themselves
    would bend the curve until the wood looked fairer than it is.
    """
    place = scene.cells.place_mm
    bells = guess.bells.height_mm(*place)
    stretched = np.multiply.outer(guess.z - bells, stretch)
    return np.hstack([stretched, guess.bells.by_form(*place)]), bells - stretched @ guess.b


def _bordered(equations: tuple, fair: sparse.csr_array, wanted: np.ndarray, centre: np.ndarray) -> tuple:
    """Border (n, m) and corner (m, m) of the normal equations, right sides of heights and unknowns."""
    stacked, columns, target = equations
    pressed, mine = fair @ wanted, columns.shape[1]
    cross, square = -pressed, wanted.T @ pressed
    cross[:, :mine] += stacked @ columns
    square[:mine, :mine] += columns.T @ columns
    pull = -pressed.T @ centre
    pull[:mine] += columns.T @ target
    return np.ascontiguousarray(cross), square, stacked @ target + fair @ centre, pull


def _unknowns(nuisances: Nuisances, bells: Bells) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(m,) expected value and weight of each unknown, and whether it is a light: never less than none."""
    sigma = np.concatenate([nuisances.sigma, bells.sigma])
    expected = np.concatenate([nuisances.expected, bells.expected])
    light = np.isin(nuisances.group, ("ambient", "gloss"))
    return expected, 1 / sigma**2, np.concatenate([light, np.zeros(len(bells.sigma), bool)])


def beyond(guess: Guess, better: Guess, nuisances: Nuisances, *, times: float) -> Guess:
    """A step `times` as long as from `guess` to `better`.

    A reweighted step is always too short, most of all along what the photos hardly tell; up to twice its
    length it still leads downhill.
    """
    b = guess.b + times * (better.b - guess.b)
    return replace(better, z=guess.z + times * (better.z - guess.z), b=_within(b, nuisances))


def _bounded(square, right, expected: np.ndarray, prior: np.ndarray, light: np.ndarray) -> tuple:
    """Unknowns, lights among them held at or above nothing; their covariance; their prior weights."""
    right = right + prior * expected
    for _ in range(1 + light.sum()):
        inner = np.linalg.inv(square + np.diag(prior))
        b = inner @ right
        below = light & (b < 0) & (prior < NONE)
        if not below.any():
            break
        prior, right = np.where(below, NONE, prior), np.where(below, 0.0, right)
    return b, inner, prior


def _within(b: np.ndarray, nuisances: Nuisances) -> np.ndarray:
    """Nuisances held within their ranges."""
    b = b.copy()
    for name, (low, high) in RANGES.items():
        mine = nuisances.of(name)
        b[mine] = np.clip(b[mine], low, high)
    return b


def _judged(step: Step, z: np.ndarray, b: np.ndarray, left: np.ndarray, robust: float) -> Guess:
    """Robust weights for the next step from what this one left over."""
    weighted = step.weight > 0
    in_light = np.where(weighted, left / np.sqrt(np.where(weighted, step.weight, 1.0)), 0.0)
    in_sigma = np.where(weighted, left / np.sqrt(np.maximum(step.guess.trust, 1e-9)), 0.0)
    shots = len(left)
    spread = np.median(np.abs(in_light[weighted])) if weighted.any() and shots > 1 else np.nan
    return Guess(
        z=z,
        b=b,
        trust=np.where(weighted, 1 / (1 + (in_sigma / robust) ** 2), 1.0),
        left=in_light,
        bells=step.guess.bells,
        scatter=float(1.4826 * spread * np.sqrt(shots / max(shots - 1, 1))),
    )
