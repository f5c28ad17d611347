"""How a set's marks answer to moves, as a prior: means and spreads, never one certain table.

The estimate and the choice of move see a set only through `Response`, so its numbers may come from
the trade's documented sizes (here) or from contact analysis of the very blank (`computed_response`).
Positions are in thousandths of an inch (`_thou`), marks in shares of the tooth.

Rows, four of them everywhere in this package: drive lengthwise, drive profile, coast lengthwise,
coast profile. A row's mark centre, before the tooth's edges cut it, is

    design + housing + shift + bend * shift**2,  shift = exp(gain) * (pinion * D[0] + ring * D[1])

with `pinion` deeper and `ring` away from the right position, both in thousandths.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pattern.records import SIDES, Axle, Side

System = Literal["tapered", "uniform"]

ROWS = ("drive lengthwise", "drive profile", "coast lengthwise", "coast profile")
HOUSING = slice(0, 4)
GAIN = slice(4, 8)
DIRECTION = slice(8, 16)  # row by row: per thousandth of pinion, per thousandth of ring gear
HALF = slice(16, 20)  # log of the uncut mark's half extent
BEND = slice(20, 24)
BACKLASH = slice(24, 27)  # at the right position (thou), log factors of ring gear and of pinion
SIZE = 27

HELD_RATIO = 0.45
"""Ring gear move that holds the backlash, per pinion move (contact analysis at mid-depth)."""


@dataclass(frozen=True, eq=False)
class Response:
    """Gaussian prior over a set's answer to moves: `mean` (27,), `cov` (27, 27) in the slots above.

    `source` says in plain words where the numbers come from.
    """

    mean: NDArray[np.float64]
    cov: NDArray[np.float64]
    source: str

    @property
    def matrix(self) -> NDArray[np.float64]:
        """(4, 2) mean shift of each row per thousandth of pinion (deeper) and ring gear (away)."""
        shifts: NDArray[np.float64] = np.exp(self.mean[GAIN])[:, None] * self.mean[
            DIRECTION
        ].reshape(4, 2)
        return shifts


# Shares of the tooth per thousandth at an 8.5 in ring gear: pinion with the backlash held, ring gear.
# Signs are the trade's; the coast side's lengthwise answer to the ring gear follows contact analysis.
_DOCUMENTED: dict[System, tuple[tuple[float, float], ...]] = {
    "tapered": ((-0.020, +0.008), (-0.020, +0.008), (+0.020, -0.001), (-0.020, +0.008)),
    "uniform": ((+0.020, +0.008), (-0.009, +0.006), (-0.020, -0.001), (-0.009, +0.006)),
}
_DIRECTION_SD: dict[System, tuple[tuple[float, float], ...]] = {
    "tapered": ((0.009, 0.006), (0.004, 0.003), (0.010, 0.006), (0.004, 0.003)),
    "uniform": ((0.009, 0.006), (0.004, 0.003), (0.010, 0.006), (0.004, 0.003)),
}
_HALF = (0.26, 0.34, 0.26, 0.34)
_HALF_LOG_SD = 0.22
# half**2 = 2 film / curvature and a shift goes with 1 / curvature, so gain goes with half**2; what that
# leaves, film and tooth shape, is in part the same for all rows. Sets drawn by contact analysis: slope
# 1.6 to 2.6, left over 0.2 to 0.55 (log), correlated 0.05 to 0.7 between rows
_GAIN_PER_HALF = 2.0
_GAIN_SD, _GAIN_IN_COMMON = 0.30, 0.4
_HOUSING_SD = (0.02, 0.015, 0.02, 0.015)
_BEND_SD = 0.35
_UNFIT_SD = 0.18
_BACKLASH_SHARE_SD = 0.2  # of the width between the limits, at the right position


def documented_response(axle: Axle, system: System) -> Response:
    """The trade's rough sizes (0.01 to 0.03 of the tooth per 0.001 in; common practice, no source).

    They hold for a ring gear of 8.5 in; the same move is a smaller share of a larger tooth.
    """
    scale = 8.5 / axle.ring_diameter_in
    held = np.array(_DOCUMENTED[system]) * scale
    direction = held.copy()
    direction[:, 0] -= HELD_RATIO * held[:, 1]
    mean = np.zeros(SIZE)
    mean[DIRECTION] = direction.ravel()
    mean[HALF] = np.log(_HALF)
    cov = np.zeros((SIZE, SIZE))
    _fill(cov, HOUSING, _HOUSING_SD)
    _fill(cov, DIRECTION, np.array(_DIRECTION_SD[system]).ravel() * scale)
    _fill(cov, HALF, (_HALF_LOG_SD,) * 4)
    _fill(cov, BEND, (_BEND_SD,) * 4)
    for gain, half in zip(range(*GAIN.indices(SIZE)), range(*HALF.indices(SIZE)), strict=True):
        cov[gain, half] = cov[half, gain] = _GAIN_PER_HALF * _HALF_LOG_SD**2
        cov[gain, gain] = (_GAIN_PER_HALF * _HALF_LOG_SD) ** 2
    common = np.full((4, 4), _GAIN_IN_COMMON) + (1.0 - _GAIN_IN_COMMON) * np.eye(4)
    cov[GAIN, GAIN] += _GAIN_SD**2 * common
    fill_backlash(mean, cov, axle)
    return Response(mean, cov, "the trade's rough sizes for this tooth system")


TURNED_SHARE: dict[Side, float] = {"drive": 0.03, "coast": 0.08}
"""Share of drawn sets whose side answers a pinion move at the other end than the tooth system says."""


def turned(axle: Axle, system: System, side: Side) -> Response:
    """Documented sizes for a set whose `side` goes lengthwise against its tooth system's rule."""
    plain = documented_response(axle, system)
    mean = plain.mean.copy()
    direction = mean[DIRECTION].reshape(4, 2)
    row = 2 * SIDES.index(side)
    held = direction[row, 0] + HELD_RATIO * direction[row, 1]
    direction[row, 0] -= 2.0 * held
    return Response(mean, plain.cov, f"the trade's sizes, {side} side the other way lengthwise")


def beyond_mending(axle: Axle, system: System) -> Response:
    """A set that does not fit itself or its housing: marks far from where moves can bring them."""
    sound = documented_response(axle, system)
    cov = sound.cov.copy()
    cov[HOUSING, HOUSING] += _UNFIT_SD**2 * np.eye(4)
    return Response(sound.mean, cov, "a set or housing that no shim mends")


def fill_backlash(mean: NDArray[np.float64], cov: NDArray[np.float64], axle: Axle) -> None:
    """Set the backlash slots: right position near the middle of the limits, first-order factors.

    2 tan(phi) sin(pitch angle) for the ring gear (recalled from Machinery's Handbook; AGMA 2005, in
    the form jx = jt / (2 tan a sin d)); the pinion's is `HELD_RATIO` of it.
    """
    factor = ring_backlash_factor(axle)
    mean[BACKLASH] = (
        500.0 * (axle.backlash_min_in + axle.backlash_max_in),
        math.log(factor),
        math.log(HELD_RATIO * factor),
    )
    width_thou = 1000.0 * (axle.backlash_max_in - axle.backlash_min_in)
    _fill(cov, BACKLASH, (_BACKLASH_SHARE_SD * width_thou, 0.10, 0.18))


def ring_backlash_factor(axle: Axle) -> float:
    """Backlash normal to the tooth per inch of ring gear move: (tan phi_d + tan phi_c) sin Gamma."""
    drive = math.radians(axle.pressure_angle_drive_deg or 20.0)
    coast = math.radians(axle.pressure_angle_coast_deg or 20.0)
    pitch_angle = math.atan2(axle.ring_teeth, axle.pinion_teeth)
    return (math.tan(drive) + math.tan(coast)) * math.sin(pitch_angle)


def _fill(cov: NDArray[np.float64], slots: slice, sds: object) -> None:
    at = range(*slots.indices(SIZE))
    cov[at, at] = np.square(np.asarray(sds, dtype=float))
