"""Crowning from the pattern: what ease-off leaves marks of the measured length, width and tilt.

At rest both the gap and the film scale alike, so a mark tells crowning over film. Gauss-Newton on the
logarithm of both crownings and on the bias, each with its prior (most probable value), then the film's
own spread is added: shop compound is brushed on by hand, and its thickness is not known well. The
start is the elementary relation half-length = √(2·film/curvature) (Litvin & Fuentes, *Gear Geometry
and Applied Theory*, 2nd ed. (2004), ch. 9).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.gears.blank import Blank
from pattern.gears.easeoff import (
    BIAS_SPREAD_MM,
    LENGTHWISE_MM,
    LENGTHWISE_SPREAD,
    PROFILE_MM,
    PROFILE_SPREAD,
    EaseOff,
)
from pattern.gears.evaluate import COARSE, FILM_MM, evaluate_batch
from pattern.gears.kinematics import Moves
from pattern.records import Side, SideReading

Array = NDArray[np.float64]
FILM_SPREAD = 0.4
"""Spread of the film's logarithm: half to twice the conventional one lies within two of it."""
EXTENT_SD, TILT_SD_DEG, CUT_FACTOR = 0.05, 4.0, 3.0
_STEPS, _ROUNDS = (0.08, 0.08, 0.12), 8
_SHARE = 0.81  # 5 to 95 % extent of a mark over its whole length, about


@dataclass(frozen=True)
class Crowning:
    """Ease-off of one side with spreads; `_log_sd` are of the logarithm. mm.

    `film_log_sd` is the part that comes from the film alone and is shared by both sides.
    `length_misfit` and `width_misfit` are measured less computed, in shares of the tooth: large ones
    mean that no such ease-off leaves this mark.
    """

    lengthwise_mm: float
    lengthwise_log_sd: float
    profile_mm: float
    profile_log_sd: float
    bias_mm: float
    bias_sd_mm: float
    film_log_sd: float
    length_misfit: float
    width_misfit: float

    def ease_off(self) -> EaseOff:
        """The most probable ease-off."""
        return EaseOff(self.lengthwise_mm, self.profile_mm, self.bias_mm)

    def draw(self, count: int, rng: np.random.Generator) -> EaseOff:
        """Draws (count,) of it."""
        return EaseOff(
            self.lengthwise_mm * np.exp(rng.normal(0, self.lengthwise_log_sd, count)),
            self.profile_mm * np.exp(rng.normal(0, self.profile_log_sd, count)),
            rng.normal(self.bias_mm, self.bias_sd_mm, count),
        )


def crowning_from_mark(
    blank: Blank, side: Side, reading: SideReading, *, moves: Moves | None = None,
    film_mm: float = FILM_MM, film_log_sd: float = FILM_SPREAD,
) -> Crowning:  # fmt: skip
    """Most probable ease-off behind one side's mark, its spread from the Hessian.

    Uses the reading's length, width and tilt where they are known; an extent that ends at the tooth's
    edge counts for less. `moves` is where the set stood (the drawing position when None).
    """
    targets, weights = _targets(reading)
    prior = np.array([math.log(LENGTHWISE_MM / film_mm), math.log(PROFILE_MM / film_mm), 0.0])
    spread = np.array([
        math.hypot(LENGTHWISE_SPREAD, film_log_sd), math.hypot(PROFILE_SPREAD, film_log_sd),
        BIAS_SPREAD_MM / film_mm,
    ])  # fmt: skip
    guess = prior.copy()
    for index, extent in enumerate((reading.length, reading.width)):
        if extent is not None:
            half = min(extent, 0.95) / _SHARE
            wanted = math.log(1 / half**2)
            guess[index] = float(np.clip(wanted, prior[index] - 1.5, prior[index] + 1.5))
    state = moves or Moves()
    for _ in range(_ROUNDS):
        predicted, slopes = _predicted(blank, side, guess, state, film_mm)
        miss = np.where(weights > 0, targets - predicted, 0.0)
        hessian = slopes.T @ (weights[:, None] * slopes) + np.diag(1 / spread**2)
        step = np.linalg.solve(hessian, slopes.T @ (weights * miss) - (guess - prior) / spread**2)
        guess = guess + np.clip(step, -0.6, 0.6)
        if np.abs(step).max() < 5e-3:
            break
    predicted, slopes = _predicted(blank, side, guess, state, film_mm)
    hessian = slopes.T @ (weights[:, None] * slopes) + np.diag(1 / spread**2)
    own = np.sqrt(np.diag(np.linalg.inv(hessian)))
    return Crowning(
        lengthwise_mm=film_mm * math.exp(guess[0]),
        lengthwise_log_sd=math.hypot(float(own[0]), film_log_sd),
        profile_mm=film_mm * math.exp(guess[1]),
        profile_log_sd=math.hypot(float(own[1]), film_log_sd),
        bias_mm=film_mm * float(guess[2]),
        bias_sd_mm=film_mm * math.hypot(float(own[2]), float(guess[2]) * film_log_sd),
        film_log_sd=film_log_sd,
        length_misfit=float(targets[0] - predicted[0]) if weights[0] else 0.0,
        width_misfit=float(targets[1] - predicted[1]) if weights[1] else 0.0,
    )


def _targets(reading: SideReading) -> tuple[Array, Array]:
    """Measured length, width, tilt and their weights (0 where not measured)."""
    lengthwise_cut = {"toe", "heel"} & set(reading.edges)
    profile_cut = {"tip", "root"} & set(reading.edges)
    values = (reading.length, reading.width, reading.tilt_deg)
    spreads = (
        EXTENT_SD * (CUT_FACTOR if lengthwise_cut else 1),
        EXTENT_SD * (CUT_FACTOR if profile_cut else 1),
        TILT_SD_DEG,
    )
    targets = np.array([0.0 if value is None else value for value in values])
    weights = np.array(
        [0.0 if v is None else 1 / s**2 for v, s in zip(values, spreads, strict=True)]
    )
    return targets, weights


def _predicted(
    blank: Blank, side: Side, guess: Array, moves: Moves, film_mm: float
) -> tuple[Array, Array]:
    """Length, width and tilt (3,) for log crownings over film and bias over film, and slopes (3, 3)."""
    states = np.tile(guess, (7, 1))
    for index, step in enumerate(_STEPS):
        states[1 + 2 * index, index] += step
        states[2 + 2 * index, index] -= step
    ease = EaseOff(
        film_mm * np.exp(states[:, 0]), film_mm * np.exp(states[:, 1]), film_mm * states[:, 2]
    )
    found = evaluate_batch(blank, moves, ease, ease, film_mm=film_mm, resolution=COARSE).side(side)
    table = np.stack([found.length, found.width, found.tilt_deg])
    slopes = np.stack(
        [(table[:, 1 + 2 * i] - table[:, 2 + 2 * i]) / (2 * s) for i, s in enumerate(_STEPS)],
        axis=1,
    )
    return table[:, 0], np.nan_to_num(slopes)
