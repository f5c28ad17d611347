"""Pitch cones on the line of apexes (ISO 23509:2016, Method 2): what the line is for, and where it lies."""

from __future__ import annotations

import cmath
import itertools
import math

import pytest
from scipy.optimize import brentq

from pattern.errors import InvalidAxle
from pattern.gears.apex_line import apex_line_cones, cutter_centre_mm
from pattern.gears.lengthwise import spiral_at_rad
from pattern.gears.pitch_cones import PitchCones, cones_at, hypoid_cones_of_ring_angle

rad, deg = math.radians, math.degrees

# ring teeth, pinion teeth, mean radius, offset, cutter radius (mm), blade groups, ring spiral (deg)
ANNEX_F4 = (34, 9, 73.35, 31.75, 76.0, 13, 21.009)
SETS = [
    ANNEX_F4,
    (49, 12, 171.5, 40.0, 135.0, 5, 30.0),
    (41, 11, 92.0, 25.0, 88.0, 13, 30.0),
    (43, 10, 130.0, 38.0, 105.0, 17, 30.0),
    (41, 11, 92.0, 35.0, 95.0, 0, 27.0),
]


def miss_mm(cones: PitchCones, cutter_mm: float, groups: int, teeth: int) -> float:
    """How far the cutter's centre stands from the line through both apexes, in the pitch plane."""
    along, across = cutter_centre_mm(
        cones.ring_radius_mm, cutter_mm, groups, teeth, cones.ring_spiral_rad
    )
    angle = cones.offset_plane_rad
    line = (
        cones.pinion_cone_mm * math.cos(angle) - cones.ring_cone_mm,
        cones.pinion_cone_mm * math.sin(angle),
    )
    beyond = along - cones.ring_cone_mm
    return (beyond * line[1] - across * line[0]) / math.hypot(*line)


def on_line(teeth, pinion, radius, offset, cutter, groups, spiral) -> PitchCones:
    """The exactly tangent pair whose apexes stand on one line with the cutter's centre."""

    def pair(eta: float) -> PitchCones:
        return cones_at(eta, teeth / pinion, radius, offset, ring_spiral_rad=rad(spiral))

    eta = brentq(
        lambda value: miss_mm(pair(value), cutter, groups, teeth), 0.02, 0.95 * offset / radius
    )
    return pair(eta)


def worst_turn_rad(cones: PitchCones, teeth, pinion, cutter_mm, groups) -> float:
    """Largest angle between the two gears' lengthwise curves where the cutter touches both.

    The blade goes round the cutter's centre in the pitch plane; there each gear's curve has the spiral
    angle that `lengthwise` gives it, measured from that gear's own apex.
    """
    ring_apex = complex(cones.ring_cone_mm, 0.0)
    pinion_apex = cones.pinion_cone_mm * cmath.exp(1j * cones.offset_plane_rad)
    centre = complex(
        *cutter_centre_mm(cones.ring_radius_mm, cutter_mm, groups, teeth, cones.ring_spiral_rad)
    )
    worst = 0.0
    for turn in (-0.15, -0.07, 0.0, 0.07, 0.15):
        blade = centre - centre * cmath.exp(1j * turn)
        ring = spiral_at_rad(
            abs(blade - ring_apex), cones.ring_cone_mm, cones.ring_spiral_rad, cutter_mm, groups, teeth,
            cones.ring_angle_rad,
        )  # fmt: skip
        small = spiral_at_rad(
            abs(blade - pinion_apex), cones.pinion_cone_mm, cones.pinion_spiral_rad, cutter_mm, groups,
            pinion, cones.pinion_angle_rad,
        )  # fmt: skip
        between = cmath.phase((pinion_apex - blade) / (ring_apex - blade))
        worst = max(worst, abs(small - ring - between))
    return worst


@pytest.mark.parametrize("numbers", [numbers for numbers in SETS if numbers[5]])
def test_on_the_line_the_curves_of_both_gears_touch_from_end_to_end(numbers):
    """Camus' theorem of the describing circle; the curves come from `lengthwise`, which knows no line."""
    teeth, pinion, _, _, cutter, groups, _ = numbers
    assert worst_turn_rad(on_line(*numbers), teeth, pinion, cutter, groups) < 1e-9


def test_off_the_line_they_touch_at_the_mean_point_alone():
    teeth, pinion, radius, offset, cutter, groups, spiral = ANNEX_F4
    cones = hypoid_cones_of_ring_angle(rad(65), teeth / pinion, radius, offset, rad(spiral))
    assert worst_turn_rad(cones, teeth, pinion, cutter, groups) > 1e-3


@pytest.mark.parametrize("numbers", SETS)
def test_two_corrections_come_close_to_the_line(numbers):
    """They are the standard's approximation of it: within a quarter of a degree on these sets."""
    teeth, pinion, radius, offset, cutter, groups, spiral = numbers
    cones = apex_line_cones(teeth / pinion, radius, offset, cutter, groups, teeth, rad(spiral))
    assert deg(cones.ring_angle_rad) == pytest.approx(
        deg(on_line(*numbers).ring_angle_rad), abs=0.25
    )


def test_the_exact_line_of_annex_f4_is_stated_as_measured():
    """The figure that `apex_line` states: 0.067 degrees under ISO 23509:2016 Annex F.4's 63.212."""
    assert deg(on_line(*ANNEX_F4).ring_angle_rad) == pytest.approx(63.212 - 0.067, abs=0.001)


@pytest.mark.parametrize("groups", [0, 13])
def test_without_offset_it_is_a_plain_bevel_pair(groups):
    """ISO 23509:2016, Method 0: tan δ2 = u."""
    cones = apex_line_cones(41 / 11, 92.0, 1e-3, 88.0, groups, 41, rad(30))
    assert cones.ring_angle_rad == pytest.approx(math.atan(41 / 11), abs=1e-4)
    assert cones.pinion_spiral_rad == pytest.approx(rad(30), abs=1e-4)


def test_the_ring_gear_flattens_less_the_larger_the_offset():
    """A larger offset takes from δ2 and adds to δ1 and to the pinion's diameter (common practice, no source)."""
    pairs = [
        apex_line_cones(41 / 11, 92.0, offset, 88.0, 13, 41, rad(30))
        for offset in (5, 10, 20, 30, 40)
    ]
    for less, more in itertools.pairwise(pairs):
        assert more.ring_angle_rad < less.ring_angle_rad
        assert more.pinion_angle_rad > less.pinion_angle_rad
        assert more.pinion_radius_mm > less.pinion_radius_mm


def test_it_scales():
    small = apex_line_cones(34 / 9, 73.35, 31.75, 76.0, 13, 34, rad(21.009))
    large = apex_line_cones(34 / 9, 146.7, 63.5, 152.0, 13, 34, rad(21.009))
    assert large.ring_angle_rad == pytest.approx(small.ring_angle_rad, abs=1e-12)
    assert large.pinion_cone_mm == pytest.approx(2 * small.pinion_cone_mm, rel=1e-12)


@pytest.mark.parametrize(
    ("change", "subject"),
    [
        ({"offset_mm": 95.0}, "offset_in"),
        ({"cutter_radius_mm": 15.0}, "cutter_radius_in"),
        ({"ring_spiral_rad": None}, "spiral_angle_deg"),
    ],
)
def test_impossible_data_name_their_field(change, subject):
    data = {
        "ratio": 34 / 9, "ring_radius_mm": 73.35, "offset_mm": 31.75, "cutter_radius_mm": 76.0,
        "blade_groups": 13, "ring_teeth": 34, "ring_spiral_rad": rad(21.009),
    }  # fmt: skip
    with pytest.raises(InvalidAxle) as fault:
        apex_line_cones(**{**data, **change})
    assert fault.value.subject == subject
