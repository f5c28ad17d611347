"""A photo at a half, a quarter, an eighth of its size, each averaged once for all that look at it."""

from __future__ import annotations

import math
from weakref import WeakKeyDictionary

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.records import Photo

_KEPT: WeakKeyDictionary[Photo, list[NDArray[np.uint8]]] = WeakKeyDictionary()


def reduced(photo: Photo, factor: int) -> NDArray[np.uint8]:
    """The photo's pixels with every `factor` x `factor` of them averaged into one, kept with the photo.

    `factor` is a power of two. What is left over at the right and lower edge is dropped; a pixel
    (x, y) of the result has its centre at ((x + 0.5) factor - 0.5, (y + 0.5) factor - 0.5) of the photo.
    """
    levels = _KEPT.setdefault(photo, [photo.pixels])
    for _ in range(len(levels), factor.bit_length()):
        finer = levels[-1]
        rows, columns = finer.shape[0] // 2, finer.shape[1] // 2
        whole = finer[: 2 * rows, : 2 * columns]
        levels.append(
            np.asarray(cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)
        )
    return levels[factor.bit_length() - 1]


def factor_for(photo: Photo, cell_px: float) -> int:
    """The power of two nearest to a cell's size, of those that leave at least four pixels each way."""
    most = min(photo.width_px, photo.height_px) // 4
    nearest = math.floor(math.log2(max(cell_px, 1.0)))
    return int(2 ** max(0, min(nearest, most.bit_length() - 1)))
