"""The marks that a pair of photos shows: both sides of one set after the same moves, computed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.gears.blank import blank_from_axle
from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import FILM_MM, evaluate
from pattern.gears.kinematics import Moves as GearMoves
from pattern.records import MM_PER_IN, SIDES, Axle, Side
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.scene import Moves

START_BACKLASH_IN = 0.008
"""Normal backlash of every set where it stands right: the middle of 0.006 to 0.010 in."""


@dataclass(frozen=True, eq=False)
class PairMarks:
    """`levels` (lengthwise, profile) per side from toe and root, 0 on the mark's edge, above inside;
    the backlash after the moves, inches, normal to the tooth at the heel."""

    levels: dict[Side, NDArray[np.float64]]
    backlash_in: float


def axle_of(spec: RingSpec) -> Axle:
    """What a shop would write down about the drawn set."""
    return Axle(
        ring_teeth=spec.ring_teeth,
        pinion_teeth=spec.pinion_teeth,
        ring_diameter_in=spec.ring_diameter_in,
        tooth_system=spec.tooth_system,
        hand=spec.hand,
        rotation="standard" if spec.hand == "right" else "reverse",
    )


def pair_marks(spec: RingSpec, moves: Moves) -> PairMarks:
    """Contact analysis of the set at its moves: the level is one less the gap over the film.

    Raises InvalidAxle and InvalidInput as `pattern.gears` does.
    """
    ease = {
        "drive": EaseOff(moves.crowning_mm[0], moves.crowning_mm[1], 0.004, 0.47),
        "coast": EaseOff(1.1 * moves.crowning_mm[0], 1.1 * moves.crowning_mm[1], -0.004, 0.47),
    }
    marks = evaluate(
        blank_from_axle(axle_of(spec)),
        GearMoves(moves.pinion_move_in * MM_PER_IN, moves.ring_move_in * MM_PER_IN),
        ease["drive"],
        ease["coast"],
        drawing_backlash_mm=START_BACKLASH_IN * MM_PER_IN,
    )
    levels = {
        side: np.clip(1.0 - marks.side(side).gap_mm / FILM_MM, -4.0, 1.0).astype(np.float64)
        for side in SIDES
    }
    return PairMarks(levels, float(marks.backlash_mm / MM_PER_IN))
