"""Open a photo file: JPEG, PNG, WebP, TIFF or HEIC, upright, with its hash and a cap on its size."""

from __future__ import annotations

import hashlib
import io
import re
import warnings
from functools import partial
from pathlib import Path
from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from pattern.errors import UnreadablePhoto
from pattern.photo.complaints import complaints
from pattern.photo.levels import HalfDecoded
from pattern.photo.orientation import upright
from pattern.records import Photo
from pattern.settings import Settings

FORMATS = ("JPEG", "MPO", "PNG", "WEBP", "TIFF", "HEIF")
_ORIENTATION_TAG = 0x0112
_AGAIN = "Copy the file from the phone again, or take the photo again"
_SUPPORTED = "Use a JPEG, PNG, WebP, TIFF or HEIC file"
_BAND_ROWS = 256
"""Rows that are converted at a time, so that a large photo needs its pixels once and not four times."""
_JPEG = ("JPEG", "MPO")
_LARGE_PX = 8_000_000
"""A JPEG of so many pixels is decoded at half its size first."""
_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")


def load_photo(path: Path, settings: Settings | None = None) -> Photo:
    """Open a photo file. Raises UnreadablePhoto, naming the file and what to do."""
    if path.is_dir():
        raise UnreadablePhoto("is a folder", subject=str(path), remedy="Name the photo files in it")
    try:
        data = path.read_bytes()
    except FileNotFoundError as fault:
        raise UnreadablePhoto(
            "does not exist", subject=str(path), remedy="Check the name"
        ) from fault
    except OSError as fault:
        raise UnreadablePhoto(
            f"cannot be opened ({fault.strerror})",
            subject=str(path),
            remedy="Check the file's permissions",
        ) from fault
    return decode_photo(data, path.name, settings)


def decode_photo(data: bytes, name: str, settings: Settings | None = None) -> Photo:
    """Decode a photo from its bytes; `name` is what messages call it. Raises UnreadablePhoto.

    The size is read from the header and checked before any pixel is decoded.
    """
    settings = settings or Settings()
    if not data:
        raise UnreadablePhoto("is empty (0 bytes)", subject=name, remedy=_AGAIN)
    kind, orientation, size = _header(data, name, settings)
    halve = kind in _JPEG and _is_large(*size)
    pixels = _pixels(data, name, kind, orientation, halve)
    if min(pixels.shape[:2]) < 16:
        raise UnreadablePhoto(
            f"is only {pixels.shape[1]} x {pixels.shape[0]} pixels",
            subject=name,
            remedy="Send the photo itself, not its thumbnail",
        )
    photo = Photo(name, hashlib.sha256(data).hexdigest(), pixels, orientation)
    if not halve:
        return photo
    whole = partial(_pixels, data, name, kind, orientation, False)
    return HalfDecoded.of(photo, whole, (2 * photo.width_px, 2 * photo.height_px))


def _pixels(data: bytes, name: str, kind: str, orientation: int, halve: bool) -> NDArray[np.uint8]:
    """All pixels or a JPEG's half, upright. Raises UnreadablePhoto."""
    try:
        if kind in _JPEG:
            return upright(_decode_jpeg(data, name, halve), orientation)
        return upright(*_decode_other(data, kind))
    except UnreadablePhoto:
        raise
    except (OSError, ValueError, SyntaxError, EOFError, MemoryError, cv2.error) as fault:
        raise UnreadablePhoto(
            f"is damaged or cut short ({_first_line(fault)})", subject=name, remedy=_AGAIN
        ) from fault


def _header(data: bytes, name: str, settings: Settings) -> tuple[str, int, tuple[int, int]]:
    """Format, EXIF orientation and stored size; raises for what is no photo and for a bomb of pixels."""
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        import pillow_heif

        pillow_heif.register_heif_opener()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Pillow's own size warning; the cap here is lower
            with Image.open(io.BytesIO(data)) as image:
                kind, (width, height) = str(image.format), image.size
                _check_size(width, height, name, settings)
                return _check_format(kind, name), _orientation(image, kind), (width, height)
    except Image.DecompressionBombError as fault:
        raise UnreadablePhoto(
            f"has more than {settings.max_megapixels:g} megapixels",
            subject=name,
            remedy=_too_large(settings),
        ) from fault
    except UnreadablePhoto:
        raise
    except (OSError, ValueError, SyntaxError, EOFError, TypeError, KeyError) as fault:
        raise UnreadablePhoto("is no image", subject=name, remedy=_SUPPORTED) from fault


def _is_large(width: int, height: int) -> bool:
    """Whether half the size is worth decoding first; halves of odd sides would not lie evenly."""
    return (
        width * height >= _LARGE_PX and min(width, height) >= 64 and not (width % 2 or height % 2)
    )


def _check_size(width: int, height: int, name: str, settings: Settings) -> None:
    if width * height > settings.max_megapixels * 1e6:
        raise UnreadablePhoto(
            f"has {width * height / 1e6:.0f} megapixels, more than the cap of "
            f"{settings.max_megapixels:g}",
            subject=name,
            remedy=_too_large(settings),
        )


def _too_large(settings: Settings) -> str:
    return (
        f"Reduce the photo below {settings.max_megapixels:g} megapixels, or raise "
        "max_megapixels in the settings"
    )


def _check_format(kind: str, name: str) -> str:
    if kind not in FORMATS:
        raise UnreadablePhoto(f"is a {kind} image", subject=name, remedy=_SUPPORTED)
    return kind


def _orientation(image: Image.Image, kind: str) -> int:
    if kind == "HEIF":
        return 1  # the decoder has applied the file's own rotation box
    try:
        value = image.getexif().get(_ORIENTATION_TAG, 1)
    except (OSError, ValueError, SyntaxError, TypeError, KeyError):
        return 1  # a damaged tag block does not make the pixels unreadable
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _decode_jpeg(data: bytes, name: str, halve: bool = False) -> NDArray[np.uint8]:
    """Decode with OpenCV, which fills a truncated file with grey instead of failing.

    At half the size the decoder reads every coefficient all the same, and damage shows as well.
    """
    if not _jpeg_is_whole(data):
        raise UnreadablePhoto("is cut short", subject=name, remedy=_AGAIN)
    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    if halve:
        flags |= cv2.IMREAD_REDUCED_GRAYSCALE_2  # the bit that halves; the colours stay as asked
    with complaints() as said:
        pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if pixels is None:
        raise ValueError("no pixels could be decoded")
    for line in said:
        if line.startswith("Corrupt JPEG data") and not _is_padding(line, data):
            raise ValueError(line)
    return cast(NDArray[np.uint8], pixels)


def _is_padding(complaint: str, data: bytes) -> bool:
    """True for bytes of one value before the end marker, which some cameras write; no damage."""
    count = re.search(r": (\d+) extraneous bytes before marker 0xd9", complaint)
    end = data.rfind(b"\xff\xd9")
    return count is not None and len(set(data[max(0, end - int(count[1])) : end])) == 1


def _jpeg_is_whole(data: bytes) -> bool:
    """True if an end-of-image marker follows the first scan (ISO/IEC 10918-1 B.1.1.3, B.2.1)."""
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            return False
        marker = data[at + 1]
        if marker == 0xFF or marker == 0x01 or 0xD0 <= marker <= 0xD8:
            at += 1 if marker == 0xFF else 2
            continue
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        if marker == 0xDA:
            return data.rfind(b"\xff\xd9", at + 2 + length) >= 0
        at += 2 + length
    return False


def _decode_other(data: bytes, kind: str) -> tuple[NDArray[np.uint8], int]:
    """Pixels and the orientation still to apply: Pillow turns a TIFF upright while it loads."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with Image.open(io.BytesIO(data)) as image, complaints():
            if kind == "WEBP" and image.mode == "RGB" and getattr(image, "n_frames", 1) == 1:
                return _decode_webp(data), _orientation(image, kind)
            image.load()
            to_apply = _orientation(image, kind)
            if image.mode.startswith(("I", "F")):
                return _from_deep(np.asarray(image)), to_apply
            return _flat(image), to_apply


def _decode_webp(data: bytes) -> NDArray[np.uint8]:
    """A plain WebP by OpenCV, in a third of the memory that Pillow's animation decoder takes."""
    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if pixels is None:
        raise ValueError("no pixels could be decoded")
    return cast(NDArray[np.uint8], pixels)


def _flat(image: Image.Image) -> NDArray[np.uint8]:
    """RGB on white where the picture is transparent."""
    if "A" not in image.getbands() and "transparency" not in image.info:
        return np.array(image if image.mode == "RGB" else image.convert("RGB"))
    width, height = image.size
    flat = np.empty((height, width, 3), np.uint8)
    for top in range(0, height, _BAND_ROWS):
        layer = image.crop((0, top, width, min(top + _BAND_ROWS, height))).convert("RGBA")
        ground = Image.new("RGBA", layer.size, (255, 255, 255, 255))
        flat[top : top + _BAND_ROWS] = np.asarray(
            Image.alpha_composite(ground, layer).convert("RGB")
        )
    return flat


def _from_deep(values: NDArray[np.generic]) -> NDArray[np.uint8]:
    """One channel of 16 bit or float to 8 bit RGB; a float picture is stretched to its range."""
    low, high = 0.0, 65535.0
    if np.issubdtype(values.dtype, np.floating):
        low, high = float(np.nanmin(values)), float(np.nanmax(values))
    flat = np.empty((*values.shape, 3), np.uint8)
    for top in range(0, len(values), _BAND_ROWS):
        grey = values[top : top + _BAND_ROWS].astype(np.float64)
        share = (grey - low) / max(high - low, 1e-12)
        flat[top : top + _BAND_ROWS] = np.clip(255.0 * share, 0.0, 255.0)[..., None]
    return flat


def _first_line(fault: BaseException) -> str:
    return (str(fault).splitlines() or [type(fault).__name__])[0][:80]
