"""Reduced copies of photos: a cache beside the archive that may be deleted at any time."""

from __future__ import annotations

import io
import warnings
from pathlib import Path

from PIL import Image, ImageOps

from pattern.archive.durable import write_durably
from pattern.archive.photos import PhotoStore
from pattern.photo.decode import decode_photo


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
    image = _quickly(data, long_side_px) or Image.fromarray(decode_photo(data, sha256[:12]).pixels)
    image.thumbnail((long_side_px, long_side_px), Image.Resampling.BOX)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=85)
    return out.getvalue()


def _quickly(data: bytes, long_side_px: int) -> Image.Image | None:
    """A JPEG decoded at an eighth, quarter or half of its size; None for all else."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # a bomb of pixels is left to the full decoder's cap
            image = Image.open(io.BytesIO(data), formats=("JPEG",))
            image.draft("RGB", (long_side_px, long_side_px))
            upright = ImageOps.exif_transpose(image).convert("RGB")
    except (OSError, ValueError, SyntaxError, Warning, Image.DecompressionBombError):
        return None
    upright.info.clear()  # nothing the camera wrote goes along
    return upright
