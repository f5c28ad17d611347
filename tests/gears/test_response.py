"""Which way marks go, against printed rules and contact analysis; where they contradict it is said."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pattern.errors import InvalidInput
from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import evaluate, evaluate_batch
from pattern.gears.kinematics import Moves
from pattern.gears.prior import draw_blanks
from pattern.gears.published import TABLES, agreement
from pattern.gears.response import MOVES, response
from pattern.gears.sign_sweep import (
    best_threshold,
    cutter_and_cones_apart,
    hit_rate,
    sweep,
    turning_point,
)
from pattern.records import SIDES, Axle
from tests.gears.sets import BEVEL, TAPERED, TRUCK, UNIFORM, blank

BY_NAME = {table.name: table for table in TABLES}


@pytest.fixture(scope="module")
def tapered():
    return response(TAPERED, "tapered")


@pytest.fixture(scope="module")
def uniform():
    return response(TRUCK, "uniform")


def test_tapered_sets_agree_with_the_truck_manual_on_both_sides(tapered):
    """TM 9-2320-266-34 para 19-5c: pinion out, drive high on the heel and coast high on the toe."""
    shares = [share for _, share in agreement(BY_NAME["truck hypoid manual"], tapered)]
    assert min(shares) >= 0.85


def test_uniform_sets_agree_with_the_grader_manual(uniform):
    """TM 5-3805-260-24 p. 3-244: pinion away, toe of the convex and heel of the concave side."""
    shares = [share for _, share in agreement(BY_NAME["grader spiral bevel manual"], uniform)]
    assert min(shares) >= 0.85


def test_the_two_manuals_contradict_each_other_on_either_set(tapered, uniform):
    """TM 9-2320-266-34 against TM 5-3805-260-24: what one set agrees with, it disagrees with the other."""
    for found, other in ((tapered, "grader spiral bevel manual"), (uniform, "truck hypoid manual")):
        lengthwise = [
            s for rule, s in agreement(BY_NAME[other], found) if rule.axis == "lengthwise"
        ]
        assert max(lengthwise) <= 0.15


@pytest.mark.parametrize(
    "axle", [TAPERED, UNIFORM, TRUCK, BEVEL], ids=lambda a: f"{a.ring_teeth}/{a.pinion_teeth}"
)
def test_deeper_goes_to_the_root_on_both_sides_of_every_set(axle):
    """Every source that names a height (TM 9-2320-266-34, TM 5-3810-300-24&P2 p. 4-255)."""
    found = response(axle, axle.tooth_system)
    for side in SIDES:
        rate = found.profile[side, "pinion"]
        assert rate.value < -0.005
        assert rate.chance_positive < 0.05


def test_less_backlash_moves_the_drive_mark_to_the_toe(tapered, uniform):
    """TM 10-3930-660-34 p. 9-29: decrease backlash to move the patterns toward the toe (drive side)."""
    for found in (tapered, uniform):
        assert found.lengthwise["drive", "ring"].value > 0.005
        assert found.lengthwise["drive", "ring"].chance_positive > 0.95


def test_coast_side_goes_against_the_printed_table_when_the_ring_gear_moves(tapered):
    """Common practice prints toe for less backlash; contact analysis has it move little, to the heel."""
    rate = tapered.lengthwise["coast", "ring"]
    assert -0.010 < rate.value < 0.0
    rules = agreement(BY_NAME["trade table, tapered depth"], tapered)
    printed = next(
        s
        for rule, s in rules
        if (rule.side, rule.axis, rule.move) == ("coast", "lengthwise", "ring")
    )
    assert printed < 0.3


def test_sizes_are_those_the_trade_names(tapered, uniform):
    """Common practice, no source: 0.01 to 0.03 of the tooth per 0.001 in of pinion, less of ring gear."""
    for found in (tapered, uniform):
        for side in SIDES:
            assert 0.01 <= abs(found.profile[side, "pinion"].value) <= 0.03
            assert abs(found.profile[side, "ring"].value) < abs(found.profile[side, "pinion"].value)


def test_what_is_not_known_shows_as_spread(tapered):
    for side in SIDES:
        for move in ("pinion", "pinion_held", "ring"):
            assert tapered.lengthwise[side, move].sd > 0
    assert math.isnan(tapered.lengthwise["drive", "offset"].sd)
    assert set(tapered.backlash) == set(MOVES)


def test_backlash_held_means_that_the_ring_gear_follows(tapered):
    """Depth first, then backlash again: each moves the other (common practice, no source)."""
    follow = -tapered.backlash["pinion"].value / tapered.backlash["ring"].value
    assert follow == pytest.approx(0.45, abs=0.08)
    assert tapered.backlash["pinion_held"].value == pytest.approx(0.0, abs=1e-9)
    for side in SIDES:
        wanted = (
            tapered.lengthwise[side, "pinion"].value
            + follow * tapered.lengthwise[side, "ring"].value
        )
        assert tapered.lengthwise[side, "pinion_held"].value == pytest.approx(wanted, abs=1e-9)


def test_holding_the_backlash_halves_what_a_tapered_drive_side_answers_lengthwise(tapered):
    """Found by this computation; no source says it."""
    alone, held = (tapered.lengthwise["drive", move].value for move in ("pinion", "pinion_held"))
    assert alone < held < 0.0
    assert held / alone == pytest.approx(0.5, abs=0.2)


def test_knowing_the_cutter_narrows_the_lengthwise_answer():
    loose = response(Axle(41, 11, 8.5), "uniform")
    known = Axle(
        41, 11, 8.5, cutter_radius_in=3.2, offset_in=1.25, face_width_in=1.3, spiral_angle_deg=29.0
    )
    tight = response(known, "uniform")
    sure = [
        abs(found.lengthwise["drive", "pinion"].chance_positive - 0.5) for found in (loose, tight)
    ]
    assert sure[1] >= sure[0]


def test_a_response_is_kept_for_the_same_axle():
    assert response(TAPERED, "tapered") is response(TAPERED, "tapered")


def test_less_crowning_moves_the_mark_more():
    """Common practice, no source: a set with little crowning moves more."""
    flat, round_ = (
        evaluate(blank("tapered"), Moves(0.05), EaseOff(crown, 0.02), EaseOff()).drive.lengthwise
        for crown in (0.02, 0.06)
    )
    assert abs(flat - 0.5) > 1.5 * abs(round_ - 0.5)


def test_draws_keep_what_is_given_and_vary_the_rest():
    drawn = draw_blanks(Axle(41, 11, 8.5, offset_in=1.25), "tapered", 6)
    assert {one.offset_mm for one in drawn} == {1.25 * 25.4}
    assert len({one.cutter_radius_mm for one in drawn}) == 6
    assert drawn == draw_blanks(Axle(41, 11, 8.5, offset_in=1.25), "tapered", 6)


def test_the_sweep_finds_the_sign_by_tooth_system_and_by_ratio():
    """Sizes found before: tooth system alone right for 97 % of drive and 92 % of coast sides (no source)."""
    usual = sweep(60, 5, wide=False)
    assert hit_rate(usual.uniform, usual.drive) > 0.88
    assert hit_rate(~usual.uniform, usual.coast) > 0.75
    wide = sweep(60, 6, wide=True)
    for side in SIDES:
        assert best_threshold(wide.ratio, getattr(wide, side))[1] > 0.8


def test_the_turning_point_falls_with_the_offset():
    wide = sweep(80, 7, wide=True)
    small, large = wide.offset < 0.1, wide.offset > 0.14
    for side in SIDES:
        rate = getattr(wide, side)
        assert turning_point(wide.ratio[small], rate[small]) > turning_point(
            wide.ratio[large], rate[large]
        )


def test_it_is_the_cutter_not_the_pitch_cones_that_turns_the_sign():
    small, large = (cutter_and_cones_apart(TAPERED, share) for share in (0.6, 1.1))
    for at in (0, 1):
        assert small.both[at] * large.both[at] < 0
        assert small.cutter[at] * large.cutter[at] < 0
        assert small.cones[at] * large.cones[at] > 0


def test_turning_point_of_a_straight_line():
    ratio = np.linspace(0.5, 1.2, 20)
    assert turning_point(ratio, 3 * (0.8 - ratio)) == pytest.approx(0.8)
    assert math.isnan(turning_point(ratio, np.full(20, 0.5)))


@pytest.mark.parametrize(
    "moves", [Moves(2.0), Moves(0.0, -3.0), Moves(0.0, 0.0, math.nan), Moves(shaft_angle_rad=0.1)]
)
def test_moves_beyond_the_teeth_are_refused(moves):
    with pytest.raises(InvalidInput) as caught:
        evaluate_batch(blank("tapered"), moves, EaseOff(), EaseOff())
    assert "computation holds up to" in caught.value.message
