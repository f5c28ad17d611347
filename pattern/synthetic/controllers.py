"""Who decides the next move in the closed loop: the trade's table, one who knows, and the advice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from pattern.advice.correction import correct
from pattern.advice.rules import table_direction
from pattern.records import Advice, Axle, Roll
from pattern.settings import Settings
from pattern.synthetic.drawn_sets import LIMITS_THOU, DrawnSet


@dataclass(frozen=True)
class Decision:
    """A move in thousandths; the advice it came from, if any."""

    pinion_thou: float
    ring_thou: float
    advice: Advice | None = None


class Controller(Protocol):
    """Sees the axle and the rolls (and, if it cheats, the set) and decides."""

    def __call__(self, axle: Axle, rolls: Sequence[Roll], drawn: DrawnSet) -> Decision:
        """The next move."""
        ...


def follow_advice(axle: Axle, rolls: Sequence[Roll], drawn: DrawnSet) -> Decision:
    """What the product advises; no move where it advises none."""
    advice = correct(axle, rolls, settings=Settings())
    return Decision(
        1000.0 * (advice.pinion_move_in or 0.0), 1000.0 * (advice.ring_move_in or 0.0), advice
    )


_MIDDLE = np.array([0.47, 0.50])
_NEAR, _FAR = 0.06, 0.12
_BIG_THOU, _SMALL_THOU = 5.0, 2.0
_MID_BACKLASH = sum(LIMITS_THOU) / 2


def fixed_steps(axle: Axle, rolls: Sequence[Roll], drawn: DrawnSet) -> Decision:
    """The trade's tapered-depth table with its fixed steps, as on most walls, memory-less.

    0.005 in of pinion when far, 0.002 in when near (common practice, no source); 0.45 of it with the
    ring gear to hold the backlash, and the backlash back to the middle of its limits.
    """
    last = rolls[-1]
    off = {
        side: np.array([reading.lengthwise, reading.profile]) - _MIDDLE
        for side, reading in (("drive", last.drive), ("coast", last.coast))
        if reading is not None
    }
    quiet = {side: (_quiet(float(at[0])), _quiet(float(at[1]))) for side, at in off.items()}
    moves = table_direction("tapered", quiet.get("drive"), quiet.get("coast"))
    worst = max(float(np.abs(at).max()) for at in off.values())
    step = _BIG_THOU if worst > _FAR else _SMALL_THOU
    pinion = step * moves["pinion"]
    ring = 0.45 * pinion
    if last.backlash_in is not None:
        ring += (_MID_BACKLASH - 1000.0 * last.backlash_in) / 0.7
    if not pinion and moves["ring"]:
        ring = _SMALL_THOU * moves["ring"]
    return Decision(float(round(pinion)), float(round(ring)))


def _quiet(off: float) -> float:
    return off if abs(off) > _NEAR else 0.0


def knows_the_set(axle: Axle, rolls: Sequence[Roll], drawn: DrawnSet) -> Decision:
    """Knows the set's true answer and design place, but only looks at the last roll.

    Least squares for the position from that roll's readings and backlash, then all the way back to
    the best position of the set.
    """
    at = _locate(rolls[-1], drawn)
    right = _best_position(drawn)
    return Decision(float(round(right[0] - at[0])), float(round(right[1] - at[1])))


def _locate(last: Roll, drawn: DrawnSet) -> np.ndarray:
    measured, sd = _measured(last)

    def residual(at: np.ndarray) -> np.ndarray:
        # positions are known to about 9 thousandths before anything is measured
        prior = at / 9.0
        return np.concatenate(
            [np.where(np.isfinite(measured), (measured - _shown(drawn, at)) / sd, 0.0), prior]
        )

    starts = [np.zeros(2)] + [np.array([p, g]) for p in (-10.0, 10.0) for g in (-8.0, 8.0)]
    return min(
        (_descend(residual, start) for start in starts),
        key=lambda at: float(np.sum(residual(at) ** 2)),
    )


def _best_position(drawn: DrawnSet) -> np.ndarray:
    place = np.append(drawn.design.ravel(), _MID_BACKLASH)
    sd = np.array([0.05, 0.06, 0.05, 0.06, 1.2])
    return _descend(lambda at: (place - _shown(drawn, at)) / sd, np.zeros(2))


def _shown(drawn: DrawnSet, at: np.ndarray) -> np.ndarray:
    centres, backlash = drawn.survey(at[:1], at[1:])
    # a position far out, where nothing marks, must not look like a fit
    return np.nan_to_num(np.append(centres[0], backlash[0]), nan=5.0)


def _measured(roll: Roll) -> tuple[np.ndarray, np.ndarray]:
    values, sd = [], []
    for reading in (roll.drive, roll.coast):
        values += [np.nan, np.nan] if reading is None else [reading.lengthwise, reading.profile]
        sd += [1.0, 1.0] if reading is None else [reading.lengthwise_sd, reading.profile_sd]
    values.append(np.nan if roll.backlash_in is None else 1000.0 * roll.backlash_in)
    return np.array(values), np.array([*sd, 1000.0 * roll.backlash_sd_in])


def _descend(residual, start: np.ndarray) -> np.ndarray:  # type: ignore[no-untyped-def]
    at, damping = start.astype(float), 1e-2
    value = residual(at)
    for _ in range(12):
        jacobian = np.column_stack([(residual(at + 0.7 * e) - value) / 0.7 for e in np.eye(2)])
        normal = jacobian.T @ jacobian
        delta = -np.linalg.solve(normal + damping * np.eye(2), jacobian.T @ value)
        delta = np.clip(delta, -6.0, 6.0)
        trial = residual(at + delta)
        if trial @ trial < value @ value:
            at, value, damping = at + delta, trial, damping * 0.3
            if np.abs(delta).max() < 0.05:
                break
        else:
            damping = damping * 10 + 1e-3
    return at
