"""Blank geometry against the worked samples of ISO 23509:2016 Annex F and other published examples.

Values are the standard's three-decimal roundings, so ±0.002 mm or degrees unless a line says why not.
"""

from __future__ import annotations

import math

import pytest

from pattern.gears.apex_line import corrected_angles_rad
from pattern.gears.blank import Blank, make_blank
from pattern.gears.defaults import Geometry
from pattern.gears.lengthwise import spiral_at_rad
from pattern.gears.pitch_cones import bevel_cones
from pattern.gears.proportions import Factors, duplex_taper_rad, tooth_taper_rad

rad, deg = math.radians, math.degrees
ROUNDING = 0.002


@pytest.fixture(scope="module")
def sample_1() -> Blank:
    """ISO 23509:2016 Annex F.2: spiral bevel, Method 0, face milled, no offset."""
    geometry = Geometry(
        ring_diameter_mm=176.893, face_width_mm=25.4, offset_mm=0.0, cutter_radius_mm=114.3, blade_groups=0,
        ring_spiral_rad=rad(35), pressure_rad=rad(20), factors=Factors(2.0, 0.125, 0.24737, 0.0915),
        taper_rad=(rad(2.1342), rad(6.4934)), normal_backlash_mm=0.127,
    )  # fmt: skip
    return make_blank(geometry, 39, 14, "right", "tapered")


@pytest.fixture(scope="module")
def sample_2() -> Blank:
    """ISO 23509:2016 Annex F.3: hypoid, Method 1, face milled, offset 15 mm."""
    geometry = Geometry(
        ring_diameter_mm=170.0, face_width_mm=30.0, offset_mm=15.0, cutter_radius_mm=63.5, blade_groups=0,
        pinion_spiral_rad=rad(50), pressure_rad=rad(20), factors=Factors(2.0, 0.125, 0.35, 0.1),
        taper_rad=(rad(1), rad(4)),
        # the sample gives it along the rotation at the heel: 0.2 mm
        normal_backlash_mm=0.2 * math.cos(rad(47.674)) * math.cos(rad(20)),
    )  # fmt: skip
    return make_blank(geometry, 42, 13, "right", "tapered")


@pytest.fixture(scope="module")
def sample_3() -> Blank:
    """ISO 23509:2016 Annex F.4: hypoid, Method 2, face hobbed, offset 31.75 mm.

    The standard starts from dm2 = 146.7; de2 = 169.910 is its own.
    """
    geometry = Geometry(
        ring_diameter_mm=169.910, face_width_mm=26.0, offset_mm=31.75, cutter_radius_mm=76.0, blade_groups=13,
        ring_spiral_rad=rad(21.009), pressure_rad=rad(20), factors=Factors(2.0, 0.125, 0.275, 0.1),
        apex_line=True,
    )  # fmt: skip
    return make_blank(geometry, 34, 9, "right", "uniform")


@pytest.fixture(scope="module")
def sample_4() -> Blank:
    """ISO 23509:2016 Annex F.5: hypoid, Method 3, face hobbed, offset 40 mm."""
    geometry = Geometry(
        ring_diameter_mm=400.0, face_width_mm=60.0, offset_mm=40.0, cutter_radius_mm=135.0, blade_groups=5,
        ring_spiral_rad=rad(30), pressure_rad=rad(20), factors=Factors(2.0, 0.125, 0.4, 0.062),
    )  # fmt: skip
    return make_blank(geometry, 49, 12, "right", "uniform")


@pytest.mark.parametrize(
    ("quantity", "wanted"),
    [
        (lambda b: deg(b.cones.pinion_angle_rad), 19.747),
        (lambda b: deg(b.cones.ring_angle_rad), 70.253),
        (lambda b: b.cones.ring_cone_mm, 81.273),
        (lambda b: b.outer_cone_mm, 93.973),
        (lambda b: b.inner_cone_mm, 68.573),
        (lambda b: 2 * b.cones.pinion_radius_mm, 54.918),
        (lambda b: 2 * b.cones.ring_radius_mm, 152.987),
        (lambda b: b.teeth.module_mm, 3.213),
        (lambda b: b.teeth.pinion_addendum_mm, 4.836),
        (lambda b: b.teeth.pinion_dedendum_mm, 2.394),
        (lambda b: b.teeth.ring_addendum_mm, 1.591),
        (lambda b: b.teeth.ring_dedendum_mm, 5.639),
        (lambda b: b.teeth.working_depth_mm, 6.427),
        (lambda b: b.teeth.clearance_mm, 0.803),
        (lambda b: b.teeth.whole_depth_mm, 7.230),
        (lambda b: deg(b.teeth.pinion_face_rad), 26.240),
        (lambda b: deg(b.teeth.pinion_root_rad), 17.613),
        (lambda b: deg(b.teeth.ring_face_rad), 72.387),
        (lambda b: deg(b.teeth.ring_root_rad), 63.760),
        (lambda b: deg(b.spiral_rad(1.0)), 36.846),
        (lambda b: deg(b.spiral_rad(0.0)), 33.946),
        (lambda b: float(b.tip_mm(1.0)), 2.064),
        (lambda b: float(-b.root_mm(1.0)), 7.085),
        (lambda b: float(b.tip_mm(0.0)), 1.117),
        (lambda b: float(-b.root_mm(0.0)), 4.194),
        (lambda b: 2 * float(b.section_mm(1.0, b.tip_mm(1.0))[0]), 178.288),
        (lambda b: 2 * float(b.section_mm(1.0, b.root_mm(1.0))[0]), 172.106),
        (lambda b: 2 * float(b.section_mm(0.0, b.tip_mm(0.0))[0]), 129.835),
        (lambda b: 2 * float(b.section_mm(0.0, b.root_mm(0.0))[0]), 126.246),
        (lambda b: float(b.section_mm(1.0, b.tip_mm(1.0))[1]), 29.808),
        (lambda b: float(b.section_mm(0.0, b.tip_mm(0.0))[1]), 22.117),
        (lambda b: b.teeth.ring_face_apex_mm, -1.508),
        (lambda b: b.teeth.ring_root_apex_mm, 3.999),
        (lambda b: b.teeth.pinion_thickness_mm, 6.465),
        (lambda b: b.teeth.ring_thickness_mm, 3.511),
    ],
)
def test_spiral_bevel_of_annex_f2(sample_1, quantity, wanted):
    """ISO 23509:2016 Annex F.2, Tables F.1-F.3."""
    assert quantity(sample_1) == pytest.approx(wanted, abs=ROUNDING)


def test_tooth_taper_of_annex_f2(sample_1):
    """ISO 23509:2016 Annex F.2 gives θa2 2.1342 and θf2 6.4934 degrees: duplex taper, split as the addenda are."""
    cones = sample_1.cones
    total = deg(duplex_taper_rad(cones, 39, rad(20), 114.3, sample_1.outer_cone_mm, 176.893))
    assert total == pytest.approx(2.1342 + 6.4934, abs=2e-4)
    share = sample_1.teeth.ring_addendum_mm / sample_1.teeth.working_depth_mm
    assert total * share == pytest.approx(2.1342, abs=2e-4)
    # our own choice is the tilted root line, which stops at 1.3 times the standard taper
    held = tooth_taper_rad(
        cones, 39, Factors(2.0, 0.125, 0.24737, 0.0915), rad(20), 114.3, sample_1.outer_cone_mm, 176.893
    )  # fmt: skip
    standard = math.atan(2.394 / 81.273) + math.atan(5.639 / 81.273)
    assert sum(held) == pytest.approx(1.3 * standard, abs=1e-5)
    assert held[0] / sum(held) == pytest.approx(share, abs=1e-6)


def test_pinion_apexes_of_annex_f2(sample_1):
    """ISO 23509:2016 Annex F.2; a distance along the axis divided by a small sine doubles the rounding."""
    assert sample_1.teeth.pinion_face_apex_mm == pytest.approx(-9.931, abs=2 * ROUNDING)
    assert sample_1.teeth.pinion_root_apex_mm == pytest.approx(2.094, abs=2 * ROUNDING)


@pytest.mark.parametrize(
    ("quantity", "wanted", "within"),
    [
        (lambda b: deg(b.cones.pinion_angle_rad), 21.288, 0.02),
        (lambda b: deg(b.cones.ring_angle_rad), 68.324, 0.02),
        (lambda b: b.cones.pinion_cone_mm, 73.519, 0.01),
        (lambda b: b.cones.ring_cone_mm, 76.337, ROUNDING),
        (lambda b: deg(b.cones.ring_spiral_rad), 38.609, ROUNDING),
        (lambda b: deg(b.cones.offset_axial_rad), 10.603, ROUNDING),
        (lambda b: deg(b.cones.offset_plane_rad), 11.390, ROUNDING),
        (lambda b: b.teeth.module_mm, 2.640, ROUNDING),
        (lambda b: deg(b.cones.limit_pressure_rad), -2.253, ROUNDING),
        (lambda b: deg(b.pressure_drive_rad), 17.747, ROUNDING),
        (lambda b: deg(b.pressure_coast_rad), 22.253, ROUNDING),
        (lambda b: b.outer_cone_mm, 91.468, 0.003),
        (lambda b: b.inner_cone_mm, 61.468, 0.003),
        (lambda b: 2 * b.cones.pinion_radius_mm, 53.383, ROUNDING),
        (lambda b: 2 * b.cones.ring_radius_mm, 141.877, ROUNDING),
        (lambda b: deg(b.teeth.pinion_face_rad), 25.232, ROUNDING),
        (lambda b: deg(b.teeth.pinion_root_rad), 20.303, ROUNDING),
        (lambda b: deg(b.teeth.ring_face_rad), 69.323, ROUNDING),
        (lambda b: deg(b.teeth.ring_root_rad), 64.324, ROUNDING),
        (lambda b: deg(b.spiral_rad(1.0)), 47.674, 0.005),
        (lambda b: deg(b.spiral_rad(0.0)), 30.826, 0.005),
        (lambda b: b.teeth.pinion_addendum_mm, 3.432, ROUNDING),
        (lambda b: b.teeth.pinion_dedendum_mm, 2.508, ROUNDING),
        (lambda b: b.teeth.ring_addendum_mm, 1.848, ROUNDING),
        (lambda b: b.teeth.ring_dedendum_mm, 4.092, ROUNDING),
        (lambda b: b.teeth.ring_apex_mm, 1.576, ROUNDING),
        # the standard stops its iteration at 1 % of the limit radius; ours goes on to rest
        (lambda b: b.teeth.pinion_apex_mm, -1.225, 0.005),
        (lambda b: b.teeth.pinion_thickness_mm, 4.922, ROUNDING),
        (lambda b: b.teeth.ring_thickness_mm, 3.241, ROUNDING),
        (lambda b: 2 * float(b.section_mm(1.0, b.tip_mm(1.0))[0]), 171.560, ROUNDING),
        (lambda b: b.depth_ratio, 4.640 / 7.262, 0.001),
    ],
)
def test_hypoid_of_annex_f3(sample_2, quantity, wanted, within):
    """ISO 23509:2016 Annex F.3, Tables F.4-F.6."""
    assert quantity(sample_2) == pytest.approx(wanted, abs=within)


@pytest.mark.parametrize(
    ("quantity", "wanted", "within"),
    [
        (lambda b: deg(b.cones.ring_angle_rad), 63.212, ROUNDING),
        (lambda b: deg(b.cones.pinion_angle_rad), 24.765, ROUNDING),
        (lambda b: b.cones.ring_cone_mm, 82.168, ROUNDING),
        (lambda b: 2 * b.cones.ring_radius_mm, 146.7, ROUNDING),
        (lambda b: deg(b.cones.offset_axial_rad), 21.647, ROUNDING),
        (lambda b: deg(b.cones.offset_plane_rad), 23.969, ROUNDING),
        (lambda b: b.cones.ring_cone_mm * math.sin(b.cones.offset_plane_rad), 33.380, ROUNDING),
        # our pitch cones touch, the sample's do not quite: see the next test
        (lambda b: deg(b.cones.pinion_spiral_rad), 44.990, 0.02),
        (lambda b: b.cones.pinion_cone_mm, 61.186, 0.02),
        (lambda b: 2 * b.cones.pinion_radius_mm, 51.258, 0.02),
        (lambda b: deg(b.cones.limit_pressure_rad), -4.132, 0.02),
        (lambda b: deg(b.pressure_drive_rad), 15.868, 0.02),
        (lambda b: deg(b.pressure_coast_rad), 24.132, 0.02),
        (lambda b: b.teeth.module_mm, 4.028, ROUNDING),
        (lambda b: b.outer_cone_mm, 95.168, ROUNDING),
        (lambda b: b.inner_cone_mm, 69.168, ROUNDING),
        (lambda b: deg(b.spiral_rad(1.0)), 31.334, ROUNDING),
        (lambda b: deg(b.spiral_rad(0.0)), 8.159, ROUNDING),
        (lambda b: b.teeth.whole_depth_mm, 9.063, ROUNDING),
        (lambda b: float(b.tip_mm(0.0) - b.root_mm(0.0)), 9.063, ROUNDING),
        (lambda b: float(b.tip_mm(1.0) - b.root_mm(1.0)), 9.063, ROUNDING),
        (lambda b: deg(b.teeth.ring_face_rad), 63.212, ROUNDING),
        (lambda b: deg(b.teeth.pinion_face_rad), 24.765, ROUNDING),
        (lambda b: deg(b.teeth.pinion_root_rad), 24.765, ROUNDING),
    ],
)
def test_face_hobbed_hypoid_of_annex_f4(sample_3, quantity, wanted, within):
    """ISO 23509:2016 Annex F.4, Tables F.7-F.9."""
    assert quantity(sample_3) == pytest.approx(wanted, abs=within)


def test_pinion_of_annex_f4_as_printed_rests_on_the_last_correction_but_one():
    """ISO 23509:2016 Annex F.4 prints βm1 − βm2 = 23.981 beside ζmp = 23.969 degrees.

    The step that the ring gear's angle is corrected with says why, and gives the printed pinion.
    """
    d2, in_plane = corrected_angles_rad(34 / 9, 146.7 / 2, 31.75, 76.0, 13, 34, rad(21.009))
    spiral = rad(21.009) + in_plane
    diameter = 146.7 * 9 / 34 * math.cos(rad(21.009)) / math.cos(spiral)
    d1 = math.atan(math.cos(in_plane) / math.tan(d2))
    assert deg(spiral) == pytest.approx(44.990, abs=ROUNDING)
    assert diameter == pytest.approx(51.258, abs=ROUNDING)
    assert diameter / (2 * math.sin(d1)) == pytest.approx(61.186, abs=ROUNDING)


@pytest.mark.parametrize(
    ("quantity", "wanted", "within"),
    [
        (lambda b: deg(b.cones.pinion_angle_rad), 18.200, 0.02),
        (lambda b: deg(b.cones.ring_angle_rad), 71.360, 0.02),
        (lambda b: b.cones.pinion_cone_mm, 159.10, 0.15),  # 0.1 % for 0.013 degrees of pitch angle
        (lambda b: b.cones.ring_cone_mm, 181.074, 0.02),
        (lambda b: deg(b.cones.pinion_spiral_rad), 42.922, ROUNDING),
        (lambda b: 2 * b.cones.ring_radius_mm, 343.151, 0.01),
        (lambda b: 2 * b.cones.pinion_radius_mm, 99.38, 0.01),
        (lambda b: deg(b.cones.offset_axial_rad), 12.265, 0.005),
        (lambda b: deg(b.cones.offset_plane_rad), 12.922, ROUNDING),
        (lambda b: b.teeth.module_mm, 6.065, ROUNDING),
        (lambda b: deg(b.cones.limit_pressure_rad), -1.731, 0.01),
        (lambda b: b.outer_cone_mm, 211.072, 0.02),
        (lambda b: b.inner_cone_mm, 151.072, 0.02),
        (lambda b: deg(b.spiral_rad(1.0)), 39.966, 0.005),
        (lambda b: deg(b.spiral_rad(0.0)), 19.426, 0.005),
        (lambda b: b.teeth.whole_depth_mm, 13.646, ROUNDING),
        (lambda b: float(b.tip_mm(0.0) - b.root_mm(0.0)), 13.646, ROUNDING),
        (lambda b: float(b.tip_mm(1.0) - b.root_mm(1.0)), 13.646, ROUNDING),
        (lambda b: 2 * float(b.section_mm(1.0, b.tip_mm(1.0))[0]), 403.102, 0.005),
    ],
)
def test_face_hobbed_hypoid_of_annex_f5(sample_4, quantity, wanted, within):
    """ISO 23509:2016 Annex F.5, Tables F.10-F.12; closed by the epicycloid's radius, to 0.02 degrees."""
    assert quantity(sample_4) == pytest.approx(wanted, abs=within)


@pytest.mark.parametrize(
    ("cone_mm", "wanted"), [(93.973, 36.8458), (68.573, 33.9456), (81.273, 35.0)]
)
def test_spiral_angle_of_a_face_milled_curve(cone_mm, wanted):
    """ISO 23509:2016 clause 7, face milling; values recomputed from the formula for Annex F.2."""
    angle = spiral_at_rad(cone_mm, 81.273, rad(35), 114.3, 0, 39, rad(70.253))
    assert deg(angle) == pytest.approx(wanted, abs=1e-4)


@pytest.mark.parametrize(
    ("cone_mm", "mean_mm", "spiral", "cutter_mm", "groups", "teeth", "pitch", "wanted"),
    [
        (95.168, 82.168, 21.009, 76.0, 13, 34, 63.212, 31.334),
        (69.168, 82.168, 21.009, 76.0, 13, 34, 63.212, 8.159),
        (211.072, 181.074, 30.0, 135.0, 5, 49, 71.360, 39.966),
        (151.072, 181.074, 30.0, 135.0, 5, 49, 71.360, 19.426),
    ],
)
def test_spiral_angle_of_an_epicycloid(
    cone_mm, mean_mm, spiral, cutter_mm, groups, teeth, pitch, wanted
):
    """ISO 23509:2016 Annex F.4 and F.5, ring gear spiral angles at heel and toe."""
    angle = spiral_at_rad(cone_mm, mean_mm, rad(spiral), cutter_mm, groups, teeth, rad(pitch))
    assert deg(angle) == pytest.approx(wanted, abs=ROUNDING)


def test_spiral_bevel_20_40_of_the_classic_proportions():
    """Classic spiral bevel proportions, z 20/40, m 3 (a gear maker's technical reference, from memory).

    Addendum and dedendum angles are the example's; what follows from them is checked.
    """
    outer, width = 67.08204, 20.0
    theta_a, theta_f = (
        rad(1.90952),
        rad(3.40519),
    )  # ring gear's: the pinion's dedendum angle and its own
    middle = outer - width / 2
    module = 2 * middle * math.sin(math.atan(2)) * math.cos(rad(35)) / 40
    addendum = 1.6725 - width / 2 * math.tan(theta_a)
    dedendum = 3.9915 - width / 2 * math.tan(theta_f)
    pinion_addendum = 3.4275 - width / 2 * math.tan(theta_f)
    depth = (addendum + pinion_addendum) / module
    factors = Factors(
        depth, (dedendum - pinion_addendum) / (depth * module), addendum / (depth * module)
    )
    geometry = Geometry(120.0, width, 0.0, 80.0, 0, ring_spiral_rad=rad(35), factors=factors,
                        taper_rad=(theta_a, theta_f))  # fmt: skip
    blank = make_blank(geometry, 40, 20, "right", "tapered")
    assert deg(blank.cones.pinion_angle_rad) == pytest.approx(26.56505, abs=1e-5)
    assert deg(blank.cones.ring_angle_rad) == pytest.approx(63.43495, abs=1e-5)
    assert blank.outer_cone_mm == pytest.approx(67.08204, abs=1e-5)
    assert deg(blank.teeth.pinion_face_rad) == pytest.approx(29.97024, abs=1e-5)
    assert deg(blank.teeth.pinion_root_rad) == pytest.approx(24.65553, abs=1e-5)
    assert deg(blank.teeth.ring_face_rad) == pytest.approx(65.34447, abs=1e-5)
    assert deg(blank.teeth.ring_root_rad) == pytest.approx(60.02976, abs=1e-5)
    assert 2 * float(blank.section_mm(1.0, blank.tip_mm(1.0))[0]) == pytest.approx(
        121.4959, abs=1e-3
    )


@pytest.mark.parametrize(
    ("pinion", "ring", "ring_diameter_mm", "face_mm", "pinion_deg", "outer_mm", "mean_mm"),
    [
        # NASA CR-4342 (Litvin & Zhang 1991), 10/41, DP 5.559: 13°42', 3.796 in
        (10, 41, 41 / 5.559 * 25.4, None, 13 + 42 / 60, 3.796 * 25.4, None),
        # Litvin et al., Mech. Mach. Theory 41 (2006), 9/33, m 4.8338: 15.2551°, mean 68.92 mm
        (9, 33, 33 * 4.8338, 27.5, 15.2551, None, 68.92),
        # NASA TP-3096 (Handschuh & Litvin 1991), 12/36: 18.4333° (the report rounds to minutes)
        (12, 36, None, 25.4, 18.4333, None, 81.05),
    ],
)
def test_pitch_cones_of_published_spiral_bevel_sets(
    pinion, ring, ring_diameter_mm, face_mm, pinion_deg, outer_mm, mean_mm
):
    """Published blanks, from memory but consistent in themselves."""
    angle = math.atan(ring / pinion)
    if ring_diameter_mm is None:
        radius = mean_mm * math.sin(angle)
    elif face_mm is None:
        radius = ring_diameter_mm / 2
    else:
        radius = (ring_diameter_mm - face_mm * math.sin(angle)) / 2
    cones = bevel_cones(ring / pinion, radius, rad(35))
    assert deg(cones.pinion_angle_rad) == pytest.approx(pinion_deg, abs=1 / 60)
    assert cones.ring_cone_mm == pytest.approx(outer_mm or mean_mm, abs=0.02)
