"""How the two gears lie and turn: from a ring gear point to the pinion's own cylindrical coordinates.

The shafts stand still in this frame: the ring gear's axis is z (from the teeth toward the mounting
back), the pinion's is parallel to x at z = 0, offset along y, its shaft running off toward +x. The
ring gear turns by φ about z, the pinion by −u·φ about x, u the ratio; a mirrored (left-hand) set has
the same signs. φ = 0 brings the tooth's mean point to the pitch point.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pattern.gears.blank import Blank
from pattern.gears.sweep import BladeSweep, Triple

Array = NDArray[np.float64]
Columns = tuple[Array, Array, Array, Array]


@dataclass(frozen=True, eq=False)
class Moves:
    """Displacements from the drawing's mounting distances; each a number or an array (draws,).

    `pinion_mm` + toward the ring gear's axis (deeper), `ring_mm` + away from the pinion, `offset_mm`
    + larger offset, `shaft_angle_rad` + larger angle, turned about the y axis through the foot of
    the offset on the ring gear's axis.
    """

    pinion_mm: ArrayLike = 0.0
    ring_mm: ArrayLike = 0.0
    offset_mm: ArrayLike = 0.0
    shaft_angle_rad: ArrayLike = 0.0

    @property
    def draws(self) -> int:
        """How many displaced states these are."""
        return max(np.size(value) for value in self._all)

    def columns(self, draws: int) -> Columns:
        """The four as (draws, 1) columns."""
        pinion, ring, offset, angle = (
            np.broadcast_to(np.asarray(value, dtype=np.float64), (draws,))[:, None]
            for value in self._all
        )
        return pinion, ring, offset, angle

    def part(self, draws: int, which: slice) -> Moves:
        """Some of the states, counted as `draws` in all."""
        return Moves(*(column[which, 0] for column in self.columns(draws)))

    @property
    def _all(self) -> tuple[ArrayLike, ArrayLike, ArrayLike, ArrayLike]:
        return self.pinion_mm, self.ring_mm, self.offset_mm, self.shaft_angle_rad


AT_DRAWING: Columns = (np.zeros((1, 1)), np.zeros((1, 1)), np.zeros((1, 1)), np.zeros((1, 1)))


@dataclass(frozen=True, eq=False)
class Carried:
    """A ring gear point in the pinion's coordinates at a roll, and its rate with the roll.

    `axial` along the pinion's axis (mm), `radius` from it (mm), `angle` about it (rad) after the
    pinion's own turn is taken out; `_rate` is per rad of ring gear roll.
    """

    axial: Array
    radius: Array
    angle: Array
    axial_rate: Array
    radius_rate: Array
    angle_rate: Array


@dataclass(frozen=True, eq=False)
class PinionPoint:
    """A point of the pinion's conjugate tooth side in the pinion's cylindrical coordinates.

    The normal points out of the *ring gear*, into the pinion. `arm` is the lever of the normal about
    the pinion's axis (mm): an angular gap times the arm is the normal gap.
    """

    axial: Array
    radius: Array
    angle: Array
    normal_axial: Array
    normal_radius: Array
    normal_angle: Array
    roll: Array
    ring_point: Triple

    @property
    def arm(self) -> Array:
        """Lever of the normal, mm."""
        return self.radius * np.abs(self.normal_angle)

    def gap_rad(self, other: Carried) -> Array:
        """Angular gap between this point's tangent plane and a ring gear point close to it."""
        return (
            -(
                self.radius * self.normal_angle * (other.angle - self.angle)
                + self.normal_axial * (other.axial - self.axial)
                + self.normal_radius * (other.radius - self.radius)
            )
            / self.arm
        )

    def gap_rate(self, other: Carried) -> Array:
        """Rate of `gap_rad` with the ring gear's roll; zero is the equation of meshing."""
        return (
            -(
                self.radius * self.normal_angle * other.angle_rate
                + self.normal_axial * other.axial_rate
                + self.normal_radius * other.radius_rate
            )
            / self.arm
        )


def pitch_roll_rad(blank: Blank) -> float:
    """Turn of the ring gear that brings a tooth's mean point (polar angle 0) to the pitch point."""
    return blank.sign * blank.cones.offset_axial_rad


def carry(blank: Blank, points: Triple, roll_rad: Array, columns: Columns) -> Carried:
    """Carry ring gear points at rolls (draws, points) into the moved pinion's coordinates."""
    pinion, ring, offset, shaft = columns
    turn = roll_rad + pitch_roll_rad(blank)
    cos, sin = np.cos(turn), np.sin(turn)
    x, y, z = points
    along, across = x * cos - y * sin, x * sin + y * cos
    off = across - blank.sign * (blank.offset_mm + offset)
    tilt_cos, tilt_sin = np.cos(shaft), np.sin(shaft)
    depth = z + ring
    axial = along * tilt_cos - depth * tilt_sin + pinion
    height = along * tilt_sin + depth * tilt_cos
    axial_rate, off_rate, height_rate = -across * tilt_cos, along, -across * tilt_sin
    radius = np.sqrt(off * off + height * height)
    return Carried(
        axial, radius, np.arctan2(-off, height) + blank.ratio * roll_rad, axial_rate,
        (off * off_rate + height * height_rate) / radius,
        (off * height_rate - off_rate * height) / (radius * radius) + blank.ratio,
    )  # fmt: skip


def pinion_point(blank: Blank, sweep: BladeSweep, blade_mm: Array, turn: Array) -> PinionPoint:
    """The pinion point conjugate to the ring gear point at a blade position and cutter turn."""
    (x, y, z), (nx, ny, nz) = points, normals = sweep.point_and_normal(blade_mm, turn)
    roll = conjugate_roll_rad(blank, points, normals)
    ring_turn = roll + pitch_roll_rad(blank)
    cos, sin = np.cos(ring_turn), np.sin(ring_turn)
    off = x * sin + y * cos - blank.sign * blank.offset_mm
    radius = np.sqrt(off * off + z * z)
    across = nx * sin + ny * cos
    return PinionPoint(
        x * cos - y * sin, radius, np.arctan2(-off, z) + blank.ratio * roll, nx * cos - ny * sin,
        (nz * z + across * off) / radius, (nz * off - across * z) / radius, roll, points,
    )  # fmt: skip


def conjugate_roll_rad(blank: Blank, points: Triple, normals: Triple) -> Array:
    """Roll at which ring gear points touch the conjugate pinion: the equation of meshing, n·v12 = 0.

    With both axes fixed it reads A·sin ψ + B·cos ψ + C = 0 in the ring gear's turn ψ and is solved
    in closed form (Litvin & Fuentes, *Gear Geometry and Applied Theory*, 2004, ch. 6). Where no roll
    solves it (see `can_mesh`) the nearest to a solution is given.
    """
    sine, base = _meshing(blank, points, normals)
    swing = np.arcsin(np.clip(sine, -1.0, 1.0))
    first, second = _wrap(swing - base), _wrap(math.pi - swing - base)
    return np.where(np.abs(first) <= np.abs(second), first, second)


def can_mesh(blank: Blank, points: Triple, normals: Triple) -> NDArray[np.bool_]:
    """Whether the equation of meshing has a roll at all at these ring gear points."""
    allowed: NDArray[np.bool_] = np.abs(_meshing(blank, points, normals)[0]) < 1.0
    return allowed


def _meshing(blank: Blank, points: Triple, normals: Triple) -> tuple[Array, Array]:
    """−C/√(A² + B²) and the phase atan2(B, A) that goes with it."""
    (x, y, z), (nx, ny, nz) = points, normals
    a = blank.ratio * (x * nz - z * nx)
    b = blank.ratio * (y * nz - z * ny)
    c = x * ny - y * nx - blank.ratio * blank.sign * blank.offset_mm * nz
    sine: Array = -c / np.sqrt(a * a + b * b)
    return sine, np.arctan2(b, a) + pitch_roll_rad(blank)


def _wrap(angle: Array) -> Array:
    wrapped: Array = angle - 2 * math.pi * np.rint(angle / (2 * math.pi))  # faster than a remainder
    return wrapped
