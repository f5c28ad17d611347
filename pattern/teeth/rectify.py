"""Lay a tooth side out flat: rows from tip to root, columns from toe to heel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.photo.levels import factor_for, reduced
from pattern.records import Photo
from pattern.teeth.fields import PixelFields
from pattern.teeth.surface import ToothSurface

ROWS, COLUMNS = 60, 180
"""Cells of a laid-out tooth; about the finest that a tooth of 200 px can fill."""
_TOGETHER: Any = None
"""The second map of `cv2.remap`, which its stubs ask for: x and y come in the first."""


@dataclass(frozen=True, eq=False)
class FlatTooth:
    """A laid-out tooth side: (rows, columns, 3) float32 sRGB 0 to 255 and where the photo has it.

    `lengthwise` (columns,) and `profile` (rows,) are the cells' centres. `inside` is False where the
    cell lies outside the picture. `scale` is photo pixels per cell (lengthwise, profile).
    """

    rgb: NDArray[np.float32]
    inside: NDArray[np.bool_]
    lengthwise: NDArray[np.float64]
    profile: NDArray[np.float64]
    scale: tuple[float, float]


def cell_centres(count: int, low: float = 0.0, high: float = 1.0) -> NDArray[np.float64]:
    """Centres of `count` equal cells from `low` to `high`, (count,)."""
    return low + (np.arange(count) + 0.5) / count * (high - low)


def lay_flat(
    photo: Photo,
    surface: ToothSurface,
    lengthwise: NDArray[np.float64] | None = None,
    profile: NDArray[np.float64] | None = None,
) -> FlatTooth:
    """Sample a photo on a tooth side, by default on all of it.

    `lengthwise` (columns,) and `profile` (rows,) are evenly spaced cell centres; profile falls from
    tip to root. Where a cell covers several pixels the photo averaged down to about its size is
    sampled, so that grain and bristle marks are averaged and not picked at random.
    """
    lengthwise = cell_centres(COLUMNS) if lengthwise is None else lengthwise
    profile = cell_centres(ROWS)[::-1] if profile is None else profile
    xy = surface.to_photo(lengthwise[None, :], profile[:, None])
    inside = (
        (xy[..., 0] >= 0)
        & (xy[..., 0] <= photo.width_px - 1)
        & (xy[..., 1] >= 0)
        & (xy[..., 1] <= photo.height_px - 1)
    )
    scale = (
        surface.length_px * abs(float(lengthwise[1] - lengthwise[0])),
        surface.depth_px * abs(float(profile[1] - profile[0])),
    )
    return FlatTooth(picked(photo, xy, max(scale)), inside, lengthwise, profile, scale)


def picked(photo: Photo, xy: NDArray[np.float64], cell_px: float) -> NDArray[np.float32]:
    """A photo's colours (rows, columns, 3) at pixels (rows, columns, 2), averaged over about a cell."""
    factor = factor_for(photo, cell_px)
    pixels = reduced(photo, factor)
    local = (xy + 0.5) / factor - 0.5
    limits = [pixels.shape[1], pixels.shape[0]]
    across, down = local[..., 0], local[..., 1]  # each by itself: along the last axis numpy is slow
    low = np.clip(np.floor([across.min(), down.min()]) - 1, 0, np.subtract(limits, 2)).astype(int)
    high = np.clip(np.ceil([across.max(), down.max()]) + 2, low + 2, limits).astype(int)
    part = pixels[low[1] : high[1], low[0] : high[0]]
    seen_at = (local - low).astype(np.float32)
    rgb = cv2.remap(part, seen_at, _TOGETHER, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(rgb, np.float32)


def sampled(
    values: NDArray[np.float32], fields: PixelFields, xy: NDArray[np.float64]
) -> NDArray[np.float64]:
    """A map of the network at photo pixels (..., 2); 0 outside the map."""
    if not xy.size:
        return np.zeros(xy.shape[:-1])
    cells = fields.grid_xy(xy.reshape(-1, 2)).reshape(-1, 1, 2).astype(np.float32)
    found = cv2.remap(values, cells, _TOGETHER, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return np.asarray(found, dtype=np.float64).reshape(xy.shape[:-1])
