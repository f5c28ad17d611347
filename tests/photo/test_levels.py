"""A photo at a half, a quarter, ... of its size, and large JPEGs decoded at half their size first."""

from __future__ import annotations

import pickle
from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattern.errors import UnreadablePhoto
from pattern.photo import decode
from pattern.photo.decode import decode_photo
from pattern.photo.levels import HalfDecoded, factor_for, reduced
from tests.drawn import photo_of

WIDTH, HEIGHT = 3600, 2400


def speckled(height: int, width: int, seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 256, (height, width, 3), dtype=np.uint8)


@pytest.fixture(scope="module")
def picture() -> np.ndarray:
    """A smooth picture of 8.6 megapixels, so that JPEG keeps it well."""
    small = speckled(30, 45)
    return np.asarray(cv2.resize(small, (WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC), np.uint8)


def jpeg(pixels: np.ndarray, orientation: int = 1) -> bytes:
    """A JPEG of RGB pixels, with the EXIF tag 274 (Exif 2.3) put before its first segment."""
    data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])[1].tobytes()
    tag = b"\x01\x12\x00\x03\x00\x00\x00\x01" + bytes([0, orientation, 0, 0])
    body = b"Exif\0\0MM\0\x2a\0\0\0\x08\x00\x01" + tag + b"\0\0\0\0"
    return data[:2] + b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body + data[2:]


@given(st.integers(8, 60), st.integers(8, 60), st.sampled_from([2, 4]))
def test_each_pixel_is_the_mean_of_its_block(height: int, width: int, factor: int) -> None:
    pixels = speckled(height, width)
    rows, columns = height // 2 // (factor // 2), width // 2 // (factor // 2)
    whole = pixels[: rows * factor, : columns * factor].astype(float)
    mean = whole.reshape(rows, factor, columns, factor, 3).mean(axis=(1, 3))
    found = reduced(photo_of(pixels), factor)
    assert found.shape == (rows, columns, 3)
    # each halving rounds to whole levels
    assert np.abs(found - mean).max() <= 0.5 * np.log2(factor) + 1e-9


def test_a_level_is_made_once_and_the_photo_itself_is_the_first() -> None:
    photo = photo_of(speckled(64, 64))
    assert reduced(photo, 1) is photo.pixels
    assert reduced(photo, 4) is reduced(photo, 4)


def test_a_cell_is_never_smaller_than_the_pixels_it_is_sampled_from() -> None:
    photo = photo_of(speckled(400, 600))
    assert [factor_for(photo, cell) for cell in (0.3, 1.0, 1.9, 2.0, 3.9, 4.0, 9.0)] == [
        1, 1, 1, 2, 2, 4, 8,
    ]  # fmt: skip
    assert factor_for(photo, 1e6) == 64  # four pixels are left each way


def test_a_large_jpeg_is_decoded_in_full_only_when_asked(picture: np.ndarray) -> None:
    data = jpeg(picture)
    photo = decode_photo(data, "p.jpg")
    assert isinstance(photo, HalfDecoded)
    assert (photo.width_px, photo.height_px) == (WIDTH, HEIGHT)
    half = reduced(photo, 2)
    assert "pixels" not in vars(photo)
    in_full = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)[..., ::-1]
    assert np.array_equal(photo.pixels, in_full)
    mean = cv2.resize(
        np.ascontiguousarray(in_full), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA
    )
    assert np.abs(half.astype(int) - mean).mean() < 0.6


@pytest.mark.parametrize("orientation", range(1, 9))
def test_half_and_whole_are_turned_alike(picture: np.ndarray, orientation: int) -> None:
    photo = decode_photo(jpeg(picture, orientation), "p.jpg")
    half = reduced(photo, 2).astype(int)
    assert (photo.height_px, photo.width_px) == photo.pixels.shape[:2]
    mean = cv2.resize(photo.pixels, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    assert np.abs(half - mean).mean() < 0.6


def test_other_pixels_can_be_put_in_its_place(picture: np.ndarray) -> None:
    photo = decode_photo(jpeg(picture), "p.jpg")
    cut = replace(photo, pixels=photo.pixels[:100, :200])
    assert (cut.width_px, cut.height_px) == (200, 100)
    assert np.array_equal(reduced(cut, 2), reduced(photo_of(photo.pixels[:100, :200]), 2))


def test_odd_sides_and_small_photos_are_decoded_in_full_at_once(picture: np.ndarray) -> None:
    for pixels in (picture[:, :-1], picture[:1200, :1600]):
        photo = decode_photo(jpeg(pixels), "p.jpg")
        assert not isinstance(photo, HalfDecoded)
        assert photo.pixels.shape == pixels.shape


def test_damage_shows_at_half_the_size_too(picture: np.ndarray) -> None:
    data = bytearray(jpeg(speckled(HEIGHT, WIDTH)))
    at = len(data) // 2
    data[at : at + 4000] = bytes(4000)
    with pytest.raises(UnreadablePhoto, match="damaged"):
        decode_photo(bytes(data), "p.jpg")
    with pytest.raises(UnreadablePhoto, match=r"^p\.jpg: is cut short"):
        decode_photo(bytes(jpeg(picture)[:-2000]), "p.jpg")


def test_what_fails_later_fails_as_what_fails_at_once(
    picture: np.ndarray, monkeypatch: pytest.MonkeyPatch
) -> None:
    photo = decode_photo(jpeg(picture), "p.jpg")

    def no_memory(*_: object) -> None:
        raise cv2.error("Insufficient memory")

    monkeypatch.setattr(decode.cv2, "imdecode", no_memory)
    with pytest.raises(UnreadablePhoto, match=r"p\.jpg"):
        _ = photo.pixels


def test_it_can_be_sent_to_another_process(picture: np.ndarray) -> None:
    photo = decode_photo(jpeg(picture), "p.jpg")
    sent = pickle.loads(pickle.dumps(photo))
    assert (sent.width_px, sent.height_px, sent.sha256) == (WIDTH, HEIGHT, photo.sha256)
    assert np.abs(reduced(sent, 2).astype(int) - reduced(photo, 2)).mean() < 0.6


def test_its_text_does_not_decode_it(picture: np.ndarray) -> None:
    photo = decode_photo(jpeg(picture), "p.jpg")
    assert "p.jpg" in repr(photo)
    assert "pixels" not in vars(photo)


@pytest.mark.parametrize("factor", [0, 3, -2])
def test_only_powers_of_two_are_factors(factor: int) -> None:
    with pytest.raises(ValueError, match="power of two"):
        reduced(photo_of(speckled(32, 32)), factor)
