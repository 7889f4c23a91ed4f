"""Photos of made-up boards by phones whose response is odd: with grey strips, brackets, evened-out light.

The strips are those of the printed sheet, rendered; what toner and paper do to them is made up here.
"""

import math
from contextlib import contextmanager
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from unittest import mock

import cv2
import numpy as np
from PIL import Image
from test_grey import PX, ROUND_MM, inked

from lightcheck import specimen as sp
from lightcheck.specimen import picture, scene, wood

CARDS = (
    (0, -225.0, -150.0, 0.0),
    (1, 225.0, -150.0, 0.0),
    (2, 225.0, 150.0, math.pi),
    (3, -225.0, 150.0, math.pi),
)
ENDS = (0, 2)  # the cards with strips, at both ends
DEPTH_MM = 460.0  # strips lie outside the cards
HIGH_MM, SHRINK = 27.0, 3
PHONE = sp.Phone(width_px=2688, height_px=2016)
ODD = replace(PHONE, curve="odd")


def board(seed: int) -> sp.Board:
    """Humps as on any made-up board; cards turned so that strips lie off the patch."""
    return replace(sp.random_board(seed), cards=CARDS, depth_mm=DEPTH_MM)


@lru_cache(maxsize=1)
def print_() -> np.ndarray:
    """(high, wide) reflectance of the strip, row 0 next to the card: toner runs out, light spreads."""
    ink = inked()[round((ROUND_MM + 70) * PX) : round((ROUND_MM + 70 + HIGH_MM) * PX)]
    ink = ink[:, round(ROUND_MM * PX) : round((ROUND_MM + 110) * PX)]
    passed = 1 - 0.78 * cv2.dilate(ink.astype(np.float32), np.ones((3, 3)))
    near, far = (cv2.GaussianBlur(passed, (0, 0), mm * PX) for mm in (0.04, 0.12))
    tone = cv2.GaussianBlur(wood.PAPER * passed * (0.6 * near + 0.4 * far), (0, 0), 0.1 * PX)
    return cv2.resize(tone, None, fx=1 / SHRINK, fy=1 / SHRINK, interpolation=cv2.INTER_AREA)


@contextmanager
def strips(numbers=ENDS):
    """Boards whose cards of these numbers have a strip."""
    sound, made = wood.sheet, {}

    def with_strips(of: sp.Board) -> wood.Sheet:
        key = (of.seed, of.cards, of.depth_mm)
        if key not in made:
            skin = sound(of)
            made[key] = wood.Sheet(albedo=skin.albedo.copy(), paper=skin.paper.copy())
            for card in (c for c in of.cards if c[0] in numbers):
                _lay(made[key], of, card)
        return made[key]

    with mock.patch.object(scene, "sheet", with_strips):
        yield


def _lay(skin: wood.Sheet, of: sp.Board, card: tuple[int, float, float, float]) -> None:
    _, x0, y0, turn = card
    tone, c, s = print_(), math.cos(turn), math.sin(turn)
    ratio = SHRINK / PX / wood.STEP_MM
    rows, columns = skin.paper.shape
    middle = np.array([x0, float(of.along_mm(np.float64(y0)))]) / wood.STEP_MM + (columns / 2, rows / 2) - 0.5
    forward = np.array([[c * ratio, s * ratio, 0.0], [s * ratio, -c * ratio, 0.0]])
    forward[:, 2] = middle - forward[:, :2] @ [(tone.shape[1] - 1) / 2, -35 * PX / SHRINK]
    laid, covered = (cv2.warpAffine(v, forward, (columns, rows)) for v in (tone, np.ones_like(tone)))
    np.maximum(skin.paper, covered, out=skin.paper)
    for i, shade in enumerate((1.0, 1.0, 0.97)):
        skin.albedo[..., i] = skin.albedo[..., i] * (1 - covered) + np.float32(shade) * laid


def bracket(
    of: sp.Board, folder: Path, *, phone: sp.Phone = ODD, levels=(0.82, 0.41, 0.2)
) -> tuple[str, ...]:
    """One unmoved scene at several exposures, as files."""
    folder.mkdir(parents=True, exist_ok=True)
    light = sp.arrange("one", seed=9)[0]
    pose = sp.hand_held(phone, seed=77, first=True)
    paths = []
    for number, level in enumerate(levels):
        with mock.patch.object(picture, "EXPOSE_LEVEL", level):
            taken = sp.snap(of, light, phone, seed=900 + number, pose=pose)
        facts = sp.exif_facts(phone, taken, number=number)
        paths.append(str(sp.write_photo(folder / f"bracket-{number + 1}.jpg", taken.picture, facts)))
    return tuple(paths)


def decoded(path: Path) -> np.ndarray:
    """(height, width, 3) linear light of a written photo, by the standard curve (IEC 61966-2-1)."""
    with Image.open(path) as opened:
        return linear(np.asarray(opened.convert("RGB"), np.float32) / 255)


def linear(coded: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1."""
    return np.where(coded <= 0.04045, coded / 12.92, ((np.maximum(coded, 0) + 0.055) / 1.055) ** 2.4)


def rewrite(path: Path, light: np.ndarray) -> None:
    """The same file with other light in it, its facts kept."""
    with Image.open(path) as opened:
        exif = opened.getexif()
        exif.get_ifd(0x8769)
    coded = np.round(255 * sp.srgb_encode(np.clip(light, 0, 1))).astype(np.uint8)
    Image.fromarray(coded).save(path, "JPEG", quality=93, exif=exif)


def contrast_by_place(path: Path, share: float = 0.1) -> None:
    """Contrast about the mean light, `share` less at the left end than at the right."""
    light = decoded(path)
    across = np.linspace(1 - share / 2, 1 + share / 2, light.shape[1], dtype=np.float32)[None, :, None]
    usual = np.exp(np.log(np.maximum(light, 1e-4)).mean())
    rewrite(path, usual * (np.maximum(light, 1e-5) / usual) ** across)


def shadows_lifted(path: Path, share: float = 0.1) -> None:
    """Slow changes of light evened out, by `share` of light from the brightest to the darkest of the wood."""
    light = np.maximum(decoded(path), 1e-5)
    grey = np.log(light @ np.float32([0.2126, 0.7152, 0.0722]))
    small = cv2.resize(grey, None, fx=1 / 16, fy=1 / 16, interpolation=cv2.INTER_AREA)
    slow = cv2.GaussianBlur(small, (0, 0), 0.12 * small.shape[1])
    high, wide = small.shape
    wood_ = slow[high // 4 : -high // 4, wide // 5 : -wide // 5]
    slow = np.clip(slow, wood_.min(), wood_.max())
    gain = np.exp(share * (wood_.max() - slow) / np.ptp(wood_) - share)
    rewrite(path, light * cv2.resize(gain, grey.shape[::-1], interpolation=cv2.INTER_CUBIC)[..., None])


def said_to_be_merged(path: Path) -> None:
    """The phone says that it merged frames (EXIF 2.32, CompositeImage 3)."""
    with Image.open(path) as opened:
        exif, picture_ = opened.getexif(), opened.copy()
        exif.get_ifd(0x8769)[0xA460] = 3
    picture_.save(path, "JPEG", quality=97, exif=exif)
