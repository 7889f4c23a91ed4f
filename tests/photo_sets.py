"""Made-up sets of photos: sound ones, and ones with a single fault each that is known.

Each fault is put in where it comes from: in the light, on the wood, in the print, in the lens, or in what
the phone writes. Nothing here comes from the code that looks for the faults. All invented.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from unittest.mock import patch as swap

import cv2
import numpy as np
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from lightcheck import specimen as sp
from lightcheck.specimen import scene, wood

UP_MM, OUT_MM = 110.0, 900.0
BEARINGS = {"left": 180, "right": 0, "top": 90, "bottom": 270}
EXPOSURE, ISO, F_NUMBER, FOCAL_35, WIDE, HIGH, ZOOM = 0x829A, 0x8827, 0x829D, 0xA405, 0xA002, 0xA003, 0xA404
COMPOSITE, FRAMES, SCENE, RENDERED, LENS = 0xA460, 0xA461, 0xA406, 0xA401, 0xA434


@dataclass(kw_only=True)
class Shot:
    """One photo before it is written. light: (height, width, 3) linear, before clipping."""

    light: np.ndarray
    tags: dict
    gain: float
    model: str = "Quillhaven Bench 2"
    typed: str = "left,900mm,110mm"

    def exposed(self, times: float, *, told: bool = True) -> Shot:
        """With so many times the light; told: as the phone would write it."""
        self.light = self.light * times
        if told:
            self.tags[EXPOSURE] *= times
        return self


@dataclass(frozen=True, kw_only=True)
class Bench:
    """What is photographed, and with what. small: for tests in a hurry."""

    board: sp.Board
    phone: sp.Phone
    seed: int = 5

    @classmethod
    def of(cls, *, small: bool = False, seed: int = 5, **more) -> Bench:
        phone = sp.Phone(width_px=1344, height_px=1008, distance_mm=540.0) if small else sp.Phone()
        board = sp.random_board(seed)
        if small:
            cards = tuple(
                (n, sx * 140.0, sy * 95.0, 0.1 * n)
                for n, sx, sy in ((0, -1, -1), (1, 1, -1), (2, 1, 1), (3, -1, 1))
            )
            humps = (sp.Hump(x_mm=20, y_mm=15, height_mm=0.4, long_mm=40, short_mm=30),)
            board = sp.Board(width_mm=430, depth_mm=320, humps=humps, cards=cards, seed=seed)
        return cls(board=replace(board, **more), phone=phone, seed=seed)

    def shot(self, number: int, light: sp.Light, typed: str, **more) -> Shot:
        """A photo taken by hand, number 0 the first of its set."""
        phone = more.get("phone", self.phone)
        pose = sp.hand_held(phone, seed=100 * self.seed + number, first=number == 0)
        taken = sp.snap(self.board, light, phone, seed=100 * self.seed + number, pose=pose)
        coded = taken.picture.astype(np.float32) / 255
        linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
        tags = {
            EXPOSURE: taken.exposure_s, ISO: taken.iso, F_NUMBER: phone.f_number,
            FOCAL_35: phone.written_focal_35mm,
        }  # fmt: skip
        return Shot(light=linear.astype(np.float32), tags=tags, gain=taken.gain, typed=typed)

    def lit(self, *sides: str, up_mm: float = UP_MM, **light) -> list[Shot]:
        """Photos with the lamp at these sides: words, bearings in degrees, "flash" or "off"."""
        take = _lit.__wrapped__ if _ALTERED else _lit
        taken = take(self, sides, up_mm, tuple(light.items()))
        return [replace(s, light=s.light.copy(), tags=dict(s.tags)) for s in taken]

    def pair(self, **more) -> list[Shot]:
        """Lamp left, lamp right."""
        return self.lit("left", "right", **more)


_ALTERED: list[bool] = []  # not empty while wood or cards are changed


@lru_cache(maxsize=2)
def _lit(bench: Bench, sides: tuple, up_mm: float, light: tuple) -> tuple[Shot, ...]:
    return tuple(bench.shot(n, lamp(s, up_mm, **dict(light)), spec(s, up_mm)) for n, s in enumerate(sides))


@contextmanager
def _altered():
    _ALTERED.append(True)
    yield
    _ALTERED.pop()


def lamp(side: str | float, up_mm: float = UP_MM, **more) -> sp.Light:
    if side in ("flash", "off"):
        return sp.Light(kind=side, **{"intensity": 3e5, "tint": (1.0, 0.97, 0.9), **more})
    rad = math.radians(BEARINGS.get(side, side))
    return sp.Light(place_mm=(OUT_MM * math.cos(rad), OUT_MM * math.sin(rad), up_mm), **more)


def spec(side: str | float, up_mm: float = UP_MM) -> str:
    if side in ("flash", "off"):
        return side
    return f"{side if side in BEARINGS else f'{side}deg'},{OUT_MM:.0f}mm,{up_mm:.0f}mm"


def write(shots: list[Shot], folder: Path) -> tuple[tuple[Path, ...], tuple[str, ...]]:
    """The files and what was typed for each."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for number, shot in enumerate(shots):
        exif = Image.Exif()
        if shot.tags:
            exif[0x0110], exif[0x010F], exif[0x0112] = shot.model, "Quillhaven", 1
        inner = exif.get_ifd(0x8769)
        for tag, value in shot.tags.items():
            rational = tag in (EXPOSURE, F_NUMBER, ZOOM)
            inner[tag] = IFDRational(round(value * 1e6), 1_000_000) if rational else value
        coded = np.clip(sp.srgb_encode(np.clip(shot.light, 0, 1)) * 255 + 0.5, 0, 255).astype(np.uint8)
        paths.append(folder / f"{number + 1}.jpg")
        Image.fromarray(coded).save(paths[-1], quality=93, exif=exif)
    return tuple(paths), tuple(s.typed for s in shots)


@contextmanager
def painted(change: Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]):
    """Wood whose tone is multiplied by change(x_mm, y_mm, grain), off the cards; x, y of each point."""
    sound = wood.sheet

    def painted_sheet(board):
        skin = sound(board)
        high, wide = skin.paper.shape
        x = (np.arange(wide, dtype=np.float32) - wide / 2 + 0.5) * wood.STEP_MM
        y = (np.arange(high, dtype=np.float32) - high / 2 + 0.5) * wood.STEP_MM
        times = change(*np.meshgrid(x, y))
        times = np.where(skin.paper > 0, 1.0, times).astype(np.float32)[..., None]
        return wood.Sheet(albedo=skin.albedo * times, paper=skin.paper)

    with _altered(), swap.object(scene, "sheet", painted_sheet):
        yield


@contextmanager
def printed(change: Callable[[np.ndarray], np.ndarray], only: int | None = None):
    """Cards whose picture is changed, all or one."""
    sound = wood._printed

    def changed(number: int) -> np.ndarray:
        picture = sound(number)
        return change(picture) if only in (None, number) else picture

    wood._sheet.cache_clear()
    with _altered(), swap.object(wood, "_printed", changed):
        yield
    wood._sheet.cache_clear()


# --- faults of the hand and the lens --------------------------------------------------------------


def blurred(bench: Bench) -> list[Shot]:
    shots = bench.pair()
    shots[1].light = cv2.GaussianBlur(shots[1].light, (0, 0), 0.75 / _pixel_mm(bench))
    return shots


def shaken(bench: Bench) -> list[Shot]:
    """The phone moved in a straight line while the shutter was open."""
    shots, long = bench.pair(), round(2.6 / _pixel_mm(bench))
    way = np.zeros((long, long), np.float32)
    cv2.line(way, (0, long - 1), (long - 1, long // 4), 1.0)
    shots[0].light = cv2.filter2D(shots[0].light, -1, way / way.sum())
    return shots


def focused_on_one_end(bench: Bench) -> list[Shot]:
    shots = bench.pair()
    sound, wide = shots[0].light.copy(), shots[0].light.shape[1]
    for left in range(0, wide, 8):  # the farther right, the softer
        sigma = 1.0 / _pixel_mm(bench) * (left / wide) ** 2
        if sigma > 0.2:
            reach = int(4 * sigma) + 1
            strip = sound[:, max(left - reach, 0) : left + 8 + reach]
            shots[0].light[:, left : left + 8] = cv2.GaussianBlur(strip, (0, 0), sigma)[
                :, min(left, reach) :
            ][:, :8]
    return shots


def far_off(bench: Bench) -> list[Shot]:
    small = tuple(round(n * (1.0 / _pixel_mm(bench)) ** -1) for n in _size(bench))
    shots = bench.pair()
    for shot in shots:
        shot.light = cv2.resize(shot.light, small, interpolation=cv2.INTER_AREA)
    return shots


def greasy_lens(bench: Bench) -> list[Shot]:
    """A veil: part of all the light in sight, spread over the picture."""
    shots = bench.pair()
    for shot in shots:
        shot.light = 0.6 * shot.light + 0.4 * shot.light.mean(axis=(0, 1))
    return shots


def _pixel_mm(bench: Bench) -> float:
    return bench.phone.distance_mm / bench.phone.focal_px


def _size(bench: Bench) -> tuple[int, int]:
    return bench.phone.width_px, bench.phone.height_px


# --- faults of the exposure -----------------------------------------------------------------------


def burnt_out(bench: Bench) -> list[Shot]:
    shots = bench.pair()
    shots[0].exposed(4.0)
    shots[1].exposed(3.6)
    return shots


def underexposed(bench: Bench) -> list[Shot]:
    rng = np.random.default_rng(3)
    shots = [s.exposed(1 / 30) for s in bench.pair()]
    for shot in shots:
        shot.light = np.maximum(shot.light + rng.normal(0, 0.0012, shot.light.shape), 0)
    return shots


def exposure_changed(bench: Bench) -> list[Shot]:
    shots = bench.lit("left", "right", "top")
    shots[2].exposed(1 / 5)
    return shots


def balance_changed(bench: Bench) -> list[Shot]:
    shots = bench.pair()
    shots[1].light = shots[1].light * np.float32([1.0, 0.97, 0.72])
    return shots


# --- faults of the phone's own making -------------------------------------------------------------


def merged(bench: Bench) -> list[Shot]:
    """Nine frames in one, and the light evened out locally by a tenth."""
    shots = bench.pair()
    for shot in shots:
        level = cv2.GaussianBlur(shot.light.mean(axis=2), (0, 0), shot.light.shape[1] / 12) + 0.02
        shot.light = shot.light * ((level / level.mean()) ** -0.1)[..., None]
        shot.tags |= {COMPOSITE: 3, FRAMES: (9, 9)}
    return shots


def night(bench: Bench) -> list[Shot]:
    shots = bench.pair()
    for shot in shots:
        shot.tags |= {SCENE: 3, COMPOSITE: 3, EXPOSURE: 1.0, ISO: 50}
    return shots


def portrait(bench: Bench) -> list[Shot]:
    shots = bench.pair()
    shots[1].tags[RENDERED] = 7
    return shots


def smoothed(bench: Bench) -> list[Shot]:
    """Grain taken for noise in one photo, without a word of it; borders kept, as such filters do."""
    shots = bench.pair()
    smooth = cv2.bilateralFilter(np.log(shots[1].light.astype(np.float32) + 0.01), 15, 0.5, 4)
    shots[1].light = np.exp(smooth) - 0.01
    return shots


def zoomed(bench: Bench) -> list[Shot]:
    shots = bench.pair()
    for shot in shots:
        shot.tags[ZOOM] = 1.6
    return shots


def other_lens(bench: Bench) -> list[Shot]:
    """The second from nearer by, through the wide lens."""
    first = bench.pair()[0]
    first.tags[LENS] = "Quillhaven main 5.7 mm"
    wide = replace(bench.phone, fov_rad=math.radians(82), distance_mm=0.64 * bench.phone.distance_mm)
    second = bench.shot(1, lamp("right"), spec("right"), phone=wide)
    second.tags[LENS] = "Quillhaven wide 2.2 mm"
    return [first, second]


def by_messenger(bench: Bench) -> list[Shot]:
    shots = bench.pair()
    for shot in shots:
        shot.tags = {}
    return shots


def cut_down(bench: Bench) -> list[Shot]:
    """Shrunk by a program that kept the tags."""
    shots = bench.pair()
    for shot in shots:
        shot.tags |= {WIDE: 2 * _size(bench)[0], HIGH: 2 * _size(bench)[1]}
    return shots


# --- faults of the cards --------------------------------------------------------------------------


def squashed(bench: Bench) -> list[Shot]:
    """Printed 3 % too short one way."""
    with printed(lambda p: cv2.resize(p, None, fx=1.0, fy=0.97, interpolation=cv2.INTER_AREA)):
        return bench.pair()


def curled(bench: Bench) -> list[Shot]:
    """One card rolls up at one end, as it came out of the printer: from above it looks short there."""

    def rolled(picture: np.ndarray) -> np.ndarray:
        high, wide = picture.shape
        u = np.linspace(0, 1, wide)
        slope = 0.75 * np.clip((u - 0.35) / 0.65, 0, 1)  # up to 37 degrees
        seen = np.concatenate([[0], np.cumsum(np.cos(np.arctan(slope)))[:-1]])
        column = np.interp(np.arange(wide), seen, np.arange(wide), right=-1).astype(np.float32)
        columns = np.broadcast_to(column, picture.shape)
        rows = np.broadcast_to(np.arange(high, dtype=np.float32)[:, None], picture.shape)
        return cv2.remap(
            picture, columns.copy(), rows.copy(), cv2.INTER_LINEAR, borderValue=float(picture.max())
        )

    with printed(rolled, only=bench.board.cards[0][0]):
        return bench.pair()


def covered(bench: Bench) -> list[Shot]:
    """A rag over one card in the second photo."""
    shots = bench.pair()
    gone = bench.board.cards[2][0]
    with printed(lambda p: np.full_like(p, 0.3), only=gone):
        shots[1] = bench.shot(1, lamp("right"), spec("right"))
    return shots


def moved(bench: Bench) -> list[Shot]:
    """One card was pushed aside between the shots."""
    shots = bench.pair()
    first, *rest = bench.board.cards
    pushed = (first[0], first[1] + 9.0, first[2] + 4.0, first[3] + 0.05)
    other = replace(bench, board=replace(bench.board, cards=(pushed, *rest)))
    return [shots[0], other.shot(1, lamp("right"), spec("right"))]


def two_cards(bench: Bench) -> list[Shot]:
    few = replace(bench, board=replace(bench.board, cards=bench.board.cards[::2]))
    return few.pair()


# --- faults of the light --------------------------------------------------------------------------


def too_high(bench: Bench) -> list[Shot]:
    """At 33 degrees, and a tenth of a millimetre asked for."""
    return bench.pair(up_mm=580.0)


def second_lamp(bench: Bench) -> list[Shot]:
    """Another lamp stays on by the top of the bench while the first is carried round."""
    return _with_second(bench, bench.pair(), 8e5)


def second_lamp_told(bench: Bench) -> list[Shot]:
    """A weaker one, and a photo with the first lamp off."""
    return _with_second(bench, bench.lit("left", "right", "off", ambient=0.004), 3e5)


def _with_second(bench: Bench, shots: list[Shot], intensity: float) -> list[Shot]:
    rad, out, up = math.radians(75), 700.0, 220.0
    place = (out * math.cos(rad), out * math.sin(rad), up)
    for n, shot in enumerate(shots):
        extra = bench.shot(n, sp.Light(place_mm=place, intensity=intensity), "")
        shot.light = shot.light + extra.light * (shot.gain / extra.gain)
        shot.exposed(0.8 / float(np.quantile(shot.light, 0.995)))
    return shots


def daylit(bench: Bench) -> list[Shot]:
    """Half as much light from the sky as from the lamp, and no photo with the lamp off."""
    return bench.pair(ambient=0.5 * _at_origin())


def daylit_and_told(bench: Bench) -> list[Shot]:
    """The same with a photo with the lamp off."""
    return bench.lit("left", "right", "off", ambient=0.5 * _at_origin())


def _at_origin() -> float:
    return 1e6 * UP_MM / math.hypot(OUT_MM, UP_MM) ** 3


def wrong_side(bench: Bench) -> list[Shot]:
    shots = bench.pair()
    shots[0].typed, shots[1].typed = shots[1].typed, shots[0].typed
    return shots


def same_twice(bench: Bench) -> list[Shot]:
    first = bench.pair()[0]
    return [first, replace(first, typed=spec("right"))]


# --- faults of the wood ---------------------------------------------------------------------------


def rough(bench: Bench) -> list[Shot]:
    """Raised grain with the lamp square across it: ridges of a hundredth of a millimetre."""
    ridges = tuple(
        sp.Wave(height_mm=0.008, length_mm=length, turn_rad=math.pi / 2 + turn, phase_rad=phase)
        for length, turn, phase in ((5.1, 0.01, 0.3), (6.3, -0.01, 1.9), (7.7, 0.0, 4.0))
    )
    raised = replace(bench, board=replace(bench.board, waves=ridges))
    return raised.lit("bottom", "top")


def satin(bench: Bench) -> list[Shot]:
    """Oiled and rubbed: it shines."""
    return replace(bench, board=replace(bench.board, gloss=0.35)).pair(up_mm=200.0)


def damp(bench: Bench) -> list[Shot]:
    half = np.array([bench.board.width_mm, bench.board.depth_mm]) / 2

    def spilt(x, y):
        reach = np.hypot((x - 0.2 * half[0]) / (0.28 * half[0]), (y + 0.1 * half[1]) / (0.28 * half[1]))
        return 1 - 0.42 / (1 + np.exp((reach - 1) / 0.06))

    with painted(spilt):
        return bench.pair()


def ribbon(bench: Bench) -> list[Shot]:
    """Quarter-sawn wood of interlocked grain: stripes along it shine from one end or from the other."""
    rng = np.random.default_rng(8)
    edges = np.cumsum(rng.uniform(7, 17, 120)) - 600

    def stripes(sign: float):
        def change(x, y):
            which = np.searchsorted(edges, y[:, :1] + 1.2 * np.sin(x / 60))
            return 1 + sign * 0.05 * (2.0 * (which % 2) - 1)

        return change

    shots = []
    for n, (side, sign) in enumerate((("left", 1), ("right", -1))):
        with painted(stripes(sign)):
            shots.append(bench.shot(n, lamp(side), spec(side)))
    return shots


def reversing(bench: Bench) -> list[Shot]:
    """Fibres rise towards one end on a part of the board: a lamp along the grain reads that as slope."""
    half = np.array([bench.board.width_mm, bench.board.depth_mm]) / 2

    def rising(sign: float):
        def change(x, y):
            reach = np.hypot(x / (0.35 * half[0]), (y - 0.1 * half[1]) / (0.30 * half[1]))
            return 1 + sign * 0.10 / (1 + np.exp((reach - 1) / 0.10))

        return change

    shots = []
    for n, side in enumerate(("left", "right", "top", "bottom")):
        with painted(rising({"left": 1.0, "right": -1.0}.get(side, 0.0))):
            shots.append(bench.shot(n, lamp(side), spec(side)))
    return shots


BAD: dict[str, tuple[str, Callable[[Bench], list[Shot]]]] = {
    "out of focus": ("blurred", blurred),
    "shaken": ("motion", shaken),
    "focused on one end": ("partly blurred", focused_on_one_end),
    "from too far off": ("few pixels", far_off),
    "greasy lens": ("hazy lens", greasy_lens),
    "burnt out": ("clipped", burnt_out),
    "underexposed": ("dark", underexposed),
    "exposure not locked": ("exposure changed", exposure_changed),
    "white balance not locked": ("white balance changed", balance_changed),
    "frames merged by the phone": ("merged frames", merged),
    "night mode": ("night mode", night),
    "portrait mode": ("portrait mode", portrait),
    "grain taken for noise": ("smoothed wood", smoothed),
    "digital zoom": ("digital zoom", zoomed),
    "second photo with the wide lens": ("other lens", other_lens),
    "sent by messenger": ("no camera facts", by_messenger),
    "shrunk, tags kept": ("shrunk copy", cut_down),
    "printed 3 % too short": ("squashed print", squashed),
    "one card curled": ("curled card", curled),
    "one card covered": ("card missing", covered),
    "one card pushed": ("cards moved", moved),
    "only two cards": ("few cards", two_cards),
    "lamp at 33 degrees": ("lamp too high", too_high),
    "a second lamp": ("second light", second_lamp),
    "a second lamp, lamp-off photo": ("second light", second_lamp_told),
    "daylight": ("ambient light", daylit),
    "daylight, lamp-off photo": ("ambient light", daylit_and_told),
    "lamps typed the wrong way round": ("lamp on the wrong side", wrong_side),
    "the same photo twice": ("same photo twice", same_twice),
    "raised grain, lamp across it": ("rough grain", rough),
    "satin finish": ("glossy", satin),
    "a damp place": ("damp or oiled", damp),
    "ribbon stripe": ("shining fibres", ribbon),
    "reversing grain, four lamps": ("reversing grain", reversing),
}


def good(number: int, *, small: bool = False) -> list[Shot]:
    """Sound sets, no two alike: other boards, woods, lamps, hands, phones."""
    sides, more, light = GOOD[number]
    bench = Bench.of(small=small, seed=40 + number, **more)
    return bench.lit(*sides, **light)


GOOD: tuple[tuple[tuple, dict, dict], ...] = (
    (("left", "right"), {}, {}),
    (("right", "left"), {"wood": "mahogany"}, {"up_mm": 85.0}),
    ((90, 210, 330), {}, {"lobe": 2.0}),
    (("left", "right", "top", "bottom"), {"wood": "spruce"}, {}),
    (("left", "flash"), {}, {}),
    (("left", "right", "off"), {}, {"ambient": 0.008}),
    (("left", "right"), {"radius_mm": 3000.0}, {"up_mm": 125.0}),
    ((90, 210, 330), {"twist_per_mm": 8e-5, "wood": "mahogany"}, {}),
    (("top", "bottom"), {"tracks_mm": 0.03}, {}),
    (("left",), {}, {}),
)


__all__ = ["BAD", "GOOD", "Bench", "Shot", "good", "write"]
