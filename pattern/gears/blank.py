"""The blank: everything about a ring gear and pinion that can be known without their tooth surfaces.

`blank_from_axle` fills in what a shop does not know from documented defaults (`pattern.gears.defaults`).
Lengths in mm, angles in rad. Member 1 is the pinion, member 2 the ring gear.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pattern.errors import InvalidAxle
from pattern.gears.apex_line import apex_line_cones
from pattern.gears.defaults import Geometry, geometry_of
from pattern.gears.lengthwise import curve_radius_mm, spiral_at_rad
from pattern.gears.pitch_cones import PitchCones, bevel_cones, hypoid_cones
from pattern.gears.proportions import Proportions, proportions, tooth_taper_rad
from pattern.records import MM_PER_IN, Axle, Hand, Side

System = Literal["tapered", "uniform"]
_STEEPEST_SPIRAL_DEG = 75.0


@dataclass(frozen=True)
class Blank:
    """A pair of gears on their shafts at the drawing's mounting distances.

    `pressure_drive_rad` and `pressure_coast_rad` are the normal pressure angles of the ring gear's
    convex and concave side at the mean point (ISO 23509 αnD, αnC: the design angle less and plus the
    limit pressure angle). `assumed` names the axle's fields that were filled from defaults.
    """

    ring_teeth: int
    pinion_teeth: int
    hand: Hand
    system: System
    offset_mm: float
    ring_diameter_mm: float  # de2
    face_width_mm: float  # b2
    cutter_radius_mm: float  # rc0
    blade_groups: int  # z0, 0 when face milled
    pressure_drive_rad: float
    pressure_coast_rad: float
    cones: PitchCones
    teeth: Proportions
    assumed: tuple[str, ...] = ()

    @property
    def sign(self) -> int:
        """+1 for a right-hand ring gear, −1 for the mirrored set."""
        return 1 if self.hand == "right" else -1

    @property
    def ratio(self) -> float:
        """Ring gear teeth over pinion teeth."""
        return self.ring_teeth / self.pinion_teeth

    @property
    def ring_pitch_rad(self) -> float:
        """Angle from one ring gear tooth to the next."""
        return 2 * math.pi / self.ring_teeth

    @property
    def outer_cone_mm(self) -> float:
        """Ring gear cone distance at the heel, Re2."""
        return self.ring_diameter_mm / (2 * math.sin(self.cones.ring_angle_rad))

    @property
    def inner_cone_mm(self) -> float:
        """Ring gear cone distance at the toe, Ri2."""
        return self.outer_cone_mm - self.face_width_mm

    @property
    def curve_ratio(self) -> float:
        """Radius of the lengthwise curve at mid-face over the mean cone distance."""
        return curve_radius_mm(self.cones.ring_cone_mm, *self._curve) / self.cones.ring_cone_mm

    @property
    def depth_ratio(self) -> float:
        """Depth of the ring gear tooth's side at the toe over that at the heel; 1 on uniform depth."""
        toe, heel = (self.tip_mm(end) - self.root_mm(end) for end in (0.0, 1.0))
        return float(toe / heel)

    def pressure_rad(self, side: Side) -> float:
        """Normal pressure angle of a side at the mean point."""
        return self.pressure_drive_rad if side == "drive" else self.pressure_coast_rad

    def cone_mm(self, lengthwise: ArrayLike) -> NDArray[np.float64]:
        """Cone distance along the ring gear's pitch cone, toe 0 to heel 1."""
        return self.inner_cone_mm + self.face_width_mm * np.asarray(lengthwise, dtype=np.float64)

    def spiral_rad(self, lengthwise: float) -> float:
        """Ring gear spiral angle of the developed lengthwise curve (ISO 23509, clause 7)."""
        return spiral_at_rad(float(self.cone_mm(lengthwise)), *self._curve)

    def tip_mm(self, lengthwise: ArrayLike) -> NDArray[np.float64]:
        """Height of the top land over the ring gear's pitch cone."""
        reach = self.cone_mm(lengthwise) - self.cones.ring_cone_mm
        return self.teeth.ring_addendum_mm + reach * math.tan(self.teeth.ring_addendum_angle_rad)

    def root_mm(self, lengthwise: ArrayLike) -> NDArray[np.float64]:
        """Height of the root over the ring gear's pitch cone, negative."""
        reach = self.cone_mm(lengthwise) - self.cones.ring_cone_mm
        return -self.teeth.ring_dedendum_mm - reach * math.tan(self.teeth.ring_dedendum_angle_rad)

    def height_mm(self, lengthwise: ArrayLike, profile: ArrayLike) -> NDArray[np.float64]:
        """Height over the pitch cone at a profile position.

        Profile 0 is the end of the working flank, one clearance above the root; profile 1 the tip.
        """
        low = self.root_mm(lengthwise) + self.teeth.clearance_mm
        return low + (self.tip_mm(lengthwise) - low) * np.asarray(profile, dtype=np.float64)

    def section_mm(
        self, lengthwise: ArrayLike, height_mm: ArrayLike
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Radius and axial position in the ring gear's frame (see `pattern.gears.flank`)."""
        angle = self.cones.ring_angle_rad
        cone, height = np.broadcast_arrays(
            self.cone_mm(lengthwise), np.asarray(height_mm, dtype=np.float64)
        )
        radius = cone * math.sin(angle) + height * math.cos(angle)
        axial = cone * math.cos(angle) - height * math.sin(angle) - self.teeth.ring_apex_mm
        return radius, axial

    def tooth_coordinates(
        self, radius_mm: NDArray[np.float64], axial_mm: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Lengthwise and profile position of a radius and axial position: `section_mm` undone."""
        angle = self.cones.ring_angle_rad
        axial = axial_mm + self.teeth.ring_apex_mm
        cone = radius_mm * math.sin(angle) + axial * math.cos(angle)
        height = radius_mm * math.cos(angle) - axial * math.sin(angle)
        lengthwise = (cone - self.inner_cone_mm) / self.face_width_mm
        low = self.root_mm(lengthwise) + self.teeth.clearance_mm
        return lengthwise, (height - low) / (self.tip_mm(lengthwise) - low)

    @property
    def _curve(self) -> tuple[float, float, float, int, int, float]:
        return (
            self.cones.ring_cone_mm, self.cones.ring_spiral_rad, self.cutter_radius_mm,
            self.blade_groups, self.ring_teeth, self.cones.ring_angle_rad,
        )  # fmt: skip


def blank_from_axle(axle: Axle, system: System | None = None) -> Blank:
    """The blank of an axle, unknown dimensions taken from the defaults' middle.

    `system` overrides the axle's tooth system; where both leave it open, tapered is taken and named
    in `assumed`. Raises InvalidAxle for data that no pair can have.
    """
    chosen: System = system or ("uniform" if axle.tooth_system == "uniform" else "tapered")
    geometry, assumed = geometry_of(axle, chosen)
    if system is None and axle.tooth_system == "unknown":
        assumed = ("tooth_system", *assumed)
    return make_blank(geometry, axle.ring_teeth, axle.pinion_teeth, axle.hand, chosen, assumed)


def make_blank(
    geometry: Geometry, ring_teeth: int, pinion_teeth: int, hand: Hand, system: System,
    assumed: tuple[str, ...] = (),
) -> Blank:  # fmt: skip
    """Work out pitch cones and tooth dimensions from full data. Raises InvalidAxle."""
    ratio = ring_teeth / pinion_teeth
    cones = _cones(geometry, ratio, ring_teeth, system)
    _check_curve(geometry, cones, ring_teeth)
    limit = cones.limit_pressure_rad
    drive = geometry.pressure_drive_rad
    coast = geometry.pressure_coast_rad
    drive = geometry.pressure_rad + limit if drive is None else drive
    coast = geometry.pressure_rad - limit if coast is None else coast
    mean_pressure = (drive + coast) / 2
    outer = geometry.ring_diameter_mm / (2 * math.sin(cones.ring_angle_rad))
    taper = geometry.taper_rad
    if taper is None:
        taper = (0.0, 0.0) if system == "uniform" else tooth_taper_rad(
            cones, ring_teeth, geometry.factors, mean_pressure, geometry.cutter_radius_mm, outer,
            geometry.ring_diameter_mm,
        )  # fmt: skip
    heel = spiral_at_rad(
        outer, cones.ring_cone_mm, cones.ring_spiral_rad, geometry.cutter_radius_mm,
        geometry.blade_groups, ring_teeth, cones.ring_angle_rad,
    )  # fmt: skip
    teeth = proportions(
        cones, ring_teeth, geometry.factors, mean_pressure, geometry.offset_mm, taper,
        geometry.normal_backlash_mm, (outer, heel),
    )  # fmt: skip
    if teeth.ring_thickness_mm <= 0.25 * teeth.module_mm:
        raise InvalidAxle(
            "the ring gear's teeth would have no thickness", subject="pressure_angle_drive_deg",
            remedy="Check the pressure angles",
        )  # fmt: skip
    return Blank(
        ring_teeth, pinion_teeth, hand, system, geometry.offset_mm, geometry.ring_diameter_mm,
        geometry.face_width_mm, geometry.cutter_radius_mm, geometry.blade_groups, drive, coast, cones,
        teeth, assumed,
    )  # fmt: skip


def _cones(geometry: Geometry, ratio: float, ring_teeth: int, system: System) -> PitchCones:
    """Pitch cones with the calculation point at mid-face.

    ISO 23509:2016 Method 1 (tapered hypoids) takes the mean radius with a first estimate of the pitch
    angle, so its point lies a little off mid-face; the others use the pitch angle itself.
    """
    first = math.atan(ratio / 1.2) if geometry.offset_mm else math.atan(ratio)
    for _ in range(1 if system == "tapered" or not geometry.offset_mm else 4):
        mean_radius = (geometry.ring_diameter_mm - geometry.face_width_mm * math.sin(first)) / 2
        if not geometry.offset_mm:
            spiral = geometry.ring_spiral_rad
            if spiral is None:
                spiral = geometry.pinion_spiral_rad or 0.0
            return bevel_cones(ratio, mean_radius, spiral)
        pair = (
            ratio, mean_radius, geometry.offset_mm, geometry.cutter_radius_mm, geometry.blade_groups,
            ring_teeth,
        )  # fmt: skip
        if geometry.apex_line:
            cones = apex_line_cones(*pair, geometry.ring_spiral_rad)
        else:
            cones = hypoid_cones(
                *pair,
                ring_spiral_rad=geometry.ring_spiral_rad,
                pinion_spiral_rad=geometry.pinion_spiral_rad,
            )
        first = cones.ring_angle_rad
    return cones


def _check_curve(geometry: Geometry, cones: PitchCones, ring_teeth: int) -> None:
    """Refuse a cutter whose curve does not run from toe to heel."""
    outer = geometry.ring_diameter_mm / (2 * math.sin(cones.ring_angle_rad))
    # a little beyond both ends, where the contact analysis still needs the surface
    margin = 0.15 * geometry.face_width_mm
    for name, cone in (("toe", outer - geometry.face_width_mm - margin), ("heel", outer + margin)):
        try:
            angle = spiral_at_rad(
                cone, cones.ring_cone_mm, cones.ring_spiral_rad, geometry.cutter_radius_mm,
                geometry.blade_groups, ring_teeth, cones.ring_angle_rad,
            )  # fmt: skip
        except ValueError:
            angle = math.inf
        if abs(angle) > math.radians(_STEEPEST_SPIRAL_DEG):
            raise InvalidAxle(
                f"a cutter of {geometry.cutter_radius_mm / MM_PER_IN:.2f} in radius cannot cut this "
                f"tooth at the {name}",
                subject="cutter_radius_in",
                remedy="Check cutter radius, spiral angle and face width, or leave out what is not known",
            )
