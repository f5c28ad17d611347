"""Pitch cones as solid geometry: whatever the set, they touch at the mean point."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from pattern.errors import InvalidAxle
from pattern.gears.blank import Blank, blank_from_axle
from pattern.records import Axle

SYSTEMS = ("tapered", "uniform")


def drawn_sets(count: int) -> list[Axle]:
    """Axles over all that the product meets, offsets from a hair to a fifth of the diameter."""
    rng = np.random.default_rng(23509)
    sets = []
    for _ in range(count):
        pinion = int(rng.integers(7, 16))
        diameter = float(rng.uniform(6.0, 14.0))
        sets.append(
            Axle(
                ring_teeth=round(pinion * rng.uniform(2.7, 5.2)),
                pinion_teeth=pinion,
                ring_diameter_in=diameter,
                offset_in=diameter * float(rng.choice([0.0, 0.0002, rng.uniform(0.01, 0.2)])),
                tooth_system=str(rng.choice(SYSTEMS)),  # type: ignore[arg-type]
            )
        )
    return sets


@pytest.fixture(scope="module")
def blanks() -> list[Blank]:
    """Those of the drawn sets that can be cut; the others are refused by field."""
    found = []
    for axle in drawn_sets(60):
        try:
            found.append(blank_from_axle(axle))
        except InvalidAxle as fault:
            assert fault.subject
    assert len(found) > 50
    return found


def test_the_pinion_is_the_one_that_the_ring_gears_cone_allows(blanks):
    """Solid geometry with both axes in place; no formula of the standard goes in.

    The ring gear's axis is z, the pinion's parallel to x at y = offset. A normal of a cone meets its
    axis, so the ring gear's normal at the mean point leads to the pinion's axis and gives its radius,
    its angle and the direction of its generator.
    """
    for blank in (one for one in blanks if one.offset_mm):
        cones = blank.cones
        turn, d2 = cones.offset_axial_rad, cones.ring_angle_rad
        normal = np.array(
            [math.cos(d2) * math.cos(turn), math.cos(d2) * math.sin(turn), -math.sin(d2)]
        )
        generator = np.array(
            [math.sin(d2) * math.cos(turn), math.sin(d2) * math.sin(turn), math.cos(d2)]
        )
        reach = (blank.offset_mm - cones.ring_radius_mm * math.sin(turn)) / normal[1]
        assert reach * math.hypot(normal[1], normal[2]) == pytest.approx(
            cones.pinion_radius_mm, rel=1e-6
        )
        assert math.asin(normal[0]) == pytest.approx(cones.pinion_angle_rad, abs=1e-9)
        shaft = np.array([1.0, 0.0, 0.0])
        own = shaft - (shaft @ normal) * normal
        between = math.acos(own @ generator / np.linalg.norm(own))
        assert between == pytest.approx(cones.offset_plane_rad, abs=1e-6)


def test_both_gears_have_one_normal_pitch_and_finite_teeth(blanks):
    """d1·cos βm1/z1 = d2·cos βm2/z2, the spiral angles ζmp apart."""
    for blank in blanks:
        cones = blank.cones
        pinion = cones.pinion_radius_mm * math.cos(cones.pinion_spiral_rad) / blank.pinion_teeth
        ring = cones.ring_radius_mm * math.cos(cones.ring_spiral_rad) / blank.ring_teeth
        assert pinion == pytest.approx(ring, rel=1e-9)
        assert cones.pinion_spiral_rad - cones.ring_spiral_rad == pytest.approx(
            cones.offset_plane_rad, abs=1e-12
        )
        numbers = (blank.curve_ratio, blank.depth_ratio, *vars(blank.teeth).values())
        assert all(math.isfinite(value) for value in numbers)


@pytest.mark.parametrize("system", SYSTEMS)
def test_a_hair_of_offset_is_nearly_none(system):
    """0.001 in is what a drawing rounds away."""
    none, hair = (
        blank_from_axle(Axle(41, 11, 8.5, offset_in=offset, tooth_system=system)) for offset in (0.0, 0.001)
    )  # fmt: skip
    assert hair.cones.ring_angle_rad == pytest.approx(none.cones.ring_angle_rad, abs=1e-3)
    assert hair.cones.pinion_spiral_rad == pytest.approx(none.cones.pinion_spiral_rad, abs=2e-3)
    assert hair.pressure_drive_rad == pytest.approx(none.pressure_drive_rad, abs=1e-3)
    # a tapered hypoid's calculation point lies a little off mid-face
    assert hair.teeth.whole_depth_mm == pytest.approx(none.teeth.whole_depth_mm, rel=5e-3)


@pytest.mark.parametrize("system", SYSTEMS)
def test_a_larger_offset_makes_a_larger_and_steeper_pinion(system):
    """And a limit pressure angle farther from zero (common practice, no source)."""
    sets = [
        blank_from_axle(Axle(41, 11, 8.5, offset_in=offset, tooth_system=system)).cones
        for offset in (0.0, 0.3, 0.6, 0.9, 1.2, 1.5)
    ]
    for less, more in itertools.pairwise(sets):
        assert more.pinion_spiral_rad > less.pinion_spiral_rad
        assert more.pinion_radius_mm > less.pinion_radius_mm
        assert more.ring_angle_rad < less.ring_angle_rad
        assert more.limit_pressure_rad < less.limit_pressure_rad
