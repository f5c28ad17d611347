"""Copies that leave the shop do not tell where a photo was taken; everything else stays.

Outside check: Pillow and pillow-heif read the EXIF back; the GPS pointer is tag 0x8825 (Exif 2.3,
4.6.6). IPTC place names are datasets 2:90 and so on of IPTC IIM 4.2, from memory.
"""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from PIL import Image

from pattern.archive.geotags import without_location
from pattern.errors import InvalidInput
from tests.archive.pictures import XMP, encoded, jpeg, place

KINDS = ["JPEG", "PNG", "WEBP", "TIFF", "HEIF"]


def decoded(data: bytes) -> np.ndarray:  # type: ignore[type-arg]
    with Image.open(io.BytesIO(data)) as image:
        return np.asarray(image.convert("RGB"))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("xmp", [False, True])
def test_the_place_goes_and_every_pixel_stays(kind: str, xmp: bool) -> None:
    data = encoded(kind, xmp=xmp)
    assert place(data), "the picture tells its place to begin with"
    blanked = without_location(data, "p")
    assert place(blanked) == {}
    assert len(blanked) == len(data)
    assert np.array_equal(decoded(blanked), decoded(data))
    for told in (b"GPSLatitude", b"48,12.508N", b"11,34.204E", b"Hometown", b"2026:05:04\0"):
        assert told not in blanked
    with Image.open(io.BytesIO(blanked)) as image:
        block = image.getexif()
        assert (block[0x0110], block.get_ifd(0x8769)[0x9003]) == ("A phone", "2026:05:04 10:11:12")
    if xmp and kind != "TIFF":  # Pillow writes no XMP into a TIFF
        assert b"18/10" in blanked


@pytest.mark.parametrize("kind", KINDS)
def test_a_photo_that_tells_no_place_keeps_every_byte(kind: str) -> None:
    data = encoded(kind, gps=False)
    assert without_location(data, "p") == data


def test_the_turn_of_the_picture_stays() -> None:
    blanked = without_location(jpeg(gps=True, orientation=6), "p")
    with Image.open(io.BytesIO(blanked)) as image:
        assert image.getexif()[0x0112] == 6


def test_a_second_picture_in_the_file_tells_no_place_either() -> None:
    data = jpeg(1, gps=True) + jpeg(2, gps=True)
    blanked = without_location(data, "p")
    second = blanked.rindex(b"\xff\xd8\xff")
    assert place(blanked) == place(blanked[second:]) == {}


def test_place_names_typed_into_the_photo_go() -> None:
    city = b"\x1c\x02\x5a" + struct.pack(">H", 8) + b"Hometown"
    title = b"\x1c\x02\x05" + struct.pack(">H", 6) + b"Pinion"
    resource = b"8BIM\x04\x04\0\0" + struct.pack(">I", len(city + title)) + city + title
    segment = b"Photoshop 3.0\0" + resource
    data = jpeg()
    tagged = data[:2] + b"\xff\xed" + struct.pack(">H", len(segment) + 2) + segment + data[2:]
    blanked = without_location(tagged, "p")
    assert b"Hometown" not in blanked
    assert b"Pinion" in blanked


def test_a_film_behind_the_photo_tells_no_place_either() -> None:
    film = b"\0\0\0\x20ftypmp42" + b"\0\0\0\x1e\xa9xyz\0\x12\x15\xc7+48.2085+011.5701/" + b"mdat"
    blanked = without_location(jpeg() + film, "p")
    assert b"48.2085" not in blanked
    assert b"011.5701" not in blanked
    assert blanked.endswith(b"mdat")


def test_a_heic_block_without_its_name_is_found() -> None:
    data = encoded("HEIF")
    at = data.index(b"Exif\0\0")
    bare = data[:at] + b"\0" * 6 + data[at + 6 :]
    assert b"2026:05:04\0" in bare
    assert b"2026:05:04\0" not in without_location(bare, "p")


def test_a_place_that_cannot_be_taken_out_is_refused() -> None:
    from PIL.PngImagePlugin import PngInfo

    info = PngInfo()
    info.add_itxt("XML:com.adobe.xmp", XMP.decode(), zip=True)
    out = io.BytesIO()
    Image.new("RGB", (32, 32)).save(out, "PNG", pnginfo=info)
    with pytest.raises(InvalidInput, match=r"^p7: tells where it was taken"):
        without_location(out.getvalue(), "p7")


@pytest.mark.parametrize("cut", [10, 40, 60, 100, 150, 200, 300])
def test_a_cut_off_block_does_no_harm(cut: int) -> None:
    data = jpeg(gps=True)
    try:
        blanked = without_location(data[:cut], "p")
    except InvalidInput:
        return
    assert len(blanked) == cut
