"""A spiral bevel or hypoid gear member: proportions and tooth sides. Lengths in mm, angles in rad.

Right hand means: seen from the tooth side, the outer half of a tooth leans clockwise. The cutter's
centre then lies clockwise of the tooth, so the side that looks counter-clockwise is convex, which on a
ring gear is the drive side. A left-hand gear is the mirror image.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from pattern.synthetic.second.arrays import Array, Rng, unit

DRIVE, COAST = 0, 1
SIDE_NAMES = ("drive", "coast")
HANDS = ("right", "left")

_SPARE_MM = 3.0
"""The tooth's line is worked out so far beyond toe and heel."""


@dataclass(frozen=True)
class Rows:
    """Sizes along the face width, each as the cone distances they were asked for."""

    addendum_mm: Array
    dedendum_mm: Array
    depth_mm: Array
    pitch_mm: Array
    """Normal circular pitch."""
    land_mm: Array


@dataclass(frozen=True)
class Gear:
    """Proportions of one member; shares are of the whole depth unless they say otherwise."""

    teeth: int
    diameter_mm: float
    pitch_angle_rad: float
    face_mm: float
    spiral_rad: float
    cutter_ratio: float
    """Cutter radius over mean cone distance."""
    depth_mm: float
    """Whole depth at the mean cone distance."""
    addendum_share: float
    drive_pressure_rad: float
    coast_pressure_rad: float
    uniform_depth: bool
    hand: str
    land_share: float = 0.5
    """Top land over what the slopes leave of the pitch."""
    fillet_share: float = 0.16
    pinion_teeth: int = 0

    @property
    def heel_mm(self) -> float:
        """Outer cone distance."""
        return float(self.diameter_mm / 2 / np.sin(self.pitch_angle_rad))

    @property
    def toe_mm(self) -> float:
        """Inner cone distance."""
        return self.heel_mm - self.face_mm

    @property
    def mean_mm(self) -> float:
        """Mean cone distance."""
        return self.heel_mm - self.face_mm / 2

    @cached_property
    def _line(self) -> tuple[Array, Array]:
        """Azimuth of a right-hand tooth's middle over the cone distance; it falls toward the heel."""
        cone = np.linspace(self.toe_mm - _SPARE_MM, self.heel_mm + _SPARE_MM, 400)
        slope = np.tan(self.spiral_at(cone))
        steps = (slope[1:] / cone[1:] + slope[:-1] / cone[:-1]) / 2 * np.diff(cone)
        azimuth = np.concatenate([[0], np.cumsum(steps)]) / np.sin(self.pitch_angle_rad)
        return cone, -(azimuth - np.interp(self.mean_mm, cone, azimuth))

    def spiral_at(self, cone_mm: Any) -> Array:
        """Spiral angle at a cone distance: that of a circle of the cutter's radius."""
        radius = self.cutter_ratio * self.mean_mm
        apex_squared = (
            self.mean_mm**2 + radius**2 - 2 * self.mean_mm * radius * np.sin(self.spiral_rad)
        )
        sine = (cone_mm**2 + radius**2 - apex_squared) / (2 * cone_mm * radius)
        return np.asarray(np.arcsin(np.clip(sine, -0.95, 0.95)))

    def rows_at(self, cone_mm: Array) -> Rows:
        """Depth, pitch and top land at cone distances."""
        taper = (
            np.ones_like(cone_mm) if self.uniform_depth else 1 + 1.25 * (cone_mm / self.mean_mm - 1)
        )
        depth = self.depth_mm * taper
        around = 2 * np.pi * cone_mm * np.sin(self.pitch_angle_rad) / self.teeth
        pitch = around * np.cos(self.spiral_at(cone_mm))
        left = pitch - depth * (np.tan(self.drive_pressure_rad) + np.tan(self.coast_pressure_rad))
        return Rows(
            addendum_mm=depth * self.addendum_share,
            dedendum_mm=depth * (1 - self.addendum_share),
            depth_mm=depth,
            pitch_mm=pitch,
            land_mm=np.maximum(left * self.land_share, 0.12 * pitch),
        )

    def slope(self, side: int) -> float:
        """Tangent of the pressure angle of a side."""
        return float(np.tan((self.drive_pressure_rad, self.coast_pressure_rad)[side]))

    def placed(self, cone_mm: Array, across_mm: Any, height_mm: Any) -> Array:
        """Points (..., 3) of tooth 0, `across` the tooth and `height` above the pitch cone."""
        sine, cosine = np.sin(self.pitch_angle_rad), np.cos(self.pitch_angle_rad)
        radius = cone_mm * sine + height_mm * cosine
        z = -cone_mm * cosine + height_mm * sine
        turn = across_mm / (np.cos(self.spiral_at(cone_mm)) * cone_mm * sine)
        azimuth = np.interp(cone_mm, *self._line) + turn
        y = radius * np.sin(azimuth)
        return np.stack([radius * np.cos(azimuth), y if self.hand == "right" else -y, z], -1)

    def flank(self, side: int, lengthwise: Any, profile: Any) -> Array:
        """Points (..., 3) of a side of tooth 0; lengthwise 0 toe to 1 heel, profile 0 root to 1 tip."""
        cone = self.toe_mm + np.asarray(lengthwise, float) * self.face_mm
        rows = self.rows_at(cone)
        rounding = tip_rounding_mm(rows)
        low = -rows.dedendum_mm + self.fillet_share * rows.depth_mm
        height = low + profile * (rows.addendum_mm - rounding - low)
        crown = 0.012 * rows.depth_mm * np.sin(np.pi * np.clip(profile, 0, 1))
        across = rows.land_mm / 2 + (rows.addendum_mm - height) * self.slope(side) + crown
        return self.placed(cone, across if side == DRIVE else -across, height)

    def outward(self, side: int, lengthwise: Any, profile: Any) -> Array:
        """Unit normals (..., 3) of a side, out of the steel."""
        step = 1e-3
        along = self.flank(side, lengthwise + step, profile) - self.flank(
            side, lengthwise - step, profile
        )
        up = self.flank(side, lengthwise, profile + step) - self.flank(
            side, lengthwise, profile - step
        )
        normal = unit(np.cross(along, up))
        return np.asarray(-normal if (side == DRIVE) == (self.hand == "right") else normal)

    def tooth_length_mm(self) -> float:
        """Length of a tooth side along the tooth."""
        return float(self.face_mm / np.cos(self.spiral_at(self.mean_mm)))

    def side_shape(self, side: int) -> float:
        """Length of a tooth side over its height."""
        height = np.linalg.norm(self.flank(side, 0.5, 1.0) - self.flank(side, 0.5, 0.0))
        return float(self.tooth_length_mm() / height)


def tip_rounding_mm(rows: Rows) -> Array:
    """How far below the tip the side ends and the rounding to the top land begins."""
    return np.asarray(0.045 * rows.land_mm + 0.12)


def drawn_gear(rng: Rng) -> Gear:
    """A ring gear of a rear axle: 35 to 45 teeth, 6.5 to 9.75 in, ratio 3.0 to 4.6."""
    teeth = int(rng.integers(35, 46))
    pinion_teeth = int(np.clip(round(teeth / rng.uniform(3.0, 4.6)), 8, 14))
    diameter = rng.uniform(6.5, 9.75) * 25.4
    pitch_angle = np.arctan(teeth / pinion_teeth) - np.radians(rng.uniform(0, 4))
    face = rng.uniform(0.14, 0.17) * diameter
    spiral = np.radians(rng.uniform(28, 38))
    uniform = bool(rng.random() < 0.3)
    cutter = rng.uniform(0.62, 0.82) if uniform else rng.uniform(0.8, 1.1)
    mean_module = diameter / teeth * (1 - 0.5 * face / (diameter / 2))
    depth = mean_module * np.cos(spiral) * rng.uniform(2.15, 2.4)
    limit = rng.uniform(-4, 4)
    drive_pressure = np.radians(20 - limit / 2 + rng.uniform(-2, 2))
    coast_pressure = np.radians(20 + limit / 2 + rng.uniform(-2, 2))
    hand = "right" if rng.random() < 0.8 else "left"
    return Gear(
        teeth=teeth,
        diameter_mm=diameter,
        pitch_angle_rad=pitch_angle,
        face_mm=face,
        spiral_rad=spiral,
        cutter_ratio=cutter,
        depth_mm=depth,
        addendum_share=rng.uniform(0.14, 0.32),
        drive_pressure_rad=drive_pressure,
        coast_pressure_rad=coast_pressure,
        uniform_depth=uniform,
        hand=hand,
        land_share=rng.uniform(0.42, 0.6),
        fillet_share=rng.uniform(0.13, 0.19),
        pinion_teeth=pinion_teeth,
    )
