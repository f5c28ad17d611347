"""Seeded noise fields for paint, steel and light. All are (rows, columns) float32."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float32]


def smooth_noise(
    shape: tuple[int, int], cells: tuple[float, float], rng: np.random.Generator
) -> Field:
    """Cubic value noise, mean 0 and about unit deviation, with `cells` bumps down and across."""
    rows, columns = (max(2, round(c)) for c in cells)
    coarse = rng.standard_normal((rows + 3, columns + 3)).astype(np.float32)
    field = cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(field * 1.25, np.float32)


def layered_noise(
    shape: tuple[int, int], cells: tuple[float, float], rng: np.random.Generator, layers: int = 4
) -> Field:
    """Octaves of smooth noise, each twice as fine and half as strong."""
    total = np.zeros(shape, np.float32)
    for octave in range(layers):
        scale = 2.0**octave
        size = (min(cells[0] * scale, shape[0]), min(cells[1] * scale, shape[1]))
        total += smooth_noise(shape, size, rng) / np.float32(scale)
    return np.asarray(total / 1.15, np.float32)


def streaks(
    shape: tuple[int, int], count: int, waver: float, lean: float, rng: np.random.Generator
) -> Field:
    """Bristle streaks that run down the rows: `count` across, bent by `waver` (share of the width),
    leaning by `lean` columns a row. About unit deviation."""
    line = np.zeros((1, 3 * shape[1]), np.float32)
    for scale, weight in ((1.0, 1.0), (0.4, 0.7), (0.12, 0.6)):
        coarse = rng.standard_normal((1, max(4, int(3 * count * scale)))).astype(np.float32)
        line += weight * cv2.resize(coarse, (line.shape[1], 1), interpolation=cv2.INTER_CUBIC)
    bend = smooth_noise(shape, (2.0, 3.0), rng) * np.float32(waver * shape[1])
    column = np.arange(shape[1], dtype=np.float32)[None, :] + np.float32(shape[1])
    x = column + bend + np.float32(lean) * np.arange(shape[0], dtype=np.float32)[:, None]
    x = np.clip(x, 0, line.shape[1] - 1).astype(np.float32)
    field = cv2.remap(line, x, np.zeros_like(x), cv2.INTER_LINEAR)
    fade = 1.0 + 0.35 * smooth_noise(shape, (4.0, count / 3.0), rng)
    return np.asarray(field * fade / 1.1, np.float32)


def ramp(value: Field, low: float, high: float) -> Field:
    """Smooth step from 0 at `low` to 1 at `high`; turns round where low > high."""
    share = np.clip((value - low) / (high - low), 0.0, 1.0)
    return np.asarray(share * share * (3.0 - 2.0 * share), np.float32)
