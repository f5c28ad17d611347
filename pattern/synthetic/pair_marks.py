"""The marks that a pair of photos shows: both sides of one set after the same moves."""

from __future__ import annotations

from pattern.records import Side
from pattern.synthetic.marks import Mark
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.scene import Moves


def pair_marks(spec: RingSpec, moves: Moves) -> dict[Side, Mark]:
    """Drive and coast marks by the direction rules (common practice, no source), 0.02 of the tooth
    per 0.001 in of pinion."""
    deep, out = moves.pinion_move_in * 1000.0, moves.ring_move_in * 1000.0
    sign = 1.0 if spec.is_uniform else -1.0
    weak = 0.6 if spec.is_uniform else 1.0
    drive = (0.46 + 0.030 * sign * deep + 0.018 * out, 0.52 - weak * 0.024 * deep + 0.008 * out)
    coast = (0.48 - 0.028 * sign * deep - 0.004 * out, 0.50 - weak * 0.024 * deep + 0.008 * out)
    return {
        "drive": Mark(drive[0], drive[1], 0.52, 0.56, 6.0),
        "coast": Mark(coast[0], coast[1], 0.50, 0.54, -5.0),
    }
