"""A left-hand set is the mirror image of the right-hand one; every step must agree to rounding."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pattern.gears.blank import blank_from_axle
from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import evaluate
from pattern.gears.flank import ring_flank
from pattern.gears.kinematics import Moves
from pattern.records import SIDES
from tests.gears.sets import ALL

U, V = np.linspace(0, 1, 7)[:, None], np.linspace(0, 1, 5)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("name", ALL)
def test_flanks_are_mirrored_in_y(name, side):
    right, left = (blank_from_axle(replace(ALL[name], hand=hand)) for hand in ("right", "left"))
    (point, normal), (point_left, normal_left) = (
        ring_flank(one, side, U, V) for one in (right, left)
    )
    mirror = np.array([1.0, -1.0, 1.0])
    assert np.allclose(point * mirror, point_left, atol=1e-9)
    assert np.allclose(normal * mirror, normal_left, atol=1e-9)


@pytest.mark.parametrize("name", ["tapered", "uniform"])
def test_marks_and_backlash_are_the_same_in_tooth_coordinates(name):
    moves = Moves(0.07, -0.04, 0.03, 4e-4)
    drive, coast = EaseOff(0.03, 0.02, 0.008), EaseOff(0.04, 0.015, -0.004)
    right, left = (
        evaluate(blank_from_axle(replace(ALL[name], hand=hand)), moves, drive, coast)
        for hand in ("right", "left")
    )
    assert left.backlash_mm == pytest.approx(right.backlash_mm, abs=1e-9)
    for side in SIDES:
        assert np.allclose(left.side(side).mask, right.side(side).mask, atol=1e-6)
        assert left.side(side).tilt_deg == pytest.approx(right.side(side).tilt_deg, abs=1e-6)


def test_the_two_sides_do_not_swap():
    """An asymmetric case, so that a swap of sides or ends cannot go unseen."""
    one = blank_from_axle(ALL["tapered"])
    thin, thick = EaseOff(0.010, 0.02), EaseOff(0.080, 0.02)
    marks = evaluate(one, Moves(), thin, thick)
    length = [np.diff(marks.side(side).extent_lengthwise)[0] for side in SIDES]
    assert length[0] > 1.8 * length[1]
