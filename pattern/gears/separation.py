"""How close every ring gear point comes to the moved, relieved pinion while the gears roll.

For each point the roll of closest approach and the place on the pinion opposite to it are solved
together (three equations: same axial place, same radius, equation of meshing) by Newton steps with the
drawing position's derivatives. The true surfaces are used, moved as rigid bodies; nothing is
linearised but the last step onto the tangent plane.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.errors import InvalidInput
from pattern.gears.easeoff import EaseOff
from pattern.gears.kinematics import Columns, Moves
from pattern.gears.lattice import Lattice, pinion_tip_mm, residuals

Array = NDArray[np.float64]
_CHUNK = 8192  # values handled at once, so that the work stays in the processor's cache
_FARTHEST_MM = 1.6


@dataclass(frozen=True, eq=False)
class Separation:
    """Closest approach of each ring gear point, arrays (draws, points).

    `gap` is the angle (rad about the pinion's axis) that the pinion could still turn before it
    touches the point, counted from where the two gears' nominal ratio puts it, at the roll of closest
    approach `roll` (rad of the ring gear). `tip_mm` is how far the pinion point opposite lies inside
    the pinion's face cone (negative: there is no metal), `tip_rate` its rate with the roll.
    """

    gap: Array
    roll: Array
    tip_mm: Array
    tip_rate: Array


def separation(lattice: Lattice, moves: Moves, ease: EaseOff, steps: int = 3) -> Separation:
    """Solve all draws of moves and ease-off on a tooth side.

    Raises InvalidInput for moves so large that the teeth leave each other.
    """
    draws = max(moves.draws, ease.draws)
    columns, relief = moves.columns(draws), ease.columns(draws)
    for name, column, limit in (
        ("pinion move", columns[0], _FARTHEST_MM), ("ring gear move", columns[1], _FARTHEST_MM),
        ("offset error", columns[2], _FARTHEST_MM), ("shaft angle error", columns[3], 0.01),
    ):  # fmt: skip
        if not np.all(np.abs(column) <= limit):  # also catches NaN
            raise InvalidInput(
                f"{name} of {column.flat[np.argmax(np.abs(column))]:g} {'rad' if limit < 1 else 'mm'}",
                subject=name.replace(" ", "_"),
                remedy=f"The computation holds up to {limit:g}; give a smaller one",
            )
    points = lattice.roll.size
    out = [np.empty((draws, points)) for _ in range(4)]
    rows = max(1, _CHUNK // points)
    for first in range(0, draws, rows):
        part = slice(first, first + rows)
        solved = _solve(
            lattice,
            tuple(column[part] for column in columns),  # type: ignore[arg-type]
            EaseOff(*(np.asarray(value)[part] for value in relief.values)),
            steps,
        )
        for target, values in zip(out, solved, strict=True):
            target[part] = values
    return Separation(*out)


def _solve(
    lattice: Lattice, columns: Columns, ease: EaseOff, steps: int
) -> tuple[Array, Array, Array, Array]:
    blank, sweep, inverse = lattice.blank, lattice.sweep, lattice.inverse
    shape = (columns[0].shape[0], lattice.roll.size)
    # one row at first: the draws part with the first step
    blade, turn, roll = (row[None, :] for row in (lattice.blade, lattice.turn, lattice.roll))
    for step in range(steps + 1):
        pinion, (axial, radius, rate), gap = residuals(
            blank, sweep, lattice.ring, columns, blade, turn, roll
        )
        x, y, z = pinion.ring_point
        relief, along, across = ease.relief_mm(*blank.tooth_coordinates(np.sqrt(x * x + y * y), z))
        rate = rate + (along * lattice.slide[0] + across * lattice.slide[1]) / lattice.arm
        if step == steps:
            break
        blade = blade - (
            inverse[:, 0, 0] * axial + inverse[:, 0, 1] * radius + inverse[:, 0, 2] * rate
        )
        turn = turn - (
            inverse[:, 1, 0] * axial + inverse[:, 1, 1] * radius + inverse[:, 1, 2] * rate
        )
        roll = roll - (
            inverse[:, 2, 0] * axial + inverse[:, 2, 1] * radius + inverse[:, 2, 2] * rate
        )
    tip = pinion_tip_mm(blank, pinion.axial, pinion.radius)
    tan = math.tan(blank.teeth.pinion_face_rad)
    tip_rate = lattice.passing_axial * tan - lattice.passing_radius
    # the last step onto the parabola in the roll makes the gap exact to third order
    gap = gap + relief / pinion.arm - rate**2 / (2 * lattice.curvature)
    return gap, roll, tip, np.broadcast_to(tip_rate, shape)
