"""Scene: what a phone sees of a lit board, in linear light.

The radiance of the board (albedo x light) is laid on a sheet once for each photo, blurred as lens
and pixels blur it, and looked up along the ray of each pixel.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from lightcheck.specimen.board import Board
from lightcheck.specimen.light import Ground, Light, direct, glint, ground, unshaded
from lightcheck.specimen.phone import Phone, Pose
from lightcheck.specimen.wood import STEP_MM, sheet

_LENS_BLUR_PX = 0.55  # sigma of lens and pixel together, own choice
_LIGHT_STEP_MM = 0.5
_SHADOW_MM = 2.0
_STRIDE_PX = 8  # rays are traced for every eighth pixel and interpolated: good to 0.003 mm
_BENCH_STEP_MM, _BENCH_HALF_MM, _BENCH_DROP_MM = 4.0, (1200.0, 1000.0), 32.0


def rays(board: Board, phone: Phone, pose: Pose) -> np.ndarray:
    """(2, rows, columns) float32 place on the sheet [points of it] seen by every eighth pixel.

    One more is added on each side.
    """
    columns = np.arange(-_STRIDE_PX, phone.width_px + 2 * _STRIDE_PX, _STRIDE_PX)
    rows = np.arange(-_STRIDE_PX, phone.height_px + 2 * _STRIDE_PX, _STRIDE_PX)
    right, down = np.meshgrid(columns, rows)
    right = (right - (phone.width_px - 1) / 2) / phone.focal_px
    down = (down - (phone.height_px - 1) / 2) / phone.focal_px
    way = np.stack([right, down, np.ones_like(right)], axis=-1) @ pose.turn
    z = np.zeros(right.shape)
    for _ in range(6):  # the error shrinks by slope times obliqueness, under 0.1, each time
        reach = (z - pose.place_mm[2]) / way[..., 2]
        x, y = pose.place_mm[0] + reach * way[..., 0], pose.place_mm[1] + reach * way[..., 1]
        z = board.surface_mm(x, y)
    high, wide = sheet(board).paper.shape
    return np.stack([x / STEP_MM + wide / 2 - 0.5, board.along_mm(y) / STEP_MM + high / 2 - 0.5]).astype(
        np.float32
    )


def every_pixel(rays: np.ndarray, phone: Phone, top: int, rows: int) -> np.ndarray:
    """Rays of a band of whole rows, (2, rows, width) float32."""
    part = 1 / _STRIDE_PX
    back = np.array([[part, 0, 1.0], [0, part, 1.0 + top * part]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.stack([cv2.warpAffine(r, back, (phone.width_px, rows), flags=flags) for r in rays])


@lru_cache(maxsize=2)
def _ground(board: Board, step_mm: float) -> Ground:
    """The true surface on a grid over the whole sheet."""
    high, wide = sheet(board).paper.shape
    half_x, half_y = wide * STEP_MM / 2, high * STEP_MM / 2
    count_x, count_y = round(2 * half_x / step_mm), round(2 * half_y / step_mm)
    x = (np.arange(count_x) + 0.5) * (2 * half_x / count_x) - half_x
    along = (np.arange(count_y) + 0.5) * (2 * half_y / count_y) - half_y
    return ground(board, *np.meshgrid(x, board.across_mm(along)))


def radiance(board: Board, light: Light, phone: Phone, pose: Pose) -> np.ndarray:
    """(ny, nx, 3) float32 light sent up by each point of the sheet, blurred as the phone does."""
    skin, at = sheet(board), _ground(board, _LIGHT_STEP_MM)
    size = skin.paper.shape[::-1]
    falling = direct(light, at)
    if light.kind == "lamp" and falling.min() <= 0:
        free = unshaded(board, light, _ground(board, _SHADOW_MM))
        falling = falling * cv2.resize(free, at.x.shape[::-1], interpolation=cv2.INTER_LINEAR)
    falling = (falling + light.ambient).astype(np.float32)
    sent = skin.albedo * cv2.resize(falling, size, interpolation=cv2.INTER_LINEAR)[..., None]
    if board.gloss and light.kind != "off":
        shine = glint(board, light, at, pose.place_mm).astype(np.float32)
        shine = cv2.resize(shine, size, interpolation=cv2.INTER_LINEAR) * (1 - skin.paper)
        sent += shine[..., None]
    sent *= np.float32(light.tint)
    blur = _LENS_BLUR_PX * pose.place_mm[2] / phone.focal_px / STEP_MM
    return cv2.GaussianBlur(sent, (0, 0), blur)


def bench(board: Board, light: Light) -> np.ndarray:
    """(ny, nx, 3) float32 light sent up by the dark bench on which the board lies."""
    x, y = np.meshgrid(*(np.arange(-h, h, _BENCH_STEP_MM) + _BENCH_STEP_MM / 2 for h in _BENCH_HALF_MM))
    away_x, away_y = abs(x) - board.width_mm / 2, abs(y) - board.depth_mm / 2
    apart = np.hypot(np.maximum(away_x, 0), np.maximum(away_y, 0))
    level = np.zeros_like(x)
    at = Ground(x=x, y=y, z=level - _BENCH_DROP_MM, slope_x=level, slope_y=level)
    falling = light.ambient + direct(light, at) * _past_board(board, light, x, y)
    rng = np.random.default_rng([board.seed, 53])
    blots = cv2.GaussianBlur(rng.standard_normal(x.shape, np.float32), (0, 0), 9, sigmaY=3) * 5
    sent = 0.055 * np.exp(0.3 * blots) * falling * (1 - 0.7 * np.exp(-apart / 14))
    return (sent[..., None] * np.multiply(light.tint, (1.0, 0.95, 0.85))).astype(np.float32)


def _past_board(board: Board, light: Light, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """1 where the bench sees the lamp over the board's edge, 0 where it lies in its shadow."""
    if light.kind != "lamp":
        return np.ones_like(x)
    lamp_x, lamp_y, lamp_z = light.place_mm
    rise = min(1.0, _BENCH_DROP_MM / (lamp_z + _BENCH_DROP_MM))  # part of the way below the top
    enter, leave = np.zeros_like(x), np.full_like(x, rise)
    for start, end, half in ((x, lamp_x, board.width_mm / 2), (y, lamp_y, board.depth_mm / 2)):
        run = np.where(abs(end - start) < 1e-9, 1e-9, end - start)
        a, b = (-half - start) / run, (half - start) / run
        enter, leave = np.maximum(enter, np.minimum(a, b)), np.minimum(leave, np.maximum(a, b))
    return cv2.GaussianBlur((enter >= leave).astype(float), (0, 0), 2.5)  # a lamp is no point


def seen(rays: np.ndarray, skin: np.ndarray, bench: np.ndarray) -> np.ndarray:
    """(rows, columns, 3) float32 light that reaches the lens along these rays, before the lens."""
    column, row = np.ascontiguousarray(rays[0]), np.ascontiguousarray(rays[1])
    high, wide = skin.shape[:2]
    seen = cv2.remap(skin, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    inside = np.minimum(np.minimum(column, wide - 1 - column), np.minimum(row, high - 1 - row))
    cover = np.clip(inside / 3 + 0.5, 0, 1)[..., None]
    if cover.min() >= 1:
        return seen
    scale = np.float32(STEP_MM / _BENCH_STEP_MM)
    column = (column + 0.5 - wide / 2) * scale + np.float32(bench.shape[1] / 2 - 0.5)
    row = (row + 0.5 - high / 2) * scale + np.float32(bench.shape[0] / 2 - 0.5)
    below = cv2.remap(bench, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return seen * cover + below * (1 - cover)
