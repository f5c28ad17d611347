"""Hypoid pitch cones on one line with the cutter: ISO 23509:2016, Method 2.

Lay the common pitch plane flat. The cutter's centre rolls on both developed cones at once: on the
ring gear's about its apex by blade groups over ring gear teeth, on the pinion's about the pinion's
apex by blade groups over pinion teeth. The tooth's normal passes through the pole of each rolling,
and each pole lies on the line from the cutter's centre to that apex. Where both apexes and the
cutter's centre stand on one line the two poles and the pole of the gears themselves fall together,
and the curves that one cutter leaves on both gears stay in contact from end to end: Camus' theorem
of a describing circle, in the pitch plane (derived here; `tests/gears/test_apex_line.py` checks it).

The standard does not solve this exactly. Its text was not at hand; the steps below are the relations
of the pair, taken in its order as remembered, and reproduce the sample of its Annex F.4 to 0.0015 mm
or degrees, also where the printed values do not fit each other (βm1 − βm2 is 0.012 degrees more than
ζmp). Two readings were found by trying against that sample: the second correction keeps the first
estimate of the pinion's diameter, and ζm stands for ζmp in it. Some others fit it as well, and no
second worked sample of this method was at hand. The exact line's ring gear angle lies 0.067 degrees
lower there, within 0.25 degrees on typical sets.
"""

from __future__ import annotations

import math

from pattern.errors import InvalidAxle
from pattern.gears.pitch_cones import PitchCones, hypoid_cones_of_ring_angle, no_such_offset


def apex_line_cones(
    ratio: float, ring_radius_mm: float, offset_mm: float, cutter_radius_mm: float, blade_groups: int,
    ring_teeth: int, ring_spiral_rad: float | None,
) -> PitchCones:  # fmt: skip
    """Tangent pitch cones of a right-angle hypoid pair, the ring gear's angle by Method 2.

    Arguments as in `pitch_cones.hypoid_cones`; a face-milled pair has no blade groups. Raises
    InvalidAxle where no such pair exists or the ring gear's spiral angle is not given.
    """
    if ring_spiral_rad is None:
        raise InvalidAxle(
            "pitch cones on the line of apexes start from the ring gear's spiral angle",
            subject="spiral_angle_deg",
            remedy="Give it, or close the cones by the cutter's curve",
        )
    angle, _ = corrected_angles_rad(
        ratio,
        ring_radius_mm,
        offset_mm,
        cutter_radius_mm,
        blade_groups,
        ring_teeth,
        ring_spiral_rad,
    )
    return hypoid_cones_of_ring_angle(angle, ratio, ring_radius_mm, offset_mm, ring_spiral_rad)


def cutter_centre_mm(
    ring_radius_mm: float, cutter_radius_mm: float, blade_groups: int, ring_teeth: int, ring_spiral_rad: float,
) -> tuple[float, float]:  # fmt: skip
    """Cutter's centre in the pitch plane, from the mean point: toward the ring gear's apex and across.

    λ = 90° − βm2 + ν lies between the two directions, with the lead angle sin ν = z0·mmn / (2·rc0).
    Raises InvalidAxle where the blade groups do not fit on the cutter.
    """
    module = 2 * ring_radius_mm * math.cos(ring_spiral_rad) / ring_teeth
    sine = blade_groups * module / (2 * cutter_radius_mm)
    if sine >= 1.0:
        raise InvalidAxle(
            f"a cutter of {cutter_radius_mm:.0f} mm radius cannot cut these teeth",
            subject="cutter_radius_in",
            remedy="Check cutter radius, spiral angle and tooth counts, or leave out what is not known",
        )
    between = math.pi / 2 - ring_spiral_rad + math.asin(sine)
    return cutter_radius_mm * math.cos(between), cutter_radius_mm * math.sin(between)


def corrected_angles_rad(
    ratio: float, ring_radius_mm: float, offset_mm: float, cutter_radius_mm: float, blade_groups: int,
    ring_teeth: int, ring_spiral_rad: float,
) -> tuple[float, float]:  # fmt: skip
    """δ2 from a bevel pair corrected twice for the line of apexes, and the ζmp it went by.

    With the cone distances' share S = Rm2/Rm1 = sin(η1 + ζ)/sin η1, η1 the angle at the ring gear's
    apex between mean point and cutter's centre, and F = cos βm2/cos βm1 the pinion's enlargement:
    tan δ1 = F·S/u and tan δ1·tan δ2 = cos ζ. Exact are sin δ1/sin δ2 = F·S/u and, with ζmp for ζ,
    the second; the first holds the closer the smaller the offset. Raises InvalidAxle.
    """
    along, across = cutter_centre_mm(
        ring_radius_mm, cutter_radius_mm, blade_groups, ring_teeth, ring_spiral_rad
    )

    def share(ring_angle: float, offset_angle: float) -> float:
        cotangent = (ring_radius_mm / math.sin(ring_angle) - along) / across
        return math.cos(offset_angle) + math.sin(offset_angle) * cotangent

    def offset_angle(radius: float, pinion_angle: float, ring_angle: float) -> float:
        reach = ring_radius_mm + radius * math.cos(ring_angle) / math.cos(pinion_angle)
        return math.asin(offset_mm / reach)

    try:
        bevel = math.atan(1 / ratio)
        zeta = offset_angle(ring_radius_mm / ratio, bevel, math.pi / 2 - bevel)
        pinion = (
            ring_radius_mm / ratio * math.cos(ring_spiral_rad) / math.cos(ring_spiral_rad + zeta)
        )
        slope = pinion / ring_radius_mm
        first = math.atan(math.cos(zeta) / slope)
        d1 = math.atan(slope * share(first, zeta))
        d2 = math.atan(math.cos(zeta) / math.tan(d1))
        zeta = offset_angle(pinion, d1, d2)
        in_plane = math.asin(math.sin(zeta) / math.cos(d1))
    except ValueError as fault:
        raise no_such_offset() from fault
    return math.atan(math.cos(in_plane) / (slope * share(d2, zeta))), in_plane
