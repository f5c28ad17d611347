"""The ring gear's tooth sides: place, curvature and sides as the trade and ISO 23509 say."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pattern.errors import InvalidAxle
from pattern.gears.blank import blank_from_axle, make_blank
from pattern.gears.defaults import geometry_of
from pattern.gears.flank import flank_at_height, ring_flank, tooth_thickness
from pattern.gears.lattice import tooth_lattice
from pattern.records import SIDES, Axle
from tests.gears.sets import ALL, blank

EVERY = [(name, side) for name in ALL for side in SIDES]


def mean_place(one):
    """Lengthwise position of the calculation point."""
    return (one.cones.ring_cone_mm - one.inner_cone_mm) / one.face_width_mm


def spiral_deg(one, side, lengthwise):
    """Angle of the pitch-line trace against the cone's generator, + toward +y on the way out."""
    step = 1e-5
    ends, _ = flank_at_height(one, side, np.array([lengthwise - step, lengthwise + step]), 0.0)
    turn = np.diff(np.arctan2(ends[:, 1], ends[:, 0]))[0] * np.hypot(*ends[0, :2])
    return math.degrees(math.atan2(turn, 2 * step * one.face_width_mm))


@pytest.mark.parametrize(("name", "side"), EVERY)
def test_mean_point_has_the_spiral_and_pressure_angle_of_the_blank(name, side):
    one = blank(name)
    assert spiral_deg(one, side, mean_place(one)) == pytest.approx(
        math.degrees(one.cones.ring_spiral_rad), abs=1e-4
    )
    _, normal = flank_at_height(one, side, mean_place(one), 0.0)
    angle = one.cones.ring_angle_rad
    tipward = np.array([math.cos(angle), 0, -math.sin(angle)])
    point, _ = flank_at_height(one, side, mean_place(one), 0.0)
    turn = math.atan2(point[1], point[0])
    spun = (
        np.array(
            [[math.cos(turn), -math.sin(turn), 0], [math.sin(turn), math.cos(turn), 0], [0, 0, 1]]
        )
        @ tipward
    )
    assert math.asin(float(normal @ spun)) == pytest.approx(one.pressure_rad(side), abs=1e-9)


@pytest.mark.parametrize("lengthwise", [0.0, 0.25, 0.75, 1.0])
@pytest.mark.parametrize(("name", "side"), EVERY)
def test_spiral_angle_follows_the_developed_curve_from_toe_to_heel(name, side, lengthwise):
    """ISO 23509:2016 clause 7, for the curve developed onto a plane: a cone bends it by under half a degree."""
    one = blank(name)
    assert spiral_deg(one, side, lengthwise) == pytest.approx(
        math.degrees(one.spiral_rad(lengthwise)), abs=0.5
    )


@pytest.mark.parametrize(("name", "side"), EVERY)
def test_normals_stand_square_on_the_surface_and_point_out_of_the_metal(name, side):
    one = blank(name)
    u, v = np.meshgrid(np.linspace(0, 1, 6), np.linspace(0, 1, 5), indexing="ij")
    _, normals = ring_flank(one, side, u, v)
    along = ring_flank(one, side, u + 1e-5, v)[0] - ring_flank(one, side, u - 1e-5, v)[0]
    up = ring_flank(one, side, u, v + 1e-5)[0] - ring_flank(one, side, u, v - 1e-5)[0]
    for tangent in (along, up):
        unit = tangent / np.linalg.norm(tangent, axis=-1, keepdims=True)
        assert np.abs((normals * unit).sum(axis=-1)).max() < 1e-6
    other = "coast" if side == "drive" else "drive"
    across = ring_flank(one, side, u, v)[0] - ring_flank(one, other, u, v)[0]
    assert ((normals * across).sum(axis=-1) > 0).all()


@pytest.mark.parametrize("name", ALL)
def test_drive_is_convex_and_coast_is_concave(name):
    """The convex side curves outward (a vehicle maker's service manual, 2003): its ends lie behind it."""
    one = blank(name)
    for side, sign in (("drive", 1), ("coast", -1)):
        ends, normals = flank_at_height(one, side, np.array([0.0, mean_place(one), 1.0]), 0.0)
        chord = (ends[0] + ends[2]) / 2
        assert sign * float((ends[1] - chord) @ normals[1]) > 0.1


@pytest.mark.parametrize("name", ALL)
def test_teeth_point_to_the_front_and_widen_to_root_and_heel(name):
    one = blank(name)
    root, tip = (ring_flank(one, "drive", 0.5, at)[0] for at in (0.0, 1.0))
    assert tip[2] < root[2]
    assert (np.diff(tooth_thickness(one, 0.5, np.linspace(-0.1, 1, 6))) < 0).all()
    assert (np.diff(tooth_thickness(one, np.linspace(0, 1, 5), 0.5)) > 0).all()
    assert (tooth_thickness(one, np.array([0.0, 0.5, 1.0]), 1.0) > 0.4).all()  # a top land is left


@pytest.mark.parametrize("name", ALL)
def test_thickness_at_the_mean_point_is_the_blanks(name):
    one = blank(name)
    low, high = (
        float(one.height_mm(mean_place(one), 0.0)),
        float(one.height_mm(mean_place(one), 1.0)),
    )
    pitch_line = -low / (high - low)
    arc = float(tooth_thickness(one, mean_place(one), pitch_line))
    assert arc * math.cos(one.cones.ring_spiral_rad) == pytest.approx(
        one.teeth.ring_thickness_mm, rel=1e-9
    )


def test_tapered_teeth_are_deeper_at_the_heel_and_uniform_ones_are_not():
    assert blank("tapered").depth_ratio < 0.8
    assert blank("uniform").depth_ratio == pytest.approx(1.0)


def test_section_and_tooth_coordinates_undo_each_other():
    one = blank("tapered")
    u, v = np.meshgrid(np.linspace(-0.1, 1.1, 5), np.linspace(-0.1, 1.1, 5))
    back = one.tooth_coordinates(*one.section_mm(u, one.height_mm(u, v)))
    assert np.allclose(back, (u, v), atol=1e-12)


@pytest.mark.parametrize(("changes", "field"), [
    ({"offset_in": 3.0}, "offset_in"), ({"face_width_in": 3.0}, "face_width_in"),
    ({"cutter_radius_in": 1.0}, "cutter_radius_in"), ({"face_width_in": 0.3}, "face_width_in"),
    ({"spiral_angle_deg": 60.0}, "spiral_angle_deg"),
])  # fmt: skip
@pytest.mark.parametrize("system", ["tapered", "uniform"])
def test_impossible_data_are_refused_by_name(system, changes, field):
    with pytest.raises(InvalidAxle) as caught:
        one = blank_from_axle(Axle(41, 11, 8.5, tooth_system=system, **changes))
        for side in SIDES:
            ring_flank(one, side, np.linspace(0, 1, 9), 0.5)
    assert caught.value.subject in {field, "cutter_radius_in", "offset_in"}
    assert caught.value.message


def test_what_was_assumed_is_named():
    assert "cutter_radius_in" in blank_from_axle(Axle(41, 11, 8.5)).assumed
    assert blank_from_axle(Axle(41, 11, 8.5)).assumed[0] == "tooth_system"
    known = blank_from_axle(
        Axle(41, 11, 8.5, tooth_system="tapered", cutter_radius_in=3.75, offset_in=1.25)
    )
    assert "cutter_radius_in" not in known.assumed
    assert "offset_in" not in known.assumed


def test_a_given_pressure_angle_is_kept():
    one = blank_from_axle(Axle(41, 11, 8.5, tooth_system="tapered", pressure_angle_drive_deg=16.0))
    assert math.degrees(one.pressure_drive_rad) == pytest.approx(16.0)


def test_limit_pressure_angle_parts_the_sides_of_a_hypoid():
    """ISO 23509:2016: αnD = αd + α_lim and αnC = αd − α_lim, α_lim negative with an offset."""
    geometry, _ = geometry_of(Axle(41, 11, 8.5), "tapered")
    one = make_blank(geometry, 41, 11, "right", "tapered")
    assert one.pressure_drive_rad < geometry.pressure_rad < one.pressure_coast_rad
    assert one.pressure_coast_rad - one.pressure_drive_rad == pytest.approx(
        -2 * one.cones.limit_pressure_rad
    )


def test_a_pinion_with_too_few_teeth_is_refused_as_undercut():
    one = blank_from_axle(Axle(34, 5, 8.5, offset_in=0.0, tooth_system="uniform"))
    with pytest.raises(InvalidAxle) as caught:
        for side in SIDES:
            tooth_lattice(one, side, 21, 11)
    assert caught.value.subject == "pinion_teeth"
    assert "undercut" in caught.value.message


@pytest.mark.parametrize("pinion_teeth", [6, 7, 8, 9, 10, 12, 14, 16])
@pytest.mark.parametrize("system", ["tapered", "uniform"])
def test_usual_hypoids_are_not_refused(system, pinion_teeth):
    one = blank_from_axle(Axle(41, pinion_teeth, 8.5, tooth_system=system))
    for side in SIDES:
        assert tooth_lattice(one, side, 21, 11).curvature.min() > 0
