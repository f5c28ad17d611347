"""What is drawn: the ring gear's data, and the proportions that follow from them.

Lengths in mm, angles in degrees unless a name says `_rad`. Proportions follow ISO 23509:2016's
scheme (pitch cone, mean normal module, addendum factor, root and face angle); the factors that the
standard leaves to the designer are drawn within the range of its Annex F samples.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pattern.records import MM_PER_IN, Hand, ToothSystem


@dataclass(frozen=True)
class RingSpec:
    """A ring gear to draw. None means a usual value for its size.

    `cutter_ratio` is the cutter radius over the mean cone distance. `offset_share` is the pinion
    offset over the ring gear diameter. `tooth_system` is tapered (face-milled circle arcs) or
    uniform (face-hobbed epicycloids).
    """

    ring_teeth: int = 41
    pinion_teeth: int = 11
    ring_diameter_in: float = 8.5
    tooth_system: ToothSystem = "tapered"
    hand: Hand = "right"
    spiral_deg: float = 33.0
    pressure_drive_deg: float = 20.0
    pressure_coast_deg: float = 22.0
    face_share: float = 0.165
    cutter_ratio: float | None = None
    blade_groups: int = 13
    offset_share: float = 0.17
    addendum_factor: float = 0.26
    depth_factor: float = 1.9
    thickness_share: float = 0.40
    addendum_angle_deg: float = 1.0
    dedendum_angle_deg: float = 4.2

    @property
    def is_uniform(self) -> bool:
        """True for uniform depth; an unknown system is drawn tapered."""
        return self.tooth_system == "uniform"


@dataclass(frozen=True)
class Proportions:
    """Ring gear blank: cone distances, angles and mean depths (mm, rad). Names as in ISO 23509."""

    pitch_angle_rad: float
    outer_cone_mm: float
    mean_cone_mm: float
    inner_cone_mm: float
    face_width_mm: float
    mean_module_mm: float
    spiral_rad: float
    cutter_radius_mm: float
    addendum_mm: float
    dedendum_mm: float
    addendum_angle_rad: float
    dedendum_angle_rad: float
    thickness_mm: float
    fillet_mm: float
    chamfer_mm: float

    def dedendum_at(self, cone_mm: float) -> float:
        """Dedendum at a cone distance: grows toward the heel with the dedendum angle."""
        return self.dedendum_mm + (cone_mm - self.mean_cone_mm) * math.tan(self.dedendum_angle_rad)


def proportions(spec: RingSpec) -> Proportions:
    """Blank proportions of a ring gear.

    The pitch angle is that of a bevel set, atan(z2/z1), less what a hypoid offset takes from it:
    Annex F samples 2 to 4 of ISO 23509:2016 lose 4.5, 12 and 4.8 deg at offsets of 0.09, 0.19 and
    0.10 of the diameter, that is about 45 deg for a unit of `offset_share`.
    """
    outer_mm = spec.ring_diameter_in * MM_PER_IN
    pitch_rad = math.atan2(spec.ring_teeth, spec.pinion_teeth) - math.radians(
        35.0 * spec.offset_share
    )
    outer_cone = outer_mm / (2.0 * math.sin(pitch_rad))
    face = min(spec.face_share * outer_mm, 0.33 * outer_cone)
    mean_cone = outer_cone - face / 2.0
    spiral = math.radians(spec.spiral_deg)
    module = 2.0 * mean_cone * math.sin(pitch_rad) * math.cos(spiral) / spec.ring_teeth
    working = spec.depth_factor * module
    addendum = spec.addendum_factor * working
    ratio = spec.cutter_ratio or (0.68 if spec.is_uniform else 0.95)
    tapers = 0.0 if spec.is_uniform else 1.0
    return Proportions(
        pitch_angle_rad=pitch_rad,
        outer_cone_mm=outer_cone,
        mean_cone_mm=mean_cone,
        inner_cone_mm=outer_cone - face,
        face_width_mm=face,
        mean_module_mm=module,
        spiral_rad=spiral,
        cutter_radius_mm=ratio * mean_cone,
        addendum_mm=addendum,
        dedendum_mm=working - addendum + 0.125 * working,
        addendum_angle_rad=math.radians(spec.addendum_angle_deg) * tapers,
        dedendum_angle_rad=math.radians(spec.dedendum_angle_deg) * tapers,
        thickness_mm=spec.thickness_share * math.pi * module,
        fillet_mm=0.26 * module,
        chamfer_mm=0.08 * module,
    )
