"""EXIF orientation against its definition and against Pillow, an independent implementation.

Source: S60, Exif 2.3 tag 0x0112 (jpegexiforient man page): where the stored 0th row and 0th column
belong: 1 top,left; 2 top,right; 3 bottom,right; 4 bottom,left; 5 left,top; 6 right,top;
7 right,bottom; 8 left,bottom.
"""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, ImageOps

from pattern.photo.decode import decode_photo
from pattern.photo.orientation import MIRRORED, upright

ROW_AND_COLUMN = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def _edge(pixels: np.ndarray, name: str) -> np.ndarray:
    return {
        "top": pixels[0],
        "bottom": pixels[-1],
        "left": pixels[:, 0],
        "right": pixels[:, -1],
    }[name]


def _target() -> np.ndarray:
    """Asymmetric: stored row 0 is red, stored column 0 green, the rest uneven grey."""
    grey = np.arange(20 * 30, dtype=np.uint8).reshape(20, 30)
    target = np.stack([grey // 2] * 3, axis=2)
    target[0, 1:] = (255, 0, 0)
    target[1:, 0] = (0, 255, 0)
    return target


@pytest.mark.parametrize("value", range(1, 9))
def test_stored_first_row_and_column_come_where_the_tag_says(value: int) -> None:
    turned = upright(_target(), value)
    row, column = ROW_AND_COLUMN[value]
    assert (_edge(turned, row) == (255, 0, 0)).all(axis=1).sum() == 29
    assert (_edge(turned, column) == (0, 255, 0)).all(axis=1).sum() == 19


@pytest.mark.parametrize("value", range(1, 9))
@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "WEBP"])
def test_a_tagged_file_decodes_as_pillow_transposes_it(value: int, kind: str) -> None:
    image = Image.fromarray(np.kron(_target(), np.ones((8, 8, 1), np.uint8)))
    exif = Image.Exif()
    exif[0x0112] = value
    out = io.BytesIO()
    image.save(out, kind, exif=exif, **({"lossless": True} if kind == "WEBP" else {}))
    photo = decode_photo(out.getvalue(), "tagged")
    out.seek(0)
    expected = np.asarray(ImageOps.exif_transpose(Image.open(out)).convert("RGB"), int)
    assert photo.orientation == value
    assert photo.pixels.shape == expected.shape
    assert np.abs(photo.pixels.astype(int) - expected).mean() < (2.0 if kind == "JPEG" else 1e-9)


def test_the_mirrored_values_are_those_that_change_the_hand() -> None:
    changed = set()
    for value in range(1, 9):
        corners = np.zeros((3, 3, 3), np.uint8)
        corners[0, 0], corners[0, 2], corners[2, 2] = 1, 2, 3
        turned = upright(corners, value)[..., 0]
        at = {int(turned[r, c]): (c, r) for r in (0, 2) for c in (0, 2)}
        (ax, ay), (bx, by), (cx, cy) = at[1], at[2], at[3]
        if (bx - ax) * (cy - by) - (by - ay) * (cx - bx) < 0:
            changed.add(value)
    assert changed == MIRRORED
