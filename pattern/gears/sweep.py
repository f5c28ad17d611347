"""The surface a straight blade leaves, carried round by the cutter, the ring gear turning or not.

    X(s, t) = Rz(roll·t + placement) · [centre + R(axis, sense·t) · (start + s·blade − centre)]

s (mm) runs along the blade from the mean point, t (rad) is the cutter's turn. `roll` is zero for a
face-milled ring gear (a cone) and blade groups over teeth for a face-hobbed one (an extended
epicycloid). Vectors are triples of arrays (x, y, z), which numpy handles faster than a last axis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pattern.errors import InvalidAxle
from pattern.gears.blank import Blank
from pattern.records import Side

Array = NDArray[np.float64]
Triple = tuple[Array, Array, Array]
_CLOSE_MM = 1e-11


@dataclass(frozen=True, eq=False)
class BladeSweep:
    """A tooth side's surface; `fixed`, `cosine`, `sine` are (2, 3): of the start and of the blade."""

    fixed: Array
    cosine: Array
    sine: Array
    sense: float
    roll: float
    placement: float
    outward: float

    def point(self, blade_mm: Array, turn: Array) -> tuple[Triple, Triple, Triple]:
        """Points and their derivatives along the blade and with the cutter's turn."""
        cos, sin = np.cos(turn), self.sense * np.sin(turn)
        swing_cos, swing_sin = -self.sense * sin, self.sense * cos
        at, along, cut = [], [], []
        for axis in range(3):
            f0, f1 = self.fixed[:, axis]
            c0, c1 = self.cosine[:, axis]
            s0, s1 = self.sine[:, axis]
            blade = f1 + c1 * cos + s1 * sin
            along.append(blade)
            at.append(f0 + c0 * cos + s0 * sin + blade_mm * blade)
            cut.append((c0 + blade_mm * c1) * swing_cos + (s0 + blade_mm * s1) * swing_sin)
        angle = self.roll * turn + self.placement
        roll_cos, roll_sin = np.cos(angle), np.sin(angle)
        points = turned(at, roll_cos, roll_sin)
        cutting = turned(cut, roll_cos, roll_sin)
        if self.roll:
            cutting = (
                cutting[0] - self.roll * points[1], cutting[1] + self.roll * points[0], cutting[2]
            )  # fmt: skip
        return points, turned(along, roll_cos, roll_sin), cutting

    def point_and_normal(self, blade_mm: Array, turn: Array) -> tuple[Triple, Triple]:
        """Points and unit normals pointing out of the metal."""
        points, along, cut = self.point(blade_mm, turn)
        x = along[1] * cut[2] - along[2] * cut[1]
        y = along[2] * cut[0] - along[0] * cut[2]
        z = along[0] * cut[1] - along[1] * cut[0]
        scale = self.outward / np.sqrt(x * x + y * y + z * z)
        return points, (x * scale, y * scale, z * scale)

    def locate(self, radius_mm: Array, axial_mm: Array) -> tuple[Array, Array]:
        """Blade position and cutter turn of the surface point at a radius and axial position.

        Raises InvalidAxle where the cutter does not reach.
        """
        radius, axial = np.broadcast_arrays(radius_mm, axial_mm)
        blade, turn = np.zeros(radius.shape), np.zeros(radius.shape)
        for _ in range(25):
            (x, y, z), along, cut = self.point(blade, turn)
            at = np.hypot(x, y)
            miss_r, miss_z = radius - at, axial - z
            rb, rt = (x * along[0] + y * along[1]) / at, (x * cut[0] + y * cut[1]) / at
            det = rb * cut[2] - rt * along[2]
            blade = blade + (miss_r * cut[2] - rt * miss_z) / det
            turn = turn + (rb * miss_z - along[2] * miss_r) / det
            if max(np.abs(miss_r).max(), np.abs(miss_z).max()) < _CLOSE_MM:
                return blade, turn
        raise InvalidAxle(
            "the cutter does not reach the whole tooth",
            subject="cutter_radius_in",
            remedy="Check cutter radius, spiral angle and face width, or leave out what is not known",
        )


@lru_cache(maxsize=128)
def blade_sweep(blank: Blank, side: Side) -> BladeSweep:
    """Set the cutter so that the mean point gets the blank's spiral and pressure angle.

    The cutter's axis is square to the root cone at mid-face. The convex side is cut by the inside
    blades and the concave by the outside ones, so face-milled radii differ by the slot's width.
    """
    cones, hand = blank.cones, blank.sign
    convex = side == "drive"
    angle, spiral, pressure = cones.ring_angle_rad, cones.ring_spiral_rad, blank.pressure_rad(side)
    heelward = np.array([math.sin(angle), 0.0, math.cos(angle)])
    tipward = np.array([math.cos(angle), 0.0, -math.sin(angle)])
    across = math.cos(spiral) * np.array([0.0, 1.0, 0.0]) - hand * math.sin(spiral) * heelward
    facing = -hand if convex else hand
    normal = facing * math.cos(pressure) * across + math.sin(pressure) * tipward
    root = angle - blank.teeth.ring_dedendum_angle_rad
    axis = np.array([math.cos(root), 0.0, -math.sin(root)])
    blade = _unit(axis - (axis @ normal) * normal)
    to_centre = (-1 if convex else 1) * _unit(normal - (normal @ axis) * axis)
    radius = blank.cutter_radius_mm
    if blank.blade_groups:
        lead = math.asin(blank.blade_groups * blank.teeth.module_mm / (2 * radius))
        to_centre = _turned_about(axis, to_centre, hand * lead)
    else:
        slot = math.pi * blank.teeth.module_mm - blank.teeth.ring_thickness_mm
        radius += -slot / 2 if convex else slot / 2
    axial = cones.ring_cone_mm * math.cos(angle) - blank.teeth.ring_apex_mm
    start = np.array([cones.ring_radius_mm, 0.0, axial])
    centre = start + radius * to_centre
    parts = [_decompose(axis, vector) for vector in (start - centre, blade)]
    fixed, cosine, sine = (np.array([part[i] for part in parts]) for i in range(3))
    fixed[0] += centre
    half_tooth = blank.teeth.ring_thickness_mm / (2 * math.cos(spiral) * cones.ring_radius_mm)
    sweep = BladeSweep(
        fixed, cosine, sine, -float(hand), hand * blank.blade_groups / blank.ring_teeth,
        facing * half_tooth, 1.0,
    )  # fmt: skip
    _, built = sweep.point_and_normal(np.zeros(1), np.zeros(1))
    placed = turned(list(normal), math.cos(sweep.placement), math.sin(sweep.placement))
    outward = math.copysign(1.0, sum(float(b[0] * p) for b, p in zip(built, placed, strict=True)))
    return BladeSweep(fixed, cosine, sine, sweep.sense, sweep.roll, sweep.placement, outward)


def turned(vector: list[Array] | Triple, cos: Array | float, sin: Array | float) -> Triple:
    """Turn a vector about z."""
    x, y, z = vector
    return cos * x - sin * y, sin * x + cos * y, z


def _decompose(axis: Array, vector: Array) -> tuple[Array, Array, Array]:
    """Rodrigues: R(axis, θ)·v = fixed + cosine·cos θ + sine·sin θ."""
    fixed = (vector @ axis) * axis
    return fixed, vector - fixed, np.cross(axis, vector)


def _turned_about(axis: Array, vector: Array, angle: float) -> Array:
    fixed, cosine, sine = _decompose(axis, vector)
    return fixed + cosine * math.cos(angle) + sine * math.sin(angle)


def _unit(vector: Array) -> Array:
    unit: Array = vector / np.linalg.norm(vector)
    return unit
