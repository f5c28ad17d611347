"""A tooth side on a lattice of points, with everything about the pair that moves do not change.

Built once per set and side, then cached: the ring gear points, where and at which roll the conjugate
pinion touches them, and the local derivatives that let `pattern.gears.separation` solve moved states
in a few steps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline

from pattern.errors import InvalidAxle
from pattern.gears.blank import Blank
from pattern.gears.kinematics import (
    AT_DRAWING,
    Columns,
    PinionPoint,
    can_mesh,
    carry,
    pinion_point,
)
from pattern.gears.sweep import BladeSweep, Triple, blade_sweep
from pattern.records import Side

Array = NDArray[np.float64]
_STEP_MM, _STEP_RAD = 1e-4, 1e-6


@dataclass(frozen=True, eq=False)
class Lattice:
    """Points of one tooth side, flattened lengthwise-major to (points,).

    `inverse` is (points, 3, 3): the Newton step of (blade, cutter turn, roll) from the residuals.
    `curvature` is the second derivative of the angular gap with the roll. `slide` is how fast the
    pinion point passes under a ring gear point, (2, points) in lengthwise and profile per rad;
    `passing_axial` and `passing_radius` are the same in the pinion's coordinates, mm per rad.
    `length_mm` is the tooth's length along its middle, `depth_mm` the depth of its side at mid-face.
    """

    blank: Blank
    side: Side
    sweep: BladeSweep
    shape: tuple[int, int]
    lengthwise: Array  # (n,)
    profile: Array  # (m,)
    ring: Triple
    blade: Array
    turn: Array
    roll: Array
    arm: Array
    curvature: Array
    inverse: Array
    slide: Array
    passing_axial: Array
    passing_radius: Array
    length_mm: float
    depth_mm: float

    @property
    def pitch_rad(self) -> float:
        """Ring gear roll from one tooth pair to the next."""
        return self.blank.ring_pitch_rad


@lru_cache(maxsize=256)
def tooth_lattice(blank: Blank, side: Side, along: int, across: int) -> Lattice:
    """Lay `along` × `across` points over a tooth side, edges included.

    Raises InvalidAxle where the ring gear cannot be cut or no pinion is conjugate to it.
    """
    lengthwise, profile = np.linspace(0, 1, along), np.linspace(0, 1, across)
    u, v = (grid.ravel() for grid in np.meshgrid(lengthwise, profile, indexing="ij"))
    sweep = blade_sweep(blank, side)
    blade, turn = sweep.locate(*blank.section_mm(u, blank.height_mm(u, v)))
    pinion = pinion_point(blank, sweep, blade, turn)
    ring, normals = sweep.point_and_normal(blade, turn)
    _check_conjugate(can_mesh(blank, ring, normals), pinion, side, (along, across))
    jacobian = _jacobian(blank, sweep, ring, blade, turn, pinion.roll)
    inverse = np.asarray(np.linalg.inv(jacobian), dtype=np.float64)
    # what the pinion point does while the ring gear rolls past it, the match of places kept
    passing = -np.linalg.solve(jacobian[:, :2, :2], jacobian[:, :2, 2:])[..., 0]
    curvature = jacobian[:, 2, 2] + np.einsum("pk,pk->p", jacobian[:, 2, :2], passing)
    _check_curvature(curvature, side)
    slide = np.einsum("pkj,pj->kp", _coordinates_jacobian(blank, sweep, blade, turn), passing)
    passed = carry(blank, ring, pinion.roll[None, :], AT_DRAWING)
    shape = (along, across)
    points = np.stack(ring, axis=-1).reshape(*shape, 3)
    length = np.linalg.norm(np.diff(points[:, across // 2], axis=0), axis=1).sum()
    depth = np.linalg.norm(points[along // 2, -1] - points[along // 2, 0])
    return Lattice(
        blank, side, sweep, shape, lengthwise, profile, ring, blade, turn, pinion.roll,
        pinion.arm, curvature, inverse, slide, passed.axial_rate[0], passed.radius_rate[0],
        float(length), float(depth),
    )  # fmt: skip


@lru_cache(maxsize=32)
def refine_matrix(points: int, factor: int) -> Array:
    """Cubic spline interpolation from `points` equal steps to `factor` times finer ones, a matrix."""
    coarse = np.linspace(0, 1, points)
    fine = np.linspace(0, 1, (points - 1) * factor + 1)
    matrix: Array = make_interp_spline(coarse, np.eye(points), k=3)(fine)
    return matrix


def residuals(
    blank: Blank,
    sweep: BladeSweep,
    ring: Triple,
    columns: Columns,
    blade: Array,
    turn: Array,
    roll: Array,
) -> tuple[PinionPoint, tuple[Array, Array, Array], Array]:
    """Mismatch of axial place, radius (mm) and of the equation of meshing; and the angular gap."""
    at = carry(blank, ring, roll, columns)
    pinion = pinion_point(blank, sweep, blade, turn)
    miss = (at.axial - pinion.axial, at.radius - pinion.radius, pinion.gap_rate(at))
    return pinion, miss, pinion.gap_rad(at)


def _jacobian(
    blank: Blank, sweep: BladeSweep, ring: Triple, blade: Array, turn: Array, roll: Array
) -> Array:
    """Derivatives of the residuals with blade (mm), cutter turn and roll (rad): (points, 3, 3)."""
    steps = (_STEP_MM, _STEP_RAD, _STEP_RAD)
    _, miss, _ = residuals(
        blank, sweep, ring, AT_DRAWING, *_to_both_sides((blade, turn, roll), steps)
    )
    return _central_differences(miss, steps)


def _coordinates_jacobian(blank: Blank, sweep: BladeSweep, blade: Array, turn: Array) -> Array:
    """Derivatives of (lengthwise, profile) with (blade, cutter turn): (points, 2, 2) as [p, k, j]."""
    steps = (_STEP_MM, _STEP_RAD)
    x, y, z = sweep.point(*_to_both_sides((blade, turn), steps))[0]
    return _central_differences(blank.tooth_coordinates(np.hypot(x, y), z), steps)


def _to_both_sides(values: tuple[Array, ...], steps: tuple[float, ...]) -> list[Array]:
    """Each value (points,) as rows: stepped up and down by one variable after the other."""
    signed = np.kron(np.diag(steps), [[1.0], [-1.0]])  # (rows, variables)
    return [value + signed[:, [which]] for which, value in enumerate(values)]


def _central_differences(fields: Sequence[Array], steps: tuple[float, ...]) -> Array:
    """Derivatives (points, fields, variables) from fields at the rows of `_to_both_sides`."""
    rows = np.stack(fields)  # (fields, rows, points)
    change: Array = (rows[:, ::2] - rows[:, 1::2]) / (2 * np.array(steps)[:, None])
    return change.transpose(2, 0, 1)


def _check_conjugate(
    meshing: NDArray[np.bool_], pinion: PinionPoint, side: Side, shape: tuple[int, int]
) -> None:
    """Refuse a tooth that no pinion can follow, or whose pinion would be undercut."""
    if not meshing.all():
        raise InvalidAxle(
            f"no pinion can run with the whole {side} side of this ring gear tooth",
            subject="spiral_angle_deg",
            remedy="Check spiral angle, offset and pressure angles, or leave out what is not known",
        )
    axial, radius = pinion.axial.reshape(shape), pinion.radius.reshape(shape)
    ax_u, ax_v = np.gradient(axial)
    ra_u, ra_v = np.gradient(radius)
    area = ax_u * ra_v - ax_v * ra_u
    if np.sign(area).min() != np.sign(area).max():
        raise _undercut(side, "it folds over near its root")


def _check_curvature(curvature: Array, side: Side) -> None:
    if curvature.min() <= 0:
        raise _undercut(side, "it would cut into the ring gear's tooth instead of touching it")


def _undercut(side: Side, how: str) -> InvalidAxle:
    return InvalidAxle(
        f"the pinion's {side} side would be undercut: {how}",
        subject="pinion_teeth",
        remedy="Check tooth counts, pressure angles, offset and cutter radius, or leave out what is not known",
    )


def pinion_tip_mm(blank: Blank, axial: Array, radius: Array) -> Array:
    """How far a pinion point lies inside the pinion's face cone, along its radius; negative outside."""
    apex = -blank.teeth.pinion_face_apex_mm
    return (axial - apex) * math.tan(blank.teeth.pinion_face_rad) - radius
