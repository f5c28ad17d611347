"""Colour as the eye weighs it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray


def to_lab(rgb: NDArray[np.floating] | NDArray[np.uint8]) -> NDArray[np.float64]:
    """sRGB 0 to 255, (rows, columns, 3), to CIE L*a*b* under D65 (IEC 61966-2-1, CIE 15)."""
    scaled = np.clip(np.asarray(rgb, np.float32) / 255.0, 0.0, 1.0)
    return np.asarray(cv2.cvtColor(scaled, cv2.COLOR_RGB2LAB), dtype=np.float64)
