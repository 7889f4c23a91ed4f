"""The whole solve: coarse to fine, wide to narrow, bell after bell, and draws from the last factor."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import ndimage, sparse

from lightcheck.grid import frozen
from lightcheck.lamp import Lamp
from lightcheck.patch import Patch
from lightcheck.relief.bell import Bells, gather
from lightcheck.relief.hold import Hold
from lightcheck.relief.nuisance import KNOTS, Nuisances, describe
from lightcheck.relief.prior import NARROWING, cost, weight
from lightcheck.relief.product import HoldFound, LampFound, Relief
from lightcheck.relief.scene import Scene, coarser, lay_scene
from lightcheck.relief.state import Guess, System
from lightcheck.relief.system import ROBUST, advance, beyond
from lightcheck.response import Response
from lightcheck.shade import Facing, cast_shadow

MOST_HEIGHT_DOUBT = 0.05  # share of a lamp's height that the solve may shift it by
LENIENT = 40.0  # sigmas: what a rough first solution leaves over is no outlier yet
COARSE_STEPS, FINE_STEPS = 48, 1
NARROW_STEPS, GATHERING_STEPS = 16, 38  # bells are put in at every other step between these
STRIDE = 1.8  # length of a coarse step over that of a plain one
AT_REST_MM = 5e-4  # rms move that is none
LENGTHENING = 1.2  # from one step to the next, after a step that turned back was cut to a plain one
COARSE_TIMES = 3
DRAWS = 64
DOUBT_LEAST, DOUBT_MOST = 0.32, 1.5  # share of the sigmas that the weights of the solve stand for
DOUBT_UNFAIR, DOUBT_CROWDED, DOUBT_BENT = 70.0, 1.5, 2.0  # more, by what shows it: from boards of known form
UNFAIR_MM, FAIR_ENOUGH = 0.03, 0.42  # wood further off than this is unfair; share of it that does no harm
DRAWN_BENDING = 2e5  # planed wood has no streaks a cell wide: draws are not let have them either
DRAWN_BENDING_ONE = 3e3  # but grain has, and in one photo grain is what is taken for height


def solve(
    patch: Patch,
    lamps: tuple[Lamp, ...],
    *,
    holds: tuple[Hold, ...] = (),
    response: Response | None = None,
    seed: int = 0,
) -> Relief:
    """Heights, their draws and everything that was found on the way.

    lamps: one per shot of the patch, none of them off.  holds: templates laid on the patch.
    response: what is known of the phone's; None: the standard curve with its usual sigma.
    """
    typed = lamps
    lamps, stretch = _sure_of_height(lamps)
    coarse = lay_scene(patch, lamps, holds=holds, times=COARSE_TIMES)
    nuisances = describe(coarse, response)
    guess = _settled(coarse, nuisances)
    scene = lay_scene(patch, lamps, holds=holds, hidden=_hidden(patch, coarse, guess, lamps))
    guess = _refined(guess, coarse.cells, scene)
    nuisances = describe(scene, response)
    for step in range(FINE_STEPS):
        guess, _ = advance(scene, nuisances, guess, _height_weight(scene, guess, COARSE_STEPS + step))
    bending = DRAWN_BENDING if len(lamps) > 1 else DRAWN_BENDING_ONE
    last = _height_weight(scene, guess, COARSE_STEPS + FINE_STEPS)
    scene = _judged_sure(scene, nuisances, guess)
    _, system = advance(scene, nuisances, guess, last, bending=bending)
    rng = np.random.default_rng(seed)
    draws = _draws(scene, nuisances, (guess, system, bending), rng)
    if not holds:
        draws *= np.exp(stretch * rng.standard_normal((DRAWS, 1)))
    relief = _relief(patch, scene, nuisances, guess, draws, system)
    return replace(relief, lamps=tuple(map(_all_doubt, relief.lamps, typed, lamps)))


def _sure_of_height(lamps: tuple[Lamp, ...]) -> tuple[tuple[Lamp, ...], float]:
    """Lamps with at most so much doubt of their height, and the doubt of all heights that this leaves.

    A lamp said to be half as high makes every height half as high and leaves the photos as they are. Left
    to the solve, the prior would choose the lowest lamp; so that doubt goes straight into the draws.
    """
    held, shares = [], []
    for lamp in lamps:
        up, doubt = lamp.place_mm[2], np.sqrt(lamp.cov_mm2[2, 2])
        most = MOST_HEIGHT_DOUBT * up
        factor = min(1.0, most / doubt)
        squeeze = np.diag([1.0, 1.0, factor]) if lamp.kind == "lamp" else np.eye(3)
        held.append(replace(lamp, cov_mm2=frozen(squeeze @ lamp.cov_mm2 @ squeeze)))
        if lamp.kind == "lamp":
            shares.append(np.sqrt(max(doubt**2 - most**2, 0.0)) / up)
    return tuple(held), float(np.sqrt(np.sum(np.square(shares))) / max(len(shares), 1))


def _all_doubt(found: LampFound, typed: Lamp, held: Lamp) -> LampFound:
    """A lamp as found, with the doubt of its height that was kept out of the solve."""
    kept_out = np.diag(typed.cov_mm2) - np.diag(held.cov_mm2)
    return replace(found, sigma_mm=frozen(np.sqrt(found.sigma_mm**2 + np.maximum(kept_out, 0.0))))


def _settled(scene: Scene, nuisances: Nuisances) -> Guess:
    """Where the coarse steps come to rest. Steps are long ones until two in a row turn back.

    One photo does not tell humps from grain: there are no bells then.
    """
    guess, stride, before, growing = _first(scene, nuisances), STRIDE, 0.0, False
    gathering = range(NARROW_STEPS, GATHERING_STEPS if len(scene.lamps) > 1 else 0, 2)
    for step in range(COARSE_STEPS):
        if step in gathering:
            bells = gather(guess.bells, scene.cells, guess.z, scene.area)
            growing = len(bells.form) > len(guess.bells.form)
            guess = replace(guess, bells=bells)
        robust = max(ROBUST, LENIENT * NARROWING**step)
        better, _ = advance(scene, nuisances, guess, _height_weight(scene, guess, step), robust=robust)
        move = better.z - guess.z
        stride = min(STRIDE, LENGTHENING * stride) if np.sum(move * before) >= 0 else 1.0
        guess, before = beyond(guess, better, nuisances, times=stride), move
        if step > NARROW_STEPS and not growing and np.sqrt(np.mean(move**2)) < AT_REST_MM:
            break
    return guess


def _first(scene: Scene, nuisances: Nuisances) -> Guess:
    shots, count = scene.measured.shape
    return Guess(
        z=np.zeros(count),
        b=np.zeros(len(nuisances.group)),
        trust=np.ones((shots, count)),
        left=np.zeros((shots, count)),
        bells=Bells.none(),
    )


def _height_weight(scene: Scene, guess: Guess, step: int) -> np.ndarray:
    """(n,) weight of each height's distance from the bells."""
    rest = guess.bells.rest_mm(guess.z, scene.cells)
    return weight(rest, step, shots=len(scene.lamps))


def _refined(guess: Guess, cells, scene: Scene) -> Guess:
    """A coarse guess carried onto finer cells."""
    nearest = ndimage.distance_transform_edt(~cells.inside, return_distances=False, return_indices=True)
    rows, columns = cells.grid.index(*scene.cells.place_mm)

    def carry(values: np.ndarray) -> np.ndarray:
        whole = cells.spread(values, 0.0)[tuple(nearest)]
        return ndimage.map_coordinates(whole, [rows, columns], order=1, mode="nearest")

    return replace(
        guess,
        z=carry(guess.z),
        trust=np.array([carry(t) for t in guess.trust]),
        left=np.array([carry(r) for r in guess.left]),
    )


def _hidden(patch: Patch, scene: Scene, guess: Guess, lamps: tuple[Lamp, ...]) -> np.ndarray:
    """(s, ny, nx) bool on the patch's grid: cells in a shadow that the relief casts."""
    grid = coarser(patch.grid, COARSE_TIMES)
    z = np.nan_to_num(scene.cells.spread(guess.z))
    facing = Facing.of(patch.base, grid)
    masks = []
    for lamp in lamps:
        dark = cast_shadow(z, facing, lamp.place_mm, cell_mm=grid.cell_mm) if lamp.rakes else z > np.inf
        fine = np.zeros(patch.grid.shape, bool)
        blown = dark.repeat(COARSE_TIMES, 0).repeat(COARSE_TIMES, 1)
        fine[: blown.shape[0], : blown.shape[1]] = blown
        masks.append(fine)
    return np.array(masks)


def _draws(scene: Scene, nuisances: Nuisances, solved: tuple, rng) -> np.ndarray:
    """(DRAWS, n) samples of the total height from the posterior of the last step.

    Perturb every equation by its own noise and solve again with the same factor.
    """
    guess, system, bending = solved
    stacked = sparse.vstack(system.rows)
    bends = scene.cells.bend_root
    noise = rng.standard_normal((stacked.shape[0], DRAWS))
    fair = np.sqrt(system.height_weight * scene.area)[:, None] * rng.standard_normal((len(guess.z), DRAWS))
    fair += np.sqrt(bending * scene.area) * (bends.T @ rng.standard_normal((bends.shape[0], DRAWS)))
    free = system.factor.solve(stacked.T @ noise + fair)
    low = -system.wanted.T @ fair - system.cross.T @ free
    low[: len(guess.b)] += system.columns.T @ noise
    low += np.sqrt(system.prior)[:, None] * rng.standard_normal(low.shape)
    moved = system.inner @ low
    z = free - system.border @ moved
    b = moved[: len(guess.b)] + guess.b[:, None]
    return (z + guess.z[:, None]).T + b[nuisances.of("base")].T @ nuisances.bowls


def _judged_sure(scene: Scene, nuisances: Nuisances, guess: Guess) -> Scene:
    """The scene with each cell counted for more or less, as errors on boards of known form were.

    Lamps on one line hardly tell rows apart, so much hangs on the prior: what bells leave unfair, and how
    little of the wood is fair, show how far it may be trusted, less so where light comes from more sides.
    And four straight pieces follow a bent curve only so far.
    """
    shots = len(scene.lamps)
    if shots == 1:
        return scene
    rest = guess.bells.rest_mm(guess.z, scene.cells)
    crowded = float(np.mean(np.abs(guess.z) > UNFAIR_MM)) - FAIR_ENOUGH
    from_prior = DOUBT_UNFAIR * float(cost(rest).mean()) + DOUBT_CROWDED * max(crowded, 0.0)
    bent = DOUBT_BENT * float(np.ptp(guess.b[nuisances.of("response")]))
    doubt = np.hypot(DOUBT_LEAST + from_prior * 2 / shots, bent)
    return replace(scene, area=scene.area / min(doubt, DOUBT_MOST) ** 2)


def _relief(patch: Patch, scene: Scene, nuisances: Nuisances, guess: Guess, draws, system: System) -> Relief:
    """Back onto the sheet."""
    cells = scene.cells
    total = guess.z + nuisances.bowls.T @ guess.b[nuisances.of("base")]
    usable = scene.usable & (guess.trust > 0.1)
    shots_at = usable.sum(0)
    enough = shots_at >= min(2, len(scene.lamps))
    return Relief(
        grid=patch.grid,
        z_mm=frozen(cells.spread(total)),
        draws_mm=frozen(cells.spread(draws), np.float32),
        seen=frozen(cells.spread(enough.astype(float), 0.0) > 0, bool),
        shots_at=frozen(cells.spread(shots_at.astype(float), 0.0), int),
        lamps=_lamps(scene, nuisances, guess, system),
        response=tuple(float(1 / (1 + r)) for r in guess.b[nuisances.of("response")]) or (1.0,) * KNOTS,
        ambient_share=float(guess.b[nuisances.of("ambient")][0]),
        noise=guess.scatter,
        holds=_holds(scene, nuisances, guess, system),
    )


def _holds(scene: Scene, nuisances: Nuisances, guess: Guess, system: System) -> tuple[HoldFound, ...]:
    """Each template with what it left over and how far it was off its line."""
    if not scene.holds:
        return ()
    equations = scene.held
    seats = np.flatnonzero(nuisances.of("seat")).reshape(-1, 3)
    total = guess.z + nuisances.bowls.T @ guess.b[nuisances.of("base")]
    left = equations.reading - equations.rows @ total - equations.seat @ guess.b[seats.ravel()]
    found = []
    for number, (hold, seat) in enumerate(zip(scene.holds, seats, strict=True)):
        mine, at = equations.owner == number, equations.place[equations.owner == number]
        found.append(
            HoldFound(
                name=hold.name,
                x_mm=frozen(hold.x_mm[at]),
                y_mm=frozen(hold.y_mm[at]),
                left_mm=frozen(left[mine] * hold.trusted_sigma_mm[at]),
                trust=frozen(np.ones(len(at)) if hold.trust is None else hold.trust[at]),
                slide_mm=float(guess.b[seat[2]]),
                slide_sigma_mm=float(np.sqrt(system.inner[seat[2], seat[2]])),
            )
        )
    return tuple(found)


def _lamps(scene: Scene, nuisances: Nuisances, guess: Guess, system: System) -> tuple[LampFound, ...]:
    """Places of the lamps as found."""
    mine = np.flatnonzero(nuisances.of("lamp")).reshape(-1, 3)
    found = []
    for lamp, which, root in zip(scene.lamps, mine, nuisances.lamp_root, strict=True):
        cov = root @ system.inner[np.ix_(which, which)] @ root.T
        found.append(
            LampFound(
                kind=lamp.kind,
                spec=lamp.spec,
                place_mm=frozen(lamp.place_mm + root @ guess.b[which]),
                sigma_mm=frozen(np.sqrt(np.maximum(np.diag(cov), 0))),
            )
        )
    return tuple(found)
