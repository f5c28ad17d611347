"""Photos for the record: the painted teeth large, upright, without what the camera wrote beside them."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from pattern.errors import PatternError
from pattern.jobs import FiledPhoto
from pattern.photo.decode import decode_photo
from pattern.photo.levels import factor_for, reduced
from pattern.records import Photo, Reading
from pattern.report.overlay import overlay_image

Original = Callable[[str], bytes]
"""Gives a photo's bytes, original or reduced, by its SHA-256."""

_ROOM = 0.25
_SHAPE = 4 / 3

Box = tuple[int, int, int, int]


def picture(photo: FiledPhoto, original: Original, long_side_px: int = 900) -> bytes | None:
    """A JPEG of the photo's painted teeth with its best reading drawn on; None if it cannot be shown.

    The whole photo is shown where no teeth were read.
    """
    try:
        decoded = decode_photo(original(photo.sha256), photo.name)
    except PatternError:
        return None
    reading = photo.best
    if reading.size_px:
        reading = scaled(reading, decoded.width_px / reading.size_px[0])
    left, top, right, bottom = _around_teeth(reading, decoded.width_px, decoded.height_px)
    factor = factor_for(decoded, max(right - left, bottom - top) / long_side_px)
    left, top, right, bottom = (edge // factor for edge in (left, top, right, bottom))
    part = reduced(decoded, factor)[top:bottom, left:right]
    cut = replace(decoded, pixels=np.ascontiguousarray(part))
    share = min(1.0, long_side_px / max(cut.width_px, cut.height_px))
    small = _reduced(cut, share)
    corner = (float(left * factor), float(top * factor))
    shown = scaled(reading, small.width_px / (cut.width_px * factor), corner)
    return _jpeg(overlay_image(small, shown, long_side=long_side_px))


def _around_teeth(reading: Reading, width_px: int, height_px: int) -> Box:
    """The teeth with room about them, in the shape of a photo, inside the picture."""
    if not reading.teeth:
        return 0, 0, width_px, height_px
    corners = np.concatenate([tooth.outline for tooth in reading.teeth])
    low, high = corners.min(axis=0), corners.max(axis=0)
    wide, tall = (high - low) * (1 + 2 * _ROOM)
    wide, tall = max(wide, tall * _SHAPE), max(tall, wide / _SHAPE)
    middle = (low + high) / 2
    left, right = _slide(middle[0], wide, width_px)
    top, bottom = _slide(middle[1], tall, height_px)
    return left, top, right, bottom


def _slide(middle: float, size: float, limit: int) -> tuple[int, int]:
    size = min(size, limit)
    start = min(max(middle - size / 2, 0), limit - size)
    return int(start), int(np.ceil(start + size))


def _reduced(photo: Photo, share: float) -> Photo:
    if share >= 1:
        return photo
    size = (round(photo.width_px * share), round(photo.height_px * share))
    pixels = np.asarray(Image.fromarray(photo.pixels).resize(size, Image.Resampling.BOX))
    return replace(photo, pixels=pixels)


def scaled(reading: Reading, share: float, corner_px: tuple[float, float] = (0.0, 0.0)) -> Reading:
    """The reading as if its photo had been cut at `corner_px`, then reduced by `share`."""
    corner = np.asarray(corner_px, dtype=float)

    def moved(points: NDArray[np.float64]) -> NDArray[np.float64]:
        return (points - corner) * share if len(points) else points

    teeth = tuple(
        replace(tooth, outline=moved(tooth.outline), tip_edge=moved(tooth.tip_edge),
                root_edge=moved(tooth.root_edge), contact=moved(tooth.contact))
        for tooth in reading.teeth
    )  # fmt: skip
    size = reading.size_px and (
        round(reading.size_px[0] * share),
        round(reading.size_px[1] * share),
    )
    return replace(reading, teeth=teeth, size_px=size or None)


def _jpeg(image: Image.Image, quality: int = 82) -> bytes:
    out = io.BytesIO()
    image.convert("RGB").save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()
