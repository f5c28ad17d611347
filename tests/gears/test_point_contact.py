"""Contact equations solved at a point, as tooth contact analysis does, against the mesh cycle."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq, root

from pattern.gears.easeoff import EaseOff
from pattern.gears.flank import ring_flank
from pattern.gears.kinematics import Moves
from pattern.gears.lattice import tooth_lattice
from pattern.gears.mesh_cycle import approach, mesh_cycle
from pattern.gears.separation import separation
from tests.gears.brute_force import gap_sign
from tests.gears.sets import blank

EASE = EaseOff(0.035, 0.03, -0.005)
STEP = 1e-4


def fixed_frame(one, points, roll):
    """Ring gear points turned about z; the pinion's axis runs along x at the offset."""
    turn = roll + one.sign * one.cones.offset_axial_rad
    x, y, z = np.moveaxis(np.asarray(points), -1, 0)
    return np.stack(
        [x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn), z], axis=-1
    )


def cylindrical(one, place):
    """Axial place, radius and angle about the pinion's axis."""
    off = place[..., 1] - one.sign * one.offset_mm
    return np.stack(
        [place[..., 0], np.hypot(off, place[..., 2]), np.arctan2(-off, place[..., 2])], axis=-1
    )


def conjugate_point(one, side, u, v):
    """Pinion point by the equation of meshing, solved here by bisection of n·v rather than in closed form."""
    point, normal = ring_flank(one, side, u, v)

    def sliding(roll):
        place, out = fixed_frame(one, point, roll), fixed_frame(one, normal, roll)
        speed = np.cross([0, 0, 1.0], place) + one.ratio * np.cross(
            [1.0, 0, 0], place - [0, one.sign * one.offset_mm, 0]
        )
        return float(out @ speed)

    roll = brentq(sliding, -0.5, 0.5, xtol=1e-15, rtol=1e-14)
    at = cylindrical(one, fixed_frame(one, point, roll))
    place, out = fixed_frame(one, point, roll), fixed_frame(one, normal, roll)
    arm = abs(float(np.cross(place - [0, one.sign * one.offset_mm, 0], out)[0]))
    return at + np.array([0, 0, one.ratio * roll]), arm


def relieved_point(one, side, u, v):
    """The conjugate point with the ease-off taken as an angle about the pinion's axis."""
    at, arm = conjugate_point(one, side, u, v)
    relief = float(EASE.relief_mm(np.asarray(u), np.asarray(v))[0])
    return at - np.array([0, 0, gap_sign(one, side) * relief / arm])


def slopes(function, u, v):
    """Derivatives of a point function by its two coordinates."""
    return (
        (function(u + STEP, v) - function(u - STEP, v)) / (2 * STEP),
        (function(u, v + STEP) - function(u, v - STEP)) / (2 * STEP),
    )


@pytest.mark.parametrize(("name", "side", "pinion_mm", "ring_mm"), [
    ("tapered", "drive", 0.06, -0.03), ("uniform", "coast", -0.05, 0.04), ("bevel", "coast", 0.04, 0.0),
])  # fmt: skip
def test_level_is_the_one_of_the_contact_equations(name, side, pinion_mm, ring_mm):
    """Common point and common tangent plane (Litvin & Fuentes 2004, ch. 9), four unknowns at a roll."""
    one = blank(name)
    lattice = tooth_lattice(one, side, 41, 21)
    found = separation(lattice, Moves(pinion_mm, ring_mm), EASE)
    cycle = mesh_cycle(lattice, approach(lattice, found), 32)
    rolls = found.roll[0].reshape(lattice.shape)
    for index in (0, 11, 21):
        start = cycle.path[0, index]
        near = rolls[round(start[0] * 40), round(start[1] * 20)]
        pitch = lattice.pitch_rad
        roll = cycle.rolls[index] + pitch * round((near - cycle.rolls[index]) / pitch)

        def ring(u, v, roll=roll):
            moved = fixed_frame(one, ring_flank(one, side, u, v)[0], roll) + np.array(
                [pinion_mm, 0, ring_mm]
            )
            return cylindrical(one, moved) + np.array([0, 0, one.ratio * roll])

        def equations(unknown, ring=ring):
            u, v, pu, pv = (float(value) for value in unknown)
            at, opposite = ring(u, v), relieved_point(one, side, pu, pv)
            along, up = slopes(lambda a, b: relieved_point(one, side, a, b), pu, pv)
            # the pinion's angle as a function of axial place and radius has these slopes
            det = along[0] * up[1] - along[1] * up[0]
            slope_x = (along[2] * up[1] - along[1] * up[2]) / det
            slope_r = (along[0] * up[2] - along[2] * up[0]) / det
            lie = [t[2] - slope_x * t[0] - slope_r * t[1] for t in slopes(ring, u, v)]
            return [at[0] - opposite[0], at[1] - opposite[1], 10 * lie[0], 10 * lie[1]]

        solved = root(equations, [*start, *start], tol=1e-9)
        assert np.abs(equations(solved.x)).max() < 1e-6
        solution = solved.x
        gap = gap_sign(one, side) * (
            ring(*solution[:2])[2] - relieved_point(one, side, *solution[2:])[2]
        )
        assert gap == pytest.approx(cycle.level[0, index], abs=3e-7)  # 0.006 µm at 20 mm
        assert solution[0] == pytest.approx(start[0], abs=0.03)
        assert solution[1] == pytest.approx(start[1], abs=0.03)
