"""Good and bad example photos for the page "taking photos that measure", of an invented board.

    python demo/examples.py [FOLDER]        default: demo/pictures

Everything in them is made up: see lightcheck/specimen. Each bad photo has one fault and no other.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from lightcheck import specimen as sp
from lightcheck.specimen.phone import hand_held

WIDE, SEED, QUALITY = 640, 5, 82
PHONE = sp.Phone(width_px=1280, height_px=960)
BOARD = replace(
    sp.random_board(211, humps=6),
    wood="larch",
    humps=(
        sp.Hump(x_mm=-70, y_mm=40, height_mm=1.0, long_mm=42, short_mm=26, turn_rad=0.3),
        sp.Hump(x_mm=90, y_mm=-40, height_mm=-0.9, long_mm=38, short_mm=28),
        sp.Hump(x_mm=60, y_mm=70, height_mm=0.5, long_mm=28, short_mm=24),
    ),
)


def lamp(bearing_deg: float, out_mm: float = 900.0, up_mm: float = 110.0, **more) -> sp.Light:
    turn = math.radians(bearing_deg)
    return sp.Light(place_mm=(out_mm * math.cos(turn), out_mm * math.sin(turn), up_mm), lobe=1.0, **more)


def taken(light: sp.Light, board: sp.Board = BOARD, *, first: bool = True, off_mm=(0.0, 0.0)) -> np.ndarray:
    """(h, w, 3) uint8; off_mm: how far aside the phone is held."""
    pose = hand_held(PHONE, seed=SEED + (not first), first=first)
    pose = replace(pose, place_mm=pose.place_mm + np.array([*off_mm, 0.0]))
    return sp.snap(board, light, PHONE, seed=SEED, pose=pose).picture


def linear(picture: np.ndarray) -> np.ndarray:
    """Linear light of sRGB codes (IEC 61966-2-1)."""
    coded = picture / 255.0
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def coded(light: np.ndarray) -> np.ndarray:
    return np.round(255 * np.clip(sp.srgb_encode(np.clip(light, 0, 1)), 0, 1)).astype(np.uint8)


def moved(picture: np.ndarray, length_px: int = 17) -> np.ndarray:
    """As if the phone had moved aslant while the shutter was open."""
    path = np.eye(length_px, dtype=np.float32) / length_px
    return coded(cv2.filter2D(linear(picture).astype(np.float32), -1, path))


def smeared(picture: np.ndarray) -> np.ndarray:
    """As a thumb on the lens does: a share of the light is spread far, and all of it a little."""
    light = linear(picture).astype(np.float32)
    near, wide = cv2.GaussianBlur(light, (0, 0), 4), cv2.GaussianBlur(light, (0, 0), 90)
    return coded(0.6 * near + 0.4 * wide)


def examples() -> dict[str, np.ndarray]:
    """Name to picture, in the order of the page."""
    stray = 1e6 * 110 / 900**3  # the lamp's own light in the middle of the board
    left, right = taken(lamp(178)), taken(lamp(2), first=False)
    other = linear(taken(lamp(75, up_mm=500.0, intensity=4e5)))
    return {
        "good-left": left,
        "good-right": right,
        "bad-lamp-high": taken(lamp(178, out_mm=700.0, up_mm=560.0)),
        "bad-lamp-near": taken(lamp(178, out_mm=380.0, up_mm=60.0)),
        "bad-daylight": taken(lamp(178, ambient=1.5 * stray)),
        "bad-second-lamp": coded(0.5 * linear(left) + 0.5 * other),
        "bad-burnt-out": coded(3.2 * linear(left)),
        "bad-moved": moved(left),
        "bad-smeared-lens": smeared(left),
        "bad-card-cut-off": taken(lamp(178), off_mm=(190.0, 60.0)),
        "bad-varnish": taken(sp.Light(kind="flash", intensity=3e5), replace(BOARD, gloss=0.5)),
    }


def save(folder: Path) -> list[Path]:
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for name, picture in examples().items():
        small = Image.fromarray(picture).resize((WIDE, WIDE * 3 // 4), Image.Resampling.LANCZOS)
        paths.append(folder / f"{name}.jpg")
        small.save(paths[-1], quality=QUALITY, optimize=True)
    return paths


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?", default=Path(__file__).parent / "pictures")
    for path in save(parser.parse_args().folder):
        print(f"{path.name:<24}{path.stat().st_size / 1000:>6.0f} kB")


if __name__ == "__main__":
    main()
