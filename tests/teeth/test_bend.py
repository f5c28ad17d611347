"""The bow of long edges is read from the picture when only corners are given."""

from __future__ import annotations

import numpy as np
import pytest

from pattern.records import Hand, Side
from pattern.teeth.given import given_teeth
from tests.drawn import BLUE, YELLOW, drawn_gear


def _bow(edge: np.ndarray, up: np.ndarray) -> float:
    """How far the middle of an edge lies off its chord toward the tip, over the depth."""
    middle = edge[len(edge) // 2] - 0.5 * (edge[0] + edge[-1])
    return float(middle @ up / (up @ up))


@pytest.mark.parametrize(
    ("side", "hand", "colour"),
    [("drive", "right", YELLOW), ("coast", "right", BLUE), ("drive", "left", BLUE)],
)
def test_the_bow_comes_within_a_sixteenth_of_the_depth(
    side: Side, hand: Hand, colour: tuple[int, int, int]
) -> None:
    drawn = drawn_gear(side, hand, colour=colour, roll_deg=120.0)
    found = given_teeth(drawn.photo, side, hand, drawn.outlines)
    for tooth, truth in zip(found.teeth, drawn.teeth, strict=True):
        a, b, c, d = truth.corners
        up = 0.5 * (a + b - c - d)
        true_bow = _bow(truth.tip_edge, up)
        assert abs(true_bow) > 0.15  # a straight edge would be wrong by this
        assert np.sign(true_bow) == (-1 if side == "drive" else 1)  # convex bows to the root
        assert _bow(tooth.tip_edge, up) == pytest.approx(true_bow, abs=0.06)
