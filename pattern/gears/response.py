"""How the marks and the backlash of a set answer to moves, with what is not known of the set.

Moves are of the pinion alone, of the pinion with the ring gear following so that the backlash is held
("pinion_held", what a shop does), of the ring gear, of the offset and of the shaft angle.
The middle is computed for the middle blank and ease-off; the spread comes from draws of both
(`pattern.gears.prior`). Rates are per 0.001 in of move, or per minute of arc of shaft angle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pattern.gears.blank import Blank, System
from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import BatchMarks, Resolution, evaluate_batch
from pattern.gears.kinematics import Moves
from pattern.gears.prior import draw_blanks, draw_ease_offs
from pattern.records import MM_PER_IN, Axle, Side

Array = NDArray[np.float64]
Move = Literal["pinion", "pinion_held", "ring", "offset", "shaft_angle"]
MOVES: tuple[Move, ...] = ("pinion", "pinion_held", "ring", "offset", "shaft_angle")
_SINGLE: tuple[Move, ...] = ("pinion", "ring", "offset", "shaft_angle")
_THOU_MM = 0.001 * MM_PER_IN
_UNIT = {
    "pinion": _THOU_MM,
    "ring": _THOU_MM,
    "offset": _THOU_MM,
    "shaft_angle": math.radians(1 / 60),
}
_STEP = 2.0  # units to either side of the drawing position
_BLANKS, _EASE_OFFS = 10, 5
_RESOLUTION = Resolution(17, 11, 2, 12, 1)  # differences cancel what a coarse mark leaves


@dataclass(frozen=True)
class Rate:
    """A derivative, its spread, and the share of draws in which it is positive."""

    value: float
    sd: float
    chance_positive: float


@dataclass(frozen=True)
class Response:
    """Rates of one set. `lengthwise[side, move]` and `profile[side, move]` in shares of the tooth,
    `backlash[move]` in inches per unit of move (normal at the heel).
    """

    system: System
    curve_ratio: float
    lengthwise: dict[tuple[Side, Move], Rate]
    profile: dict[tuple[Side, Move], Rate]
    backlash: dict[Move, Rate]


def response(axle: Axle, system: System, *, blanks: int = _BLANKS) -> Response:
    """Response of an axle's set, taken as `system`, about its drawing position.

    Cached by what is known of the axle. Raises InvalidAxle.
    """
    bare = replace(axle, target=None, backlash_min_in=0.0, backlash_max_in=0.1, depth_shim_in=None)
    return _response(bare, system, blanks)


@lru_cache(maxsize=64)
def _response(axle: Axle, system: System, blanks: int) -> Response:
    drawn = draw_blanks(axle, system, blanks)
    rng = np.random.default_rng(0)
    middle = _rates(drawn[0], EaseOff(), EaseOff(), _SINGLE)
    spread = [
        _rates(
            blank,
            draw_ease_offs(_EASE_OFFS, rng),
            draw_ease_offs(_EASE_OFFS, rng),
            ("pinion", "ring"),
        )
        for blank in drawn
    ]

    def rate(key: tuple[str, ...]) -> Rate:
        value = float(middle[key][0])
        if key not in spread[0]:
            return Rate(value, math.nan, math.nan)
        values = np.concatenate([found[key] for found in spread])
        values = values[np.isfinite(values)]
        return Rate(value, float(values.std()), float((values > 0).mean()))

    sides: tuple[Side, Side] = ("drive", "coast")
    return Response(
        system,
        drawn[0].curve_ratio,
        {(side, move): rate((side, "lengthwise", move)) for side in sides for move in MOVES},
        {(side, move): rate((side, "profile", move)) for side in sides for move in MOVES},
        {move: rate(("backlash", move)) for move in MOVES},
    )


def _rates(
    blank: Blank, drive: EaseOff, coast: EaseOff, moves: tuple[Move, ...]
) -> dict[tuple[str, ...], Array]:
    """Central differences of centres and backlash for each ease-off draw, per unit of move."""
    count = max(drive.draws, coast.draws)
    states = len(moves) * 2
    steps = {move: np.zeros((states, count)) for move in _SINGLE}
    for index, move in enumerate(moves):
        for sign in (0, 1):
            steps[move][2 * index + sign] = (1 - 2 * sign) * _STEP * _UNIT[move]
    moved = Moves(*(steps[move].ravel() for move in _SINGLE))
    result = evaluate_batch(
        blank,
        moved,
        _repeat(drive, states, count),
        _repeat(coast, states, count),
        resolution=_RESOLUTION,
    )
    return _differences(result, moves, count)


def _differences(
    result: BatchMarks, moves: tuple[Move, ...], count: int
) -> dict[tuple[str, ...], Array]:
    found: dict[tuple[str, ...], Array] = {}
    fields = {
        ("drive", "lengthwise"): result.drive.lengthwise, ("drive", "profile"): result.drive.profile,
        ("coast", "lengthwise"): result.coast.lengthwise, ("coast", "profile"): result.coast.profile,
        ("backlash",): result.backlash_mm / MM_PER_IN,
    }  # fmt: skip
    for name, values in fields.items():
        grid = values.reshape(-1, count)
        for index, move in enumerate(moves):
            found[*name, move] = (grid[2 * index] - grid[2 * index + 1]) / (2 * _STEP)
    follow = -found["backlash", "pinion"] / found["backlash", "ring"]
    for name in fields:
        found[*name, "pinion_held"] = found[*name, "pinion"] + follow * found[*name, "ring"]
    return found


def _repeat(ease: EaseOff, states: int, count: int) -> EaseOff:
    return EaseOff(
        *(
            np.tile(np.broadcast_to(np.asarray(value, dtype=np.float64), (count,)), states)
            for value in ease.values
        )
    )
