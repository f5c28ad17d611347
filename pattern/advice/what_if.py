"""What if: where the marks should go with moves that the user tries out, by the advice's own belief.

The same fitted draws of the set that the advice rests on (contact analysis and the trade's sizes,
weighed by the job's rolls) are moved, so that the advised move shows what the advice expects of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from math import isfinite

from pattern.advice.choose import Belief, Choice
from pattern.advice.correction import believe, fits, settle
from pattern.advice.evidence import gather
from pattern.advice.outlook import expected
from pattern.advice.response import System
from pattern.errors import InvalidInput
from pattern.records import Axle, Expected, Roll

REACH_IN = 0.03
"""Beyond this the fitted response is no guide."""


def systems_of(axle: Axle) -> tuple[System, ...]:
    """The tooth systems the set may have: one where it is known, both where it is not."""
    return ("tapered", "uniform") if axle.tooth_system == "unknown" else (axle.tooth_system,)


def what_if(
    axle: Axle,
    rolls: Sequence[Roll],
    pinion_move_in: float,
    ring_move_in: float,
    system: System,
) -> Expected:
    """Marks and backlash after these moves from where the last roll stands, inches.

    + is deeper and away from the pinion. `system` is the tooth system to suppose. A backlash of zero
    means that the set would bind. Raises InvalidInput for moves that the estimate cannot judge.
    """
    for name, move_in in (("pinion_move_in", pinion_move_in), ("ring_move_in", ring_move_in)):
        if not isfinite(move_in) or abs(move_in) > REACH_IN:
            raise InvalidInput(
                f"{move_in!r} is not a move within {REACH_IN} in",
                subject=name,
                remedy="Inches are meant: 0.004 for four thousandths",
            )
    belief = _belief(replace(axle, tooth_system=system), tuple(rolls))
    move = Choice(1000.0 * pinion_move_in, 1000.0 * ring_move_in, 0.0, 0.0, 0.0, 0.0)
    return expected(belief, move)


@lru_cache(maxsize=8)
def _belief(axle: Axle, rolls: tuple[Roll, ...]) -> Belief:
    evidence = gather(axle, rolls)
    return believe(axle, rolls, evidence, settle(fits(axle, evidence)))[0]
