"""Reduced copies of photos: a cache that may be deleted at any time."""

from __future__ import annotations

import io
from pathlib import Path

import cv2
import numpy as np
import platformdirs
from numpy.typing import NDArray
from PIL import Image

from pattern.archive.durable import write_durably
from pattern.archive.location import Location
from pattern.archive.photos import PhotoStore
from pattern.photo.decode import decode_photo
from pattern.photo.orientation import upright

_STEPS = (
    (8, cv2.IMREAD_REDUCED_COLOR_8),
    (4, cv2.IMREAD_REDUCED_COLOR_4),
    (2, cv2.IMREAD_REDUCED_COLOR_2),
)


def thumbnail_folder(location: Location) -> Path:
    """Beside the archive; of one on a server, with this user's other caches."""
    if location.folder is not None:
        return location.folder / "thumbnails"
    return Path(platformdirs.user_cache_dir("contact-pattern", appauthor=False)) / "thumbnails"


def thumbnail(store: PhotoStore, folder: Path | None, sha256: str, long_side_px: int) -> bytes:
    """A JPEG of at most `long_side_px`, upright, without metadata, made at its first use.

    Kept in `folder` if there is one. Raises ArchiveDamaged, UnreadablePhoto.
    """
    kept = folder / f"{sha256}-{long_side_px}.jpg" if folder else None
    if kept and kept.is_file():
        return kept.read_bytes()
    made = _reduced(store.get(sha256), sha256, long_side_px)
    if kept:
        _keep(kept, made)
    return made


def _keep(path: Path, data: bytes) -> None:
    try:
        write_durably(path, data)
    except OSError:
        return  # a full or read-only disk costs the cache, not the picture


def _reduced(data: bytes, sha256: str, long_side_px: int) -> bytes:
    pixels = _quickly(data, long_side_px)
    if pixels is None:
        pixels = decode_photo(data, sha256[:12]).pixels
    share = long_side_px / max(pixels.shape[:2])
    if share < 1:
        size = (round(pixels.shape[1] * share), round(pixels.shape[0] * share))
        pixels = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
    quality = [cv2.IMWRITE_JPEG_QUALITY, 88]
    return cv2.imencode(".jpg", cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR), quality)[1].tobytes()


def _quickly(data: bytes, long_side_px: int) -> NDArray[np.uint8] | None:
    """A JPEG decoded straight at an eighth, a quarter or half of its size; None for all else."""
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG",)) as image:
            long_side, orientation = max(image.size), image.getexif().get(0x0112, 1)
    except (OSError, ValueError, SyntaxError, Warning, Image.DecompressionBombError):
        return None
    fits = [flag for step, flag in _STEPS if long_side / step >= long_side_px]
    if not fits:
        return None
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), fits[0] | cv2.IMREAD_IGNORE_ORIENTATION)
    if pixels is None:
        return None
    return upright(np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2RGB), np.uint8), orientation)
