"""A set's answer to moves by contact analysis of the very axle, as a prior with its spread.

Draws of blanks and ease-offs that the axle's data allow (`pattern.gears.prior`) are evaluated at the
right position and a few thousandths to either side. Each draw gives a gain, a direction and a mark
size for every row; their mean and covariance become the prior. On top comes what no computation
knows of another maker's set: an own spread of gain and direction.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pattern.advice.marks import EXTENT_SHARE
from pattern.advice.response import (
    BACKLASH,
    BEND,
    DIRECTION,
    GAIN,
    HALF,
    HOUSING,
    SIZE,
    Response,
    System,
    fill_backlash,
)  # fmt: skip
from pattern.gears.blank import Blank
from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import BatchMarks, Resolution, evaluate_batch
from pattern.gears.kinematics import Moves
from pattern.gears.prior import draw_blanks, draw_ease_offs
from pattern.records import Axle

Array = NDArray[np.float64]

_BLANKS, _EASE_OFFS = 9, 7
_LATTICE = Resolution(along=13, across=9, refine=3, rolls=14)
_THOU_MM = 0.0254
_STEP_THOU = 4.0
_MAKE_GAIN_SD, _MAKE_DIRECTION_SD = 0.15, 0.12
_HOUSING_OFFSET_THOU, _HOUSING_SHAFT_MINUTES, _HOUSING_LEFT_SD = 0.9, 0.6, 0.015
# the fit of the parabolic mark model to contact analysis over +-0.012 in, both tooth systems
_BEND_MEAN = (-0.35, 0.45, -0.6, 0.2)
_BEND_SD = (0.4, 0.5, 0.8, 0.6)
_HALF_SHRINK = (0.96, 0.84, 0.94, 0.84)


def computed_response(axle: Axle, system: System) -> Response:
    """Prior of an axle's set taken as `system`; the slow part is cached. Raises InvalidAxle."""
    bare = replace(
        axle, target=None, backlash_min_in=0.0, backlash_max_in=0.1, depth_shim_in=None,
        left_shim_in=None, right_shim_in=None, depth_shim="unknown", tooth_system=system,
        condition="new", notch_in=None, side_adjusters="shims", position="rear", hand="right",
        rotation="standard", ring_gear_side="left",
    )  # fmt: skip
    mean, cov = _prior(bare, system)
    mean, cov = mean.copy(), cov.copy()
    factors = mean[BACKLASH].copy(), cov[BACKLASH, BACKLASH].copy()
    fill_backlash(mean, cov, axle)
    mean[BACKLASH][1:] = factors[0][1:]
    cov[BACKLASH, BACKLASH][1:, 1:] = factors[1][1:, 1:]
    return Response(mean, cov, "contact analysis of sets that this axle's data allow")


@lru_cache(maxsize=32)
def _prior(axle: Axle, system: System) -> tuple[Array, Array]:
    blanks = draw_blanks(axle, system, _BLANKS, seed=1)
    rng = np.random.default_rng(2)
    drawn = [
        _answers(b, draw_ease_offs(_EASE_OFFS, rng), draw_ease_offs(_EASE_OFFS, rng))
        for b in blanks
    ]
    slopes, halves, rates = (np.concatenate(part) for part in zip(*drawn, strict=True))
    whole = np.isfinite(slopes).all(axis=(1, 2)) & np.isfinite(halves).all(axis=1)
    slopes, halves, rates = slopes[whole], halves[whole], rates[whole]
    norm = np.sqrt(np.sum(slopes**2, axis=2))  # (n, 4)
    gain = np.log(norm)
    unit = slopes / norm[..., None]
    scale = np.exp(gain.mean(axis=0))
    direction = (unit * scale[:, None]).reshape(-1, 8)
    samples = np.hstack([gain - gain.mean(axis=0), direction, np.log(halves)])
    mean, cov = np.zeros(SIZE), np.zeros((SIZE, SIZE))
    slots = np.r_[GAIN, DIRECTION, HALF]
    mean[slots] = samples.mean(axis=0)
    cov[np.ix_(slots, slots)] = np.cov(samples.T)
    cov[GAIN, GAIN] += _MAKE_GAIN_SD**2 * np.eye(4)
    cov[DIRECTION, DIRECTION] += np.diag(np.repeat(_MAKE_DIRECTION_SD * scale, 2) ** 2)
    cov[HALF, HALF] += 0.05**2 * np.eye(4)
    mean[HALF] += np.log(_HALF_SHRINK)
    mean[BEND] = _BEND_MEAN
    cov[BEND, BEND] = np.diag(np.square(_BEND_SD))
    cov[HOUSING, HOUSING] = _housing(blanks[0])
    mean[BACKLASH][1:] = np.log([np.median(rates[:, 1]), np.median(-rates[:, 0])])
    cov[BACKLASH, BACKLASH] = np.diag([1.0, 0.06**2, 0.12**2])
    return mean, cov


def _answers(blank: Blank, drive: EaseOff, coast: EaseOff) -> tuple[Array, Array, Array]:
    """Slopes (n, 4, 2) per thousandth, half extents (n, 4), backlash rates (n, 2) of n ease-offs."""
    steps = np.array([(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1)]) * _STEP_THOU
    count, states = _EASE_OFFS, len(steps)
    moves = np.repeat(steps, count, axis=0) * _THOU_MM
    found = evaluate_batch(
        blank, Moves(moves[:, 0], moves[:, 1]), _tiled(drive, states), _tiled(coast, states),
        resolution=_LATTICE,
    )  # fmt: skip
    centres, extents = _rows(found)
    centres = centres.reshape(states, count, 4)
    backlash = found.backlash_mm.reshape(states, count) / _THOU_MM
    slopes = np.stack([(centres[1] - centres[2]), (centres[3] - centres[4])], axis=-1) / (
        2 * _STEP_THOU
    )
    rates = np.stack([backlash[1] - backlash[2], backlash[3] - backlash[4]], axis=-1)
    return slopes, extents[:count] / EXTENT_SHARE / 2, rates / (2 * _STEP_THOU)


def _rows(found: BatchMarks) -> tuple[Array, Array]:
    drive, coast = found.drive, found.coast
    centres = np.stack([drive.lengthwise, drive.profile, coast.lengthwise, coast.profile], axis=-1)
    return centres, np.stack([drive.length, drive.width, coast.length, coast.width], axis=-1)


def _housing(blank: Blank) -> Array:
    """Covariance (4, 4) of where offset and shaft angle errors of the housing take the marks."""
    offset = np.array([0.0, 1.0, 0.0]) * _THOU_MM
    shaft = np.array([0.0, 0.0, 1.0]) * math.radians(1 / 60)
    found = evaluate_batch(
        blank, Moves(0.0, 0.0, offset, shaft), EaseOff(), EaseOff(), resolution=_LATTICE
    )
    centres, _ = _rows(found)
    by_offset, by_shaft = centres[1] - centres[0], centres[2] - centres[0]
    cov: Array = (
        _HOUSING_OFFSET_THOU**2 * np.outer(by_offset, by_offset)
        + _HOUSING_SHAFT_MINUTES**2 * np.outer(by_shaft, by_shaft)
        + _HOUSING_LEFT_SD**2 * np.eye(4)
    )
    return cov


def _tiled(ease: EaseOff, states: int) -> EaseOff:
    return EaseOff(
        *(
            np.tile(np.broadcast_to(np.asarray(v, dtype=float), (_EASE_OFFS,)), states)
            for v in ease.values
        )
    )
