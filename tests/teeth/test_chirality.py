"""Which end is the toe: derived from the 3-D tooth form, not from a table."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pattern.records import Direction, Hand, Side
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.tooth_form import flank_points
from pattern.teeth.chirality import (
    direction_of,
    outline_runs_clockwise,
    runs_clockwise,
    signed_area_px2,
    tip_from_toe,
    toe_from_tip,
)
from tests.drawn import camera

EVERY = list(itertools.product(("drive", "coast"), ("right", "left")))


def _corners(
    side: Side, hand: Hand, system: str, roll_deg: float, tilt: tuple[float, float]
) -> np.ndarray:
    """Corners of tooth 0 as a pinhole camera sees them, y down."""
    spec = RingSpec(hand=hand, tooth_system=system)  # type: ignore[arg-type]
    turned, position, _ = camera(spec, side, tilt_deg=tilt, distance_mm=200.0, roll_deg=roll_deg)
    at = np.array([[0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]])
    local = (flank_points(spec, side, at[:, 0], at[:, 1]) - position) @ turned.T
    return np.asarray(local[:, :2] / local[:, 2:])


@pytest.mark.parametrize(("side", "hand"), EVERY)
@pytest.mark.parametrize("system", ["tapered", "uniform"])
def test_the_corners_run_the_way_the_tooth_form_says(side: Side, hand: Hand, system: str) -> None:
    # the definition of a right-hand spiral: ANSI/AGMA 1012-G05 (from memory); the tooth form has it
    for roll, a, b in itertools.product((0.0, 77.0, 190.0), (-30.0, 0.0, 30.0), (5.0, 40.0)):
        corners = _corners(side, hand, system, roll, (a, b))
        assert outline_runs_clockwise(corners) == runs_clockwise(side, hand)


@pytest.mark.parametrize(("side", "hand"), EVERY)
def test_with_the_tip_up_the_toe_is_where_the_camera_sees_it(side: Side, hand: Hand) -> None:
    corners = _corners(side, hand, "tapered", 0.0, (0.0, 20.0))
    assert direction_of(corners[:2].mean(axis=0) - corners[2:].mean(axis=0)) == "up"
    toe = direction_of(corners[[0, 3]].mean(axis=0) - corners[[1, 2]].mean(axis=0))
    assert toe_from_tip("up", side, hand) == toe


def test_a_right_hand_drive_side_shows_its_toe_on_the_right() -> None:
    assert toe_from_tip("up", "drive", "right") == "right"
    assert toe_from_tip("up", "coast", "right") == "left"
    assert toe_from_tip("up", "drive", "left") == "left"
    assert toe_from_tip("up", "coast", "left") == "right"


@pytest.mark.parametrize(("side", "hand"), EVERY)
@pytest.mark.parametrize("tip", ["up", "down", "left", "right"])
def test_toe_and_tip_are_each_others_inverse(side: Side, hand: Hand, tip: Direction) -> None:
    toe = toe_from_tip(tip, side, hand)
    assert toe != tip
    assert tip_from_toe(toe, side, hand) == tip


def test_a_mirror_image_turns_the_sense_round() -> None:
    corners = np.array([[10.0, 0.0], [0.0, 0.0], [0.0, 5.0], [10.0, 5.0]])
    assert signed_area_px2(corners) == pytest.approx(-50.0)
    assert not outline_runs_clockwise(corners)
    assert outline_runs_clockwise(corners * [-1, 1])
