"""The camera: a pinhole with its directions in the gear's frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pattern.synthetic.second.arrays import Array, unit


@dataclass(frozen=True, eq=False)
class Camera:
    """A pinhole; its directions (3,) are unit vectors in the gear's frame."""

    origin: Array
    forward: Array
    right: Array
    up: Array
    width_px: int
    height_px: int
    focal_px: float

    def pixels(self, points: ArrayLike) -> Array:
        """Pixels (..., 2), x right and y down, of points (..., 3)."""
        q = np.asarray(points) - self.origin
        depth = q @ self.forward
        x = self.width_px / 2 + self.focal_px * (q @ self.right) / depth
        y = self.height_px / 2 - self.focal_px * (q @ self.up) / depth
        return np.stack([x, y], -1)


def looking(
    origin: Array, target: Array, up: Array, size_px: tuple[int, int], focal_px: float
) -> Camera:
    """A camera at `origin` with `target` in the middle of the picture."""
    at = np.asarray(origin, float)
    forward = unit(np.asarray(target) - at)
    right = unit(np.cross(forward, up))
    return Camera(at, forward, right, np.cross(right, forward), *size_px, focal_px)
