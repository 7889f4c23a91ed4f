"""Shapes: humps, waves and plateaus that a made-up board bears, each with its exact slopes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class Hump:
    """A Gaussian bump. height_mm is + for a hump, - for a hollow.

    long_mm, short_mm: standard deviations along its two axes.  turn_rad: its long axis, from +x
    towards +y.
    """

    x_mm: float
    y_mm: float
    height_mm: float
    long_mm: float
    short_mm: float
    turn_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Wave:
    """height_mm * sin(2 pi s / length_mm + phase_rad), s running at turn_rad from +x.

    height_mm is the amplitude: half of crest to trough.
    """

    height_mm: float
    length_mm: float
    turn_rad: float = 0.0
    phase_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plateau:
    """A flat rectangle raised by height_mm, as of tape laid on the wood.

    long_mm, wide_mm: at half height.  turn_rad: its long side, from +x towards +y.
    edge_mm: length of the slope round it; steepest pi/2 height / edge.
    """

    x_mm: float
    y_mm: float
    height_mm: float
    long_mm: float
    wide_mm: float
    turn_rad: float = 0.0
    edge_mm: float = 4.0


def hump(shape: Hump, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, ...]:
    """Height and slopes along x and y of a bell."""
    c, s = math.cos(shape.turn_rad), math.sin(shape.turn_rad)
    p = ((x - shape.x_mm) * c + (y - shape.y_mm) * s) / shape.long_mm
    q = ((y - shape.y_mm) * c - (x - shape.x_mm) * s) / shape.short_mm
    z = shape.height_mm * np.exp(-0.5 * (p**2 + q**2))
    along, across = -z * p / shape.long_mm, -z * q / shape.short_mm
    return z, along * c - across * s, along * s + across * c


def wave(shape: Wave, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, ...]:
    """Height and slopes along x and y of a wave."""
    c, s = math.cos(shape.turn_rad), math.sin(shape.turn_rad)
    turns = 2 * math.pi / shape.length_mm
    phase = turns * (x * c + y * s) + shape.phase_rad
    slope = shape.height_mm * turns * np.cos(phase)
    return shape.height_mm * np.sin(phase), slope * c, slope * s


def plateau(shape: Plateau, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, ...]:
    """Height and slopes along x and y of a raised rectangle."""
    c, s = math.cos(shape.turn_rad), math.sin(shape.turn_rad)
    p, q = (x - shape.x_mm) * c + (y - shape.y_mm) * s, (y - shape.y_mm) * c - (x - shape.x_mm) * s
    along, by_p = _shoulder(p, shape.long_mm / 2, shape.edge_mm)
    across, by_q = _shoulder(q, shape.wide_mm / 2, shape.edge_mm)
    by_p, by_q = shape.height_mm * by_p * across, shape.height_mm * along * by_q
    return shape.height_mm * along * across, by_p * c - by_q * s, by_p * s + by_q * c


def _shoulder(p: np.ndarray, half: float, edge: float) -> tuple[np.ndarray, np.ndarray]:
    """1 within +-half, 0 outside, half a sine between; and its slope."""
    turn = np.clip(math.pi * (abs(p) - half) / edge, -math.pi / 2, math.pi / 2)
    return (1 - np.sin(turn)) / 2, -np.sign(p) * np.cos(turn) * math.pi / (2 * edge)
