"""Trying moves on the page: the marks must go where the trade's rules say."""

from __future__ import annotations

import pytest

from pattern import advise
from pattern.advice.what_if import systems_of, what_if
from pattern.errors import InvalidInput
from pattern.records import Axle, Roll, SideReading

TAPERED = Axle(41, 11, 8.5, tooth_system="tapered", cutter_radius_in=4.5)
MIDDLE = Roll(
    SideReading(0.5, 0.5, length=0.45, width=0.5),
    SideReading(0.5, 0.5, length=0.45, width=0.5),
    backlash_in=0.008,
)


def test_without_a_move_the_marks_stay_where_they_were_measured_within_their_spread() -> None:
    still = what_if(TAPERED, [MIDDLE], 0.0, 0.0, "tapered")
    for mark in (still.drive, still.coast):
        assert mark is not None
        assert mark.lengthwise == pytest.approx(0.5, abs=0.03)
        assert mark.profile == pytest.approx(0.5, abs=0.05)
    assert still.backlash_in == pytest.approx(0.008, abs=0.0005)


def test_the_advised_move_shows_what_the_advice_expects_of_it() -> None:
    roll = Roll(SideReading(0.62, 0.70), SideReading(0.38, 0.70), backlash_in=0.009)
    advice = advise(TAPERED, [roll])
    assert advice.verdict == "adjust"
    assert advice.expected is not None
    assert advice.pinion_move_in is not None
    assert advice.ring_move_in is not None
    shown = what_if(TAPERED, [roll], advice.pinion_move_in, advice.ring_move_in, "tapered")
    assert shown == advice.expected


@pytest.mark.parametrize("move_in", [0.004, -0.004])
def test_a_pinion_move_goes_the_way_of_the_army_manuals_on_tapered_teeth(move_in: float) -> None:
    """TM 9-2320-266-34, para 19-5c: pinion out shows high on the heel of the drive side and high on
    the toe of the coast side; so deeper is toward root and toe on drive, root and heel on coast."""
    expected = what_if(TAPERED, [MIDDLE], move_in, 0.0, "tapered")
    assert expected.drive is not None
    assert expected.coast is not None
    deeper = move_in > 0
    assert (expected.drive.profile < 0.5) == deeper
    assert (expected.coast.profile < 0.5) == deeper
    assert (expected.drive.lengthwise < 0.5) == deeper
    assert (expected.coast.lengthwise > 0.5) == deeper


def test_a_ring_gear_move_changes_backlash_within_the_published_band() -> None:
    """TM 9-2320-289-34 p. 6-19: 0.010 in of shim gave 0.005 to 0.008 in of backlash, 0.5 to 0.8."""
    away = what_if(TAPERED, [MIDDLE], 0.0, 0.004, "tapered")
    still = what_if(TAPERED, [MIDDLE], 0.0, 0.0, "tapered")
    assert away.backlash_in is not None
    assert still.backlash_in is not None
    assert 0.5 < (away.backlash_in - still.backlash_in) / 0.004 < 0.8


def test_more_backlash_goes_toward_the_heel_of_the_drive_side() -> None:
    """TM 10-3930-660-34 p. 9-29: "Increase backlash ... toward the heel" (drive side)."""
    away = what_if(TAPERED, [MIDDLE], 0.0, 0.004, "tapered")
    assert away.drive is not None
    assert away.drive.lengthwise > 0.5


def test_a_move_that_would_bind_shows_no_backlash() -> None:
    assert what_if(TAPERED, [MIDDLE], 0.010, -0.020, "tapered").backlash_in == 0.0


@pytest.mark.parametrize("move_in", [4.0, float("nan")])
def test_thousandths_given_as_inches_are_refused(move_in: float) -> None:
    with pytest.raises(InvalidInput, match=r"0\.004 for four thousandths"):
        what_if(TAPERED, [MIDDLE], move_in, 0.0, "tapered")


def test_both_tooth_systems_are_tried_where_the_axle_does_not_say() -> None:
    assert systems_of(Axle(41, 11, 8.5)) == ("tapered", "uniform")
    assert systems_of(TAPERED) == ("tapered",)
