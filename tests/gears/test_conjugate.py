"""A pair without ease-off at its drawing position: line contact, no motion error, no play."""

from __future__ import annotations

import numpy as np
import pytest

from pattern.gears.easeoff import CONJUGATE
from pattern.gears.evaluate import evaluate
from pattern.gears.kinematics import AT_DRAWING, Moves, carry, pinion_point
from pattern.gears.lattice import pinion_tip_mm, tooth_lattice
from pattern.gears.mesh_cycle import approach, mesh_cycle
from pattern.gears.separation import separation
from pattern.records import SIDES
from tests.gears.sets import ALL, blank

EVERY = [(name, side) for name in ALL for side in SIDES]


@pytest.mark.parametrize(("name", "side"), EVERY)
def test_motion_error_vanishes(name, side):
    """Definition of a conjugate pair: the ratio is kept; under 1e-8 rad of the pinion."""
    lattice = tooth_lattice(blank(name), side, 41, 21)
    cycle = mesh_cycle(lattice, approach(lattice, separation(lattice, Moves(), CONJUGATE)), 48)
    assert np.abs(cycle.level).max() < 1e-8


@pytest.mark.parametrize("name", ALL)
def test_the_whole_flank_that_the_pinion_reaches_is_marked(name):
    """The pinion's face cone ends a little above the ring gear's fillet; all above it touches."""
    one = blank(name)
    marks = evaluate(one, Moves(), CONJUGATE, CONJUGATE)
    for side in SIDES:
        lattice = tooth_lattice(one, side, *(marks.side(side).mask.shape))
        pinion = pinion_point(one, lattice.sweep, lattice.blade, lattice.turn)
        inside = pinion_tip_mm(one, pinion.axial, pinion.radius).reshape(lattice.shape) > 0.05
        assert 0.75 < inside.mean() < 0.95
        assert marks.side(side).mask[inside].min() > 0.999


@pytest.mark.parametrize("name", ALL)
def test_no_play_is_left(name):
    """Both sides of the conjugate pair touch at the drawing position."""
    assert abs(evaluate(blank(name), Moves(), CONJUGATE, CONJUGATE).play_rad) < 1e-8


@pytest.mark.parametrize(("name", "side"), EVERY)
def test_ring_gear_and_pinion_share_point_and_tangent_plane_where_they_touch(name, side):
    """The equation of meshing restated with velocities of both bodies: no speed along the normal."""
    one = blank(name)
    lattice = tooth_lattice(one, side, 9, 7)
    points, normals = lattice.sweep.point_and_normal(lattice.blade, lattice.turn)
    turn = lattice.roll + one.sign * one.cones.offset_axial_rad
    spin = np.array([[np.cos(turn), -np.sin(turn), 0 * turn], [np.sin(turn), np.cos(turn), 0 * turn],
                     [0 * turn, 0 * turn, 0 * turn + 1]])  # fmt: skip
    place = np.einsum("ijp,jp->pi", spin, np.array(points))
    normal = np.einsum("ijp,jp->pi", spin, np.array(normals))
    ring_speed = np.cross([0, 0, 1.0], place)
    pinion_speed = np.cross([-one.ratio, 0, 0], place - [0, one.sign * one.offset_mm, 0])
    along = np.einsum("pi,pi->p", normal, ring_speed - pinion_speed)
    assert np.abs(along).max() < 1e-9 * np.linalg.norm(pinion_speed, axis=1).max()


@pytest.mark.parametrize(("name", "side"), EVERY)
def test_the_mean_point_touches_at_the_pitch_point(name, side):
    """ISO 23509: pitch cones touch there, both normals stand square to the sliding (roll 0)."""
    one = blank(name)
    lattice = tooth_lattice(one, side, 9, 7)
    middle = lattice.sweep.locate(*(np.array([f]) for f in one.section_mm(
        (one.cones.ring_cone_mm - one.inner_cone_mm) / one.face_width_mm, 0.0)))  # fmt: skip
    half_tooth = one.teeth.ring_thickness_mm / (
        2 * np.cos(one.cones.ring_spiral_rad) * one.cones.ring_radius_mm
    )
    facing = (-1 if side == "drive" else 1) * one.sign
    pinion = pinion_point(one, lattice.sweep, *middle)
    # the tooth's side lies half a tooth off its middle
    assert float(pinion.roll[0] + facing * half_tooth) == pytest.approx(0.0, abs=1e-9)
    at = carry(one, pinion.ring_point, pinion.roll, AT_DRAWING)
    assert float(at.radius[0, 0]) == pytest.approx(one.cones.pinion_radius_mm, abs=1e-9)
