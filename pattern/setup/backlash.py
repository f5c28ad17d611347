"""Backlash at several places around the ring gear: its spread, its runout, and the maker's limits.

All readings are inches, normal to the tooth at the heel (see `pattern.setup.dial`). Runout is what
repeats once a turn: ``y = mean + a cos t + b sin t`` by least squares, amplitude ``sqrt(a^2 + b^2)``.
For N places equally far apart ``var(a) = var(b) = 2 s^2 / N``; the full movement of a dial over one
turn is twice the amplitude.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import atan2, degrees, hypot, isfinite, sqrt

import numpy as np
from numpy.typing import NDArray

from pattern.errors import InvalidAxle

READING_SD_IN = 0.0005
"""One reading of a dial in 0.001 in divisions, common practice."""

DIAL_WEIGHT = 4
"""Degrees of freedom that the dial's known spread is worth beside the scatter of the readings."""

VARIATION_LIMIT_IN = 0.003
"""Largest less smallest around the ring gear where the maker gives no figure (common practice)."""


@dataclass(frozen=True)
class Runout:
    """The part that repeats once a turn.

    `amplitude_in` is half the full dial movement `full_movement_in`. `amplitude_sd_in` is the
    spread of each of its two components. `high_at_deg` is where backlash is largest.
    `scatter_sd_in` is what is left from place to place, None with fewer than four readings.
    `noise_chance` is the chance that scatter alone makes so large an amplitude.
    """

    amplitude_in: float
    amplitude_sd_in: float
    high_at_deg: float
    scatter_sd_in: float | None
    noise_chance: float

    @property
    def full_movement_in(self) -> float:
        """Full indicator movement over one turn: twice the amplitude."""
        return 2.0 * self.amplitude_in

    @property
    def seen(self) -> bool:
        """Whether the runout stands out of the scatter, at one in twenty."""
        return self.noise_chance < 0.05


@dataclass(frozen=True)
class BacklashAround:
    """Backlash over the places measured; `mean_sd_in` is the spread of the fitted mean.

    `runout` is None with fewer than three places, or places that cannot tell runout from the mean.
    """

    readings_in: tuple[float, ...]
    mean_in: float
    mean_sd_in: float
    runout: Runout | None

    @property
    def minimum_in(self) -> float:
        """The tightest place; makers' limits apply to it first."""
        return min(self.readings_in)

    @property
    def maximum_in(self) -> float:
        """The loosest place."""
        return max(self.readings_in)

    @property
    def variation_in(self) -> float:
        """Loosest less tightest."""
        return self.maximum_in - self.minimum_in


@dataclass(frozen=True)
class BacklashFinding:
    """One thing wrong with the backlash: what was seen and what to do."""

    code: str
    message: str
    remedy: str


def backlash_around(
    readings_in: Sequence[float],
    places_deg: Sequence[float] | None = None,
    *,
    reading_sd_in: float = READING_SD_IN,
) -> BacklashAround:
    """Statistics of backlash readings around the ring gear.

    Places are equally far apart over one turn unless `places_deg` says where each was taken.
    `reading_sd_in` stands for the scatter where the readings are too few to show it. Raises
    InvalidAxle naming the reading.
    """
    values = _checked(readings_in)
    if not isfinite(reading_sd_in) or not 1e-6 <= reading_sd_in <= 0.02:
        raise InvalidAxle(
            f"{reading_sd_in!r} is no spread", subject="reading_sd_in", remedy="Give inches"
        )
    count = len(values)
    if places_deg is None:
        angles = 2 * np.pi * np.arange(count) / count
    elif len(places_deg) == count and all(isfinite(place) for place in places_deg):
        angles = np.radians(np.asarray(places_deg, dtype=np.float64))
    else:
        raise InvalidAxle(
            f"{len(places_deg)} places for {count} readings",
            subject="places_deg",
            remedy="Give one angle in degrees for each reading, or none",
        )
    fit = _once_per_turn(values, angles, reading_sd_in)
    if fit is None:
        scatter = float(np.std(values, ddof=1)) if count > 1 else reading_sd_in
        mean_sd = max(scatter, reading_sd_in) / sqrt(count)
        return BacklashAround(tuple(map(float, values)), float(values.mean()), mean_sd, None)
    mean, mean_sd, runout = fit
    return BacklashAround(tuple(map(float, values)), mean, mean_sd, runout)


def check_backlash(
    around: BacklashAround,
    minimum_in: float,
    maximum_in: float,
    variation_limit_in: float = VARIATION_LIMIT_IN,
) -> tuple[BacklashFinding, ...]:
    """What is wrong with the backlash against the maker's limits; empty when nothing is.

    Raises InvalidAxle when the limits are the wrong way round.
    """
    if not 0 <= minimum_in < maximum_in:
        raise InvalidAxle(
            f"{minimum_in} in is not below the upper limit, {maximum_in} in",
            subject="backlash_min_in",
            remedy="Give the maker's lower limit first, then the upper one",
        )
    findings = []
    if around.minimum_in <= 0:
        findings.append(_BOUND)
    elif around.minimum_in < minimum_in:
        findings.append(
            BacklashFinding(
                "too_tight",
                f"{_shown(around.minimum_in)} at the tightest place, the limit is "
                f"{_shown(minimum_in)}",
                "Move the ring gear away from the pinion.",
            )
        )
    if around.maximum_in > maximum_in:
        findings.append(
            BacklashFinding(
                "too_loose",
                f"{_shown(around.maximum_in)} at the loosest place, the limit is "
                f"{_shown(maximum_in)}",
                "Move the ring gear toward the pinion.",
            )
        )
    if mean_window(around, minimum_in, maximum_in) is None:
        findings = [f if f is _BOUND else replace(f, remedy=_NO_PLACE) for f in findings]
    if around.variation_in > variation_limit_in + 1e-9:
        findings.append(_variation(around, variation_limit_in))
    return tuple(findings)


_BOUND = BacklashFinding(
    "bound",
    "no backlash at one place: the set binds there",
    "Do not roll it. Move the ring gear away from the pinion and measure again.",
)
_NO_PLACE = (
    "No place of the ring gear brings every reading inside the limits: mend the runout first, "
    "do not move the ring gear for it."
)


def mean_window(
    around: BacklashAround, minimum_in: float, maximum_in: float
) -> tuple[float, float] | None:
    """Mean backlash that keeps every measured place inside the limits; None when none does."""
    low = minimum_in + (around.mean_in - around.minimum_in)
    high = maximum_in - (around.maximum_in - around.mean_in)
    return (low, high) if low <= high else None


def _variation(around: BacklashAround, limit_in: float) -> BacklashFinding:
    seen = around.runout is not None and around.runout.seen
    remedy = (
        "It repeats once a turn: clean the ring gear's seat, check its bolts, then the runout of "
        "the case and of the ring gear's back."
        if seen
        else "Measure again at eight places; if it stays, check teeth for burrs and dirt, and the "
        "carrier bearings."
    )
    return BacklashFinding(
        "variation",
        f"backlash varies by {_shown(around.variation_in)} around the ring gear, the limit is "
        f"{_shown(limit_in)}",
        remedy,
    )


def _once_per_turn(
    values: NDArray[np.float64], angles: NDArray[np.float64], reading_sd_in: float
) -> tuple[float, float, Runout] | None:
    """Mean, its spread and the runout; None when the places do not settle three unknowns."""
    count = len(values)
    if count < 3:
        return None
    design = np.column_stack([np.ones(count), np.cos(angles), np.sin(angles)])
    if np.linalg.cond(design) > 20:
        return None
    solution = np.linalg.lstsq(design, values, rcond=None)[0]
    free = count - 3
    residual = values - design @ solution
    scatter = sqrt(float(residual @ residual) / free) if free else None
    # A handful of readings can agree by luck, so the dial's own spread is the floor and weighs in.
    pooled = (DIAL_WEIGHT * reading_sd_in**2 + free * (scatter or 0.0) ** 2) / (DIAL_WEIGHT + free)
    sigma = max(sqrt(pooled), reading_sd_in)
    covariance = sigma**2 * np.linalg.inv(design.T @ design)
    amplitude = hypot(solution[1], solution[2])
    return (
        float(solution[0]),
        sqrt(float(covariance[0, 0])),
        Runout(
            amplitude_in=amplitude,
            amplitude_sd_in=_spread_along(covariance[1:, 1:], solution[1:]),
            high_at_deg=degrees(atan2(solution[2], solution[1])) % 360.0,
            scatter_sd_in=scatter,
            noise_chance=_noise_chance(solution[1:], covariance[1:, 1:], free + DIAL_WEIGHT),
        ),
    )


def _spread_along(covariance: NDArray[np.float64], vector: NDArray[np.float64]) -> float:
    """Spread of the vector's length: the covariance along its direction."""
    length = float(np.hypot(*vector))
    if length == 0:
        return sqrt(float(np.trace(covariance)) / 2)
    along = vector / length
    return sqrt(float(along @ covariance @ along))


def _noise_chance(vector: NDArray[np.float64], covariance: NDArray[np.float64], free: int) -> float:
    """Chance of so long a vector without runout: the tail of F with 2 and `free` degrees.

    ``(1 + q / free) ** (-free / 2)`` with ``q = v' C^-1 v``.
    """
    q = float(vector @ np.linalg.solve(covariance, vector))
    return float((1 + q / free) ** (-free / 2))


def _checked(readings_in: Sequence[float]) -> NDArray[np.float64]:
    if not readings_in:
        raise InvalidAxle(
            "no readings", subject="readings_in", remedy="Measure at three places or more"
        )
    for number, reading in enumerate(readings_in, start=1):
        if not isfinite(reading) or not 0.0 <= reading <= 0.1:
            raise InvalidAxle(
                f"reading {number}, {reading!r} in, is outside 0 to 0.1",
                subject="readings_in",
                remedy="Give inches; thousandths are meant, so 0.008 for eight",
            )
    return np.asarray(readings_in, dtype=np.float64)


def _shown(length_in: float) -> str:
    return f"{length_in:.4f} in"
