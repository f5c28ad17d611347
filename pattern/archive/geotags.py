"""Where a photo was taken, blanked in place: EXIF's GPS directory, XMP and IPTC place names, films.

The file keeps its length and every pixel; only the bytes that tell a place become zeros or blanks.
Covers JPEG (also several pictures in one file), TIFF, PNG, WebP and HEIC, whose EXIF is the same
TIFF structure (Exif 2.3, section 4.6.6; GPS pointer is tag 0x8825).
"""

from __future__ import annotations

import io
import re
import struct
import zlib
from collections.abc import Iterator

from PIL import Image

from pattern.errors import InvalidInput

_GPS_POINTER = 0x8825
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_PLACE = (
    rb"(?:exif:GPS\w+|photoshop:(?:City|State|Country)|Iptc4xmpCore:(?:Location|CountryCode)"
    rb"|Iptc4xmpExt:\w*Location\w*)"
)
_XMP_VALUE = re.compile(rb"\b" + _PLACE + rb"\s*=\s*(?:\"[^\"]*\"|'[^']*')")
_XMP_ELEMENT = re.compile(rb"<(" + _PLACE + rb")\b[^>]*(?:/>|>.*?</\1>)", re.DOTALL)
_IPTC_PLACES = (26, 27, 90, 92, 95, 100, 101)  # IPTC IIM 4.2, record 2: content location, city ...
_FILM_PLACE = re.compile(rb"[+-]\d{2}\.\d{3,}[+-]\d{3}\.\d{3,}(?:[+-][\d.]+)?/")
"""ISO 6709 as phones write it into the short film that some append to a photo."""
_PNG = b"\x89PNG\r\n\x1a\n"


def without_location(data: bytes, name: str) -> bytes:
    """The photo with its place blanked; the very same bytes if it tells none.

    Raises InvalidInput if a place is left that cannot be blanked.
    """
    blanked = bytearray(data)
    for start in _tiff_starts(data):
        _blank_gps(blanked, start)
    for pattern in (_XMP_VALUE, _XMP_ELEMENT, _FILM_PLACE):
        for found in pattern.finditer(bytes(blanked)):
            blanked[found.start() : found.end()] = b" " * (found.end() - found.start())
    _blank_iptc(blanked)
    if blanked != data and data.startswith(_PNG):
        _renew_png_sums(blanked)
    if _tells_place(bytes(blanked)):
        raise InvalidInput(
            "tells where it was taken in a way that cannot be taken out",
            subject=name,
            remedy="Leave the photo out, or export with its location",
        )
    return bytes(blanked)


def _tiff_starts(data: bytes) -> Iterator[int]:
    """Where EXIF blocks begin, each a TIFF header."""
    if data[:4] in (b"II*\0", b"MM\0*"):
        yield 0
    for found in re.finditer(rb"Exif\0\0(?=II\*\0|MM\0\*)", data):
        yield found.end()
    if data[4:8] == b"ftyp":  # HEIC may leave the name out before the block
        for found in re.finditer(rb"II\*\0|MM\0\*", data):
            yield found.start()
    for found in re.finditer(rb"(?:eXIf|EXIF....)(?=II\*\0|MM\0\*)", data, re.DOTALL):
        yield found.end()


def _blank_gps(data: bytearray, start: int) -> None:
    order = "<" if data[start : start + 2] == b"II" else ">"
    try:
        (at,) = struct.unpack_from(order + "I", data, start + 4)
        seen: set[int] = set()
        while at and at not in seen:
            seen.add(at)
            (count,) = struct.unpack_from(order + "H", data, start + at)
            for entry in range(start + at + 2, start + at + 2 + 12 * count, 12):
                tag, _kind, _n, value = struct.unpack_from(order + "HHII", data, entry)
                if tag == _GPS_POINTER:
                    _blank_directory(data, start, value, order)
            (at,) = struct.unpack_from(order + "I", data, start + at + 2 + 12 * count)
    except struct.error:
        return  # a cut-off block; what can still be read of it is checked at the end


def _blank_directory(data: bytearray, start: int, at: int, order: str) -> None:
    (count,) = struct.unpack_from(order + "H", data, start + at)
    for entry in range(start + at + 2, start + at + 2 + 12 * count, 12):
        _tag, kind, number, value = struct.unpack_from(order + "HHII", data, entry)
        size = _SIZES.get(kind, 1) * number
        if size > 4 and start + value + size <= len(data):
            data[start + value : start + value + size] = bytes(size)
        data[entry : entry + 12] = bytes(12)
    struct.pack_into(order + "H", data, start + at, 0)


def _blank_iptc(data: bytearray) -> None:
    for block in re.finditer(rb"Photoshop 3\.0\0", bytes(data)):
        at, end = block.end(), min(len(data), block.end() + 65_535)
        while (at := data.find(b"\x1c\x02", at, end)) >= 0 and at + 5 <= end:
            size = int.from_bytes(data[at + 3 : at + 5], "big")
            if data[at + 2] in _IPTC_PLACES and at + 5 + size <= end:
                data[at + 5 : at + 5 + size] = b" " * size
            at += 3


def _renew_png_sums(data: bytearray) -> None:
    at = len(_PNG)
    while at + 12 <= len(data):
        (size,) = struct.unpack_from(">I", data, at)
        if at + 12 + size > len(data):
            return
        struct.pack_into(">I", data, at + 8 + size, zlib.crc32(data[at + 4 : at + 8 + size]))
        at += 12 + size


def _tells_place(data: bytes) -> bool:
    if data[4:8] == b"ftyp":
        import pillow_heif

        pillow_heif.register_heif_opener()
    try:
        with Image.open(io.BytesIO(data)) as image:
            gps = image.getexif().get_ifd(_GPS_POINTER)
            told = " ".join(str(image.info.get(key, "")) for key in ("xmp", "XML:com.adobe.xmp"))
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return b"GPS" in data  # nobody here can look inside
    return bool(gps) or "exif:GPS" in told or b"exif:GPS" in data
