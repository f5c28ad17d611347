"""Tooth heights, thickness and cone angles of a pair whose pitch cones are known.

ISO 23509:2016, clause 7 ("data type II" factors of depth, clearance, addendum and thickness).
Angles in rad, lengths in mm; `mean` is at the calculation point on the pitch cone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pattern.gears.pitch_cones import PitchCones


@dataclass(frozen=True)
class Factors:
    """Relative tooth dimensions: depth kd, clearance kc, mean addendum cham, thickness kt."""

    depth: float = 2.0
    clearance: float = 0.125
    addendum: float = 0.25
    thickness: float = 0.1


@dataclass(frozen=True)
class Proportions:
    """Mean tooth dimensions and the cone angles of both members.

    `ring_addendum_angle_rad` [θa2] and `ring_dedendum_angle_rad` [θf2] are zero on uniform depth.
    `pinion_face_rad` [δa1] and `pinion_root_rad` [δf1] follow from the ring gear's root and face.
    Apex distances [tzF, tzR] are positive when the apex lies beyond the crossing point.
    """

    module_mm: float  # mmn, mean normal
    pinion_addendum_mm: float
    pinion_dedendum_mm: float
    ring_addendum_mm: float
    ring_dedendum_mm: float
    clearance_mm: float
    pinion_thickness_mm: float  # smn1, mean normal
    ring_thickness_mm: float  # smn2
    ring_addendum_angle_rad: float
    ring_dedendum_angle_rad: float
    ring_face_rad: float
    ring_root_rad: float
    pinion_face_rad: float
    pinion_root_rad: float
    ring_apex_mm: float  # tz2
    pinion_apex_mm: float  # tz1
    ring_face_apex_mm: float
    ring_root_apex_mm: float
    pinion_face_apex_mm: float
    pinion_root_apex_mm: float

    @property
    def working_depth_mm(self) -> float:
        """Mean working depth hmw."""
        return self.pinion_addendum_mm + self.ring_addendum_mm

    @property
    def whole_depth_mm(self) -> float:
        """Mean whole depth hm."""
        return self.ring_addendum_mm + self.ring_dedendum_mm


def module_mm(cones: PitchCones, ring_teeth: int) -> float:
    """Mean normal module mmn = 2·Rm2·sin δ2·cos βm2 / z2."""
    return 2 * cones.ring_radius_mm * math.cos(cones.ring_spiral_rad) / ring_teeth


def duplex_taper_rad(
    cones: PitchCones, ring_teeth: int, normal_pressure_rad: float, cutter_radius_mm: float,
    outer_cone_mm: float, ring_diameter_mm: float,
) -> float:  # fmt: skip
    """Sum of both dedendum angles at which one cutter leaves slots of even width on both gears.

    ΣθfC = 90°·met2·(1 − Rm2·sin βm2/rc0) / (Re2·tan αn·cos βm2), ISO 23509:2016, clause 7. Negative
    with a cutter smaller than Rm2·sin βm2.
    """
    return math.radians(
        90 * ring_diameter_mm / ring_teeth
        / (outer_cone_mm * math.tan(normal_pressure_rad) * math.cos(cones.ring_spiral_rad))
        * (1 - cones.ring_cone_mm * math.sin(cones.ring_spiral_rad) / cutter_radius_mm)
    )  # fmt: skip


def tooth_taper_rad(
    cones: PitchCones, ring_teeth: int, factors: Factors, normal_pressure_rad: float,
    cutter_radius_mm: float, outer_cone_mm: float, ring_diameter_mm: float,
) -> tuple[float, float]:  # fmt: skip
    """Addendum and dedendum angle of a tapered ring gear (θa2, θf2), tilted about the mid-height.

    Their sum is `duplex_taper_rad`, at most 1.3 times the standard taper's and not below a fifth of
    it, where a real set would be cut as uniform depth (the fifth: common practice, no source). ISO
    23509:2016, clause 7, tilted root line.
    """
    module = module_mm(cones, ring_teeth)
    addendum, dedendum = _heights(module, factors)[2:]
    pinion_dedendum = _heights(module, factors)[1]
    standard = math.atan(pinion_dedendum / cones.ring_cone_mm) + math.atan(
        dedendum / cones.ring_cone_mm
    )
    duplex = duplex_taper_rad(
        cones, ring_teeth, normal_pressure_rad, cutter_radius_mm, outer_cone_mm, ring_diameter_mm
    )
    total = min(max(duplex, 0.2 * standard), 1.3 * standard)
    share = addendum / (factors.depth * module)
    return total * share, total * (1 - share)


def proportions(
    cones: PitchCones, ring_teeth: int, factors: Factors, normal_pressure_rad: float, offset_mm: float,
    taper_rad: tuple[float, float], normal_backlash_mm: float = 0.0, heel: tuple[float, float] = (1.0, 1.0),
) -> Proportions:  # fmt: skip
    """Tooth dimensions at the mean point and the face and root cones of both members.

    `normal_pressure_rad` is the mean of both sides'. `normal_backlash_mm` [jen] is the one at the
    outer end that the thicknesses allow for; `heel` is (Re2, βe2) and used only with it.
    """
    module = module_mm(cones, ring_teeth)
    ham1, hfm1, ham2, hfm2 = _heights(module, factors)
    clearance = factors.clearance * factors.depth * module
    shift = factors.depth * (0.5 - factors.addendum)
    thinning = (
        normal_backlash_mm / (4 * module * math.cos(normal_pressure_rad))
        * cones.ring_cone_mm * math.cos(cones.ring_spiral_rad) / (heel[0] * math.cos(heel[1]))
    )  # fmt: skip
    half = factors.thickness / 2
    tan_pressure = math.tan(normal_pressure_rad)
    s1 = module * (math.pi / 2 + 2 * (half - thinning + shift * tan_pressure))
    s2 = module * (math.pi / 2 + 2 * (-half - thinning - shift * tan_pressure))

    d1, d2 = cones.pinion_angle_rad, cones.ring_angle_rad
    theta_a, theta_f = taper_rad
    face2, root2 = d2 + theta_a, d2 - theta_f
    rm2 = cones.ring_cone_mm
    tz2 = cones.ring_radius_mm / math.tan(d2) - cones.pinion_radius_mm * math.cos(
        cones.ring_offset_rad
    )
    tz1 = cones.pinion_radius_mm / math.tan(d1) - cones.ring_radius_mm * math.cos(
        cones.offset_axial_rad
    )
    tzf2 = tz2 - (rm2 * math.sin(theta_a) - ham2 * math.cos(theta_a)) / math.sin(face2)
    tzr2 = tz2 + (rm2 * math.sin(theta_f) - hfm2 * math.cos(theta_f)) / math.sin(root2)
    at_root = math.asin(
        offset_mm * math.sin(root2) / (rm2 * math.cos(theta_f) - tz2 * math.cos(root2))
    )
    at_face = math.asin(
        offset_mm * math.sin(face2) / (rm2 * math.cos(theta_a) - tz2 * math.cos(face2))
    )
    face1 = math.asin(math.cos(root2) * math.cos(at_root))
    root1 = math.asin(math.cos(face2) * math.cos(at_face))
    tzf1 = (
        offset_mm * math.sin(at_root) * math.cos(root2) - tzr2 * math.sin(root2) - clearance
    ) / math.sin(face1)
    tzr1 = (
        offset_mm * math.sin(at_face) * math.cos(face2) - tzf2 * math.sin(face2) - clearance
    ) / math.sin(root1)
    return Proportions(
        module, ham1, hfm1, ham2, hfm2, clearance, s1, s2, theta_a, theta_f, face2, root2, face1, root1,
        tz2, tz1, tzf2, tzr2, tzf1, tzr1,
    )  # fmt: skip


def _heights(module: float, factors: Factors) -> tuple[float, float, float, float]:
    """Mean addendum and dedendum of pinion and ring gear: ham1, hfm1, ham2, hfm2."""
    shift = factors.depth * (0.5 - factors.addendum)
    add, ded = factors.depth / 2, factors.depth * (factors.clearance + 0.5)
    return (
        module * (add + shift),
        module * (ded - shift),
        module * (add - shift),
        module * (ded + shift),
    )
