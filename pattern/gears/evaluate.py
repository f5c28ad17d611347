"""Marks, motion error and backlash of a set in given positions: the physics in one call.

`evaluate` gives one state in full; `evaluate_batch` many draws of moves and ease-off at once, for
estimates with their spread. Rigid and unloaded: no tooth bends, no pitch error, no runout; the ends of
the pinion's face are taken as wide enough; film and brake press alike everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pattern.gears.backlash import heel_radius_mm, normal_arm_mm
from pattern.gears.blank import Blank
from pattern.gears.easeoff import EaseOff
from pattern.gears.kinematics import Moves
from pattern.gears.lattice import Lattice, tooth_lattice
from pattern.gears.marks import MarkMeasures, count_bands, coverage, joined, measure
from pattern.gears.mesh_cycle import MeshCycle, approach, marking_gap_mm, mesh_cycle
from pattern.gears.separation import separation
from pattern.records import SIDES, Side

Array = NDArray[np.float64]
FILM_MM = 0.00635
"""Marking film of contact analysis, 0.00025 in (sources: conventional, from memory)."""
_ARCSEC = 206264.806
_DRAWS_AT_ONCE = 64  # bounds the memory of thousands of draws


@dataclass(frozen=True)
class Resolution:
    """Lattice lengthwise × across, how many times it is refined for the mark, rolls per pitch.

    `newton` are the steps to the closest approach: two for any move, one for a few thousandths of an inch.
    """

    along: int = 41
    across: int = 21
    refine: int = 3
    rolls: int = 32
    newton: int = 2


FINE = Resolution()
COARSE = Resolution(along=17, across=11, refine=3, rolls=20)


@dataclass(frozen=True, eq=False)
class SideMark:
    """The mark on one tooth side.

    `mask` (n, m) is the marked share of each cell, lengthwise first: [0] the toe, [:, 0] the root.
    `gap_mm` is the smallest normal gap over the mesh cycle on the same lattice. `path` (rolls, 2) is
    the lengthwise and profile place that carries at each roll of the pitch, in order of the roll.
    `edges` are those the mark runs off. Extents hold 5 to 95 %. Numbers are NaN when nothing marks.
    """

    side: Side
    mask: Array
    gap_mm: Array
    lengthwise: float
    profile: float
    extent_lengthwise: tuple[float, float]
    extent_profile: tuple[float, float]
    area: float
    tilt_deg: float
    edges: tuple[str, ...]
    bands: int
    motion_error_arcsec: float
    path: Array


@dataclass(frozen=True, eq=False)
class Marks:
    """Both sides and the backlash, pinion held: free ring gear angle and two dial readings."""

    drive: SideMark
    coast: SideMark
    play_rad: float
    backlash_mm: float  # normal to the tooth at the heel
    backlash_rotation_mm: float  # along the direction of rotation on the heel's pitch circle

    def side(self, side: Side) -> SideMark:
        """One of the two sides by name."""
        return self.drive if side == "drive" else self.coast


@dataclass(frozen=True, eq=False)
class BatchMarks:
    """Many states at once: measures of both sides and the normal backlash, arrays (draws,)."""

    drive: MarkMeasures
    coast: MarkMeasures
    backlash_mm: Array

    def side(self, side: Side) -> MarkMeasures:
        """One of the two sides by name."""
        return self.drive if side == "drive" else self.coast


def evaluate(
    blank: Blank,
    moves: Moves,
    drive: EaseOff,
    coast: EaseOff,
    *,
    film_mm: float = FILM_MM,
    drawing_backlash_mm: float = 0.0,
    resolution: Resolution = FINE,
) -> Marks:
    """Evaluate one state: single numbers in `moves` and the two ease-offs.

    `drawing_backlash_mm` is the normal backlash at the heel with all moves zero and no ease-off. The
    play can come out negative: then the teeth would bind. Raises InvalidAxle and InvalidInput.
    """
    marks, cycles = [], []
    for side, ease in zip(SIDES, (drive, coast), strict=True):
        lattice = tooth_lattice(blank, side, resolution.along, resolution.across)
        cycle, gap, cover, measures = _mark(lattice, moves, ease, film_mm, resolution)
        cycles.append(cycle)
        marks.append(_side_mark(lattice, cycle, gap[0], cover[0], measures))
    play = _play_rad(blank, cycles)[0] + drawing_backlash_mm / normal_arm_mm(blank)
    return Marks(
        marks[0], marks[1], float(play), float(play * normal_arm_mm(blank)),
        float(play * heel_radius_mm(blank)),
    )  # fmt: skip


def evaluate_batch(
    blank: Blank,
    moves: Moves,
    drive: EaseOff,
    coast: EaseOff,
    *,
    film_mm: ArrayLike = FILM_MM,
    drawing_backlash_mm: ArrayLike = 0.0,
    resolution: Resolution = COARSE,
) -> BatchMarks:
    """Evaluate many states of one blank at once.

    Every field of `moves`, `drive`, `coast` as well as `film_mm` and `drawing_backlash_mm` is a number
    or an array (draws,); numbers are shared by all draws. Returns measures as arrays (draws,):
    `result.drive.lengthwise`, `.profile`, `.length`, `.width`, `.area`, `.tilt_deg`, `.edges`
    (draws, 4: toe, heel, tip, root), and `result.backlash_mm`. With the coarse lattice centres are
    right to about 0.003 and extents to 0.01. Raises InvalidAxle and InvalidInput.
    """
    film = np.asarray(film_mm, dtype=np.float64)
    backlash = np.asarray(drawing_backlash_mm, dtype=np.float64)
    draws = max(moves.draws, drive.draws, coast.draws, film.size, backlash.size)
    film, backlash = (np.broadcast_to(values, (draws,)) for values in (film, backlash))
    parts = []
    for first in range(0, draws, _DRAWS_AT_ONCE):
        part = slice(first, first + _DRAWS_AT_ONCE)
        state = moves.part(draws, part)
        measures, cycles = [], []
        for side, ease in zip(SIDES, (drive, coast), strict=True):
            lattice = tooth_lattice(blank, side, resolution.along, resolution.across)
            some = ease.part(draws, part)
            cycle, _, _, found = _mark(lattice, state, some, film[part, None, None], resolution)
            cycles.append(cycle)
            measures.append(found)
        play = _play_rad(blank, cycles) * normal_arm_mm(blank)
        parts.append(BatchMarks(measures[0], measures[1], play + backlash[part]))
    return BatchMarks(
        joined([part.drive for part in parts]),
        joined([part.coast for part in parts]),
        np.concatenate([part.backlash_mm for part in parts]),
    )


def _mark(
    lattice: Lattice, moves: Moves, ease: EaseOff, film_mm: Array | float, resolution: Resolution
) -> tuple[MeshCycle, Array, Array, MarkMeasures]:
    found = separation(lattice, moves, ease, resolution.newton)
    cycle = mesh_cycle(lattice, approach(lattice, found), resolution.rolls)
    gap, _, reached = marking_gap_mm(lattice, found, cycle, resolution.refine)
    cover = coverage(gap, np.asarray(film_mm))
    measures = measure(cover, reached, lattice.length_mm, lattice.depth_mm)
    return cycle, gap, cover, measures


def _play_rad(blank: Blank, cycles: list[MeshCycle]) -> Array:
    """Smallest free angle of the ring gear over the mesh cycle, (draws,)."""
    play: Array = (cycles[0].level + cycles[1].level).min(axis=1) / blank.ratio
    return play


def _side_mark(
    lattice: Lattice, cycle: MeshCycle, gap: Array, cover: Array, found: MarkMeasures
) -> SideMark:
    names = ("toe", "heel", "tip", "root")
    return SideMark(
        side=lattice.side,
        mask=cover,
        gap_mm=gap,
        lengthwise=float(found.lengthwise[0]),
        profile=float(found.profile[0]),
        extent_lengthwise=(float(found.toe_end[0]), float(found.heel_end[0])),
        extent_profile=(float(found.root_end[0]), float(found.tip_end[0])),
        area=float(found.area[0]),
        tilt_deg=float(found.tilt_deg[0]),
        edges=tuple(name for name, off in zip(names, found.edges[0], strict=True) if off),
        bands=count_bands(cover),
        motion_error_arcsec=float(cycle.motion_error_rad[0]) / lattice.blank.ratio * _ARCSEC,
        path=cycle.path[0],
    )
