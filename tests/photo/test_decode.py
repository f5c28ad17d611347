"""Opening photos: every format that phones write, and every way a file can be bad."""

from __future__ import annotations

import hashlib
import io
import os
import struct
import threading
import zlib
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from pattern.errors import UnreadablePhoto
from pattern.photo.complaints import complaints
from pattern.photo.decode import decode_photo, load_photo
from pattern.settings import Settings


def _picture(width: int = 64, height: int = 48) -> Image.Image:
    x, y = np.meshgrid(np.linspace(0, 255, width), np.linspace(0, 255, height))
    return Image.fromarray(np.stack([x, y, 255 - x], axis=2).astype(np.uint8))


def _bytes(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_the_usual_formats_open_with_red_first(kind: str) -> None:
    data = _bytes(_picture(), kind)
    photo = decode_photo(data, "p")
    assert (photo.width_px, photo.height_px) == (64, 48)
    assert photo.pixels[24, 60, 0] > 200 > 60 > photo.pixels[24, 60, 2]


def test_a_heic_file_opens_as_what_was_stored() -> None:
    heif = pillow_heif.from_pillow(_picture())
    out = io.BytesIO()
    heif.save(out, quality=90)
    photo = decode_photo(out.getvalue(), "p.heic")
    assert np.abs(photo.pixels.astype(int) - np.asarray(_picture(), int)).mean() < 4.0


def test_the_hash_is_of_the_bytes_in_the_file(tmp_path: Path) -> None:
    file = tmp_path / "p.jpg"
    file.write_bytes(_bytes(_picture(), "JPEG"))
    photo = load_photo(file)
    assert photo.sha256 == hashlib.sha256(file.read_bytes()).hexdigest()
    assert photo.name == "p.jpg"


def test_the_kind_is_told_by_content_not_by_name(tmp_path: Path) -> None:
    file = tmp_path / "p.txt"
    file.write_bytes(_bytes(_picture(), "PNG"))
    assert load_photo(file).width_px == 64


@pytest.mark.parametrize(
    ("image", "kind"),
    [
        (_picture().convert("L"), "JPEG"),
        (_picture().convert("CMYK"), "JPEG"),
        (_picture().convert("P"), "PNG"),
        (_picture().convert("1"), "PNG"),
        (Image.fromarray(np.asarray(_picture().convert("L"), np.uint16) * 257), "PNG"),
        (Image.fromarray(np.asarray(_picture().convert("L"), np.float32) / 255), "TIFF"),
    ],
    ids=["grey", "cmyk", "palette", "bilevel", "sixteen bit", "float"],
)
def test_unusual_pixels_become_eight_bit_colour(image: Image.Image, kind: str) -> None:
    photo = decode_photo(_bytes(image, kind), "p")
    assert photo.pixels.shape == (48, 64, 3)
    assert photo.pixels.dtype == np.uint8
    assert photo.pixels.std() > 20


def test_a_transparent_picture_lies_on_white() -> None:
    image = _picture().convert("RGBA")
    image.putalpha(0)
    assert (decode_photo(_bytes(image, "PNG"), "p").pixels == 255).all()


# --- bad files -----------------------------------------------------------------------------------


def _refused(data: bytes, settings: Settings | None = None) -> str:
    with pytest.raises(UnreadablePhoto) as caught:
        decode_photo(data, "bench.jpg", settings)
    assert caught.value.exit_code == 3
    assert caught.value.message.startswith("bench.jpg: ")
    assert caught.value.remedy
    return caught.value.message


def test_an_empty_file_is_named() -> None:
    assert "0 bytes" in _refused(b"")


@pytest.mark.parametrize(
    "data", [b"hello, no picture", b"\x00" * 4000, b"%PDF-1.7 ...", b"\xff\xd8"]
)
def test_what_is_no_image_is_refused(data: bytes) -> None:
    _refused(data)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("share", [0.5, 0.9])
def test_a_file_cut_short_is_refused_not_filled_with_grey(kind: str, share: float) -> None:
    rng = np.random.default_rng(1)
    noisy = Image.fromarray(rng.integers(0, 255, (200, 300, 3), dtype=np.uint8))
    options = {"compression": "tiff_lzw"} if kind == "TIFF" else {}
    data = _bytes(noisy, kind, **options)
    _refused(data[: int(len(data) * share)])


def test_a_progressive_jpeg_cut_between_scans_is_refused() -> None:
    data = _bytes(_picture(400, 300), "JPEG", progressive=True)
    cut = data.rfind(b"\xff\xda")
    _refused(data[:cut])


def test_a_thumbnails_end_does_not_make_a_cut_photo_whole() -> None:
    thumbnail = _bytes(_picture(), "JPEG")
    body = b"Exif\x00\x00" + thumbnail
    segment = b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body
    data = _bytes(_picture(400, 300), "JPEG")
    whole = data[:2] + segment + data[2:]
    assert decode_photo(whole, "p").width_px == 400
    _refused(whole[:-300])


@pytest.mark.parametrize("where", [0.2, 0.5, 0.8])
def test_damaged_picture_data_is_refused_not_shown_as_the_decoder_made_it_up(where: float) -> None:
    rng = np.random.default_rng(3)
    data = _bytes(Image.fromarray(rng.integers(0, 255, (200, 300, 3), dtype=np.uint8)), "JPEG")
    at = data.rfind(b"\xff\xda") + int(where * (len(data) - data.rfind(b"\xff\xda")))
    assert "damaged" in _refused(data[:at] + b"\x5a" * 60 + data[at + 60 :])


def test_padding_before_the_end_of_a_jpeg_is_no_damage(capfd: pytest.CaptureFixture[str]) -> None:
    data = _bytes(_picture(400, 300), "JPEG")
    padded = data[:-2] + b"\x00" * 14 + data[-2:]  # as some cameras write, from memory
    assert decode_photo(padded, "p").width_px == 400
    assert capfd.readouterr().err == "", "the decoder's own words are not for the user"


def test_what_a_decoder_complains_of_is_caught_and_stderr_given_back(
    capfd: pytest.CaptureFixture[str],
) -> None:
    # the wording of libjpeg, libtiff, libpng and OpenCV's own log, as they print it
    lines = [
        "Corrupt JPEG data: 14 extraneous bytes before marker 0xd9",
        "Premature end of JPEG file",
        "LZWDecode: Not enough data at scanline 3 (short 40 bytes).",
        "tempfile.tif: Using code not yet in table.",
        "libpng warning: iCCP: known incorrect sRGB profile",
        "[ WARN:0@0.12] global loadsave.cpp:241 findDecoder imread_('x'): can't open/read file",
    ]
    with complaints() as said:
        os.write(2, "".join(f"{line}\n" for line in lines).encode())
    os.write(2, b"three")
    assert said == lines
    assert capfd.readouterr().err == "three"


def test_what_other_threads_write_while_a_photo_decodes_reappears_as_it_was(
    capfdbinary: pytest.CaptureFixture[bytes],
) -> None:
    def another() -> None:
        os.write(2, b"WARNING disk is nearly full\n")
        os.write(2, b"\n\xff odd bytes\r\nand a line that goes on")

    with complaints() as said:
        os.write(2, b"Corrupt JPEG data: bad Huffman code\n")
        thread = threading.Thread(target=another)
        thread.start()
        thread.join()
    os.write(2, b" afterwards\n")
    assert said == ["Corrupt JPEG data: bad Huffman code"]
    told = b"WARNING disk is nearly full\n\n\xff odd bytes\r\nand a line that goes on afterwards\n"
    assert capfdbinary.readouterr().err == told


def test_a_heic_cut_short_is_refused() -> None:
    heif = pillow_heif.from_pillow(_picture(300, 200))
    out = io.BytesIO()
    heif.save(out, quality=90)
    _refused(out.getvalue()[: len(out.getvalue()) // 2])


def _png_bomb(width: int, height: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        crc = zlib.crc32(kind + body)
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", crc)

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(b"\x00" * 10_000)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("size", [(9000, 9000), (30_000, 30_000), (60_000, 60_000)])
def test_a_bomb_of_pixels_is_refused_before_decoding(size: tuple[int, int]) -> None:
    message = _refused(_png_bomb(*size))
    assert "megapixels" in message


def test_the_cap_is_a_setting() -> None:
    data = _bytes(_picture(400, 300), "JPEG")
    assert "0.11" in _refused(data, Settings(max_megapixels=0.11))
    assert decode_photo(data, "p", Settings(max_megapixels=0.13)).width_px == 400


def test_a_thumbnail_of_a_few_pixels_is_refused() -> None:
    assert "8 x 8" in _refused(_bytes(_picture(8, 8), "PNG"))


def test_a_format_that_phones_do_not_write_is_named() -> None:
    assert "GIF" in _refused(_bytes(_picture(), "GIF"))


def test_a_folder_and_a_missing_file_are_named(tmp_path: Path) -> None:
    with pytest.raises(UnreadablePhoto, match="is a folder"):
        load_photo(tmp_path)
    with pytest.raises(UnreadablePhoto, match="does not exist"):
        load_photo(tmp_path / "none.jpg")
