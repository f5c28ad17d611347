"""Trying moves on the page: the marks must go where the trade's rules say."""

from __future__ import annotations

import pytest

from pattern.advice.what_if import systems_of, what_if
from pattern.records import Axle, Roll, SideReading

TAPERED = Axle(41, 11, 8.5, tooth_system="tapered", cutter_radius_in=4.5)
MIDDLE = Roll(
    SideReading(0.5, 0.5, length=0.45, width=0.5),
    SideReading(0.5, 0.5, length=0.45, width=0.5),
    backlash_in=0.008,
)


def test_no_move_leaves_every_number_as_it_was_measured() -> None:
    expected = what_if(TAPERED, MIDDLE, None, 0.0, 0.0, "tapered")
    assert (expected.drive, expected.coast) == (MIDDLE.drive, MIDDLE.coast)
    assert expected.backlash_in == MIDDLE.backlash_in


@pytest.mark.parametrize("move_in", [0.004, -0.004])
def test_a_pinion_move_goes_the_way_of_the_army_manuals_on_tapered_teeth(move_in: float) -> None:
    """TM 9-2320-266-34, para 19-5c: pinion out shows high on the heel of the drive side and high on
    the toe of the coast side; so deeper is toward root and toe on drive, root and heel on coast."""
    expected = what_if(TAPERED, MIDDLE, None, move_in, 0.0, "tapered")
    assert expected.drive is not None
    assert expected.coast is not None
    deeper = move_in > 0
    assert (expected.drive.profile < 0.5) == deeper
    assert (expected.coast.profile < 0.5) == deeper
    assert (expected.drive.lengthwise < 0.5) == deeper
    assert (expected.coast.lengthwise > 0.5) == deeper


def test_a_ring_gear_move_changes_backlash_within_the_published_band() -> None:
    """TM 9-2320-289-34 p. 6-19: 0.010 in of shim gave 0.005 to 0.008 in of backlash, 0.5 to 0.8."""
    away = what_if(TAPERED, MIDDLE, None, 0.0, 0.004, "tapered")
    assert away.backlash_in is not None
    assert 0.5 < (away.backlash_in - 0.008) / 0.004 < 0.8


def test_more_backlash_goes_toward_the_heel_of_the_drive_side() -> None:
    """TM 10-3930-660-34 p. 9-29: "Increase backlash ... toward the heel" (drive side)."""
    away = what_if(TAPERED, MIDDLE, None, 0.0, 0.004, "tapered")
    assert away.drive is not None
    assert away.drive.lengthwise > 0.5


def test_a_move_that_would_bind_is_seen_in_the_backlash() -> None:
    bound = what_if(TAPERED, MIDDLE, None, 0.010, -0.010, "tapered")
    assert bound.backlash_in is not None
    assert bound.backlash_in < 0


def test_a_side_that_was_not_read_is_not_made_up() -> None:
    expected = what_if(TAPERED, Roll(drive=MIDDLE.drive), None, 0.002, 0.0, "tapered")
    assert expected.coast is None
    assert expected.backlash_in is None


def test_both_tooth_systems_are_tried_where_the_axle_does_not_say() -> None:
    assert systems_of(Axle(41, 11, 8.5)) == ("tapered", "uniform")
    assert systems_of(TAPERED) == ("tapered",)
