"""What the rolls say, as numbers: the measured rows with their spreads, ready for the estimate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.records import SIDES, Axle, Roll, SideReading

Array = NDArray[np.float64]

# where a set is meant to bear when nothing is recorded: the middle, a little to the toe, because load
# moves the pattern toward the heel (NAVEDTRA 14050A p. 8-90; TM 5-3805-260-24 p. 3-244)
_DESIGN_MEAN = (0.47, 0.50, 0.47, 0.50)
_DESIGN_SD = (0.024, 0.024, 0.024, 0.024)
# what the model itself may be off by, at its place and as a share of the distance from it
_MODEL_SD = np.array([0.010, 0.012, 0.010, 0.012])
_MODEL_SHARE = 0.03
# a mark's ends are known about as well as its middle, in both directions alike; and the model is off by this
_EXTENT_MODEL_SD = 0.03


@dataclass(frozen=True, eq=False)
class Evidence:
    """All rolls of a job as arrays over T rolls; NaN where nothing was measured.

    `centre`, `centre_sd`, `extent`, `extent_sd` are (T, 4) shares, `stated_sd` (T, 4) the centres' spreads as read,
    without what the model may be off by; `backlash_thou`, its sd and
    `moves_thou` (T, 2; the first row is zero) are in thousandths. `design` and `design_sd` (4,) are
    where the marks should lie and how well that is known, `design_told` (4,) whether the job tells it
    (a used set's pattern as found). `limits_thou` are the backlash limits.
    """

    centre: Array
    centre_sd: Array
    stated_sd: Array
    extent: Array
    extent_sd: Array
    backlash_thou: Array
    backlash_sd_thou: Array
    moves_thou: Array
    design: Array
    design_sd: Array
    design_told: NDArray[np.bool_]
    limits_thou: tuple[float, float]

    @property
    def rolls(self) -> int:
        """Number of test rolls."""
        return len(self.backlash_thou)

    @property
    def measured(self) -> int:
        """How many numbers were measured."""
        parts = (self.centre, self.extent, self.backlash_thou)
        return int(sum(np.isfinite(part).sum() for part in parts))


def gather(axle: Axle, rolls: Sequence[Roll]) -> Evidence:
    """Turn the job's rolls, oldest first, into arrays. Moves not recorded after the first count as none."""
    design, design_sd, design_told = _design(axle)
    centre = np.full((len(rolls), 4), np.nan)
    centre_sd, extent, extent_sd = centre.copy(), centre.copy(), centre.copy()
    for t, roll in enumerate(rolls):
        for s, side in enumerate(SIDES):
            reading: SideReading | None = getattr(roll, side)
            if reading is not None:
                rows = slice(2 * s, 2 * s + 2)
                centre[t, rows] = reading.lengthwise, reading.profile
                centre_sd[t, rows] = reading.lengthwise_sd, reading.profile_sd
                extent_sd[t, rows] = math.hypot(np.mean(centre_sd[t, rows]), _EXTENT_MODEL_SD)
                extent[t, rows] = reading.length or np.nan, reading.width or np.nan
    model_sd = _MODEL_SD + _MODEL_SHARE * np.abs(centre - design)
    return Evidence(
        centre=centre,
        centre_sd=np.hypot(centre_sd, model_sd),
        stated_sd=centre_sd,
        extent=extent,
        extent_sd=extent_sd,
        backlash_thou=np.array([_thou(r.backlash_in) for r in rolls]),
        backlash_sd_thou=np.array([1000.0 * r.backlash_sd_in for r in rolls]),
        moves_thou=_moves(rolls),
        design=design,
        design_sd=design_sd,
        design_told=design_told,
        limits_thou=(1000.0 * axle.backlash_min_in, 1000.0 * axle.backlash_max_in),
    )


def _thou(value_in: float | None) -> float:
    return float("nan") if value_in is None else 1000.0 * value_in


def _moves(rolls: Sequence[Roll]) -> Array:
    moves = np.array([[r.pinion_move_in or 0.0, r.ring_move_in or 0.0] for r in rolls]) * 1000.0
    moves[0] = 0.0
    return moves


def _design(axle: Axle) -> tuple[Array, Array, NDArray[np.bool_]]:
    design, sd, told = np.array(_DESIGN_MEAN), np.array(_DESIGN_SD), np.zeros(4, dtype=np.bool_)
    for s, reading in enumerate(axle.target or ()):
        if reading is not None:
            design[2 * s : 2 * s + 2] = reading.lengthwise, reading.profile
            sd[2 * s : 2 * s + 2] = reading.lengthwise_sd, reading.profile_sd
            told[2 * s : 2 * s + 2] = True
    return design, sd, told
