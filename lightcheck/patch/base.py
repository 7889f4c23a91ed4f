"""Base shape: the smooth surface that the cards lie on, from which heights are measured.

    z_mm ^        ___---+---___        one curvature along each of two directions and a twist,
         |   _--´       |      `--_    all zero on a flat patch; the z axis is square to the
         +--------------o------------> surface at the origin

A surface with constant curvature is a circle in section, not a parabola: at 300 mm from the crown
of a 1400 mm barrel the two differ by 0.4 mm. `Base` follows the circle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_LEAST_COSINE2 = 0.05  # beyond 77 degrees from the crown nothing can be photographed anyway


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """Curvatures at the origin: along x, along y, and the twist d2z/dxdy. + is hollow. [1/mm]"""

    along_x: float = 0.0
    along_y: float = 0.0
    twist: float = 0.0

    def height_mm(self, x_mm, y_mm) -> np.ndarray:
        """z of the base; exact circles for a barrel and a sphere. [mm]"""
        sag, cosine = self._sag(x_mm, y_mm)
        return sag / (1 + cosine)

    def slope(self, x_mm, y_mm) -> tuple[np.ndarray, np.ndarray]:
        """dz/dx and dz/dy of the base. [mm/mm]"""
        x, y = np.asarray(x_mm, float), np.asarray(y_mm, float)
        sag, cosine = self._sag(x, y)
        gx, gy = self.along_x * x + self.twist * y, self.twist * x + self.along_y * y
        hx, hy = self.along_x * gx + self.twist * gy, self.twist * gx + self.along_y * gy
        bend = sag / (cosine * (1 + cosine) ** 2)
        return 2 * gx / (1 + cosine) + bend * hx, 2 * gy / (1 + cosine) + bend * hy

    def normal(self, x_mm, y_mm) -> np.ndarray:
        """(..., 3) unit normal out of the wood."""
        sx, sy = self.slope(x_mm, y_mm)
        normal = np.stack([-sx, -sy, np.ones_like(sx)], axis=-1)
        return normal / np.linalg.norm(normal, axis=-1, keepdims=True)

    def points_mm(self, x_mm, y_mm) -> np.ndarray:
        """(..., 3) places on the base. [mm]"""
        x, y = np.broadcast_arrays(np.asarray(x_mm, float), np.asarray(y_mm, float))
        return np.stack([x, y, self.height_mm(x, y)], axis=-1)

    def turned(self, turn_rad: float) -> Base:
        """The same surface after turning the axes by this angle about z."""
        c, s = np.cos(turn_rad), np.sin(turn_rad)
        turn = np.array([[c, -s], [s, c]])
        shape = np.array([[self.along_x, self.twist], [self.twist, self.along_y]])
        shape = turn.T @ shape @ turn
        return Base(along_x=shape[0, 0], along_y=shape[1, 1], twist=shape[0, 1])

    def _sag(self, x_mm, y_mm) -> tuple[np.ndarray, np.ndarray]:
        """x'Kx and the cosine of the angle from the crown."""
        x, y = np.asarray(x_mm, float), np.asarray(y_mm, float)
        gx, gy = self.along_x * x + self.twist * y, self.twist * x + self.along_y * y
        return x * gx + y * gy, np.sqrt(np.maximum(1 - gx**2 - gy**2, _LEAST_COSINE2))
