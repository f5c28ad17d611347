"""The estimate finds hidden errors, and its stated spread covers them (known truth, drawn sets)."""

from __future__ import annotations

import numpy as np
import pytest

from pattern.advice.choose import mix
from pattern.advice.correction import fits
from pattern.advice.evidence import gather
from pattern.advice.plausible import mendable
from pattern.advice.response import HOUSING, documented_response
from pattern.records import Roll
from pattern.synthetic.closed_loop import SCENARIOS, drawn_job
from pattern.synthetic.drawn_sets import LinearSet, Noise, rolled
from tests.advice.cases import axle, roll

TAPERED = next(s for s in SCENARIOS if s.name == "tapered")


def believed(rolls: list[Roll], **changes: object) -> tuple[np.ndarray, np.ndarray]:
    known = axle(**changes)
    belief, _ = mix(fits(known, gather(known, rolls)))
    place = np.array([belief.pinion_thou, belief.ring_thou])
    return place.mean(axis=1), place.std(axis=1)


def test_the_stated_spread_covers_the_true_error_of_sets_of_another_make() -> None:
    # drawn sets that know nothing of this model; 2 sd should hold about 95 %
    scores = []
    for index in range(20):
        drawn, at, rng = drawn_job(LinearSet, TAPERED, index)
        mean, sd = believed([rolled(drawn, at, None, Noise(), rng)])
        scores.append((np.array(at) - mean) / sd)
    inside = np.mean(np.abs(scores) < 2.0)
    assert 0.85 <= inside <= 1.0
    assert np.std(scores) > 0.4  # nor is it wide for safety's sake


def test_every_roll_narrows_the_estimate() -> None:
    far = roll((0.62, 0.70), (0.34, 0.70), 0.008)
    near = roll((0.52, 0.56), (0.44, 0.56), 0.0072, pinion_move_in=0.005, ring_move_in=0.001)
    assert np.all(believed([far, near])[1] < believed([far])[1])


def test_without_the_backlash_pinion_and_ring_gear_are_hard_to_tell_apart() -> None:
    # common practice, no source: both move one mark along nearly the same line
    marks = (0.62, 0.70), (0.34, 0.70)
    blind, seen = believed([roll(*marks, None)]), believed([roll(*marks, 0.008)])
    assert blind[1][1] > 1.5 * seen[1][1]


def test_the_rolls_tell_the_tooth_system() -> None:
    # the pinion went 0.006 in deeper with the backlash held, and the marks went to the ends that
    # TM 9-2320-266-34 para 19-5c gives for tapered teeth: drive to the toe, coast to the heel
    known = axle(tooth_system="unknown")
    before = roll((0.60, 0.66), (0.36, 0.66), 0.008)
    after = roll((0.48, 0.53), (0.47, 0.53), 0.0083, pinion_move_in=0.006, ring_move_in=0.003)
    belief, _ = mix(fits(known, gather(known, [before, after])))
    assert belief.uniform.mean() < 0.1


def test_no_roll_is_needed_to_be_told_twice() -> None:
    marks = roll((0.62, 0.70), (0.34, 0.70), 0.008)
    first, again = believed([marks]), believed([marks])
    assert np.array_equal(first[0], again[0])


@pytest.mark.parametrize(("housing", "likely"), [(0.0, True), (0.3, False)])
def test_a_set_with_one_side_high_and_the_other_low_is_beyond_mending(
    housing: float, likely: bool
) -> None:
    # lame contact: both members take both sides the same way in height, so no shim mends it
    # (TM 10-3930-643-34 p. 16-30 rejects what shims cannot bring together)
    response = documented_response(axle(), "tapered").mean[None].copy()
    response[0, HOUSING] = 0.0, housing, 0.0, -housing
    assert bool(mendable(response, (6.0, 10.0))[0] > 0.5) is likely
