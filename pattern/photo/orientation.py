"""Bring pixels upright by the EXIF orientation tag."""

from __future__ import annotations

from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

MIRRORED = frozenset({2, 4, 5, 7})
"""Orientation values whose stored pixels are a mirror image (Exif 2.3, tag 274)."""


def upright(pixels: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Turn and flip (h, w, 3) pixels as EXIF tag 274 asks; values outside 1 to 8 mean 1.

    The tag names where the stored first row and first column belong: 1 top left, 2 top right,
    3 bottom right, 4 bottom left, 5 left top, 6 right top, 7 right bottom, 8 left bottom
    (Exif 2.3, tag 0x0112).
    """
    turned: object = pixels
    if orientation == 2:
        turned = cv2.flip(pixels, 1)
    elif orientation == 3:
        turned = cv2.rotate(pixels, cv2.ROTATE_180)
    elif orientation == 4:
        turned = cv2.flip(pixels, 0)
    elif orientation == 5:
        turned = cv2.transpose(pixels)
    elif orientation == 6:
        turned = cv2.rotate(pixels, cv2.ROTATE_90_CLOCKWISE)
    elif orientation == 7:
        turned = cv2.flip(cv2.transpose(pixels), -1)
    elif orientation == 8:
        turned = cv2.rotate(pixels, cv2.ROTATE_90_COUNTERCLOCKWISE)
    return cast(NDArray[np.uint8], turned)
