"""Real photographs without gears are declined: the weights and gates as shipped.

Source: S63, photographs shipped in the scikit-image 0.26 wheel, readable without network.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import skimage
from PIL import Image

from pattern.records import Photo
from pattern.workflow import read_photo

FOLDER = Path(skimage.__file__).parent / "data"
PHOTOGRAPHS = sorted(
    path
    for path in FOLDER.iterdir()
    if path.stem
    in {
        "astronaut", "chelsea", "coffee", "rocket", "hubble_deep_field", "retina", "ihc",
        "motorcycle_left", "motorcycle_right", "camera", "coins", "moon", "page",
        "clock_motion", "brick", "grass", "gravel", "cell", "text", "microaneurysms",
    }
)  # fmt: skip


def test_the_wheel_holds_the_photographs() -> None:
    assert len(PHOTOGRAPHS) >= 8


@pytest.mark.parametrize("path", PHOTOGRAPHS, ids=lambda p: p.stem)
def test_a_photograph_without_a_gear_is_declined(path: Path) -> None:
    with Image.open(path) as image:
        pixels = np.array(image.convert("RGB"))
    reading = read_photo(Photo(path.name, "0" * 64, pixels), "drive")
    assert reading.status == "declined"
    # the back of an eye fills its picture's middle alone: it may be called dark
    assert reading.reasons[0].code in ("no_teeth", "too_dark")
    assert reading.lengthwise is None
