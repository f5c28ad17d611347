"""Photos under other conditions keep their truth."""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

from pattern.reading.score import Known, corner_errors
from pattern.synthetic.variants import CONDITIONS, varied
from pattern.workflow import read_photo

SAMPLES = Path(__file__).parent.parent.parent / "sample_images"


@pytest.mark.parametrize("condition", ["jpeg_60", "half_size", "turned_90", "mirrored_exif"])
def test_the_moved_outlines_lie_on_the_moved_teeth(condition: str, tmp_path: Path) -> None:
    # a rendered sample photo with its truth; see sample_images/README.md
    truth = json.loads((SAMPLES / "birch_drive.json").read_text(encoding="utf-8"))
    upright = ImageOps.exif_transpose(Image.open(SAMPLES / "birch_drive.jpg"))
    pixels = np.asarray(upright.convert("RGB"))
    jpeg, known = varied(pixels, truth, condition)
    path = tmp_path / "varied.jpg"
    path.write_bytes(jpeg)
    outlines = [t["outline"] for t in known["teeth"] if t["visible"] >= 0.6]
    reading = read_photo(path, truth["side"], hand=truth["hand"], outlines=outlines)
    assert reading.status == "read"
    assert reading.lengthwise == pytest.approx(truth["lengthwise"], abs=0.05)
    assert reading.profile == pytest.approx(truth["profile"], abs=0.08)
    drawn = tuple(np.array(outline, float) for outline in outlines)
    assert corner_errors(Known(True, outlines=drawn), reading).max() < 1e-6


def test_mirrored_pixels_come_back_by_their_tag() -> None:
    rng = np.random.default_rng(3)
    pixels = np.repeat(np.repeat(rng.integers(0, 255, (6, 8, 3)), 8, 0), 8, 1).astype(np.uint8)
    jpeg, _ = varied(pixels, {"teeth": []}, "mirrored_exif")
    shown = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(jpeg))), float)
    assert np.abs(shown - pixels).mean() < 25
    assert np.abs(shown[:, ::-1] - pixels).mean() > 40


def test_every_condition_gives_a_photo() -> None:
    square = [[10, 10], [50, 10], [50, 30], [10, 30]]
    pixels = np.full((64, 80, 3), 128, np.uint8)
    for condition in CONDITIONS:
        jpeg, known = varied(pixels, {"teeth": [{"outline": square}]}, condition)
        assert Image.open(io.BytesIO(jpeg)).width > 0
        assert len(known["teeth"][0]["outline"]) == 4
