"""A rough start for the bundle: phones and cards on a flat patch.

The first card seen gives the plane (its two possible tilts are told apart by the size the other
cards would then have); every further shot is placed by the cards it shares with those before it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from lightcheck.card import Sighting
from lightcheck.errors import LightcheckError
from lightcheck.photo import Photo

USUAL_FOCAL_35MM = 26.0  # main lens of most phones, from memory
EXIF_FOCAL_SIGMA = 0.05  # width or diagonal may be meant, and the tag is rounded
UNKNOWN_FOCAL_SIGMA = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """Observed corners, and rough values of everything unknown.

    corners_px, corners_mm: (n, 2); view_of, card_of: (n,) index into views and into `cards`.
    places: (n_cards, 3) x, y, turn.  rotations: list of (3, 3).  offsets_mm: list of (3,).
    """

    corners_px: np.ndarray
    corners_mm: np.ndarray
    view_of: np.ndarray
    card_of: np.ndarray
    cards: tuple[int, ...]
    sizes_px: tuple[tuple[int, int], ...]
    centres_px: np.ndarray
    focals_px: np.ndarray
    focal_sigma: float
    places: np.ndarray
    rotations: list
    offsets_mm: list


def rough(photos: list[Photo], sightings: list[tuple[Sighting, ...]]) -> Start:
    """Place phones and cards roughly. Refuses fewer than two cards and photos that share none."""
    cards = tuple(sorted({s.card for shot in sightings for s in shot}))
    if len(cards) < 2:
        raise LightcheckError(
            f"Only card {cards[0]} could be read.",
            "Lay two or more cards round the patch, best four, and keep them all in the picture.",
        )
    focals = np.array([_focal_px(p) for p in photos])
    centres = np.array([(np.array(p.size_px) - 1) / 2 for p in photos])
    places, poses = _walk(sightings, focals, centres, [p.name for p in photos])
    rows = [(v, cards.index(s.card), s) for v, shot in enumerate(sightings) for s in shot]
    known = all(p.facts.focal_35mm for p in photos)
    return Start(
        corners_px=np.concatenate([s.corners_px for _, _, s in rows]),
        corners_mm=np.concatenate([s.corners_mm for _, _, s in rows]),
        view_of=np.concatenate([np.full(len(s.corners_px), v) for v, _, s in rows]),
        card_of=np.concatenate([np.full(len(s.corners_px), c) for _, c, s in rows]),
        cards=cards,
        sizes_px=tuple(p.size_px for p in photos),
        centres_px=centres,
        focals_px=focals,
        focal_sigma=EXIF_FOCAL_SIGMA if known else UNKNOWN_FOCAL_SIGMA,
        places=np.array([places[c] for c in cards]),
        rotations=[poses[v][0] for v in range(len(photos))],
        offsets_mm=[poses[v][1] for v in range(len(photos))],
    )


def _focal_px(photo: Photo) -> float:
    """Focal length by the width rule (36 mm across the long side)."""
    return (photo.facts.focal_35mm or USUAL_FOCAL_35MM) / 36.0 * max(photo.size_px)


def _walk(sightings, focals, centres, names) -> tuple[dict, dict]:
    """Places of the cards (x, y, turn) and poses of the phones, on the plane of the first card."""
    first = max(sightings[0], key=lambda s: len(s.corners_px))
    places = {first.card: np.zeros(3)}
    poses = {0: _tilt(first, sightings[0], focals[0], centres[0])}
    _lay(places, sightings[0], poses[0], focals[0], centres[0])
    left = list(range(1, len(sightings)))
    while left:
        shared = {v: [s for s in sightings[v] if s.card in places] for v in left}
        best = max(left, key=lambda v: len(shared[v]))
        if not shared[best]:
            raise LightcheckError(
                f"{names[best]} shows none of the cards of {names[0]}.",
                "Map one patch at a time: every photo must show the same cards on the same wood.",
            )
        poses[best] = _pose(shared[best], places, focals[best], centres[best])
        _lay(places, sightings[best], poses[best], focals[best], centres[best])
        left.remove(best)
    return places, poses


def _lens(focal: float, centre: np.ndarray) -> np.ndarray:
    return np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1]])


def _tilt(first: Sighting, shot: tuple[Sighting, ...], focal: float, centre: np.ndarray):
    """Of the two tilts that explain one card, the one under which the other cards have their size."""
    flat = np.c_[first.corners_mm, np.zeros(len(first.corners_mm))]
    _, turns, offsets, _ = cv2.solvePnPGeneric(
        flat, first.corners_px, _lens(focal, centre), None, flags=cv2.SOLVEPNP_IPPE
    )
    poses = [(cv2.Rodrigues(r)[0], t.ravel()) for r, t in zip(turns, offsets, strict=True)]

    def mismatch(pose) -> float:
        others = [s for s in shot if s.card != first.card]
        sizes = [
            _spread(_on_plane(s.corners_px, pose, focal, centre)) / _spread(s.corners_mm) for s in others
        ]
        return float(np.abs(np.log(np.maximum(sizes, 1e-6))).sum()) if sizes else 0.0

    return min(poses, key=mismatch)


def _spread(points: np.ndarray) -> float:
    return float(np.sqrt(((points - points.mean(axis=0)) ** 2).sum(1).mean()))


def _on_plane(corners_px: np.ndarray, pose, focal: float, centre: np.ndarray) -> np.ndarray:
    """Where the rays through pixels meet the plane z = 0. [mm]"""
    rotation, offset = pose
    rays = np.c_[(corners_px - centre) / focal, np.ones(len(corners_px))] @ rotation
    eye = -rotation.T @ offset
    return eye[:2] - rays[:, :2] * (eye[2] / rays[:, 2:])


def _lay(places: dict, shot, pose, focal: float, centre: np.ndarray) -> None:
    """Add the places of cards seen here for the first time."""
    for seen in shot:
        if seen.card not in places:
            places[seen.card] = _rigid(seen.corners_mm, _on_plane(seen.corners_px, pose, focal, centre))


def _rigid(paper: np.ndarray, plane: np.ndarray) -> np.ndarray:
    """x, y, turn that carry the card's corners onto the plane (Kabsch in two dimensions)."""
    p, q = paper - paper.mean(axis=0), plane - plane.mean(axis=0)
    turn = np.arctan2((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum(), (p * q).sum())
    c, s = np.cos(turn), np.sin(turn)
    shift = plane.mean(axis=0) - np.array([[c, -s], [s, c]]) @ paper.mean(axis=0)
    return np.array([*shift, turn])


def _pose(shared: list[Sighting], places: dict, focal: float, centre: np.ndarray):
    """Pose of a phone from cards whose places are known."""
    known = []
    for seen in shared:
        x, y, turn = places[seen.card]
        c, s = np.cos(turn), np.sin(turn)
        known.append(seen.corners_mm @ np.array([[c, s], [-s, c]]) + (x, y))
    flat = np.concatenate(known)
    flat = np.c_[flat, np.zeros(len(flat))]
    pixels = np.concatenate([s.corners_px for s in shared])
    _, turn, offset = cv2.solvePnP(flat, pixels, _lens(focal, centre), None, flags=cv2.SOLVEPNP_IPPE)
    return cv2.Rodrigues(turn)[0], offset.ravel()
