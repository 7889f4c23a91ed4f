"""Bundle adjustment: phones, cards, base shape and focal length in one least-squares solve.

Every chessboard corner seen in any shot gives two equations. A paper card lies on the base and
bends with it, so its corners know the surface's slope and curvature; each card may still stand off
and tilt a little (curled paper, glue), held by a prior. A stiff card is a flat plate on the wood.

    corner = S(u, v) + e1 q1 + e2 q2 + n (thickness + lift + tilt . q + bend(q)/2)
    S the base at the card's middle, e1 e2 n its frame there turned by the card's turn

A second round adds ties: places where the wood's own grain was matched between the first shot and
another. A millimetre of error in the base shifts the grain of a phone moved by 40 mm by a twentieth
of a millimetre, which the grain shows and the cards hardly do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from lightcheck.errors import LightcheckError
from lightcheck.patch.base import Base
from lightcheck.patch.start import Start
from lightcheck.patch.view import View

CORNER_SIGMA_PX = 0.12  # corner noise under raking light and JPEG (measured on rendered photos)
CURVATURE_SIGMA = 1 / 400.0  # [1/mm] hulls and spars down to a 400 mm radius cost nothing
LIFT_SIGMA_MM, TILT_SIGMA = 0.15, 0.002  # how well a glued-down card follows the wood: own estimate
SQUEEZE_SIGMA = 0.002  # a home printer stretches x against y by this much (reported: half a per cent)
TIE_SIGMA_PX = 0.5  # ties come from one smooth fit and so err together: each counts little
BEND_SIGMA = 0.003  # what is left of the lens's distortion in a phone's own picture: own estimate
LEAST_MOVED_PX, MOVED_SHARE = 0.9, 0.0006  # rms of one card in one shot, px and share of the picture
STRANGE_FOCAL = 3.0  # sigmas of the written focal length; a card moved by 1.5 mm asks for six
_SHARED, _PER_VIEW, _PER_CARD = (
    6,
    6,
    6,
)  # focal, bend, base (3), squeeze; pose; place, turn, lift, tilt


@dataclass(frozen=True, slots=True, kw_only=True)
class Ties:
    """Grain seen at `first_px` (n, 2) in the first shot and at `other_px` (n, 2) in shot view_of (n,)."""

    first_px: np.ndarray
    other_px: np.ndarray
    view_of: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """What the bundle found, in its own axes.

    places: (n_cards, 3) u, v in mm and turn in radians.  rms_px: of the corners after the solve.
    """

    views: tuple[View, ...]
    cards: tuple[int, ...]
    places: np.ndarray
    base: Base
    rms_px: float
    worst_px: float


def settle(start: Start, *, thickness_mm: float, ties: Ties | None = None) -> Settled:
    """Solve for everything at once from a rough start.

    thickness_mm: of stiff cards; 0 means paper that bends with the wood.  ties: matched grain.
    Refuses photos in which the cards do not keep their places.
    """
    problem = _Problem(start, thickness_mm, ties)
    found = least_squares(
        problem.residuals,
        problem.first,
        jac=problem.slopes,
        x_scale=problem.scale,
        loss="soft_l1",
        f_scale=3.0,
        max_nfev=60,
    )
    misfit = problem.misfit_px(found.x)
    rms = float(np.sqrt((misfit**2).sum(-1).mean()))
    _refuse_moved(start, misfit, float(found.x[0]))
    return problem.settled(found.x, rms, float(np.sqrt((misfit**2).sum(-1).max())))


def _refuse_moved(start: Start, misfit: np.ndarray, stretch: float) -> None:
    """A card that was moved shows in its own corners, or buys itself another focal length.

    misfit: (n_corners, 2) in px.  stretch: log of the focal length found over the one written down.
    """
    square = np.bincount(start.card_of + len(start.cards) * start.view_of, (misfit**2).sum(-1))
    count = np.bincount(start.card_of + len(start.cards) * start.view_of)
    worst = float(np.sqrt((square / np.maximum(count, 1)).max()))
    off = worst > max(LEAST_MOVED_PX, MOVED_SHARE * max(start.sizes_px[0]))
    strange = len(start.sizes_px) > 1 and abs(stretch) > STRANGE_FOCAL * start.focal_sigma
    if off or strange:
        how = f"{worst:.1f} px off" if off else f"only a lens {np.exp(stretch):.1f} times as long would fit"
        raise LightcheckError(
            f"The cards do not keep their places from photo to photo ({how}).",
            "Use photos of one patch, uncropped, taken without moving a card in between.",
        )


class _Problem:
    """The unknowns as one vector, and the equations as residuals divided by their sigmas.

    Unknowns may be a stack of vectors, (..., m), for their slopes are found by trying them all at once:
    what would be dozens of small calls is one.
    """

    def __init__(self, start: Start, thickness_mm: float, ties: Ties | None) -> None:
        self.start, self.thickness_mm, self.ties = start, thickness_mm, ties
        self.n_views, self.n_cards = len(start.sizes_px), len(start.cards)
        middle = start.places[:, :2].mean(axis=0)
        places = start.places - [*middle, 0]
        poses = [
            [*Rotation.from_matrix(r).as_rotvec(), *(t + r @ [*middle, 0])]
            for r, t in zip(start.rotations, start.offsets_mm, strict=True)
        ]
        cards = np.c_[places, np.zeros((self.n_cards, 3))]
        self.first = np.r_[np.zeros(_SHARED), np.ravel(poses), cards.ravel()]
        per_view = [0.01, 0.01, 0.01, 5, 5, 5]
        per_card = [1, 1, 0.01, LIFT_SIGMA_MM, TILT_SIGMA, TILT_SIGMA]
        self.scale = np.r_[
            0.02, BEND_SIGMA, [1e-4] * 3, SQUEEZE_SIGMA,
            np.tile(per_view, self.n_views), np.tile(per_card, self.n_cards),
        ]  # fmt: skip

    def parts(self, unknowns: np.ndarray):
        """(log focal change, bend, squeeze), base, (..., n_views, 6) poses, (..., n_cards, 6)."""
        split = _SHARED + _PER_VIEW * self.n_views
        stretch, bend, along_x, along_y, twist, squeeze = (unknowns[..., i, None] for i in range(_SHARED))
        base = Base(along_x=along_x, along_y=along_y, twist=twist)
        poses = unknowns[..., _SHARED:split].reshape(*unknowns.shape[:-1], -1, _PER_VIEW)
        cards = unknowns[..., split:].reshape(*unknowns.shape[:-1], -1, _PER_CARD)
        return (stretch, bend, squeeze), base, poses, cards

    def slopes(self, unknowns: np.ndarray) -> np.ndarray:
        """(n_equations, m) change of the residuals with each unknown, by forward differences."""
        step = np.sqrt(np.finfo(float).eps) * np.maximum(1.0, np.abs(unknowns))
        step = (unknowns + step) - unknowns
        return ((self.residuals(unknowns + np.diag(step)) - self.residuals(unknowns)) / step[:, None]).T

    def residuals(self, unknowns: np.ndarray) -> np.ndarray:
        """(..., n_equations) all equations, each divided by its sigma."""
        (stretch, bend, squeeze), base, _, cards = self.parts(unknowns)
        flat = (*unknowns.shape[:-1], -1)
        priors = [
            stretch / self.start.focal_sigma,
            bend / BEND_SIGMA,
            squeeze / SQUEEZE_SIGMA,
            np.concatenate([base.along_x, base.along_y, base.twist], axis=-1) / CURVATURE_SIGMA,
            (cards[..., 3:] / [LIFT_SIGMA_MM, TILT_SIGMA, TILT_SIGMA]).reshape(flat),
            cards[..., :2].sum(axis=-2) / 0.01,  # the origin is the mean of the card centres
            (cards[..., :1, 2] - self.start.places[0, 2]) / 1e-4,  # the turn about z is free: hold it
        ]
        if self.ties is not None:
            priors.append((self.tie_misfit_px(unknowns) / TIE_SIGMA_PX).reshape(flat))
        corners = (self.misfit_px(unknowns) / CORNER_SIGMA_PX).reshape(flat)
        return np.concatenate([corners, *priors], axis=-1)

    def misfit_px(self, unknowns: np.ndarray) -> np.ndarray:
        """(..., n_corners, 2) projected less seen. [px]"""
        (_, _, squeeze), base, _, cards = self.parts(unknowns)
        seen = self.start
        corners = self._corners_mm(base, cards, squeeze[..., None])
        return self._project(unknowns, corners, seen.view_of) - seen.corners_px

    def tie_misfit_px(self, unknowns: np.ndarray) -> np.ndarray:
        """(..., n_ties, 2): a ray of the first shot, met with the base, as the other sees it, less seen."""
        (stretch, bend, _), base, poses, _ = self.parts(unknowns)
        turn, shift = _turns(poses[..., 0, :3]), poses[..., 0, 3:]
        focal = self.start.focals_px[0] * np.exp(stretch)
        plane = (self.ties.first_px - self.start.centres_px[0]) / focal[..., None]
        plane = plane / (1 + bend[..., None] * (plane**2).sum(-1, keepdims=True))
        rays = np.concatenate([plane, np.ones_like(plane[..., :1])], axis=-1) @ turn
        eye = -(shift[..., None, :] @ turn)
        at = eye - rays * (eye[..., 2:] / rays[..., 2:])
        for _ in range(4):
            rise = base.height_mm(at[..., 0], at[..., 1]) - at[..., 2]
            at = at + rays * (rise / rays[..., 2])[..., None]
        return self._project(unknowns, at, self.ties.view_of) - self.ties.other_px

    def _project(self, unknowns: np.ndarray, places: np.ndarray, view_of: np.ndarray) -> np.ndarray:
        (stretch, bend, _), _, poses, _ = self.parts(unknowns)
        rotations = _turns(poses[..., :3])[..., view_of, :, :]
        camera = (rotations @ places[..., None])[..., 0] + poses[..., view_of, 3:]
        plane = camera[..., :2] / np.maximum(camera[..., 2:], 1.0)
        plane = plane * (1 + bend[..., None] * (plane**2).sum(-1, keepdims=True))
        focal = (self.start.focals_px * np.exp(stretch))[..., view_of]
        return plane * focal[..., None] + self.start.centres_px[view_of]

    def _corners_mm(self, base: Base, cards: np.ndarray, squeeze: np.ndarray) -> np.ndarray:
        """(..., n_corners, 3) places of the observed corners. [mm]"""
        which = self.start.card_of
        e1, e2, normal = (axis[..., which, :] for axis in card_frames(base, cards[..., :3]))
        q = self.start.corners_mm * (1 + squeeze * (1, -1))
        along = e1 * q[..., :1] + e2 * q[..., 1:]
        lift = self.thickness_mm + cards[..., which, 3] + (cards[..., which, 4:] * q).sum(-1)
        if self.thickness_mm == 0:
            dx, dy = along[..., 0], along[..., 1]
            fall = base.along_x * dx**2 + base.along_y * dy**2 + 2 * base.twist * dx * dy
            lift = lift + fall / 2 * normal[..., 2]
        middles = base.points_mm(cards[..., 0], cards[..., 1])[..., which, :]
        return middles + along + normal * lift[..., None]

    def settled(self, unknowns: np.ndarray, rms_px: float, worst_px: float) -> Settled:
        (stretch, bend, _), _, poses, cards = self.parts(unknowns)
        along_x, along_y, twist = (float(u) for u in unknowns[2:5])
        views = tuple(
            View(
                rotation=Rotation.from_rotvec(pose[:3]).as_matrix(),
                offset_mm=pose[3:].copy(),
                focal_px=float(focal * np.exp(stretch[0])),
                bend=float(bend[0]),
                size_px=size,
            )
            for pose, focal, size in zip(poses, self.start.focals_px, self.start.sizes_px, strict=True)
        )
        return Settled(
            views=views,
            cards=self.start.cards,
            places=cards[:, :3].copy(),
            base=Base(along_x=along_x, along_y=along_y, twist=twist),
            rms_px=rms_px,
            worst_px=worst_px,
        )


def _turns(rotvec: np.ndarray) -> np.ndarray:
    """(..., 3, 3) rotations of (..., 3) rotation vectors."""
    turns = Rotation.from_rotvec(rotvec.reshape(-1, 3)).as_matrix()
    return turns.reshape(*rotvec.shape[:-1], 3, 3)


def card_frames(base: Base, places: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Unit vectors of each card: along its long side, up it as printed, out of the wood. (..., n, 3) each."""
    u, v, turn = (places[..., i] for i in range(3))
    sx, sy = base.slope(u, v)
    normal = base.normal(u, v)
    e1 = np.stack([np.cos(turn), np.sin(turn), sx * np.cos(turn) + sy * np.sin(turn)], axis=-1)
    e1 /= np.linalg.norm(e1, axis=-1, keepdims=True)
    return e1, np.cross(normal, e1), normal
