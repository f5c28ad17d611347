"""The solver against brute force: crossings with circles, no equation of meshing (see brute_force)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.interpolate import RectBivariateSpline

from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import evaluate
from pattern.gears.kinematics import Moves, pinion_point
from pattern.gears.lattice import refine_matrix, tooth_lattice
from pattern.gears.mesh_cycle import approach, marking_gap_mm, mesh_cycle
from pattern.gears.separation import separation
from tests.gears.brute_force import crossings, gap_sign, lowest
from tests.gears.sets import blank

PINION_MM, RING_MM = 0.08, -0.05
EASE = EaseOff(0.03, 0.022, 0.006)
PLACES = (34, 22)


@pytest.fixture(scope="module", params=[("tapered", "drive"), ("uniform", "coast")], ids=str)
def case(request):
    """Pinion circles all over the tooth side, and the pinion brute force finds on them."""
    name, side = request.param
    one = blank(name)
    # circles are taken where the solver's pinion has points, which fixes no angle
    u, v = (g.ravel() for g in np.meshgrid(np.linspace(0.02, 0.98, PLACES[0]),
                                           np.linspace(0.12, 0.98, PLACES[1]), indexing="ij"))  # fmt: skip
    lattice = tooth_lattice(one, side, 17, 11)
    blade, turn = lattice.sweep.locate(*one.section_mm(u, one.height_mm(u, v)))
    solved = pinion_point(one, lattice.sweep, blade, turn)
    circles = solved.axial.ravel(), solved.radius.ravel()
    rolls = np.linspace(solved.roll.min() - 0.03, solved.roll.max() + 0.03, 140)
    sign = gap_sign(one, side)
    nominal = crossings(one, side, circles, rolls, (u, v))
    cleared, at_u, at_v = lowest(sign * nominal.angle, nominal.lengthwise, nominal.profile)
    return one, side, circles, rolls, sign, solved, (cleared, at_u, at_v), (u, v)


def test_the_conjugate_pinion_is_the_one_that_just_clears_every_ring_gear_position(case):
    _, _, _, _, sign, solved, (cleared, at_u, at_v), (u, v) = case
    known = np.isfinite(cleared)
    assert known.mean() > 0.95
    assert cleared[known] == pytest.approx(
        sign * solved.angle.ravel()[known], abs=2e-6
    )  # 0.04 µm: the parabola through three rolls
    # at the touching roll, brute force crosses the flank where the equation of meshing says
    assert at_u[known] == pytest.approx(u[known], abs=2e-3)
    assert at_v[known] == pytest.approx(v[known], abs=2e-3)


def test_level_and_marks_under_moves_agree_with_brute_force(case):
    one, side, circles, rolls, sign, solved, (cleared, at_u, at_v), start = case
    known = np.isfinite(cleared)
    arm = _normal_arm(solved, PLACES)
    relieved = cleared - EASE.relief_mm(at_u, at_v)[0] / arm
    moved = crossings(one, side, circles, rolls, start, PINION_MM, RING_MM)
    gap = sign * moved.angle - relieved
    on_tooth = (moved.lengthwise >= 0) & (moved.lengthwise <= 1) & (moved.profile <= 1)
    gap[~on_tooth | ~known] = np.nan

    # fold the rolls into one pitch, the tightest pair first
    pitch = one.ring_pitch_rad
    lattice = tooth_lattice(one, side, 41, 21)
    found = separation(lattice, Moves(PINION_MM, RING_MM), EASE)
    cycle = mesh_cycle(lattice, approach(lattice, found), 64)
    per_roll = np.array([_lowest_on_side(row) for row in gap])
    middle = (rolls > np.quantile(rolls, 0.3)) & (rolls < np.quantile(rolls, 0.7))
    carried = np.array([
        min(np.interp(roll + k * pitch, rolls, per_roll, left=np.inf, right=np.inf) for k in (-2, -1, 0, 1, 2))
        for roll in rolls[middle]
    ])  # fmt: skip
    solver = cycle.level_at(rolls[middle][None, :])[0]
    assert np.abs(carried - solver).max() * arm.mean() < 4e-4  # mm: 6 % of the film

    # the mark itself: ring gear points whose gap is ever under the film
    level = np.array([cycle.level_at(np.array([[roll]]))[0, 0] for roll in rolls])
    over = (gap - level[:, None]) * arm
    closest, mark_u, mark_v = lowest(over, moved.lengthwise, moved.profile)
    marked = np.isfinite(closest) & (closest < 0.00635)
    weight = _spacing(mark_u, mark_v)
    centre = [np.average(p[marked], weights=weight[marked]) for p in (mark_u, mark_v)]
    mark = getattr(evaluate(one, Moves(PINION_MM, RING_MM), EASE, EASE), side)
    assert centre[0] == pytest.approx(mark.lengthwise, abs=0.01)
    assert centre[1] == pytest.approx(mark.profile, abs=0.01)

    # and the gap of every such point, not only of the mark
    fine, _, reached = marking_gap_mm(lattice, found, cycle, 1)
    spline = RectBivariateSpline(lattice.lengthwise, lattice.profile, fine[0])
    near = np.isfinite(closest) & (mark_v > 0.3) & (closest < 0.03)
    assert reached.mean() > 0.75
    assert near.sum() > 200
    # a pinion place and a ring gear place differ in where exactly along the roll they are closest
    off = np.abs(closest[near] - spline.ev(mark_u[near], mark_v[near]))
    assert off.max() < 8e-4
    assert np.median(off) < 1e-4


def _normal_arm(solved, places):
    """Lever of the normal from brute-force angles alone: 1/√(Θ_x² + Θ_r² + 1/r²)."""
    shape = tuple(places)
    axial, radius, angle = (
        np.asarray(a).reshape(shape) for a in (solved.axial, solved.radius, solved.angle)
    )
    au, av = np.gradient(axial)
    ru, rv = np.gradient(radius)
    tu, tv = np.gradient(angle)
    det = au * rv - av * ru
    slope_axial, slope_radius = (tu * rv - tv * ru) / det, (au * tv - av * tu) / det
    return (1 / np.sqrt(slope_axial**2 + slope_radius**2 + 1 / radius**2)).ravel()


def _lowest_on_side(row):
    """Minimum of the gap over the side at one roll, between the circles by a fine spline."""
    grid = row.reshape(PLACES)
    if not np.isfinite(grid).any():
        return math.inf
    best = np.unravel_index(np.nanargmin(grid), grid.shape)
    rows = slice(max(best[0] - 3, 0), best[0] + 4)
    columns = slice(max(best[1] - 3, 0), best[1] + 4)
    patch = grid[rows, columns]
    if not np.isfinite(patch).all() or min(patch.shape) < 4:
        return float(np.nanmin(grid))
    fine = refine_matrix(patch.shape[0], 12) @ patch @ refine_matrix(patch.shape[1], 12).T
    return float(fine.min())


def _spacing(u, v):
    """Area that each circle stands for in tooth coordinates."""
    grid_u, grid_v = u.reshape(PLACES), v.reshape(PLACES)
    with np.errstate(invalid="ignore"):
        uu, uv = np.gradient(grid_u)
        vu, vv = np.gradient(grid_v)
        return np.nan_to_num(np.abs(uu * vv - uv * vu), nan=0.0).ravel()
