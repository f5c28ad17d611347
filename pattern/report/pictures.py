"""Photos for the record: reduced, upright, without anything the camera wrote beside the pixels."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from PIL import Image

from pattern.errors import PatternError
from pattern.jobs import FiledPhoto
from pattern.photo.decode import decode_photo
from pattern.records import Photo, Reading
from pattern.report.overlay import overlay_image

Original = Callable[[str], bytes]
"""Gives a photo's bytes, original or reduced, by its SHA-256."""


def picture(photo: FiledPhoto, original: Original, long_side_px: int = 900) -> bytes | None:
    """A JPEG of the photo with its best reading drawn on, or None if it cannot be shown."""
    try:
        decoded = decode_photo(original(photo.sha256), photo.name)
    except PatternError:
        return None
    small = _reduced(decoded, long_side_px)
    reading = photo.best
    full = reading.size_px or (decoded.width_px, decoded.height_px)
    shown = scaled(reading, small.width_px / full[0])
    return jpeg(overlay_image(small, shown, long_side=long_side_px))


def _reduced(photo: Photo, long_side_px: int) -> Photo:
    share = long_side_px / max(photo.width_px, photo.height_px)
    if share >= 1:
        return photo
    size = (round(photo.width_px * share), round(photo.height_px * share))
    pixels = np.asarray(Image.fromarray(photo.pixels).resize(size, Image.Resampling.BOX))
    return replace(photo, pixels=pixels)


def scaled(reading: Reading, share: float) -> Reading:
    """The reading as if its photo had been reduced by `share`."""
    teeth = tuple(
        replace(tooth, outline=tooth.outline * share, tip_edge=tooth.tip_edge * share,
                root_edge=tooth.root_edge * share, contact=tooth.contact * share)
        for tooth in reading.teeth
    )  # fmt: skip
    size = reading.size_px and (
        round(reading.size_px[0] * share),
        round(reading.size_px[1] * share),
    )
    return replace(reading, teeth=teeth, size_px=size or None)


def jpeg(image: Image.Image, quality: int = 82) -> bytes:
    """Encode without metadata."""
    out = io.BytesIO()
    image.convert("RGB").save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()
