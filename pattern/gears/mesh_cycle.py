"""The mesh cycle: which point carries at each roll, and how far all others stay away.

While the ring gear turns by one pitch, the pinion rests on the tooth pair whose angular gap is
smallest (no load: one pair at a time). What the others lack is the marking gap. All tooth pairs are
the same pair a pitch earlier or later, so rolls fold into one pitch.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.gears.lattice import Lattice, refine_matrix
from pattern.gears.separation import Separation

Array = NDArray[np.float64]
_ROWS = 600_000  # values of the draws x points x rolls block handled at once
_NO_METAL = 1.0  # rad, an angular gap that never touches


@dataclass(frozen=True, eq=False)
class MeshCycle:
    """Contact over one pitch.

    `rolls` (rolls,) in rad from 0 to one pitch of the ring gear; `level` (draws, rolls) is the
    smallest angular gap of all tooth pairs in rad of the pinion: the motion error with the sign that
    a lagging pinion is negative is −`level`, its mean left out. `path` (draws, rolls, 2) is the
    lengthwise and profile place that carries.
    """

    rolls: Array
    level: Array
    path: Array

    def level_at(self, roll: Array) -> Array:
        """Level at any rolls (draws, points), linear between `rolls` and periodic in a pitch."""
        count = self.rolls.size
        place = roll / (self.rolls[1] - self.rolls[0])
        low = np.floor(place)
        share = place - low
        index = low.astype(np.intp) % count
        index += np.arange(roll.shape[0])[:, None] * (count + 1)
        closed = np.concatenate([self.level, self.level[:, :1]], axis=1).ravel()
        before: Array = closed.take(index)
        level: Array = before + (closed.take(index + 1) - before) * share
        return level

    @property
    def motion_error_rad(self) -> Array:
        """Peak-to-peak motion error over the cycle in rad of the pinion, (draws,)."""
        swing: Array = np.ptp(self.level, axis=1)
        return swing


@dataclass(frozen=True, eq=False)
class Approach:
    """Closest approach of each point where the pinion has metal, arrays (draws, points).

    Points that meet the pinion beyond its tip edge are moved to the roll at which that edge passes
    them (`edge` is then the roll from the free minimum to there, else 0).
    """

    gap: Array
    roll: Array
    edge: Array
    curvature: Array
    reached: NDArray[np.bool_]


def approach(lattice: Lattice, found: Separation, curvature: Array | None = None) -> Approach:
    """Hold closest approaches within the pinion's face cone."""
    bend = lattice.curvature if curvature is None else curvature
    reached = found.tip_mm >= 0
    edge = np.where(reached, 0.0, -found.tip_mm / found.tip_rate)
    return Approach(found.gap, found.roll, edge, bend, reached)


def mesh_cycle(lattice: Lattice, near: Approach, rolls: int = 32) -> MeshCycle:
    """Smallest angular gap over one pitch, the minimum refined between lattice points."""
    n, m = lattice.shape
    draws = near.gap.shape[0]
    at = np.arange(rolls) * lattice.pitch_rad / rolls
    level = np.empty((draws, rolls))
    path = np.empty((draws, rolls, 2))
    step = max(1, _ROWS // (n * m * rolls))
    for first in range(0, draws, step):
        part = slice(first, first + step)
        level[part], path[part] = _lowest(lattice, near, part, at)
    return MeshCycle(at, level, path)


def _lowest(lattice: Lattice, near: Approach, part: slice, at: Array) -> tuple[Array, Array]:
    """Minimum over the tooth side at each roll: up the profile first, then along the tooth."""
    n, m = lattice.shape
    gap, roll, edge = near.gap[part], near.roll[part], near.edge[part]
    draws, pitch = gap.shape[0], lattice.pitch_rad
    away = at[:, None] - roll[:, None, :]
    away -= pitch * np.rint(away / pitch)
    value = gap[:, None, :] + 0.5 * near.curvature * away * away
    value += _NO_METAL * (away * edge[:, None, :] < edge[:, None, :] ** 2)
    best = value.reshape(draws, at.size, n, m).argmin(axis=3)
    place = np.arange(n) * m + best  # (draws, rolls, n) into the points
    lowest = np.take_along_axis(value, place.reshape(draws, at.size, n), axis=2)
    off = np.take_along_axis(away, place, axis=2)
    columns, profile, free = _refine_profile(
        lattice.shape, gap, roll, edge, near.curvature, place, best, lowest, off
    )
    level, along, height = _refine_along(columns, profile, free)
    return level, np.stack([along / (n - 1), height / (m - 1)], axis=-1)


def _refine_profile(
    shape: tuple[int, int], gap: Array, roll: Array, edge: Array, curvature: Array,
    place: NDArray[np.intp], best: NDArray[np.intp], lowest: Array, off: Array,
) -> tuple[Array, Array, NDArray[np.bool_]]:  # fmt: skip
    """Go from the best lattice point of a column to the minimum between points.

    Up a column gap and roll of closest approach are parabolas g(s), r(s) about the best point, and
    the gap at the wanted roll is g(s) + curvature/2·(off − r(s))²; Newton steps find its minimum.
    Returns those minima, their place up the column in lattice steps, and which are free: neither held by the pinion's tip edge nor by the tooth's.
    """
    draws, (n, m) = gap.shape[0], shape

    def local(field: Array) -> tuple[Array, Array]:
        grid = field.reshape(draws, n, m)
        padded = np.concatenate(
            [3 * grid[..., :1] - 3 * grid[..., 1:2] + grid[..., 2:3], grid,
             3 * grid[..., -1:] - 3 * grid[..., -2:-1] + grid[..., -3:-2]], axis=2,
        )  # fmt: skip
        first = 0.5 * (padded[..., 2:] - padded[..., :-2])
        second = padded[..., 2:] - 2 * grid + padded[..., :-2]
        return pick(first), pick(second)

    def pick(field: Array) -> Array:
        flat = field.reshape(draws, 1, n * m)
        return np.take_along_axis(
            np.broadcast_to(flat, (draws, place.shape[1], n * m)), place, axis=2
        )

    (g1, g2), (r1, r2) = local(gap), local(roll)
    c = np.broadcast_to(curvature.reshape(-1), (n * m,))[place]
    low = np.where(best == 0, 0.0, -0.8)
    high = np.where(best == m - 1, 0.0, 0.8)
    step = np.zeros_like(lowest)
    for _ in range(3):
        miss, slope = off - r1 * step - 0.5 * r2 * step**2, r1 + r2 * step
        bend = np.maximum(g2 + c * slope**2, 1e-12)
        step = np.clip(step - (g1 + g2 * step - c * miss * slope) / bend, low, high)
    miss = off - r1 * step - 0.5 * r2 * step**2
    refined = lowest + g1 * step + 0.5 * g2 * step**2 + 0.5 * c * (miss**2 - off**2)
    # beside the pinion's tip edge the lattice point itself stands: beyond it there is no metal
    metal = (pick(edge) == 0.0) & (lowest < 0.5 * _NO_METAL)
    place_up = best.astype(np.float64) + np.where(metal, step, 0.0)
    return np.where(metal, refined, lowest), place_up, metal & (step > low) & (step < high)


def _refine_along(
    columns: Array, profile: Array, free: NDArray[np.bool_]
) -> tuple[Array, Array, Array]:
    """Parabola through the best lengthwise column and its neighbours.

    Returns the minimum and its place along and up the tooth in lattice steps.
    """
    best = columns.argmin(axis=2)
    inner = np.clip(best, 1, columns.shape[2] - 2)
    near = np.stack([inner - 1, inner, inner + 1], axis=-1)
    left, middle, right = np.moveaxis(np.take_along_axis(columns, near, axis=2), -1, 0)
    clear = np.take_along_axis(free, near, axis=2).all(axis=2)
    bend = left - 2 * middle + right
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(bend > 0, (left - right) / (2 * bend), 0.0)
    valid = clear & (best == inner) & (np.abs(shift) <= 1)
    shift = np.where(valid, shift, 0.0)
    lowest = np.take_along_axis(columns, best[..., None], axis=2)[..., 0]
    low, here, high = np.moveaxis(np.take_along_axis(profile, near, axis=2), -1, 0)
    at_best = np.take_along_axis(profile, best[..., None], axis=2)[..., 0]
    height = here + 0.5 * (high - low) * shift + 0.5 * (low - 2 * here + high) * shift**2
    return (
        np.where(valid, middle - 0.25 * (left - right) * shift, lowest),
        best + shift,
        np.where(valid, height, at_best),
    )


def marking_gap_mm(
    lattice: Lattice, found: Separation, cycle: MeshCycle, factor: int
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Smallest normal gap of each point over the cycle, on a lattice refined `factor` times.

    Returns gaps (draws, n', m') in mm, the rolls at which they occur, and where the pinion has metal
    for the free minimum.
    """
    n, m = lattice.shape
    draws = found.gap.shape[0]
    along, across = refine_matrix(n, factor), refine_matrix(m, factor)

    def fine(field: Array) -> Array:
        return (along @ field.reshape(-1, n, m) @ across.T).reshape(field.shape[0], -1)

    finer = Separation(*(fine(f) for f in (found.gap, found.roll, found.tip_mm, found.tip_rate)))
    bend, arm = fine(lattice.curvature[None]), fine(lattice.arm[None])
    near = approach(lattice, finer, bend)
    roll = near.roll + near.edge
    gap = near.gap + 0.5 * bend * near.edge**2 - cycle.level_at(roll)
    shape = (draws, along.shape[0], across.shape[0])
    return (gap * arm).reshape(shape), roll.reshape(shape), near.reached.reshape(shape)
