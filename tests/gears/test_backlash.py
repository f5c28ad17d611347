"""Backlash: rates by rigid-body kinematics, trade figures, dial readings."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.interpolate import RectBivariateSpline

from pattern.gears.backlash import (
    dial_reading_mm,
    heel_radius_mm,
    normal_arm_mm,
    rigid_backlash_rate,
)
from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import evaluate
from pattern.gears.flank import ring_flank
from pattern.gears.kinematics import Moves
from pattern.gears.lattice import tooth_lattice
from pattern.gears.mesh_cycle import approach, mesh_cycle
from pattern.gears.separation import separation
from pattern.records import SIDES
from tests.gears.sets import ALL, blank

# what each move does to a ring gear point as the pinion sees it, per mm or rad: a deeper pinion meets it
# further along +x; the ring gear moves along +z; a larger offset takes the pinion to +y on a right-hand
# set; a larger shaft angle turns the pinion's shaft away from the ring gear's back, about y
MOVES = {
    "pinion_mm": (0.002, lambda place, sign: (1.0, 0.0, 0.0)),
    "ring_mm": (0.002, lambda place, sign: (0.0, 0.0, 1.0)),
    "offset_mm": (0.002, lambda place, sign: (0.0, -sign, 0.0)),
    "shaft_angle_rad": (3e-5, lambda place, sign: (-place[2], 0.0, place[0])),
}


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("move", MOVES)
def test_gap_rates_are_those_of_rigid_bodies(name, side, move):
    """A small move d changes the carrying pair's angular gap by −n·d over the normal's lever: 0.1 %."""
    one = blank(name)
    lattice = tooth_lattice(one, side, 41, 21)
    step, displacement = MOVES[move]

    def cycle(size):
        found = separation(lattice, Moves(**{move: size}), EaseOff(0.05, 0.05))
        return mesh_cycle(lattice, approach(lattice, found), 16), found

    ahead, behind = cycle(step)[0], cycle(-step)[0]
    rates = (ahead.level - behind.level)[0] / (2 * step)
    here, found = cycle(0.0)
    index = int(here.level[0].argmin())  # where contact is in the middle of the tooth
    u, v = here.path[0, index]
    point, normal = ring_flank(one, side, u, v)
    turn = _roll_at(lattice, found, u, v) + one.sign * one.cones.offset_axial_rad
    spin = np.array(
        [[math.cos(turn), -math.sin(turn), 0], [math.sin(turn), math.cos(turn), 0], [0, 0, 1]]
    )
    place, out = spin @ point, spin @ normal
    lever = abs(np.cross(place - [0, one.sign * one.offset_mm, 0], out)[0])
    wanted = -(out @ displacement(place, one.sign)) / lever
    assert rates[index] == pytest.approx(
        wanted, rel=1e-3, abs=2e-6 * (1 if move.endswith("mm") else 50)
    )


def _roll_at(lattice, found, u, v):
    return float(
        RectBivariateSpline(
            lattice.lengthwise, lattice.profile, found.roll[0].reshape(lattice.shape)
        ).ev(u, v)
    )


@pytest.mark.parametrize("name", ALL)
def test_ring_gear_move_to_backlash_is_the_trades_figure(name):
    """2·tan φ·sin Γ (Machinery's Handbook and AGMA 2005 form, from memory), carried to the heel."""
    one = blank(name)
    start = evaluate(one, Moves(), EaseOff(), EaseOff()).backlash_mm
    rate = (evaluate(one, Moves(0.0, 0.05), EaseOff(), EaseOff()).backlash_mm - start) / 0.05
    assert rate == pytest.approx(rigid_backlash_rate(one)[1], rel=0.03)
    # side shims: 0.010 in of shim make 0.005 to 0.008 in (TM 9-2320-289-34 p. 6-19)
    assert 0.5 <= rate <= 0.8


def test_pinion_move_to_backlash_is_about_three_tenths():
    """Common practice, no source: about 0.3 in of backlash per in of pinion with contact at mid-depth."""
    one = blank("tapered")
    start = evaluate(one, Moves(), EaseOff(), EaseOff()).backlash_mm
    rate = (evaluate(one, Moves(0.05), EaseOff(), EaseOff()).backlash_mm - start) / 0.05
    assert rate == pytest.approx(-0.3, abs=0.05)
    assert rate < rigid_backlash_rate(one)[0] < -0.2


@pytest.mark.parametrize(
    ("pressure_deg", "pitch_deg", "wanted"),
    [(20.0, 70.253, 0.685), (20.0, 68.324, 0.676), (20.0, 74.0, 0.700)],
)
def test_first_order_coefficient_in_the_pitch_plane(pressure_deg, pitch_deg, wanted):
    """2·tan αn·sin δ2 for ISO 23509:2016 Annex F.2, F.3 and a typical set (derived)."""
    found = 2 * math.tan(math.radians(pressure_deg)) * math.sin(math.radians(pitch_deg))
    assert found == pytest.approx(wanted, abs=1e-3)


def test_a_dial_along_the_rotation_reads_about_a_third_more():
    """Common practice, no source: about 1.3 times the reading square to the tooth."""
    one = blank("tapered")
    marks = evaluate(one, Moves(0.0, 0.2), EaseOff(), EaseOff())
    assert marks.backlash_rotation_mm / marks.backlash_mm == pytest.approx(1.3, abs=0.05)
    assert marks.backlash_rotation_mm == pytest.approx(
        float(dial_reading_mm(marks.play_rad, heel_radius_mm(one), 0.0))
    )


def test_a_dial_square_to_the_tooth_reads_the_normal_backlash():
    """Circumferential to normal: × cos β × cos α at the measuring radius (derived)."""
    one = blank("tapered")
    pressure = (one.pressure_drive_rad + one.pressure_coast_rad) / 2
    square = dial_reading_mm(
        1.0, heel_radius_mm(one), math.degrees(one.spiral_rad(1.0)), math.degrees(pressure)
    )
    assert float(square) == pytest.approx(normal_arm_mm(one), rel=0.02)


@pytest.mark.parametrize(
    ("angle_deg", "share"), [(10, 0.985), (20, 0.940), (30, 0.866), (45, 0.707), (60, 0.5)]
)
def test_cosine_error_of_a_dial(angle_deg, share):
    """Cosine of the angle between plunger and motion (common practice, derived)."""
    assert float(dial_reading_mm(1.0, 1.0, angle_deg)) == pytest.approx(share, abs=5e-4)
