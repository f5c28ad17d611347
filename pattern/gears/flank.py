"""The ring gear's tooth surfaces, as its cutter leaves them.

Frame of the ring gear (right-handed, mm)
    origin  where the line of shortest distance between the two shafts meets the ring gear's axis
    z       along the ring gear's axis, from the teeth toward the mounting back: teeth point to −z
            and outward
    x       through the middle of the tooth at mid-face (polar angle 0)
    y       so that a right-hand ring gear's tooth turns from x toward +y on its way to the heel; a
            left-hand ring gear is the mirror image in y
The convex side (drive) faces −y on a right-hand ring gear, the concave side (coast) +y.

Surface: a straight blade carried round by the cutter, the ring gear standing still (tapered, face
milled: a cone) or turning with it by blade groups over teeth (uniform, face hobbed: an extended
epicycloid). The cutter's axis is square to the root cone at mid-face. Both are cut without a
generating roll, which is how ring gears of these ratios are made (common practice, no source). The
mean point has the spiral and pressure angle of the blank exactly. Litvin & Fuentes, *Gear Geometry
and Applied Theory*, 2nd ed. (2004), ch. 21-22 for the method.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pattern.errors import InvalidAxle
from pattern.gears.blank import Blank
from pattern.records import Side

Array = NDArray[np.float64]
_CLOSE_MM = 1e-11


def ring_flank(
    blank: Blank, side: Side, lengthwise: ArrayLike, profile: ArrayLike
) -> tuple[Array, Array]:
    """Points and outward unit normals of a tooth side of the tooth at polar angle 0.

    `lengthwise` and `profile` broadcast against each other; a little outside 0 to 1 is allowed, and
    profile down to `Blank.root_profile` (no fillet is drawn). Returns two arrays (..., 3) in mm and
    as unit vectors pointing out of the metal. Raises InvalidAxle where the cutter does not reach.
    """
    return flank_at_height(blank, side, lengthwise, blank.height_mm(lengthwise, profile))


def flank_at_height(
    blank: Blank, side: Side, lengthwise: ArrayLike, height_mm: ArrayLike
) -> tuple[Array, Array]:
    """Like `ring_flank`, with the height over the pitch cone instead of the profile position."""
    sweep = _sweep(blank, side)
    radius, axial = blank.section_mm(lengthwise, height_mm)
    blade, turn = sweep.locate(radius, axial)
    points, along_blade, along_cut = sweep.point(blade, turn)
    normals = np.cross(along_blade, along_cut)
    normals *= sweep.outward / np.linalg.norm(normals, axis=-1, keepdims=True)
    placed = sweep.placement
    return points @ placed.T, normals @ placed.T


def tooth_thickness(blank: Blank, lengthwise: ArrayLike, profile: ArrayLike) -> Array:
    """Thickness of a ring gear tooth from side to side along the turning direction, mm (an arc).

    At profile 1 it is the top land, at `Blank.root_profile` the foot.
    """
    drive, _ = ring_flank(blank, "drive", lengthwise, profile)
    coast, _ = ring_flank(blank, "coast", lengthwise, profile)
    angle = np.arctan2(coast[..., 1], coast[..., 0]) - np.arctan2(drive[..., 1], drive[..., 0])
    return blank.sign * angle * np.hypot(drive[..., 0], drive[..., 1])


@dataclass(frozen=True, eq=False)
class _Sweep:
    """A blade through `start` along `blade`, turned about (`centre`, `axis`) while the gear turns.

    Point: Rz(turn · roll) · [centre + R(axis, turn · sense) · (start + s·blade − centre)].
    `placement` turns the mean point to its place on the tooth; `outward` orients the normal.
    """

    start: Array
    blade: Array
    centre: Array
    axis: Array
    sense: float
    roll: float
    placement: Array
    outward: float

    def point(self, blade_mm: Array, turn: Array) -> tuple[Array, Array, Array]:
        """Points (..., 3) and their derivatives along the blade and with the cutter's turn."""
        arm = self.start - self.centre + blade_mm[..., None] * self.blade
        turned = _about(self.axis, self.sense * turn, arm)
        along = _about(self.axis, self.sense * turn, np.broadcast_to(self.blade, arm.shape))
        swing = self.sense * np.cross(self.axis, turned)
        cos, sin = np.cos(self.roll * turn), np.sin(self.roll * turn)
        points = _about_z(cos, sin, self.centre + turned)
        rolling = self.roll * np.stack([-points[..., 1], points[..., 0], 0 * turn], axis=-1)
        return points, _about_z(cos, sin, along), _about_z(cos, sin, swing) + rolling

    def locate(self, radius: Array, axial: Array) -> tuple[Array, Array]:
        """Blade position (mm) and cutter turn (rad) of the surface point at a radius and height."""
        radius, axial = np.broadcast_arrays(radius, axial)
        blade, turn = np.zeros(radius.shape), np.zeros(radius.shape)
        for _ in range(25):
            points, along_blade, along_cut = self.point(blade, turn)
            at = np.hypot(points[..., 0], points[..., 1])
            miss = radius - at, axial - points[..., 2]
            rb = (points[..., 0] * along_blade[..., 0] + points[..., 1] * along_blade[..., 1]) / at
            rt = (points[..., 0] * along_cut[..., 0] + points[..., 1] * along_cut[..., 1]) / at
            zb, zt = along_blade[..., 2], along_cut[..., 2]
            det = rb * zt - rt * zb
            blade = blade + (miss[0] * zt - rt * miss[1]) / det
            turn = turn + (rb * miss[1] - zb * miss[0]) / det
            if max(np.abs(miss[0]).max(), np.abs(miss[1]).max()) < _CLOSE_MM:
                return blade, turn
        raise InvalidAxle(
            "the cutter does not reach the whole tooth",
            subject="cutter_radius_in",
            remedy="Check cutter radius, spiral angle and face width, or leave out what is not known",
        )


@lru_cache(maxsize=64)
def _sweep(blank: Blank, side: Side) -> _Sweep:
    cones, hand = blank.cones, blank.sign
    convex = side == "drive"
    angle, spiral, pressure = cones.ring_angle_rad, cones.ring_spiral_rad, blank.pressure_rad(side)
    along = np.array([math.sin(angle), 0.0, math.cos(angle)])  # pitch cone, toward the heel
    tipward = np.array([math.cos(angle), 0.0, -math.sin(angle)])
    across = math.cos(spiral) * np.array([0.0, 1.0, 0.0]) - hand * math.sin(spiral) * along
    facing = -hand if convex else hand
    normal = facing * math.cos(pressure) * across + math.sin(pressure) * tipward
    root = angle - blank.teeth.ring_dedendum_angle_rad
    axis = np.array([math.cos(root), 0.0, -math.sin(root)])
    blade = _unit(axis - (axis @ normal) * normal)
    lead = 0.0
    if blank.blade_groups:
        lead = math.asin(blank.blade_groups * blank.teeth.module_mm / (2 * blank.cutter_radius_mm))
    # the cutter's centre lies on the concave side, at the cutter radius less or plus half a slot
    toward = (-1 if convex else 1) * _unit(normal - (normal @ axis) * axis)
    toward = _about(axis, np.asarray(hand * lead), toward)
    radius = blank.cutter_radius_mm
    if not blank.blade_groups:
        slot = math.pi * blank.teeth.module_mm - blank.teeth.ring_thickness_mm
        radius += -slot / 2 if convex else slot / 2
    start = np.array([cones.ring_radius_mm, 0.0, _mean_axial(blank)])
    half = blank.teeth.ring_thickness_mm / (2 * math.cos(spiral) * cones.ring_radius_mm)
    turn = facing * half
    placement = np.array(
        [
            [math.cos(turn), -math.sin(turn), 0.0],
            [math.sin(turn), math.cos(turn), 0.0],
            [0.0, 0.0, 1.0],
        ]
    )
    sweep = _Sweep(
        start, blade, start + radius * toward, axis, -float(hand),
        hand * blank.blade_groups / blank.ring_teeth, placement, 1.0,
    )  # fmt: skip
    _, along_blade, along_cut = sweep.point(np.zeros(1), np.zeros(1))
    outward = float(np.sign(np.cross(along_blade, along_cut)[0] @ normal))
    return _Sweep(start, blade, sweep.centre, axis, sweep.sense, sweep.roll, placement, outward)


def _mean_axial(blank: Blank) -> float:
    cones = blank.cones
    return cones.ring_cone_mm * math.cos(cones.ring_angle_rad) - blank.teeth.ring_apex_mm


def _unit(vector: Array) -> Array:
    unit: Array = vector / np.linalg.norm(vector)
    return unit


def _about(axis: Array, angle: Array, vectors: Array) -> Array:
    """Turn vectors (..., 3) about a unit axis (Rodrigues)."""
    cos, sin = np.cos(angle)[..., None], np.sin(angle)[..., None]
    return (
        vectors * cos
        + np.cross(axis, vectors) * sin
        + (vectors @ axis)[..., None] * axis * (1 - cos)
    )


def _about_z(cos: Array, sin: Array, vectors: Array) -> Array:
    x, y, z = vectors[..., 0], vectors[..., 1], vectors[..., 2]
    return np.stack([cos * x - sin * y, sin * x + cos * y, np.broadcast_to(z, x.shape)], axis=-1)
