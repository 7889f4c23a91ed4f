"""A made-up hump map with everything a report must show: invented, and of no real boat."""

from pathlib import Path

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter

from lightcheck import card, report
from lightcheck.errors import Doubt
from lightcheck.fair import FairSurface
from lightcheck.grid import Grid
from lightcheck.humpmap import HumpMap, Recipe
from lightcheck.patch import Base, CardPlace, Patch, View
from lightcheck.photo import CameraFacts, Photo
from lightcheck.relief import LampFound, Relief
from lightcheck.spots import Spot

TIMES = 4
SPOTS = (  # x, y, height, length, width, turn [mm, rad], chance, doubts
    (-110.0, 40.0, 0.74, 150.0, 70.0, 0.1, 1.0, ()),
    (120.0, -50.0, 0.42, 90.0, 80.0, 0.0, 0.98, ()),
    (30.0, 62.0, -0.31, 120.0, 60.0, np.pi / 2, 0.95, ()),
    (205.0, 20.0, 0.16, 110.0, 70.0, 2.3, 0.72, (Doubt.EDGE, Doubt.FEW)),
    (-30.0, -85.0, -0.11, 80.0, 60.0, 0.0, 0.52, (Doubt.GRAIN,)),
)
PLACES = (
    "120 mm right of card 3, 95 below it",
    "110 mm left of card 1, 85 above it",
    "200 mm left of card 2, 70 below it",
    "30 mm left of card 2, 115 below it",
    "200 mm right of card 0, 50 above it",
)
CARDS = tuple(
    CardPlace(card=n, x_mm=x, y_mm=y, turn_rad=t)
    for n, x, y, t in (
        (0, -230, -135, 0.05), (1, 232, -133, -0.1), (2, 228, 136, 3.1), (3, -230, 132, 0.2),
    )
)  # fmt: skip


def hump_map(*, spots: bool = True, first_name: str = "left.jpg", with_cards: bool = True) -> HumpMap:
    """The whole product. Without spots the board is fair."""
    grid = Grid.over((-290.0, 290.0), (-175.0, 175.0), cell_mm=4.0)
    fair = _fair(grid, spots)
    photos = tuple(
        _photo(name, tint=tint) for name, tint in ((first_name, 1.0), ("right.jpg", 0.8), ("off.jpg", 0.1))
    )
    lamps = ("left,900mm,110mm", "right,850mm,120mm", "off")
    return HumpMap(
        recipe=Recipe(photos=tuple(f"shots/{p.name}" for p in photos), lamps=lamps),
        photos=photos,
        patch=_patch(grid, tuple(p.name for p in photos), CARDS if with_cards else ()),
        relief=_relief(grid, fair, lamps[:2]),
        fair=fair,
        spots=_spots() if spots else (),
        warnings=("right.jpg: part of the wood is too bright to read.",),
    )


def written(folder: Path) -> Path:
    """The map as lightcheck map writes it, with few draws so that tests are quick."""
    report.write(hump_map(), folder)
    with np.load(folder / "draws.npz") as stored:
        few = {**stored, "draws_mm": stored["draws_mm"][:3]}
    np.savez_compressed(folder / "draws.npz", **few)
    return folder


def _relief(grid: Grid, fair: FairSurface, specs) -> Relief:
    found = ((-880.0, 35.0, 112.0), (861.0, -20.0, 119.0))
    return Relief(
        grid=grid,
        z_mm=fair.height_mm + fair.fair_mm,
        draws_mm=fair.draws_mm + fair.fair_mm,
        seen=np.isfinite(fair.height_mm),
        shots_at=np.where(np.isfinite(fair.height_mm), 2, 0),
        lamps=tuple(
            LampFound(
                kind="lamp",
                spec=s,
                place_mm=np.array(p),
                sigma_mm=np.array([9.0, 60.0, np.float32(2.5)]),
            )
            for s, p in zip(specs, found, strict=True)
        ),
        response=(1.04, 0.97, np.float32(0.92)),
        ambient_share=0.03,
        noise=0.011,
    )


def _fair(grid: Grid, spots: bool) -> FairSurface:
    """Height fields, unseen under the cards and in one dark corner."""
    x, y = grid.mesh_mm()
    rng = np.random.default_rng(5)
    height = gaussian_filter(rng.normal(size=grid.shape), 8) * 0.15
    for sx, sy, top, length, width, turn, *_ in SPOTS if spots else ():
        along = (x - sx) * np.cos(turn) + (y - sy) * np.sin(turn)
        across = (y - sy) * np.cos(turn) - (x - sx) * np.sin(turn)
        height += top * np.exp(-np.log(2) * ((2 * along / length) ** 2 + (2 * across / width) ** 2))
    unseen = ~_wood(grid) | (np.hypot(x - 290, y - 40) < 40)
    height[unseen] = np.nan
    sigma = np.where(unseen, np.nan, 0.02 + 0.04 * (np.hypot(x / 290, y / 175) / 1.4) ** 4)
    draws = np.stack(
        [height + sigma * gaussian_filter(rng.normal(size=grid.shape), 6) * 18 for _ in range(64)]
    )
    fair_mm = 0.3 * (x / 290) ** 2
    target = fair_mm - 0.12 - 0.1 * np.exp(-((x - 30) ** 2 + (y - 62) ** 2) / 2e4)
    return FairSurface(
        fair_mm=fair_mm, target_mm=target, height_mm=height, sigma_mm=sigma,
        come_off_mm=height + fair_mm - target, draws_mm=draws.astype(np.float32),
    )  # fmt: skip


def _wood(grid: Grid) -> np.ndarray:
    x, y = grid.mesh_mm()
    wood = np.ones(grid.shape, bool)
    for place in CARDS:
        dx, dy, c, s = (
            x - place.x_mm,
            y - place.y_mm,
            np.cos(place.turn_rad),
            np.sin(place.turn_rad),
        )
        wood &= (abs(dx * c + dy * s) > 58) | (abs(dy * c - dx * s) > 38)
    return wood


def _spots() -> tuple[Spot, ...]:
    found = []
    for i, (x, y, top, length, width, turn, chance, doubts) in enumerate(SPOTS):
        ring = np.linspace(0, 2 * np.pi, 60)
        a, b = length / 2 * np.cos(ring), width / 2 * np.sin(ring)
        outline = np.stack(
            [x + a * np.cos(turn) - b * np.sin(turn), y + a * np.sin(turn) + b * np.cos(turn)],
            axis=1,
        )
        found.append(
            Spot(
                number=i + 1, kind="hump" if top > 0 else "hollow", x_mm=x, y_mm=y,
                height_mm=np.float32(top), sigma_mm=0.03 if chance > 0.9 else 0.06, chance=chance,
                length_mm=length, width_mm=width, turn_rad=turn, place=PLACES[i],
                come_off_mm=top + 0.14 if top > 0 else 0.0, doubts=doubts, outline_mm=outline,
            )
        )  # fmt: skip
    return tuple(found)


def _view() -> View:
    tilt = np.array([[1, 0, 0], [0, -np.cos(0.25), -np.sin(0.25)], [0, np.sin(0.25), -np.cos(0.25)]])
    return View(
        rotation=tilt,
        offset_mm=np.array([0.0, 0.0, 760.0]),
        focal_px=1450.0,
        bend=0.0,
        size_px=(1800, 1350),
    )


def _patch(grid: Grid, names: tuple[str, ...], places: tuple[CardPlace, ...]) -> Patch:
    fine = grid.finer(TIMES)
    wood = _wood(grid)
    grain = np.log(cv2.resize(_sheet(), (fine.nx, fine.ny))[::-1] / 255.0).astype(np.float32)
    x, _ = fine.mesh_mm()
    sheets = np.stack([grain - s * x / 400 for s in (1, -1, 0)])
    sheets[:, ~(cv2.resize(wood.astype(np.uint8), (fine.nx, fine.ny), interpolation=0) > 0)] = np.nan
    return Patch(
        grid=grid, times=TIMES, base=Base(along_x=-1e-4), views=(_view(),) * 3, cards=places,
        log_light=sheets[:, ::TIMES, ::TIMES].astype(float), fine_log_light=sheets,
        off_axis=np.zeros((3, *grid.shape)), wood=wood, inside=np.ones(grid.shape, bool),
        misfit_mm=(0.0, 0.18, 0.21), likeness=(1.0, 0.93, 0.9), corner_rms_px=0.21, names=names,
    )  # fmt: skip


def _sheet() -> np.ndarray:
    """(700, 1160) float32 wood picture of 580 x 350 mm, top row first, cards on it."""
    rng = np.random.default_rng(3)
    grain = gaussian_filter(rng.normal(size=(700, 1160)), (1.2, 60)) * 60
    sheet = 150 + 18 * grain + 6 * gaussian_filter(rng.normal(size=(700, 1160)), (12, 300)) * 90
    for place in CARDS:
        w, h = card.size(place.card).outline_mm
        box = (
            ((place.x_mm + 290) * 2, (175 - place.y_mm) * 2),
            (w * 2, h * 2),
            -np.degrees(place.turn_rad),
        )
        cv2.fillPoly(sheet, [cv2.boxPoints(box).astype(np.int32)], 235.0)
    return np.clip(sheet, 5, 250).astype(np.float32)


def _photo(name: str, *, tint: float) -> Photo:
    """The sheet as the phone would see it from above, lit from the left."""
    corners = np.array([[-290, 175, 0], [290, 175, 0], [290, -175, 0], [-290, -175, 0]], float)
    on_sheet = np.array([[0, 0], [1160, 0], [1160, 700], [0, 700]], np.float32)
    pixels = _view().project_px(corners).astype(np.float32)
    turn = cv2.getPerspectiveTransform(on_sheet, pixels)
    lit = _sheet() * np.linspace(1.1, 0.45, 1160) * tint
    seen = cv2.warpPerspective(lit, turn, (1800, 1350), borderValue=25.0)
    coded = np.clip(seen[..., None] * (1.0, 0.85, 0.62), 0, 255).astype(np.uint8)
    return Photo(
        name=name, sha256=("%02x" % (len(name) * 7)) * 32, coded=coded,
        light=coded[..., 1].astype(np.float32) / 255, spoilt=np.zeros(coded.shape[:2], bool),
        facts=CameraFacts(
            model="Invented P1", focal_35mm=26.0, exposure_s=1 / 60, iso=200.0, f_number=1.8,
            taken="2031:02:03 19:20:21",
        ),
    )  # fmt: skip
