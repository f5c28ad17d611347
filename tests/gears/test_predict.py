"""Predicting marks: signs, backlash, unknown tooth systems, refusals."""

from __future__ import annotations

import math
import random

import pytest

from pattern import predict
from pattern.errors import InvalidAxle, InvalidInput, PatternError
from pattern.gears.blank import blank_from_axle
from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import COARSE, evaluate
from pattern.gears.kinematics import Moves
from pattern.records import Axle, SideReading
from tests.gears.sets import TAPERED, UNIFORM


def test_a_set_that_stands_right_marks_the_middle_at_its_backlash():
    found = predict(TAPERED)
    for side in (found.drive, found.coast):
        assert side.lengthwise == pytest.approx(0.5, abs=0.02)
        assert side.profile == pytest.approx(0.5, abs=0.02)
    assert found.backlash_in == pytest.approx(0.008, abs=2e-5)


@pytest.mark.parametrize(
    ("axle", "drive", "coast"),
    [(TAPERED, "toe", "heel"), (UNIFORM, "heel", "toe")],
    ids=["tapered", "uniform"],
)
def test_deeper_pinion_parts_the_two_sides_by_the_tooth_system(axle, drive, coast):
    """Trade table by tooth system (common practice, no source; tapered: TM 9-2320-266-34 para 19-5c)."""
    still, depth = predict(axle), predict(axle, +0.004)
    for side, end in (("drive", drive), ("coast", coast)):
        shift = getattr(depth, side).lengthwise - getattr(still, side).lengthwise
        assert (shift > 0) == (end == "heel")
        assert getattr(depth, side).profile < getattr(still, side).profile - 0.03


@pytest.mark.parametrize("axle", [TAPERED, UNIFORM], ids=["tapered", "uniform"])
def test_the_ring_gear_follows_the_pinion_by_about_half_to_hold_the_backlash(axle):
    """Common practice, no source: about 0.45 in of ring gear per in of pinion."""
    assert predict(axle, +0.004, +0.004 * 0.45).backlash_in == pytest.approx(0.008, abs=3.5e-4)


def test_ring_gear_away_opens_the_backlash_by_seven_tenths():
    """Common practice, no source: 0.7 in of backlash per in moved."""
    assert predict(TAPERED, 0.0, 0.003).backlash_in - predict(TAPERED).backlash_in == pytest.approx(
        0.0021, abs=2e-4
    )


def test_an_unknown_tooth_system_gives_both():
    found = predict(Axle(41, 11, 8.5), 0.003)
    assert (found.system, found.other.system) == ("tapered", "uniform")
    assert "tooth_system" in found.assumed
    assert found.other.other is None
    assert predict(TAPERED, 0.003).other is None


def test_a_further_move_is_less_sure():
    near, far = predict(TAPERED, 0.001), predict(TAPERED, 0.005)
    assert far.drive.lengthwise_sd > near.drive.lengthwise_sd
    assert far.backlash_sd_in > near.backlash_sd_in


def test_a_given_backlash_is_the_one_before_the_moves():
    assert predict(TAPERED, backlash_in=0.012).backlash_in == pytest.approx(0.012, abs=2e-5)


def test_moves_that_leave_no_backlash_are_refused():
    with pytest.raises(InvalidInput) as caught:
        predict(TAPERED, 0.0, -0.015)
    assert caught.value.subject == "ring_move_in"
    assert "no backlash" in caught.value.message


@pytest.mark.parametrize("move", [4.0, math.nan, math.inf, -0.2])
def test_moves_in_the_wrong_unit_are_refused(move):
    with pytest.raises(InvalidInput) as caught:
        predict(TAPERED, move)
    assert caught.value.subject == "pinion_move_in"


def test_contradictory_data_name_the_field():
    with pytest.raises(InvalidAxle) as caught:
        predict(Axle(41, 11, 8.5, tooth_system="tapered", offset_in=3.5))
    assert caught.value.subject == "offset_in"


def test_a_mark_off_the_tooth_is_none():
    """Far too deep, the pinion touches only along an edge: still a mark; nothing at all is None."""
    found = predict(
        TAPERED,
        0.0,
        0.0,
        film_mm=0.0011,
        drive=EaseOff(0.5, 0.5, 0.0),
        coast=EaseOff(0.5, 0.5, 0.0),
    )
    for side in (found.drive, found.coast):
        assert side is None or side.length < 0.2


@pytest.mark.parametrize("seed", range(12))
def test_whatever_the_axle_says_there_are_marks_or_a_named_refusal(seed):
    """Drawn axles, many of them impossible: never a crash, never a number that is none."""
    draw = random.Random(seed)
    for _ in range(4):
        ring, diameter = draw.randint(24, 60), draw.uniform(4, 20)
        given = {
            "face_width_in": draw.uniform(0.08, 0.25) * diameter,
            "offset_in": draw.choice([0.0, draw.uniform(0, 0.3) * diameter]),
            "cutter_radius_in": draw.uniform(0.2, 0.8) * diameter,
            "spiral_angle_deg": draw.uniform(0, 60),
            "pressure_angle_coast_deg": draw.uniform(8, 35),
        }
        chosen = {name: value for name, value in given.items() if draw.random() < 0.3}
        system = draw.choice(["tapered", "uniform"])
        try:
            axle = Axle(ring, draw.randint(4, 20), diameter, tooth_system=system, **chosen)
            one = blank_from_axle(axle)
            found = evaluate(one, Moves(draw.uniform(-0.2, 0.2), draw.uniform(-0.2, 0.2)), EaseOff(), EaseOff(),
                             resolution=COARSE)  # fmt: skip
        except PatternError as fault:
            assert fault.subject
            assert fault.remedy
            continue
        assert math.isfinite(found.backlash_mm)
        for mark in (found.drive, found.coast):
            assert 0 <= mark.area <= 1
            assert mark.area == 0 or (0 <= mark.lengthwise <= 1 and 0 <= mark.profile <= 1)


def test_the_size_of_a_mark_seen_tells_how_far_it_moves():
    """Common practice, no source: a set with little crowning, so a long mark, moves more."""
    short, long_ = (
        predict(
            TAPERED, 0.003, drive=SideReading(0.5, 0.5, length=length, width=0.5)
        ).drive.lengthwise
        for length in (0.30, 0.65)
    )
    assert abs(long_ - 0.5) > 1.5 * abs(short - 0.5)


def test_a_mark_seen_narrows_the_prediction():
    blind = predict(TAPERED, 0.004)
    seen = predict(
        TAPERED, 0.004, drive=SideReading(0.5, 0.5, length=0.45, width=0.5, tilt_deg=5.0)
    )
    assert seen.drive.lengthwise_sd < blind.drive.lengthwise_sd
