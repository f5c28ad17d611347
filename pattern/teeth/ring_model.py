"""A ring gear in a dozen numbers, as a camera sees its tooth sides: enough to say how outlines bend.

Not the tooth form of contact analysis but its outline: pitch cone, a circular lengthwise curve, and
straight sides, in units of the mean cone distance. Frame: the ring gear's axis is z, from the teeth
to the mounting back; right-hand teeth turn toward +phi from toe to heel (ANSI/AGMA 1012-G05: seen
from the teeth the outer half inclines clockwise), so the convex, drive side faces -phi.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from pattern.records import Hand, Side

Floats = NDArray[np.float64]
Number = float | Floats


@dataclass(frozen=True, eq=False)
class RingShape:
    """`face` is the face width over the mean cone distance; `taper` 0 for uniform depth, 1 for the
    usual taper; `bend` how much more the lengthwise curve is bent than is usual for that taper, as a
    curvature times the mean cone distance; `depth` 1 for the usual depth; `teeth` the tooth count as
    a real number. Angles in radians. Each may be an array: then they are several ring gears."""

    pitch_angle: Number = 1.26
    face: Number = 0.37
    spiral: Number = 0.58
    bend: Number = 0.0
    taper: Number = 0.6
    depth: Number = 1.0
    teeth: Number = 41.0
    pressure: Number = 0.36

    @classmethod
    def of(cls, values: Floats) -> RingShape:
        """From the eight numbers in the order of the fields, (8, ...)."""
        return cls(*values)

    @property
    def curvature(self) -> Number:
        """Of the lengthwise curve, times the mean cone distance.

        Tapered sets are face-milled, with a cutter radius near the mean cone distance; uniform ones
        are face-hobbed, with a smaller cutter whose rolling bends the curve further.
        """
        return np.maximum(1.85 - 0.72 * self.taper + self.bend, 0.3)

    @property
    def values(self) -> Floats:
        """The eight numbers, (8,)."""
        return np.array([getattr(self, f.name) for f in fields(self)])


USUAL = RingShape()
SPREAD = np.array([0.06, 0.03, 0.08, 0.15, 0.45, 0.10, 2.5, 0.05])
"""One sd of each number over ring gears of 7.5 to 10.5 in with 37 to 45 teeth, both tooth systems, in
the proportions of ISO 23509:2016."""


def side_points(
    shape: RingShape,
    side: Side,
    hand: Hand,
    tooth: Number,
    lengthwise: Floats,
    profile: Floats,
) -> Floats:
    """Points (..., 3) on tooth sides, in mean cone distances; arguments of one shape or scalars.

    `tooth` counts along +phi of a right-hand gear and may be any real number.
    """
    radius, phi, z = side_places(shape, side, hand, tooth, lengthwise, profile)
    return np.stack([radius * np.cos(phi), radius * np.sin(phi), z], axis=-1)


def side_places(
    shape: RingShape,
    side: Side,
    hand: Hand,
    tooth: Number,
    lengthwise: Floats,
    profile: Floats,
) -> tuple[Floats, Floats, Floats]:
    """The same points in cylindrical coordinates: distance from the axis, angle, height."""
    cone = 1.0 + (np.asarray(lengthwise, float) - 0.5) * shape.face
    sine, cosine = np.sin(shape.pitch_angle), np.cos(shape.pitch_angle)
    # mean normal module over mean cone distance; working depth 1.9 modules, addendum 0.26 of it
    module = 2.0 * sine * np.cos(shape.spiral) / shape.teeth * shape.depth
    tip = 0.44 * module + shape.taper * np.tan(0.0175) * (cone - 1.0)
    root = -(1.46 * module + shape.taper * np.tan(0.073) * (cone - 1.0))
    height = root + np.asarray(profile, float) * (tip - root)
    away = 1.0 if side == "drive" else -1.0
    radius = cone * sine + height * cosine
    across = away * height * np.tan(shape.pressure) / (np.cos(shape.spiral) * radius)
    phi = _trace(shape, cone) / sine + across + 2.0 * np.pi / shape.teeth * np.asarray(tooth, float)
    phi = phi if hand == "right" else -phi
    z = np.broadcast_to(cone * cosine - height * sine, np.shape(phi))
    return radius, phi, z


def _trace(shape: RingShape, cone: Floats) -> Floats:
    """Polar angle of the lengthwise curve on the unrolled pitch cone, 0 at the mean cone distance.

    A circle through the mean point at the spiral angle; the law of cosines gives the angle at any
    cone distance.
    """
    radius = 1.0 / shape.curvature
    apart = np.hypot(1.0 - radius * np.sin(shape.spiral), radius * np.cos(shape.spiral))

    def at(distance: Number) -> Floats:
        share = (apart**2 + distance**2 - radius**2) / (2.0 * apart * distance)
        return np.asarray(np.arccos(np.clip(share, -1.0, 1.0)))

    return at(1.0) - at(cone)
