"""Lit: which light a photo was taken by, and the cards in it, however dim they are against it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from lightcheck import card
from lightcheck.card import Sighting, size
from lightcheck.errors import LightcheckError
from lightcheck.photo import Photo

LIFTS = (1.0, 4.0, 10.0)  # coded values are multiplied by these until cards can be read
BACKLIT = 1.5  # light behind over light of the paper: from here on the template is a silhouette
CLIP = 252  # coded value at which a channel has lost its measure


@dataclass(frozen=True, slots=True, kw_only=True)
class Lit:
    """bright: brightest wide part of the picture.  paper: the cards' white paper. Linear light."""

    bright: float
    paper: float

    @property
    def kind(self) -> str:
        """ "back" where the template stands before the light, else "front"."""
        return "back" if self.bright > BACKLIT * self.paper else "front"


def cards(photo: Photo) -> tuple[Sighting, ...]:
    """The cards in a photo; a dim photo is lifted. Refuses one without, and says why."""
    best: tuple[Sighting, ...] = ()
    refusal = None
    for lift in LIFTS:
        try:
            found = card.find(photo if lift == 1 else _lifted(photo, lift))
        except LightcheckError as error:
            refusal = refusal or error
            continue
        if sum(len(s.corners_px) for s in found) > 1.1 * sum(len(s.corners_px) for s in best):
            best = found
    if best:
        return best
    raise LightcheckError(
        f"No card on the template: {_small(refusal.problem)}",
        "Stick one or more cards flat on the template's face towards the phone, a hand above its edge. "
        + refusal.remedy,
        picture=refusal.picture,
    )


def _small(sentence: str) -> str:
    """The sentence as it goes on after a colon."""
    return sentence if sentence.split(maxsplit=1)[0][-4:].lower() in (".jpg", "jpeg", "heic", ".png") else (
        sentence[0].lower() + sentence[1:]
    )  # fmt: skip


def _lifted(photo: Photo, lift: float) -> Photo:
    table = np.clip(np.arange(256) * lift, 0, 255).astype(np.uint8)
    return replace(photo, coded=table[photo.coded])


def light_of(photo: Photo, sightings: tuple[Sighting, ...]) -> Lit:
    """How bright the background and the paper are."""
    inside = np.zeros(photo.light.shape, np.uint8)
    for seen in sightings:
        cv2.fillConvexPoly(inside, np.round(_outline_px(seen)).astype(np.int32), 1)
    paper = float(np.quantile(photo.light[inside > 0][::3], 0.95))
    small = cv2.resize(
        np.where(inside > 0, 0, photo.light), None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA
    )
    return Lit(bright=float(np.quantile(small, 0.995)), paper=paper)


def _outline_px(seen: Sighting) -> np.ndarray:
    """(4, 2) corners of the card's paper in the picture."""
    half = np.array(size(seen.card).outline_mm) / 2
    corners = (np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half)[None].astype(np.float32)
    to_photo, _ = cv2.findHomography(seen.corners_mm.astype(np.float32), seen.corners_px.astype(np.float32))
    return cv2.perspectiveTransform(corners, to_photo)[0]


def burnt_out(photo: Photo) -> np.ndarray:
    """(height, width) float32, 1 where a channel is clipped."""
    return (photo.coded.max(axis=2) >= CLIP).astype(np.float32)
