"""Arrays, directions and smooth random fields that everything here is drawn with."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[Any]
Rng = np.random.Generator

_COARSER = 4
"""Coarse octaves of noise are drawn so many times smaller and enlarged."""


def unit(vectors: ArrayLike) -> Array:
    """Vectors (..., 3) brought to length one."""
    v = np.asarray(vectors, float)
    return v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-12)


def smooth_step(low: float, high: float, x: Any) -> Array:
    """0 at `low`, 1 at `high`, level at both; `low` may be the greater one."""
    t = np.clip((x - low) / (high - low), 0, 1)
    return np.asarray(t * t * (3 - 2 * t))


def turn_about_axis(angle_rad: float) -> Array:
    """Matrix (4, 4) of a turn about the gear's axis, counter-clockwise seen from the teeth."""
    turn = np.eye(4)
    turn[:2, :2] = [
        [np.cos(angle_rad), -np.sin(angle_rad)],
        [np.sin(angle_rad), np.cos(angle_rad)],
    ]
    return turn


def tooth_turn(tooth: int, teeth: int) -> Array:
    """Matrix (4, 4) that brings tooth 0 of a gear to where tooth number `tooth` stands."""
    return turn_about_axis(2 * np.pi * tooth / teeth)


def frame(origin: ArrayLike, z: ArrayLike, x: ArrayLike | None = None) -> Array:
    """Matrix (4, 4) of a frame at `origin` whose z is `z` and whose x is as near `x` as may be."""
    axis = unit(z)
    wish = np.asarray([0.123, 0.9, 0.3] if x is None else x)
    across = unit(wish - np.dot(wish, axis) * axis)
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2] = across, np.cross(axis, across), axis
    matrix[:3, 3] = origin
    return matrix


def one_noise(rng: Rng, height: int, width: int, across: float, down: float) -> Array:
    """Smooth noise (height, width), about N(0, 0.5), with so many cells across and down."""
    columns = int(np.clip(np.ceil(across) + 3, 4, width + 3))
    rows = int(np.clip(np.ceil(down) + 3, 4, height + 3))
    cells = rng.standard_normal((rows, columns), dtype=np.float32)
    wide = max(width, int(width * columns / max(across, 1e-3)))
    high = max(height, int(height * rows / max(down, 1e-3)))
    wide, high = min(wide, 3 * width + 8), min(high, 3 * height + 8)
    big = cv2.resize(cells, (wide, high), interpolation=cv2.INTER_CUBIC)
    left = rng.integers(0, wide - width + 1)
    top = rng.integers(0, high - height + 1)
    return np.asarray(big[top : top + height, left : left + width] * np.float32(0.6))


def noise(
    rng: Rng,
    height: int,
    width: int,
    across: float,
    down: float,
    octaves: int = 4,
    gain: float = 0.55,
) -> Array:
    """Noise (height, width) of several octaves, the coarsest with so many cells across and down."""
    low_height, low_width = max(height // _COARSER, 1), max(width // _COARSER, 1)
    small: Array | None = None
    full: Array | None = None
    weight, total = 1.0, 0.0
    for _ in range(octaves):
        if across < low_width / 3 and down < low_height / 3:
            part = one_noise(rng, low_height, low_width, across, down) * np.float32(weight)
            small = part if small is None else small + part
        else:
            part = one_noise(rng, height, width, across, down) * np.float32(weight)
            full = part if full is None else full + part
        total += weight * weight
        weight, across, down = weight * gain, across * 2.03, down * 2.03
        if across > width and down > height:
            break
    if small is not None:
        large = cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)
        full = large if full is None else large + full
    assert full is not None
    return full * np.float32(1 / np.sqrt(total))
