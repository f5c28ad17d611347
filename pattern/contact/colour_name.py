"""The trade's plain name for a marking compound's colour."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_HUES = (
    (20.0, "red"),
    (62.0, "orange-red"),
    (78.0, "orange"),
    (118.0, "yellow"),
    (195.0, "green"),
    (305.0, "blue"),
    (340.0, "purple"),
    (360.0, "red"),
)
"""Upper ends of hue ranges in degrees of CIE L*a*b* (a* axis 0, b* axis 90). Common practice."""


def colour_name(lab: NDArray[np.float64], metal_lab: NDArray[np.float64] | None = None) -> str:
    """Name a compound from its cells' (n, 3) L*a*b*; `metal_lab` (n, 3) is taken as neutral.

    A warm lamp tints steel and compound alike, so the steel's own tint is taken off first.
    """
    if not len(lab):
        return "unknown"
    lightness, a, b = (float(v) for v in np.median(lab, axis=0))
    if metal_lab is not None and len(metal_lab):
        _, metal_a, metal_b = np.median(metal_lab, axis=0)
        a, b = a - 0.6 * float(metal_a), b - 0.6 * float(metal_b)
    chroma = float(np.hypot(a, b))
    if chroma < 11.0:
        return "white" if lightness > 66.0 else "grey" if lightness > 30.0 else "dark"
    hue = float(np.degrees(np.arctan2(b, a))) % 360.0
    return next(name for end, name in _HUES if hue <= end)
