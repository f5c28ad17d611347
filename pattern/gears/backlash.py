"""Backlash: from the play between the two sides to what a dial indicator reads.

The pinion is held and the ring gear rocked. Its free angle is the sum of both sides' smallest gaps,
divided by the ratio. How much of it a dial shows depends on where and in which direction it stands.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pattern.gears.blank import Blank
from pattern.gears.flank import flank_at_height

Array = NDArray[np.float64]


def normal_arm_mm(blank: Blank, lengthwise: float = 1.0) -> float:
    """Lever of a dial set square to the tooth on the pitch line, mm per rad of the ring gear.

    The mean of both sides' |n·(z × r)|, at the heel by default: R·cos β·cos α there.
    """
    arms = []
    for side in ("drive", "coast"):
        point, normal = flank_at_height(blank, side, lengthwise, 0.0)
        arms.append(abs(float(point[0] * normal[1] - point[1] * normal[0])))
    return sum(arms) / 2


def heel_radius_mm(blank: Blank) -> float:
    """Radius of the pitch circle at the heel, where a dial along the direction of rotation stands."""
    return blank.ring_diameter_mm / 2


def dial_reading_mm(
    ring_angle_rad: ArrayLike, radius_mm: float, angle_deg: float, height_angle_deg: float = 0.0
) -> Array:
    """What a dial reads at a radius, its plunger turned away from the direction of rotation.

    `angle_deg` is the turn within the plane of rotation or the pitch plane (the spiral angle makes it
    square to the tooth's trace), `height_angle_deg` the tilt out of it (the pressure angle makes it
    square to the tooth's surface). Reading = angle · r · cos · cos.
    """
    share = math.cos(math.radians(angle_deg)) * math.cos(math.radians(height_angle_deg))
    return np.asarray(ring_angle_rad, dtype=np.float64) * radius_mm * share


def rigid_backlash_rate(blank: Blank) -> tuple[float, float]:
    """Backlash per pinion move and per ring gear move with contact at the pitch point, both sides.

    First order, 2·tan φ·sin γ and 2·tan φ·sin Γ carried from mid-face to the heel and made normal;
    the pinion's is negative (deeper closes the play). Machinery's Handbook and AGMA 2005 form, from
    memory.
    """
    cones = blank.cones
    tan = math.tan(blank.pressure_drive_rad) + math.tan(blank.pressure_coast_rad)
    mean_arm = cones.ring_radius_mm * math.cos(cones.ring_spiral_rad)
    scale = tan * normal_arm_mm(blank) / mean_arm
    return -math.sin(cones.pinion_angle_rad) * scale, math.sin(cones.ring_angle_rad) * scale
