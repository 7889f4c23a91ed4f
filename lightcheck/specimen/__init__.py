"""Specimen: made-up boards with known humps, and the photos a phone would take of them.

For the demo, the tests and calibration. It shares no code with the measuring side, which is tested
on it. All boards, phones and lamps are invented.
"""

from lightcheck.specimen.board import Board, Hump, Plateau, Wave, card_board, card_square_mm, random_board
from lightcheck.specimen.light import Light, light_on
from lightcheck.specimen.phone import Phone, Pose, hand_held
from lightcheck.specimen.picture import Snap, photograph, snap, srgb_encode
from lightcheck.specimen.shots import (
    ARRANGEMENTS,
    ExifFacts,
    arrange,
    exif_facts,
    shoot,
    tape_spec,
    write_photo,
)

__all__ = [
    "ARRANGEMENTS",
    "Board",
    "ExifFacts",
    "Hump",
    "Light",
    "Phone",
    "Plateau",
    "Pose",
    "Snap",
    "Wave",
    "arrange",
    "card_board",
    "card_square_mm",
    "exif_facts",
    "hand_held",
    "light_on",
    "photograph",
    "random_board",
    "shoot",
    "snap",
    "srgb_encode",
    "tape_spec",
    "write_photo",
]
