"""Measures of the printed cards, and the board that OpenCV knows them by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightcheck import constants as const


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSize:
    """Measures of one printed card. [mm]"""

    square_mm: float
    marker_mm: float
    margin_mm: float

    @property
    def outline_mm(self) -> tuple[float, float]:
        """(width, height) of the paper with its white margin. [mm]"""
        return (
            const.CARD_COLUMNS * self.square_mm + 2 * self.margin_mm,
            const.CARD_ROWS * self.square_mm + 2 * self.margin_mm,
        )


def size(card: int) -> CardSize:
    """Measures of the card with this number."""
    if card >= const.SMALL_CARDS_FROM:
        return CardSize(
            square_mm=const.SMALL_SQUARE_MM,
            marker_mm=const.SMALL_MARKER_MM,
            margin_mm=const.SMALL_MARGIN_MM,
        )
    return CardSize(square_mm=const.SQUARE_MM, marker_mm=const.MARKER_MM, margin_mm=const.MARGIN_MM)


def dictionary():
    """The dictionary of 4 x 4 markers that all cards draw on."""
    import cv2

    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)


def board(card: int):
    """The ChArUco board of a card, as OpenCV describes it."""
    import cv2

    measures = size(card)
    first = const.MARKERS_PER_CARD * card
    return cv2.aruco.CharucoBoard(
        (const.CARD_COLUMNS, const.CARD_ROWS),
        measures.square_mm,
        measures.marker_mm,
        dictionary(),
        np.arange(first, first + const.MARKERS_PER_CARD),
    )
