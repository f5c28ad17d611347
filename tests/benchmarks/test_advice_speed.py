"""One advice with five rolls: at most half a second, set computed before.

By the clock: processor time would count a second thread of the linear algebra that waits most of the time.
"""

from __future__ import annotations

import time

import pytest

from tests.advice.cases import advise, axle, roll

ROLLS = (
    roll((0.65, 0.72), (0.30, 0.70), 0.0080),
    roll((0.56, 0.61), (0.40, 0.61), 0.0085, pinion_move_in=0.005, ring_move_in=0.002),
    roll((0.52, 0.55), (0.45, 0.56), 0.0080, pinion_move_in=0.002, ring_move_in=0.001),
    roll((0.50, 0.53), (0.45, 0.54), 0.0082, pinion_move_in=0.001, ring_move_in=0.001),
    roll((0.50, 0.52), (0.46, 0.50), 0.0080, pinion_move_in=0.001, ring_move_in=0.0),
)
MOST_S = 0.5


@pytest.mark.bench
@pytest.mark.parametrize("system", ["tapered", "unknown"])
def test_one_advice_with_five_rolls_is_quick(system: str) -> None:
    known = axle(tooth_system=system)
    advise(known, *ROLLS)
    best = float("inf")
    for _ in range(5):
        start = time.perf_counter()
        advise(known, *ROLLS)
        best = min(best, time.perf_counter() - start)
    print(f"{system}: {1000 * best:.0f} ms")
    assert best < MOST_S
