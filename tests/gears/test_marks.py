"""Size, place, tilt and edges of marks, against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import COARSE, FILM_MM, Resolution, evaluate, evaluate_batch
from pattern.gears.kinematics import Moves
from pattern.gears.lattice import tooth_lattice
from pattern.gears.marks import count_bands, coverage, measure
from pattern.gears.mesh_cycle import approach
from pattern.gears.separation import separation
from pattern.records import SIDES
from tests.gears.sets import blank

N, M = 121, 61
LENGTH_MM, DEPTH_MM = 40.0, 10.0


def plane_lattice():
    x = np.linspace(0, LENGTH_MM, N)[:, None] + 0 * np.zeros(M)
    y = np.linspace(0, DEPTH_MM, M)[None, :] + np.zeros((N, 1))
    return x, y


def measured(gap, film=FILM_MM):
    return measure(
        coverage(gap[None], np.asarray(film)), np.ones((1, N, M), dtype=bool), LENGTH_MM, DEPTH_MM
    )


@pytest.mark.parametrize(
    ("radius_mm", "half_mm"), [(200, 1.594), (500, 2.520), (1000, 3.564), (5000, 7.969)]
)
def test_half_length_of_a_surface_of_known_curvature(radius_mm, half_mm):
    """a = √(2δ/κ), κ = 1/R, δ = 0.00635 mm (Litvin & Fuentes 2004, ch. 9; elementary)."""
    x, _ = plane_lattice()
    found = measured((x - LENGTH_MM / 2) ** 2 / (2 * radius_mm))
    # a band across the whole depth: the middle 90 % of its length
    assert found.length[0] * LENGTH_MM / 0.9 / 2 == pytest.approx(half_mm, rel=0.01)


def test_half_length_grows_with_the_root_of_the_film():
    """a ∝ √δ: twice the film, 1.414 times the length (elementary)."""
    x, _ = plane_lattice()
    gap = (x - LENGTH_MM / 2) ** 2 / 2000
    assert measured(gap, 2 * FILM_MM).length[0] / measured(gap).length[0] == pytest.approx(
        math.sqrt(2), rel=0.005
    )


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("name", ["tapered", "uniform"])
@pytest.mark.parametrize("crown_mm", [0.02, 0.05])
def test_mark_of_a_set_crowned_lengthwise_only(name, side, crown_mm):
    """√(2δ/κ) with κ = 8·crown/b² along the face width: half-length over face width = √(δ/crown)/2."""
    one = blank(name)
    ease = EaseOff(crown_mm, 0.0)
    mark = evaluate(one, Moves(), ease, ease).side(side)
    half = (mark.extent_lengthwise[1] - mark.extent_lengthwise[0]) / 0.9 / 2
    assert half == pytest.approx(math.sqrt(FILM_MM / crown_mm) / 2, rel=0.03)


def test_centre_and_extents_of_an_ellipse():
    """5 to 95 % of an ellipse's area along an axis lies within 0.8054 of its half-axis (derived)."""
    x, y = plane_lattice()
    gap = ((x - 14) / 8) ** 2 + ((y - 6) / 2) ** 2
    found = measured(gap, 1.0)
    assert found.lengthwise[0] == pytest.approx(14 / 40, abs=1e-3)
    assert found.profile[0] == pytest.approx(0.6, abs=1e-3)
    assert found.length[0] == pytest.approx(2 * 0.8054 * 8 / 40, abs=3e-3)
    assert found.width[0] == pytest.approx(2 * 0.8054 * 2 / 10, abs=3e-3)
    assert found.area[0] == pytest.approx(math.pi * 8 * 2 / 400, rel=5e-3)


@pytest.mark.parametrize("tilt_deg", [-35.0, -8.0, 0.0, 8.0, 20.0])
def test_tilt_is_positive_when_the_heel_end_is_nearer_the_tip(tilt_deg):
    x, y = plane_lattice()
    t = math.radians(tilt_deg)
    s = (x - 20) * math.cos(t) + (y - 5) * math.sin(t)
    w = -(x - 20) * math.sin(t) + (y - 5) * math.cos(t)
    assert measured((s / 5) ** 2 + (w / 1.2) ** 2, 1.0).tilt_deg[0] == pytest.approx(
        tilt_deg, abs=0.3
    )


@pytest.mark.parametrize(
    ("x0", "y0", "edge"),
    [(0, 5, "toe"), (40, 5, "heel"), (20, 10, "tip"), (20, 0, "root"), (20, 5, None)],
)
def test_edges_that_the_mark_runs_off(x0, y0, edge):
    x, y = plane_lattice()
    found = measured(((x - x0) / 9) ** 2 + ((y - y0) / 3) ** 2, 1.0)
    names = [
        name
        for name, off in zip(("toe", "heel", "tip", "root"), found.edges[0], strict=True)
        if off
    ]
    assert names == ([edge] if edge else [])


def test_two_separate_bands_are_counted():
    x, y = plane_lattice()
    gap = np.minimum(((y - 2) / 1) ** 2, ((y - 8) / 1) ** 2) + ((x - 20) / 15) ** 2
    assert count_bands(coverage(gap[None], np.asarray(1.0))[0]) == 2
    assert count_bands(np.zeros((N, M))) == 0


def test_nothing_marks_when_every_gap_is_wider_than_the_film():
    found = measured(np.full((N, M), 1.0))
    assert found.area[0] == 0.0
    assert math.isnan(found.lengthwise[0])


def test_bias_tilts_the_mark_against_the_relieved_corners():
    """Positive bias relieves heel-tip and toe-root: the mark lies from toe-tip to heel-root, tilt below."""
    one = blank("tapered")
    tilts = [
        evaluate(one, Moves(), EaseOff(0.03, 0.02, b), EaseOff()).drive.tilt_deg
        for b in (-0.012, 0.0, 0.012)
    ]
    assert tilts[0] > tilts[1] > tilts[2]


@pytest.mark.parametrize("name", ["tapered", "uniform"])
def test_refining_the_lattice_converges(name):
    one = blank(name)
    moves, ease = Moves(0.06, -0.03), EaseOff(0.03, 0.022, 0.004)
    levels = [Resolution(), Resolution(61, 31, 3, 64), Resolution(81, 41, 3, 96)]
    marks = [evaluate(one, moves, ease, ease, resolution=r) for r in levels]
    for side in SIDES:
        at = np.array([[m.side(side).lengthwise, m.side(side).profile] for m in marks])
        assert (
            np.abs(at[0] - at[2]).max() < 2e-3
        )  # centroids right to 0.002 at the usual resolution
        assert np.abs(at[1] - at[2]).max() <= max(np.abs(at[0] - at[2]).max(), 2e-4)
        errors = [m.side(side).motion_error_arcsec for m in marks]
        assert errors[0] == pytest.approx(errors[2], rel=0.08)
    assert marks[0].backlash_mm == pytest.approx(marks[2].backlash_mm, abs=2e-4)


def test_a_batch_gives_what_single_evaluations_give():
    one = blank("uniform")
    pinion, crown = np.array([-0.1, 0.0, 0.08]), np.array([0.02, 0.03, 0.05])
    batch = evaluate_batch(
        one,
        Moves(pinion, 0.02),
        EaseOff(crown, 0.02),
        EaseOff(0.03, crown),
        resolution=Resolution(),
    )
    for i in range(3):
        alone = evaluate(
            one, Moves(pinion[i], 0.02), EaseOff(crown[i], 0.02), EaseOff(0.03, crown[i])
        )
        assert batch.drive.lengthwise[i] == pytest.approx(alone.drive.lengthwise, abs=1e-12)
        assert batch.coast.profile[i] == pytest.approx(alone.coast.profile, abs=1e-12)
        assert batch.backlash_mm[i] == pytest.approx(alone.backlash_mm, abs=1e-12)


def test_the_coarse_batch_is_close_to_the_fine_one():
    one = blank("tapered")
    rng = np.random.default_rng(4)
    moves = Moves(rng.normal(0, 0.08, 40), rng.normal(0, 0.08, 40))
    ease = EaseOff(
        rng.uniform(0.015, 0.06, 40), rng.uniform(0.015, 0.04, 40), rng.normal(0, 0.008, 40)
    )
    coarse, fine = (
        evaluate_batch(one, moves, ease, ease),
        evaluate_batch(one, moves, ease, ease, resolution=Resolution()),
    )
    for side in SIDES:
        assert np.abs(coarse.side(side).lengthwise - fine.side(side).lengthwise).max() < 0.004
        assert np.abs(coarse.side(side).profile - fine.side(side).profile).max() < 0.006
        assert np.abs(coarse.side(side).length - fine.side(side).length).max() < 0.012


def test_designed_motion_error_is_of_the_published_order():
    """8 to 10 arcsec for designed sets (NASA CR-4342; Mech. Mach. Theory 41 (2006); from memory)."""
    marks = evaluate(blank("tapered"), Moves(), EaseOff(), EaseOff())
    for side in SIDES:
        assert 3 < marks.side(side).motion_error_arcsec < 30


def test_the_path_of_contact_runs_through_the_mark():
    marks = evaluate(blank("tapered"), Moves(), EaseOff(), EaseOff())
    assert marks.drive.path.shape == (32, 2)
    inside = [marks.drive.mask[round(u * 120), round(v * 60)] > 0.5 for u, v in marks.drive.path]
    assert all(inside)


@pytest.mark.parametrize("side", SIDES)
def test_a_shallower_pinion_reaches_less_far_down(side):
    """Where the pinion's tip edge ends, there is no metal to touch the ring gear."""
    one, ease = blank("tapered"), EaseOff(0.0, 0.0)
    lattice = tooth_lattice(one, side, 41, 21)
    reached = [
        approach(lattice, separation(lattice, Moves(move), ease)).reached.mean()
        for move in (0.4, 0.0, -0.4)
    ]
    # 0.4 mm along the pinion is about 0.4·sin δ1 in depth, a sixtieth of it
    assert reached[0] > reached[1] + 0.005 > reached[2] + 0.01


def test_a_far_too_shallow_pinion_marks_the_tip_and_a_far_too_deep_one_the_foot():
    """Height is never contradicted by any source (TM 9-2320-266-34, TM 5-3810-300-24&P2 p. 4-255)."""
    one = blank("tapered")
    high, low = (evaluate(one, Moves(move), EaseOff(), EaseOff()) for move in (-0.35, 0.35))
    for side in SIDES:
        assert "tip" in high.side(side).edges
        assert "root" in low.side(side).edges
        assert high.side(side).profile > 0.75
        assert low.side(side).profile < 0.35


@pytest.mark.parametrize("name", ["tapered", "uniform", "bevel", "truck"])
def test_default_crowning_leaves_a_mark_of_the_published_size(name):
    """1/3 to 2/3 of the tooth's length, centred in height (NAVEDTRA 14050A p. 8-90, new gearing)."""
    marks = evaluate(blank(name), Moves(), EaseOff(), EaseOff())
    for side in SIDES:
        toe, heel = marks.side(side).extent_lengthwise
        assert 1 / 3 < heel - toe < 2 / 3
        assert marks.side(side).profile == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize("system", ["tapered", "uniform"])
def test_one_newton_step_does_for_the_small_moves_of_the_response(system):
    """A few thousandths of an inch: what the second and third step add is lost in the lattice."""
    moves = Moves(np.array([0.05, -0.05, 0.0, 0.0]), np.array([0.0, 0.0, 0.05, -0.05]))
    one, three = (
        evaluate_batch(blank(system), moves, EaseOff(), EaseOff(), resolution=replace(COARSE, newton=steps))
        for steps in (1, 3)
    )  # fmt: skip
    for side in SIDES:
        for name in ("lengthwise", "profile"):
            first, last = (getattr(found.side(side), name) for found in (one, three))
            assert first == pytest.approx(last, abs=1e-4)
    assert one.backlash_mm == pytest.approx(three.backlash_mm, abs=1e-6)
