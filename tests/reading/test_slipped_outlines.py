"""Outlines that were drawn beside the teeth are declined, not read somewhere else on the tooth."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from pattern.workflow import read_photo

SAMPLES = Path(__file__).parent.parent.parent / "sample_images"


@pytest.mark.parametrize("name", ["linden_drive", "rowan_drive"])
def test_outlines_drawn_far_past_the_heel_are_declined(name: str) -> None:
    # rendered sample photos with their truth; see sample_images/README.md
    truth = json.loads((SAMPLES / f"{name}.json").read_text(encoding="utf-8"))
    outlines = []
    for tooth in truth["teeth"]:
        corners = np.array(tooth["outline"], float)
        corners[1] += 0.4 * (corners[1] - corners[0])
        corners[2] += 0.4 * (corners[2] - corners[3])
        outlines.append(corners.tolist())
    photo = SAMPLES / f"{name}.jpg"
    reading = read_photo(photo, truth["side"], hand=truth["hand"], outlines=outlines)
    assert reading.status == "declined"
    assert "outlines lie beside the teeth" in reading.reasons[0].message
