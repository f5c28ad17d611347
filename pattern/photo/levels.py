"""A photo at a half, a quarter, an eighth of its size, each averaged once for all that look at it."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cached_property
from weakref import WeakKeyDictionary

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.records import Photo

_KEPT: WeakKeyDictionary[Photo, dict[int, NDArray[np.uint8]]] = WeakKeyDictionary()


def reduced(photo: Photo, factor: int) -> NDArray[np.uint8]:
    """The photo's pixels with every `factor` x `factor` of them averaged into one, kept with the photo.

    `factor` is a power of two, else ValueError is raised. What is left over at the right and lower edge is dropped; a pixel
    (x, y) of the result has its centre at ((x + 0.5) factor - 0.5, (y + 0.5) factor - 0.5) of the photo.
    """
    if factor < 1 or factor & (factor - 1):
        raise ValueError(f"{factor} is no power of two")
    if factor == 1:
        return photo.pixels
    levels = _KEPT.setdefault(photo, {})
    if factor not in levels:
        finer = reduced(photo, factor // 2)
        rows, columns = finer.shape[0] // 2, finer.shape[1] // 2
        whole = finer[: 2 * rows, : 2 * columns]
        level = cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA)
        levels[factor] = np.asarray(level, np.uint8)
    return levels[factor]


def factor_for(photo: Photo, cell_px: float) -> int:
    """The greatest power of two not over a cell's size, of those that leave at least four pixels each way."""
    most = min(photo.width_px, photo.height_px) // 4
    nearest = math.floor(math.log2(max(cell_px, 1.0)))
    return int(2 ** max(0, min(nearest, most.bit_length() - 1)))


class HalfDecoded(Photo):
    """A photo decoded at half its size, and in full only when something asks for all of its `pixels`.

    Most large photos are read from the half: their teeth have more pixels there than the reader's grids
    have cells. It decodes in less than half the time and a quarter of the memory.
    """

    _whole: Callable[[], NDArray[np.uint8]]
    _size_px: tuple[int, int]

    @classmethod
    def of(
        cls, photo: Photo, whole: Callable[[], NDArray[np.uint8]], size_px: tuple[int, int]
    ) -> HalfDecoded:
        """From a `photo` with the pixels of the half; `whole` decodes all, (height, width, 3) upright, of
        `size_px`, (width, height), both even."""
        half = cls.__new__(cls)
        vars(half).update(vars(photo), _whole=whole, _size_px=size_px)
        _KEPT[half] = {2: vars(half).pop("pixels")}
        return half

    @cached_property
    def pixels(self) -> NDArray[np.uint8]:
        """All pixels, decoded when first asked for and then kept."""
        return self._whole()

    @property
    def width_px(self) -> int:
        """Width after orientation."""
        return self._size_px[0] if "_size_px" in vars(self) else super().width_px

    @property
    def height_px(self) -> int:
        """Height after orientation."""
        return self._size_px[1] if "_size_px" in vars(self) else super().height_px
