"""What a shop may get wrong or leave out: a safe next step with the field named, no silent guess."""

from __future__ import annotations

import pytest

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
