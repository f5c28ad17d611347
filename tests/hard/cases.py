"""One axle, two rolls and one photo that several hard tests harm or refuse."""

from __future__ import annotations

import io
from functools import lru_cache
from typing import Any

from PIL import Image

from tests.drawn import Drawn, drawn_gear

AXLE: dict[str, Any] = {
    "ring_teeth": 41, "pinion_teeth": 11, "ring_diameter_in": 8.5, "tooth_system": "tapered",
    "depth_shim": "pinion_head", "depth_shim_in": 0.034, "left_shim_in": 0.250, "condition": "new",
    "backlash_min_in": 0.006, "backlash_max_in": 0.010,
}  # fmt: skip
SIDE: dict[str, Any] = {
    "lengthwise": 0.58, "profile": 0.62, "lengthwise_sd": 0.03, "profile_sd": 0.05, "length": 0.5,
}  # fmt: skip
ROLLS: list[dict[str, Any]] = [
    {"drive": SIDE, "coast": {**SIDE, "lengthwise": 0.41}, "backlash_in": 0.008},
    {
        "drive": SIDE, "coast": SIDE, "backlash_in": 0.0085,
        "pinion_move_in": 0.004, "ring_move_in": 0.002,
    },
]  # fmt: skip


@lru_cache(maxsize=1)
def drive() -> Drawn:
    """A small drawn photo of drive sides, read with its outlines in a tenth of a second."""
    return drawn_gear("drive", tooth_px=120.0)


@lru_cache(maxsize=1)
def drive_photo() -> bytes:
    """The same as PNG bytes."""
    out = io.BytesIO()
    Image.fromarray(drive().photo.pixels).save(out, "PNG")
    return out.getvalue()
