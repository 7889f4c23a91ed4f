"""Standards, physics and rules of the trade, each with its source on its line."""

from __future__ import annotations

import math

# --- light and colour -------------------------------------------------------------------------
SRGB_BREAK = 0.04045  # IEC 61966-2-1, coded value below which the curve is a straight line
SRGB_SLOPE = 12.92  # IEC 61966-2-1
SRGB_OFFSET = 0.055  # IEC 61966-2-1
SRGB_POWER = 2.4  # IEC 61966-2-1
LUMINANCE = (0.2126, 0.7152, 0.0722)  # ITU-R BT.709, linear red, green, blue

# --- cards (our own layout; the dictionary is OpenCV's DICT_4X4_250) ----------------------------
CARD_COLUMNS, CARD_ROWS = 5, 3  # squares; an odd number of rows has one reading only
MARKERS_PER_CARD = 7  # a 5 x 3 board has 7 white squares
CARD_NUMBERS = range(35)  # 35 * 7 = 245 of the 250 markers
SMALL_CARDS_FROM = 20  # numbers 20-34 are the small ones
SQUARE_MM, MARKER_MM, MARGIN_MM = 20.0, 15.0, 5.0
SMALL_SQUARE_MM, SMALL_MARKER_MM, SMALL_MARGIN_MM = 10.0, 7.5, 2.5

# --- how well people place and read things ------------------------------------------------------
SIDE_WORD_SIGMA_RAD = math.radians(6)  # "left" is meant to so many degrees: own estimate
BEARING_SIGMA_RAD = math.radians(2)  # a bearing typed in degrees: own estimate
FAR_ELEVATION_SIGMA_RAD = math.radians(1)  # elevation of a far light: own estimate
TAPE_OUT_SIGMA_MM = 10.0  # tape along the wood from lamp to cards: own estimate
TAPE_UP_SIGMA_MM = 3.0  # lamp height over the wood: own estimate
TAPE_REACH_SIGMA_MM = 6.0  # tape from the bulb straight to a card: own estimate
RAKING_RAD = math.radians(7)  # how low a raking lamp is set, half or twice as likely: own estimate
RAKING_SPREAD = 0.5  # sigma of the logarithm of that: own estimate

# --- paper ---------------------------------------------------------------------------------------
A4_MM = (210.0, 297.0)  # ISO 216
LETTER_MM = (215.9, 279.4)  # US Letter, ANSI/ASME Y14.1 size A (from memory)
