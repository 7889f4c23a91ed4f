"""Shots: a builder moves one lamp round a board and takes photos, as files with their lamp specs.

What the builder writes down is not where the lamp was: a side is named by eye, a tape is read to
whole centimetres.
"""

from __future__ import annotations

import math
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from lightcheck.specimen.board import Board
from lightcheck.specimen.light import Light
from lightcheck.specimen.phone import Phone, hand_held
from lightcheck.specimen.picture import Snap, snap

ARRANGEMENTS = {  # bearings of the lamp in degrees from +x towards +y; None is the flash
    "pair": (180, 0),
    "three": (90, 210, 330),
    "four": (180, 90, 0, 270),
    "flash": (180, None),
    "one": (180,),
}
SIDES = {"right": 0, "top": 90, "left": 180, "bottom": 270}
SIDE_WORD_REACH = 10  # a lamp this near to a side is called by its name [deg]
BEARING_SIGMA = math.radians(4)  # how well a lamp is set up square to a side, own estimate
FLASH_INTENSITY = 3e5
_FLASH_TINT = (0.97, 1.0, 1.02)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExifFacts:
    """What the phone writes beside the picture."""

    focal_35mm: int
    exposure_s: float
    iso: int
    f_number: float
    make: str
    model: str
    taken: str = "2031:05:04 19:40:00"


def exif_facts(phone: Phone, taken: Snap, *, number: int = 0) -> ExifFacts:
    """The facts of one snap, the number-th of its set, half a minute apart."""
    minute, second = divmod(30 * number, 60)
    return ExifFacts(
        focal_35mm=phone.written_focal_35mm,
        exposure_s=taken.exposure_s,
        iso=taken.iso,
        f_number=phone.f_number,
        make=phone.make,
        model=phone.model,
        taken=f"2031:05:04 19:{40 + minute:02d}:{second:02d}",
    )


def write_photo(path: str | Path, picture: np.ndarray, facts: ExifFacts, quality: int = 93) -> Path:
    """Write a JPEG as a phone does, upright, with its EXIF. Returns the path."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = facts.make, facts.model, 1
    detail = exif.get_ifd(0x8769)
    detail[0x829A] = IFDRational(round(facts.exposure_s * 1e6), 1_000_000)
    detail[0x829D] = IFDRational(round(facts.f_number * 100), 100)
    detail[0x8827] = facts.iso
    detail[0x9003] = facts.taken
    detail[0xA405] = facts.focal_35mm
    path = Path(path)
    beside = path.with_name(path.name + ".part")
    Image.fromarray(picture).save(beside, "JPEG", quality=quality, exif=exif)
    os.replace(beside, path)
    return path


def arrange(arrangement: str, *, seed: int, ambient: float = 0.0) -> tuple[Light, ...]:
    """The lights of an arrangement, where they truly stand.

    arrangement: "pair", "three", "four", "flash" (one raking lamp, then the phone's own light) or
    "one"; with "+off" behind it a frame with the lamp off is added.
    ambient: stray light as a share of the lamp's light at the origin.
    """
    name, _, extra = arrangement.partition("+")
    if name not in ARRANGEMENTS or extra not in ("", "off"):
        raise ValueError(f"unknown arrangement: {arrangement!r}")
    rng = np.random.default_rng([seed, 61])
    up, lobe, tint = rng.uniform(95, 135), rng.uniform(0.6, 2.5), _warm(rng)
    stray = ambient * 1e6 * up / 900**3
    lights = []
    for bearing in ARRANGEMENTS[name]:
        if bearing is None:
            lights.append(Light(kind="flash", intensity=FLASH_INTENSITY, ambient=stray, tint=_FLASH_TINT))
            continue
        true = math.radians(bearing) + rng.normal(0, BEARING_SIGMA)
        out, high = rng.uniform(820, 980), up + rng.uniform(-8, 8)
        place = (out * math.cos(true), out * math.sin(true), high)
        aim = tuple(float(v) for v in (*rng.normal(0, 60, 2), 0.0))
        lights.append(Light(place_mm=place, aim_mm=aim, lobe=lobe, ambient=stray, tint=tint))
    if extra:
        lights.append(Light(kind="off", ambient=max(stray, 1e-5), tint=tint))
    return tuple(lights)


def tape_spec(light: Light, rng: np.random.Generator) -> str:
    """What a builder with a tape writes down for a light: `left,900mm,110mm`.

    A lamp near a side is called by it, others by a bearing to 5 degrees (read to 2). OUT is read
    to 5 mm and rounded to 10, UP is read to 1.5 mm and rounded to 5.
    """
    if light.kind != "lamp":
        return light.kind
    x, y, z = light.place_mm
    bearing = math.degrees(math.atan2(y, x))
    side, off = min(
        ((word, abs((bearing - b + 180) % 360 - 180)) for word, b in SIDES.items()),
        key=lambda pair: pair[1],
    )
    if off > SIDE_WORD_REACH:
        side = f"{round((bearing + rng.normal(0, 2)) / 5) * 5 % 360}deg"
    out = round((math.hypot(x, y) + rng.normal(0, 5)) / 10) * 10
    up = round((z + rng.normal(0, 1.5)) / 5) * 5
    return f"{side},{out}mm,{up}mm"


def shoot(
    board: Board,
    arrangement: str,
    folder: str | Path,
    *,
    seed: int,
    phone: Phone | None = None,
    ambient: float = 0.0,
) -> list[tuple[Path, str]]:
    """Photograph a board under an arrangement: (path, lamp spec) of each JPEG, in order.

    The first photo has the board's +y up at the origin; the others are held as hands hold them.
    """
    phone, folder = phone or Phone(), Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([seed, 71])
    shots = []
    for number, light in enumerate(arrange(arrangement, seed=seed, ambient=ambient)):
        own = seed * 100 + number
        pose = hand_held(phone, seed=own, first=number == 0)
        taken = snap(board, light, phone, seed=own, pose=pose)
        path = folder / f"shot-{number + 1}.jpg"
        write_photo(path, taken.picture, exif_facts(phone, taken, number=number))
        shots.append((path, tape_spec(light, rng)))
    return shots


def _warm(rng: np.random.Generator) -> tuple[float, float, float]:
    """Tint of a task lamp after a phone's white balance."""
    warmth = rng.uniform(0.0, 0.12)
    return (1.0, 1 - 0.4 * warmth, 1 - warmth)
