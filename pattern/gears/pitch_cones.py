"""Pitch cones of a bevel or hypoid pair: where the two gears roll on each other at mid-face.

Symbols follow ISO 23509:2016 (in brackets in the field list). Sign of the offset: positive is the
usual one, where the pinion's spiral angle becomes the larger of the two.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from scipy.optimize import brentq

from pattern.errors import InvalidAxle
from pattern.gears.lengthwise import curve_radius_mm

_MAX_STEPS = 200
_FLATTEST = 1e-3
"""Smallest η tried, as a share of offset over ring gear radius: a ring gear all but flat."""


@dataclass(frozen=True)
class PitchCones:
    """The pair at its mean point; angles in rad, lengths in mm.

    `offset_axial_rad` [ζm] and `offset_plane_rad` [ζmp] are the pinion's offset angle seen along the
    ring gear's axis and in the pitch plane, `ring_offset_rad` [η] the ring gear's in the pinion's
    axial section. `limit_pressure_rad` [α_lim] and `limit_radius_mm` [ρ_lim] are the pressure angle
    and the lengthwise curve radius at which the two tooth sides meet alike.
    """

    pinion_angle_rad: float  # δ1
    ring_angle_rad: float  # δ2
    pinion_spiral_rad: float  # βm1
    ring_spiral_rad: float  # βm2
    pinion_cone_mm: float  # Rm1
    ring_cone_mm: float  # Rm2
    pinion_radius_mm: float  # dm1 / 2
    ring_radius_mm: float  # dm2 / 2
    offset_axial_rad: float
    offset_plane_rad: float
    ring_offset_rad: float
    limit_pressure_rad: float
    limit_radius_mm: float


def bevel_cones(
    ratio: float,
    ring_radius_mm: float,
    ring_spiral_rad: float,
    shaft_angle_rad: float = math.pi / 2,
) -> PitchCones:
    """Pair without offset: both apexes in the crossing point (ISO 23509:2016, Method 0)."""
    pinion = math.atan2(math.sin(shaft_angle_rad), ratio + math.cos(shaft_angle_rad))
    ring = shaft_angle_rad - pinion
    cone = ring_radius_mm / math.sin(ring)
    return PitchCones(
        pinion, ring, ring_spiral_rad, ring_spiral_rad, cone, cone, cone * math.sin(pinion),
        ring_radius_mm, 0.0, 0.0, 0.0, 0.0, math.inf,
    )  # fmt: skip


def cones_at(
    ring_offset_rad: float,
    ratio: float,
    ring_radius_mm: float,
    offset_mm: float,
    *,
    ring_spiral_rad: float | None = None,
    pinion_spiral_rad: float | None = None,
) -> PitchCones:
    """Tangent pitch cones of a right-angle hypoid pair for a chosen η; one spiral angle is given.

    ISO 23509:2016, Method 1 formulas for ζm, δ1, ζmp, δ2 and the limit pressure angle and radius,
    with the pinion radius iterated to rest instead of corrected once. Raises ValueError where no
    such pair exists.
    """
    eta = ring_offset_rad
    r1 = ring_radius_mm / ratio
    for _ in range(_MAX_STEPS):
        axial = math.asin((offset_mm - r1 * math.sin(eta)) / ring_radius_mm)
        d1 = math.atan2(math.sin(eta), math.tan(axial))
        plane = math.asin(math.sin(axial) / math.cos(d1))
        if pinion_spiral_rad is not None:
            b1, b2 = pinion_spiral_rad, pinion_spiral_rad - plane
        elif ring_spiral_rad is not None:
            b1, b2 = ring_spiral_rad + plane, ring_spiral_rad
        else:
            raise TypeError("one spiral angle is needed")
        if b1 >= math.radians(80):
            raise ValueError("the pinion's spiral angle would pass 80 degrees")
        update = ring_radius_mm / ratio * math.cos(b2) / math.cos(b1)
        if abs(update - r1) < 1e-12 * ring_radius_mm:
            break
        r1 = update
    d2 = math.atan2(math.sin(axial), math.tan(eta))
    c1, c2 = r1 / math.sin(d1), ring_radius_mm / math.sin(d2)
    limit = math.atan(
        -math.tan(d1) * math.tan(d2) / math.cos(plane)
        * (c1 * math.sin(b1) - c2 * math.sin(b2)) / (c1 * math.tan(d1) + c2 * math.tan(d2))
    )  # fmt: skip
    below = (
        -math.tan(limit) * (math.tan(b1) / (c1 * math.tan(d1)) + math.tan(b2) / (c2 * math.tan(d2)))
        + 1 / (c1 * math.cos(b1)) - 1 / (c2 * math.cos(b2))
    )  # fmt: skip
    radius = (math.tan(b1) - math.tan(b2)) / (math.cos(limit) * below) if below else math.inf
    return PitchCones(d1, d2, b1, b2, c1, c2, r1, ring_radius_mm, axial, plane, eta, limit, radius)


def hypoid_cones(
    ratio: float,
    ring_radius_mm: float,
    offset_mm: float,
    cutter_radius_mm: float,
    blade_groups: int,
    ring_teeth: int,
    *,
    ring_spiral_rad: float | None = None,
    pinion_spiral_rad: float | None = None,
) -> PitchCones:
    """Hypoid pair whose limit radius equals the cutter's lengthwise curve at the mean point.

    That condition closes ISO 23509:2016 Method 1 (face milled, `blade_groups` 0) and, with the
    extended epicycloid's radius, reproduces Method 3 (face hobbed). Where no pair meets it the ring
    gear's pitch angle nearest to it, from 14 degrees below a plain bevel pair's to 8 above, is taken.
    Raises InvalidAxle when the offset leaves no pair at all.
    """

    def pair(eta: float) -> PitchCones:
        return cones_at(
            eta, ratio, ring_radius_mm, offset_mm,
            ring_spiral_rad=ring_spiral_rad, pinion_spiral_rad=pinion_spiral_rad,
        )  # fmt: skip

    def mismatch(eta: float) -> float:
        cones = pair(eta)
        return 1.0 / cones.limit_radius_mm - 1.0 / curve_radius_mm(
            cones.ring_cone_mm, cones.ring_cone_mm, cones.ring_spiral_rad, cutter_radius_mm,
            blade_groups, ring_teeth, cones.ring_angle_rad,
        )  # fmt: skip

    low, high = _eta_range(pair, math.atan(ratio), offset_mm / ring_radius_mm)
    try:
        at_low, at_high = mismatch(low), mismatch(high)
        if at_low * at_high > 0:
            return pair(low if abs(at_low) < abs(at_high) else high)
        return pair(brentq(mismatch, low, high, xtol=1e-13))
    except ValueError as fault:  # from the lengthwise curve
        raise InvalidAxle(
            f"a cutter of {cutter_radius_mm:.0f} mm radius cannot cut these teeth",
            subject="cutter_radius_in",
            remedy="Check cutter radius, spiral angle and tooth counts, or leave out what is not known",
        ) from fault


def hypoid_cones_of_ring_angle(
    ring_angle_rad: float,
    ratio: float,
    ring_radius_mm: float,
    offset_mm: float,
    ring_spiral_rad: float,
) -> PitchCones:
    """Hypoid pair whose ring gear pitch angle is given (a drawing's, or `apex_line`'s).

    Raises InvalidAxle when no such pair exists.
    """

    def pair(eta: float) -> PitchCones:
        return cones_at(eta, ratio, ring_radius_mm, offset_mm, ring_spiral_rad=ring_spiral_rad)

    try:
        eta = brentq(
            lambda value: pair(value).ring_angle_rad - ring_angle_rad,
            _FLATTEST * offset_mm / ring_radius_mm,
            offset_mm / ring_radius_mm,
        )
    except ValueError as fault:
        raise InvalidAxle(
            f"no pair has a ring gear pitch angle of {math.degrees(ring_angle_rad):.2f} degrees",
            subject="offset_in",
            remedy="Check the offset against the ring gear's diameter",
        ) from fault
    return pair(eta)


def _eta_range(
    pair: Callable[[float], PitchCones], bevel_rad: float, offset_share: float
) -> tuple[float, float]:
    """Range of η whose ring gear pitch angle lies from 14 degrees below to 8 above a bevel pair's."""
    wanted = (bevel_rad + math.radians(8), bevel_rad - math.radians(14))
    found = []
    for angle in wanted:
        angle = min(angle, math.radians(86))
        try:
            found.append(
                brentq(
                    lambda eta, at=angle: pair(eta).ring_angle_rad - at,
                    _FLATTEST * offset_share,
                    min(offset_share, 0.6),
                )
            )
        except ValueError as fault:
            raise no_such_offset() from fault
    return found[0], found[1]


def no_such_offset() -> InvalidAxle:
    """The refusal of an offset that no hypoid pair can have."""
    return InvalidAxle(
        "no hypoid pair exists with this offset",
        subject="offset_in",
        remedy="Check it against the ring gear's diameter: at most about a quarter of it",
    )
