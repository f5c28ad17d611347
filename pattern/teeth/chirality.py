"""Which end of a tooth side is the toe, from side, hand and the tip edge alone.

Look at a right-hand ring gear from the teeth's side, a tooth at twelve o'clock. Its outer half
inclines clockwise (right-hand spiral, ANSI/AGMA 1012-G05), so its lengthwise curve bends to the
right on the way out: the convex, drive side faces left. Seen square on from the left, with the tip
edge up, the ring gear's axis is to the right: the toe is on the right. The concave, coast side
faces right and shows its toe on the left. A left-hand ring gear is the mirror image.

So toe-tip, heel-tip, heel-root, toe-root run round the outline in one sense for drive of a
right-hand and coast of a left-hand ring gear and in the other sense for the other two, at any roll
of the camera.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pattern.records import Direction, Hand, Side

_TURNED: dict[Direction, Direction] = {"up": "right", "right": "down", "down": "left", "left": "up"}
_OPPOSITE: dict[Direction, Direction] = {
    "up": "down",
    "down": "up",
    "left": "right",
    "right": "left",
}


def runs_clockwise(side: Side, hand: Hand) -> bool:
    """True if the corners toe-tip, heel-tip, heel-root, toe-root run clockwise as one sees them.

    With the tip edge up that puts the toe on the left.
    """
    return (side == "coast") == (hand == "right")


def outline_runs_clockwise(corners: NDArray[np.float64]) -> bool:
    """Whether a (n, 2) outline in pixels, y down, runs clockwise as one sees it."""
    return signed_area_px2(corners) > 0.0


def signed_area_px2(outline: NDArray[np.float64]) -> float:
    """Area of a (n, 2) polygon in square pixels, positive when it runs clockwise on the screen."""
    x, y = outline[:, 0], outline[:, 1]
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def toe_from_tip(tip: Direction, side: Side, hand: Hand) -> Direction:
    """Where the toe lies in the picture when the tip edge lies toward `tip`."""
    to_right = _TURNED[tip]
    return _OPPOSITE[to_right] if runs_clockwise(side, hand) else to_right


def tip_from_toe(toe: Direction, side: Side, hand: Hand) -> Direction:
    """Where the tip edge lies in the picture when the toe lies toward `toe`."""
    to_right = _TURNED[toe]
    return to_right if runs_clockwise(side, hand) else _OPPOSITE[to_right]


def direction_of(vector_px: NDArray[np.float64]) -> Direction:
    """The nearest of left, right, up and down to a (2,) pixel vector, y down."""
    x, y = float(vector_px[0]), float(vector_px[1])
    if abs(x) >= abs(y):
        return "right" if x > 0 else "left"
    return "down" if y > 0 else "up"
