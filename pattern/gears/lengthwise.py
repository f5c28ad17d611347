"""The lengthwise tooth curve on the developed pitch cone: cutter circle or extended epicycloid.

Face milling (tapered depth) cuts one slot at a time: the curve is the cutter's circle. Face hobbing
(uniform depth) indexes while it cuts: the curve is an extended epicycloid with `blade_groups` [z0]
blade groups on the cutter. ISO 23509:2016, clause 7. Angles in rad, lengths in mm.
"""

from __future__ import annotations

import math


def cutter_lead_rad(
    mean_cone_mm: float, spiral_rad: float, cutter_radius_mm: float, blade_groups: int, ring_teeth: int,
    ring_angle_rad: float,
) -> float:  # fmt: skip
    """Lead angle ν of the cutter, sin ν = z0·mmn / (2·rc0); zero when face milled."""
    module = 2 * mean_cone_mm * math.sin(ring_angle_rad) * math.cos(spiral_rad) / ring_teeth
    return math.asin(blade_groups * module / (2 * cutter_radius_mm))


def spiral_at_rad(
    cone_mm: float, mean_cone_mm: float, mean_spiral_rad: float, cutter_radius_mm: float,
    blade_groups: int, ring_teeth: int, ring_angle_rad: float,
) -> float:  # fmt: skip
    """Spiral angle at a cone distance.

    Face milled: sin β = [R + Rm·(2·rc0·sin βm − Rm)/R] / (2·rc0). Face hobbed: the epicycloid's own,
    from the distance of the cutter's centre to the cone's apex and the rolling ratio. Raises
    ValueError where the curve does not reach that cone distance.
    """
    lead = cutter_lead_rad(
        mean_cone_mm, mean_spiral_rad, cutter_radius_mm, blade_groups, ring_teeth, ring_angle_rad
    )
    centre = math.sqrt(
        mean_cone_mm**2 + cutter_radius_mm**2
        - 2 * mean_cone_mm * cutter_radius_mm * math.sin(mean_spiral_rad - lead)
    )  # fmt: skip
    # angle of the cutter's own circle against the cone's generator, then the share of the rolling
    circle = math.asin(
        (cone_mm**2 + cutter_radius_mm**2 - centre**2) / (2 * cone_mm * cutter_radius_mm)
    )
    rolling = blade_groups * math.sin(ring_angle_rad) / ring_teeth * cone_mm / cutter_radius_mm
    return math.atan2(math.sin(circle) + rolling, math.cos(circle))


def curve_radius_mm(
    cone_mm: float, mean_cone_mm: float, mean_spiral_rad: float, cutter_radius_mm: float,
    blade_groups: int, ring_teeth: int, ring_angle_rad: float,
) -> float:  # fmt: skip
    """Radius of the lengthwise curve at a cone distance, in the developed pitch plane.

    κ = dβ/ds + sin β / R along the curve (ds = dR / cos β): the heading turns with the spiral angle
    and with the generator it is measured from. For a face-milled curve this is the cutter radius.
    """
    if not blade_groups:
        return cutter_radius_mm

    def spiral(cone: float) -> float:
        return spiral_at_rad(
            cone,
            mean_cone_mm,
            mean_spiral_rad,
            cutter_radius_mm,
            blade_groups,
            ring_teeth,
            ring_angle_rad,
        )

    step = 1e-4 * cone_mm
    slope = (spiral(cone_mm + step) - spiral(cone_mm - step)) / (2 * step)
    angle = spiral(cone_mm)
    return 1.0 / (slope * math.cos(angle) + math.sin(angle) / cone_mm)
