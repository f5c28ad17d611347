"""The lengthwise tooth curve against the kinematics of a rolling circle, which it was not made from."""

from __future__ import annotations

import math

import pytest

from pattern.gears.lengthwise import curve_radius_mm, cutter_lead_rad, spiral_at_rad

rad = math.radians

# mean cone distance, spiral (deg), cutter radius, blade groups, ring teeth, pitch angle (deg); mm
CURVES = [
    (82.168, 21.009, 76.0, 13, 34, 63.212),  # the sizes of ISO 23509:2016 Annex F.4
    (181.074, 30.0, 135.0, 5, 49, 71.360),  # and of F.5
    (95.0, 33.0, 88.0, 13, 41, 70.0),
    (70.0, 5.0, 60.0, 11, 37, 68.0),
]


@pytest.mark.parametrize(("mean", "spiral", "cutter", "groups", "teeth", "pitch"), CURVES)
def test_the_epicycloids_radius_is_that_of_euler_and_savary(
    mean, spiral, cutter, groups, teeth, pitch
):
    """(1/p − 1/c)·sin ψ = 1/r + 1/R for a point carried by a circle r rolling on a circle R (textbook theorem).

    p and c are the distances of the point and of its path's centre of curvature from the pole, ψ the
    angle of both against the common tangent. The rolling circles share the distance from the cutter's
    centre to the apex as blade groups to the teeth of the developed ring gear, z2/sin δ2.
    """
    spiral, pitch = rad(spiral), rad(pitch)
    lead = cutter_lead_rad(mean, spiral, cutter, groups, teeth, pitch)
    # the point is the origin, the apex lies along the real axis
    centre = cutter * complex(math.sin(spiral - lead), math.cos(spiral - lead))
    share = groups / (groups + teeth / math.sin(pitch))
    pole = centre + (mean - centre) * share
    rolling, fixed = abs(pole - centre), abs(pole - mean)
    reach = abs(pole)
    sine = (-pole.conjugate() * (centre - pole)).real / (reach * rolling)
    path_centre = 1 / (1 / reach - (1 / rolling + 1 / fixed) / sine)
    found = curve_radius_mm(mean, mean, spiral, cutter, groups, teeth, pitch)
    assert found == pytest.approx(abs(reach - path_centre), rel=1e-6)
    # the tooth's normal goes through the pole
    assert math.atan2(pole.imag, pole.real) == pytest.approx(math.pi / 2 - spiral, abs=1e-9)


@pytest.mark.parametrize(("mean", "spiral", "cutter", "_groups", "teeth", "pitch"), CURVES)
def test_without_rolling_it_is_the_cutters_circle(mean, spiral, cutter, _groups, teeth, pitch):
    """One formula for both: with no blade groups the epicycloid's spiral angle is the circle's."""
    for share in (0.9, 1.0, 1.1):
        circle = spiral_at_rad(share * mean, mean, rad(spiral), cutter, 0, teeth, rad(pitch))
        sine = (
            (share + (2 * cutter * math.sin(rad(spiral)) / mean - 1) / share) * mean / (2 * cutter)
        )
        assert math.sin(circle) == pytest.approx(sine, abs=1e-12)
        assert curve_radius_mm(mean, mean, rad(spiral), cutter, 0, teeth, rad(pitch)) == cutter


@pytest.mark.parametrize(("mean", "spiral", "cutter", "groups", "teeth", "pitch"), CURVES)
def test_the_spiral_angle_grows_from_toe_to_heel(mean, spiral, cutter, groups, teeth, pitch):
    """On sets of usual sizes (common practice, no source)."""
    angles = [
        spiral_at_rad(share * mean, mean, rad(spiral), cutter, groups, teeth, rad(pitch))
        for share in (0.88, 0.94, 1.0, 1.06, 1.12)
    ]
    assert angles == sorted(angles)
    assert angles[2] == pytest.approx(rad(spiral), abs=1e-12)
