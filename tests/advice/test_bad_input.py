"""What a shop may get wrong or leave out: a safe next step with the field named, no silent guess."""

from __future__ import annotations

import pytest

from pattern.errors import NoCorrection
from pattern.setup.stacks import ShimKit, ShimSize
from tests.advice.cases import advise, axle, roll

FAR_OUT = ((0.75, 0.80), (0.30, 0.80))
NEARLY_RIGHT = ((0.55, 0.55), (0.47, 0.55))


def test_moves_that_the_marks_never_followed_stop_the_advice() -> None:
    # twelve times 0.006 in deeper and the mark where it was: no set answers so
    deeper = roll(*NEARLY_RIGHT, 0.0065, pinion_move_in=0.006, ring_move_in=0.0)
    advice = advise(axle(), roll(*FAR_OUT), *[deeper] * 12)
    assert advice.verdict == "undecided"
    assert advice.pinion_move_in is None
    assert advice.flags == ("contradiction",)
    assert "pinion_move_in" in advice.reasons[0]


def test_a_backlash_ten_times_too_large_is_asked_for_again() -> None:
    advice = advise(axle(), roll(*FAR_OUT, 0.090))
    assert advice.verdict == "undecided"
    assert "rolls[0].backlash_in: 0.09" in advice.reasons[0]


def test_a_mark_that_moved_without_a_recorded_move_asks_for_it() -> None:
    advice = advise(axle(), roll(*FAR_OUT), roll(*NEARLY_RIGHT, 0.0065))
    assert advice.verdict == "undecided"
    assert "No move is recorded for rolls[1]" in advice.reasons[0]


def test_rolling_again_without_a_move_is_no_contradiction() -> None:
    advice = advise(axle(), roll(*FAR_OUT), roll((0.73, 0.82), (0.31, 0.78)))
    assert advice.verdict == "adjust"


def test_honest_rolls_do_not_stop_the_advice() -> None:
    deeper = roll(*NEARLY_RIGHT, 0.0065, pinion_move_in=0.006, ring_move_in=0.0)
    assert advise(axle(), roll(*FAR_OUT), deeper).verdict in ("adjust", "accept")


@pytest.mark.parametrize("system", ["tapered", "uniform", "unknown"])
def test_without_backlash_the_ring_gear_is_never_moved_closer(system: str) -> None:
    for drive, coast in (FAR_OUT, NEARLY_RIGHT, ((0.3, 0.2), (0.7, 0.2)), ((0.7, 0.5), (0.5, 0.5))):
        advice = advise(axle(tooth_system=system), roll(drive, coast, None))
        assert advice.verdict != "accept"
        assert (advice.ring_move_in or 0.0) >= 0.0
        assert any("Measure it" in reason for reason in advice.reasons)


def test_one_roll_is_not_called_all_rolls() -> None:
    reasons = " ".join(advise(axle(), roll(*FAR_OUT)).reasons)
    assert "This roll: pinion" in reasons
    assert "All 1 rolls" not in reasons


def test_a_hopeless_ring_gear_move_is_not_said_to_mend_the_set() -> None:
    advice = advise(axle(), roll(*FAR_OUT, 0.0))
    assert advice.chance is not None and advice.chance < 0.5
    assert not any("alone mends it" in reason for reason in advice.reasons)


def test_limits_that_no_shim_can_hold_are_named() -> None:
    with pytest.raises(NoCorrection) as caught:
        advise(axle(backlash_min_in=0.0060, backlash_max_in=0.0061), roll(*FAR_OUT))
    assert "backlash_min_in" in caught.value.subject
    # 0.006 to 0.007 in is a published limit: TM 10-3930-669-34 p. 10-29
    advise(axle(backlash_min_in=0.006, backlash_max_in=0.007), roll(*FAR_OUT))


def test_a_depth_shim_too_thin_for_the_move_is_named() -> None:
    # the pinion has to come in, and under a cartridge that takes shim out: TM 5-3810-300-24&P2 p. 4-255
    with pytest.raises(NoCorrection, match="pinion deeper") as caught:
        advise(axle(depth_shim="cartridge", depth_shim_in=0.001), roll(*FAR_OUT))
    assert caught.value.subject == "depth_shim_in"
    # under the head the same move adds shim, so a thin one stands in nobody's way
    thin = advise(axle(depth_shim="pinion_head", depth_shim_in=0.001), roll(*FAR_OUT))
    assert thin.verdict == "adjust"
    assert thin.pinion_move_in is not None and thin.pinion_move_in > 0.004


def test_a_kit_that_cannot_make_the_depth_shim_is_named() -> None:
    kit = ShimKit("one size", "in", depth=(ShimSize(0.030, 1),))
    with pytest.raises(NoCorrection, match="more sizes in the kit"):
        advise(axle(), roll(*FAR_OUT), kit=kit)
