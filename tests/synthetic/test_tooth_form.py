"""The drawn ring gear is a real one: spiral angles, hand, convex and concave side, closed teeth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pattern.records import SIDES
from pattern.synthetic.camera_view import side_size_mm, tooth_frame
from pattern.synthetic.geometry import ring_gear_mesh, tooth_mesh
from pattern.synthetic.ring_spec import RingSpec, proportions
from pattern.synthetic.solids import Part
from pattern.synthetic.tooth_form import flank_points, spiral_rad, trace_angle_rad

TAPERED, UNIFORM = RingSpec(), RingSpec(tooth_system="uniform", spiral_deg=31.0)
MIRRORED = [replace(spec, hand="left") for spec in (TAPERED, UNIFORM)]
ALL = [TAPERED, UNIFORM, *MIRRORED]


def _spiral_deg(spec: RingSpec, shape, cones):
    return np.degrees(spiral_rad(spec, shape, np.array(cones)))


def test_face_milled_spiral_at_heel_and_toe_as_in_the_standards_sample():
    # ISO 23509:2016 Annex F.2 (sample 1, face milled): Rm 81.273, rc0 114.3, betam2 35 deg
    # gives 36.846 deg at the heel (93.973) and 33.946 deg at the toe (68.573).
    shape = replace(
        proportions(TAPERED),
        mean_cone_mm=81.273,
        cutter_radius_mm=114.3,
        spiral_rad=np.radians(35.0),
    )
    heel, mean, toe = _spiral_deg(TAPERED, shape, [93.973, 81.273, 68.573])
    assert heel == pytest.approx(36.846, abs=0.02)
    assert mean == pytest.approx(35.0, abs=0.02)
    assert toe == pytest.approx(33.946, abs=0.02)


@pytest.mark.parametrize(
    ("ring_teeth", "groups", "pitch_deg", "mean", "radius", "spiral", "module", "cones", "angles"),
    [
        # ISO 23509:2016 Annex F.4 (sample 3, face hobbed): wheel 31.334 / 8.159 deg.
        (34, 13, 63.212, 82.168, 76.0, 21.009, 4.028, (95.168, 69.168), (31.334, 8.159)),
        # ISO 23509:2016 Annex F.5 (sample 4, face hobbed): wheel 39.966 / 19.426 deg.
        (49, 5, 71.360, 181.074, 135.0, 30.0, 6.065, (211.072, 151.072), (39.966, 19.426)),
    ],
)
def test_face_hobbed_spiral_at_heel_and_toe_as_in_the_standards_samples(
    ring_teeth, groups, pitch_deg, mean, radius, spiral, module, cones, angles
):
    spec = replace(UNIFORM, ring_teeth=ring_teeth, blade_groups=groups)
    shape = replace(
        proportions(spec), pitch_angle_rad=np.radians(pitch_deg), mean_cone_mm=mean,
        cutter_radius_mm=radius, spiral_rad=np.radians(spiral), mean_module_mm=module,
    )  # fmt: skip
    heel, toe = _spiral_deg(spec, shape, cones)
    assert heel == pytest.approx(angles[0], abs=0.06)
    assert toe == pytest.approx(angles[1], abs=0.06)


def test_a_right_hand_tooth_leans_clockwise_toward_the_heel_seen_from_the_teeth():
    # ANSI/AGMA 1012-G05, definition of a right-hand spiral bevel gear (from memory).
    # Seen from the teeth's side (from -z), clockwise is the positive sense about +z.
    for spec in ALL:
        line = flank_points(spec, "drive", np.array([0.0, 1.0]), np.full(2, 0.5))
        angle = np.arctan2(line[:, 1], line[:, 0])
        assert (angle[1] > angle[0]) == (spec.hand == "right")


@pytest.mark.parametrize("spec", ALL)
def test_drive_is_the_convex_and_coast_the_concave_side(spec):
    # TM 5-3805-260-24 p. 3-244: convex faces curve toward the outside; drive is the convex side.
    for side in SIDES:
        toe, middle, heel = flank_points(spec, side, np.array([0.0, 0.5, 1.0]), np.full(3, 0.5))
        bulge = np.dot(middle - 0.5 * (toe + heel), tooth_frame(spec, side, 0).normal)
        assert (bulge > 0.3) == (side == "drive")
        assert (bulge < -0.3) == (side == "coast")


def test_a_left_hand_ring_gear_is_the_mirror_image():
    share, depth = np.linspace(0, 1, 5), np.linspace(0, 1, 5)
    for spec in (TAPERED, UNIFORM):
        right = flank_points(spec, "coast", share, depth)
        left = flank_points(replace(spec, hand="left"), "coast", share, depth)
        np.testing.assert_allclose(left, right * [1, -1, 1], atol=1e-9)


def test_depth_tapers_toward_the_toe_only_on_a_tapered_set():
    def depth(spec: RingSpec, at: float) -> float:
        ends = flank_points(spec, "drive", np.full(2, at), np.array([0.0, 1.0]))
        return float(np.linalg.norm(ends[1] - ends[0]))

    assert depth(TAPERED, 0.0) < 0.8 * depth(TAPERED, 1.0)
    assert depth(UNIFORM, 0.0) == pytest.approx(depth(UNIFORM, 1.0), rel=0.12)


def test_the_lengthwise_curve_starts_at_zero_and_is_smooth():
    shape = proportions(UNIFORM)
    cones = np.linspace(shape.inner_cone_mm, shape.outer_cone_mm, 200)
    angle = trace_angle_rad(UNIFORM, shape, cones)
    assert abs(np.interp(shape.mean_cone_mm, cones, angle)) < 1e-6
    assert np.all(np.diff(angle) > 0)


@pytest.mark.parametrize("spec", ALL)
def test_mesh_corners_carry_the_coordinates_of_their_place(spec):
    mesh = ring_gear_mesh(spec, np.random.default_rng(3), 10, 4)
    for part, side in ((Part.DRIVE, "drive"), (Part.COAST, "coast")):
        rows = np.flatnonzero((mesh.part == part) & (mesh.tooth == 7))
        at = mesh.coordinates[rows].reshape(-1, 2).astype(float)
        there = flank_points(spec, side, at[:, 0], at[:, 1], 7)
        np.testing.assert_allclose(
            mesh.vertices[mesh.triangles[rows]].reshape(-1, 3), there, atol=1e-3
        )


@pytest.mark.parametrize("spec", ALL)
def test_every_normal_points_out_of_the_metal(spec):
    mesh = ring_gear_mesh(spec, np.random.default_rng(3), 10, 4)
    a, b, c = (mesh.vertices[mesh.triangles[:, k]] for k in range(3))
    face = np.cross(b - a, c - a)
    assert np.all(np.einsum("ij,ikj->ik", face, mesh.normals.astype(float)) > -1e-9)
    tops = mesh.normals[mesh.part == Part.TOP_LAND]
    assert tops[..., 2].mean() < -0.5  # teeth point to -z
    around = np.cross([0.0, 0.0, 1.0], (a + b + c) / 3.0)
    drive = mesh.part == Part.DRIVE
    faces = np.einsum("ij,ij->i", around[drive], mesh.normals[drive].mean(axis=1).astype(float))
    assert np.all(faces < 0) if spec.hand == "right" else np.all(faces > 0)


def test_a_tooth_is_closed_all_round_but_for_its_foot():
    # Every inner edge joins two triangles; open edges lie only where neighbours and body go on.
    mesh = tooth_mesh(TAPERED, 6, 3)
    _, same = np.unique(np.round(mesh.vertices, 6), axis=0, return_inverse=True)
    triangles = np.sort(same.reshape(-1)[mesh.triangles], axis=1)
    real = (triangles[:, 0] != triangles[:, 1]) & (triangles[:, 1] != triangles[:, 2])
    edges = triangles[real][:, [0, 1, 1, 2, 0, 2]].reshape(-1, 2)
    _, counts = np.unique(edges, axis=0, return_counts=True)
    strips = 2 * (3 + 1 + 4 + 2)
    assert counts.max() == 2
    assert (counts == 1).sum() == 2 * 6 + 2 * strips + 4


def test_teeth_have_the_size_of_such_a_ring_gear():
    # 8.5 in, 41 teeth: face width of about an inch and a half, depth of about 0.3 in
    # (common practice, no source).
    length, depth = side_size_mm(TAPERED, "drive")
    assert 36.0 < length < 46.0
    assert 6.5 < depth < 9.5
