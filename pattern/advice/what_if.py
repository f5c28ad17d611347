"""What if: where the marks on the bench would go with moves that the user tries out.

The mark as it was measured is the start; only its *change* comes from contact analysis, so an error
of the model's own starting place drops out.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from math import hypot

from pattern.gears.blank import System
from pattern.gears.predict import Prediction, predict
from pattern.records import Advice, Axle, Expected, Roll, SideReading

_ROOMY_IN = 0.05
"""Backlash the analysis starts from, so that it never binds; only differences are used."""


def systems_of(axle: Axle) -> tuple[System, ...]:
    """The tooth systems the set may have: one where it is known, both where it is not."""
    return ("tapered", "uniform") if axle.tooth_system == "unknown" else (axle.tooth_system,)


def what_if(
    axle: Axle,
    roll: Roll,
    advice: Advice | None,
    pinion_move_in: float,
    ring_move_in: float,
    system: System,
) -> Expected:
    """Marks and backlash after these moves, + deeper and + away from the pinion, inches.

    `advice` says how far the set is believed to stand from right; without one it counts as right.
    A side not read stays None, so does a side that would not mark any more. A backlash of zero or
    less means that the set would bind. Raises InvalidInput for moves beyond 0.05 in.
    """
    off = (-(advice.pinion_move_in or 0.0), -(advice.ring_move_in or 0.0)) if advice else (0.0, 0.0)
    before = _predicted(axle, off[0], off[1], system)
    after = _predicted(axle, off[0] + pinion_move_in, off[1] + ring_move_in, system)
    change_in = after.backlash_in - before.backlash_in
    return Expected(
        drive=_moved(roll.drive, before.drive, after.drive),
        coast=_moved(roll.coast, before.coast, after.coast),
        backlash_in=None if roll.backlash_in is None else roll.backlash_in + change_in,
        backlash_sd_in=hypot(roll.backlash_sd_in, 0.05 * change_in),
    )


@lru_cache(maxsize=256)
def _predicted(axle: Axle, pinion_in: float, ring_in: float, system: System) -> Prediction:
    return predict(
        axle, round(pinion_in, 6), round(ring_in, 6), system=system, backlash_in=_ROOMY_IN
    )


def _moved(
    seen: SideReading | None, before: SideReading | None, after: SideReading | None
) -> SideReading | None:
    if seen is None or before is None or after is None:
        return None
    return replace(
        seen,
        lengthwise=_within(seen.lengthwise + (after.lengthwise - before.lengthwise)),
        profile=_within(seen.profile + (after.profile - before.profile)),
        lengthwise_sd=hypot(seen.lengthwise_sd, after.lengthwise_sd if after != before else 0.0),
        profile_sd=hypot(seen.profile_sd, after.profile_sd if after != before else 0.0),
        length=_scaled(seen.length, before.length, after.length),
        width=_scaled(seen.width, before.width, after.width),
        edges=after.edges if after != before else seen.edges,
        bands=after.bands if after != before else seen.bands,
    )


def _within(share: float) -> float:
    return min(max(share, -0.25), 1.25)


def _scaled(seen: float | None, before: float | None, after: float | None) -> float | None:
    if seen is None or not before or not after:
        return seen
    return min(max(seen * after / before, 1e-3), 1.5)
