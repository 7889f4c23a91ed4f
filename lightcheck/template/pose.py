"""Pose: where the phone stood before the template, from the cards stuck on its face.

All cards lie in one plane. Unknown are the phone's place and turn, its focal length (near what the file
says), a trace of lens bending, and where each card was stuck. What the cards leave open comes out as a
covariance: over a small card the phone's height is known far worse than the scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from lightcheck.card import Sighting
from lightcheck.patch import View
from lightcheck.photo import Photo
from lightcheck.template.fine import refined

USUAL_FOCAL_35MM = 26.0  # main lens of most phones, from memory
FOCAL_SIGMA, NO_FOCAL_SIGMA = 0.05, 0.25  # of its logarithm; the tag may mean width or diagonal
BEND_SIGMA = 0.003  # what is left of the lens's distortion in a phone's own picture: own estimate
CORNER_SIGMA_PX = 0.15  # of a card corner in dim light, and
PRINT_SIGMA_PX = 0.02  # of a point of a card placed by its whole print (measured on rendered photos)
AIM_SIGMA = 0.15  # people stand square before a template to so many radians: own estimate
_SHARED = 8  # turn, place, focal, bend


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """The phone over the plane of the cards, in the frame of the first card.

    places: (n_cards, 3) x, y in mm and turn in radians.  eye_cov_mm2: (3, 3) of the phone's place.
    """

    view: View
    cards: tuple[int, ...]
    places: np.ndarray
    eye_cov_mm2: np.ndarray
    rms_px: float


def pose(photo: Photo, sightings: tuple[Sighting, ...], *, measured_mm=(100.0, 100.0)) -> Pose:
    """Solve for phone and cards. measured_mm: what the printed 100 mm rulers really measure, x and y."""
    first = max(sightings, key=lambda s: len(s.corners_px))
    order = (first, *(s for s in sightings if s is not first))
    better = refined(photo, order)
    sigma_px = CORNER_SIGMA_PX if better is None else PRINT_SIGMA_PX
    problem = _Problem(photo, better or order, np.asarray(measured_mm) / 100.0, sigma_px)
    found = [
        least_squares(problem.residuals, start, x_scale=problem.scale, loss="soft_l1", f_scale=3.0)
        for start in problem.starts()
    ]
    return problem.settled(min(found, key=lambda f: f.cost))


class _Problem:
    """Corners as equations. Unknowns: turn (3), place (3), log focal, bend, then x, y, turn per card."""

    def __init__(
        self, photo: Photo, order: tuple[Sighting, ...], stretch: np.ndarray, sigma_px: float
    ) -> None:
        self.order, self.size, self.sigma_px = order, photo.size_px, sigma_px
        self.centre = (np.array(photo.size_px) - 1) / 2
        known = photo.facts.focal_35mm
        self.focal = (known or USUAL_FOCAL_35MM) / 36.0 * max(photo.size_px)
        self.focal_sigma = FOCAL_SIGMA if known else NO_FOCAL_SIGMA
        self.paper = [s.corners_mm * stretch for s in order]
        self.seen = np.concatenate([s.corners_px for s in order])
        self.scale = np.r_[[0.01] * 3, [1.0] * 3, 0.02, BEND_SIGMA, np.tile([1, 1, 0.01], len(order) - 1)]

    def starts(self) -> list[np.ndarray]:
        """Both tilts that explain the first card; the other cards laid on its plane."""
        lens = np.array([[self.focal, 0, self.centre[0]], [0, self.focal, self.centre[1]], [0, 0, 1]])
        flat = np.c_[self.paper[0], np.zeros(len(self.paper[0]))]
        _, turns, offsets, _ = cv2.solvePnPGeneric(
            flat, self.order[0].corners_px, lens, None, flags=cv2.SOLVEPNP_IPPE
        )
        begun = []
        for turn, offset in zip(turns, offsets, strict=True):
            head = np.r_[turn.ravel(), offset.ravel(), 0.0, 0.0]
            view = self.view(head)
            others = [
                rigid(p, on_plane(view, s.corners_px))
                for p, s in zip(self.paper[1:], self.order[1:], strict=True)
            ]
            begun.append(np.r_[head, np.ravel(others)])
        return begun

    def view(self, unknowns: np.ndarray) -> View:
        """The phone that these unknowns describe."""
        return View(
            rotation=Rotation.from_rotvec(unknowns[:3]).as_matrix(),
            offset_mm=unknowns[3:6].copy(),
            focal_px=float(self.focal * np.exp(unknowns[6])),
            bend=float(unknowns[7]),
            size_px=self.size,
        )

    def places(self, unknowns: np.ndarray) -> np.ndarray:
        """(n_cards, 3) x, y, turn; the first card is the frame."""
        return np.vstack([np.zeros(3), unknowns[_SHARED:].reshape(-1, 3)])

    def misfit_px(self, unknowns: np.ndarray) -> np.ndarray:
        """(n, 2) projected less seen. [px]"""
        corners = [turned(p, place) for p, place in zip(self.paper, self.places(unknowns), strict=True)]
        flat = np.concatenate(corners)
        return self.view(unknowns).project_px(np.c_[flat, np.zeros(len(flat))]) - self.seen

    def residuals(self, unknowns: np.ndarray) -> np.ndarray:
        """Misfit and priors, each over its sigma."""
        eye = self.view(unknowns).eye_mm
        middle = self.places(unknowns)[:, :2].mean(axis=0)
        aim = (eye[:2] - middle) / max(abs(eye[2]), 1.0) / AIM_SIGMA
        priors = np.r_[unknowns[6] / self.focal_sigma, unknowns[7] / BEND_SIGMA, aim]
        return np.r_[self.misfit_px(unknowns).ravel() / self.sigma_px, priors]

    def settled(self, found) -> Pose:
        """The product, with the covariance of the phone's place by propagation."""
        steps = np.linalg.solve(found.jac.T @ found.jac, np.eye(len(found.x)))
        rms = float(np.sqrt((self.misfit_px(found.x) ** 2).mean()))
        steps *= max(1.0, rms / self.sigma_px) ** 2  # cards that are not flat, or not of one plane
        view = self.view(found.x)
        reach = np.stack([(self.view(found.x + d).eye_mm - view.eye_mm) / d.sum() for d in self._nudges()])
        return Pose(
            view=view,
            cards=tuple(s.card for s in self.order),
            places=self.places(found.x),
            eye_cov_mm2=reach.T @ steps[:6, :6] @ reach,
            rms_px=rms,
        )

    def _nudges(self) -> np.ndarray:
        """Small steps of the six pose unknowns, for derivatives."""
        return np.eye(6, len(self.scale)) * np.r_[[1e-6] * 3, [1e-3] * 3][:, None]


def on_plane(view: View, places_px: np.ndarray) -> np.ndarray:
    """(n, 2) where the rays through pixels meet the plane of the cards. [mm]"""
    plane = (np.asarray(places_px) - view.centre_px) / view.focal_px
    straight = plane
    for _ in range(3):
        straight = plane / (1 + view.bend * (straight**2).sum(-1, keepdims=True))
    rays = np.c_[straight, np.ones(len(straight))] @ view.rotation
    eye = view.eye_mm
    return eye[:2] - rays[:, :2] * (eye[2] / rays[:, 2:])


def laid(view: View, seen: Sighting) -> np.ndarray:
    """x, y, turn of another card, as it would lie on the plane of the first ones."""
    return rigid(seen.corners_mm, on_plane(view, seen.corners_px))


def turned(points: np.ndarray, place: np.ndarray) -> np.ndarray:
    """(n, 2) points of a card laid at x, y, turn."""
    c, s = np.cos(place[2]), np.sin(place[2])
    return points @ np.array([[c, s], [-s, c]]) + place[:2]


def rigid(points: np.ndarray, onto: np.ndarray, weight: np.ndarray | None = None) -> np.ndarray:
    """x, y, turn that carry points onto others (Kabsch in two dimensions)."""
    weight = np.ones(len(points)) if weight is None else weight
    mean_p, mean_q = np.average(points, axis=0, weights=weight), np.average(onto, axis=0, weights=weight)
    p, q = points - mean_p, onto - mean_q
    turn = np.arctan2(
        (weight * (p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0])).sum(), (weight * (p * q).sum(-1)).sum()
    )
    c, s = np.cos(turn), np.sin(turn)
    return np.array([*(mean_q - np.array([[c, -s], [s, c]]) @ mean_p), turn])
