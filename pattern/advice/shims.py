"""From moves to shims: which moves the shims can make, and what to put where."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pattern.advice.words import thousandths
from pattern.records import Axle
from pattern.setup.side_shims import notches_for, side_shims_for
from pattern.setup.stacks import ShimKit, depth_shim_for

Array = NDArray[np.float64]

REACH_THOU = 24.0
"""No single advised move is larger than this."""
_STEP_THOU = 1.0
_UNSAID_IN = 0.0002  # less than this no shim micrometer tells


@dataclass(frozen=True, eq=False)
class Reach:
    """The moves that shims can make, thousandths, ascending; zero is always among them."""

    pinion_thou: Array
    ring_thou: Array


@dataclass(frozen=True)
class Shims:
    """New thicknesses in inches, None where the present one is not known, and words for the bench."""

    depth_in: float | None = None
    left_in: float | None = None
    right_in: float | None = None
    stack: dict[str, tuple[float, ...]] = field(default_factory=dict)
    words: tuple[str, ...] = ()


def reach(axle: Axle, kit: ShimKit | None) -> Reach:
    """Every move within 0.024 in that the kit can make; whole thousandths where no kit is given."""
    return Reach(_pinion_moves(axle, kit), _ring_moves(axle, kit))


def _pinion_moves(axle: Axle, kit: ShimKit | None) -> Array:
    present = axle.depth_shim_in
    deeper_thicker = axle.depth_shim != "cartridge"
    if kit is None or not kit.depth:
        moves = np.arange(-REACH_THOU, REACH_THOU + 0.5, _STEP_THOU)
    elif present is None:
        moves = _multiples(_finest(kit.sizes_in("depth")))
    else:
        span = REACH_THOU / 1000.0
        made = kit.thicknesses("depth", max(present - span, 0.0), present + span)
        change = (np.array(made) - present) * 1000.0
        moves = change if deeper_thicker else -change
    if present is not None and axle.depth_shim != "unknown":
        takes_out = -moves if deeper_thicker else moves
        moves = moves[takes_out <= present * 1000.0 + 1e-6]
    return _with_zero(moves)


def _ring_moves(axle: Axle, kit: ShimKit | None) -> Array:
    if axle.side_adjusters == "threaded":
        moves = _multiples(axle.notch_in or _STEP_THOU / 1000.0)
    elif kit is not None and kit.side:
        moves = _multiples(_finest(kit.sizes_in("side")))
    else:
        moves = np.arange(-REACH_THOU, REACH_THOU + 0.5, _STEP_THOU)
    ring_side, other = _side_shims(axle)
    if ring_side is not None:
        moves = moves[moves <= ring_side * 1000.0 + 1e-6]
    if other is not None:
        moves = moves[-moves <= other * 1000.0 + 1e-6]
    return _with_zero(moves)


def _side_shims(axle: Axle) -> tuple[float | None, float | None]:
    if axle.side_adjusters == "threaded":
        return None, None
    left_first = axle.ring_gear_side == "left"
    left, right = axle.left_shim_in, axle.right_shim_in
    return (left, right) if left_first else (right, left)


def _finest(sizes_in: tuple[float, ...]) -> float:
    """The finest step between stacks of these sizes, but no finer than half a thousandth."""
    fine = np.gcd.reduce(np.round(np.array(sizes_in) * 1e5).astype(int))
    return float(max(fine / 1e5, 0.0005))


def _multiples(step_in: float) -> Array:
    count = int(REACH_THOU / (step_in * 1000.0))
    return np.asarray(np.arange(-count, count + 1) * step_in * 1000.0, dtype=float)


def _with_zero(moves: Array) -> Array:
    return np.asarray(np.unique(np.round(np.append(moves, 0.0), 3)), dtype=float)


def shims_for(axle: Axle, kit: ShimKit | None, pinion_in: float, ring_in: float) -> Shims:
    """New shims for the moves. Raises InvalidAxle where a shim would be thinner than nothing."""
    words: list[str] = []
    stack: dict[str, tuple[float, ...]] = {}
    depth = _depth(axle, kit, pinion_in, words, stack) if pinion_in else axle.depth_shim_in
    left, right = _sides(axle, kit, ring_in, words, stack)
    return Shims(depth, left, right, stack, tuple(words))


_WHERE = {
    "pinion_head": "shim between pinion head and inner bearing, or under the inner cup",
    "cartridge": "shim between the pinion cartridge and the housing",
}


def _depth(
    axle: Axle,
    kit: ShimKit | None,
    pinion_in: float,
    words: list[str],
    stack: dict[str, tuple[float, ...]],
) -> float | None:
    options = depth_shim_for(pinion_in, axle.depth_shim, axle.depth_shim_in)
    for option in options:
        change = f"{'add' if option.change_in > 0 else 'take out'} {thousandths(option.change_in)}"
        words.append(f"Depth shim, {_WHERE[option.location]}: {change}.")
    if len(options) > 1:
        words.append(
            "Where the depth shim sits is not recorded: find out before cutting the stack."
        )
        return None
    new = options[0].thickness_in
    if new is None or axle.depth_shim_in is None:
        return None
    if kit is not None and kit.depth:
        laid = kit.depth_stack(new)
        stack["depth"] = laid.pieces_in
        words += _short("depth", new, laid.total_in)
        new = laid.total_in
    words.append(f"Depth shim from {thousandths(axle.depth_shim_in)} to {thousandths(new)}.")
    return new


def _sides(
    axle: Axle,
    kit: ShimKit | None,
    ring_in: float,
    words: list[str],
    stack: dict[str, tuple[float, ...]],
) -> tuple[float | None, float | None]:
    if axle.side_adjusters == "threaded":
        if ring_in:
            words.append(_notches(axle, ring_in))
        return None, None
    if not ring_in:
        return axle.left_shim_in, axle.right_shim_in
    new = side_shims_for(ring_in, axle.ring_gear_side, axle.left_shim_in, axle.right_shim_in)
    thicker, thinner = ("left", "right") if new.left_change_in > 0 else ("right", "left")
    words.append(
        f"Side shims (ring gear on the {axle.ring_gear_side}): take {thousandths(ring_in)} out on the "
        f"{thinner} and add {thousandths(ring_in)} on the {thicker}; the sum, the case preload, stays."
    )
    if kit is not None and kit.side and new.left_in is not None and new.right_in is not None:
        laid = kit.side_stacks(new.left_in, new.right_in)
        stack["left"], stack["right"] = laid[0].pieces_in, laid[1].pieces_in
        words += _short("left side", new.left_in, laid[0].total_in)
        words += _short("right side", new.right_in, laid[1].total_in)
        return laid[0].total_in, laid[1].total_in
    return new.left_in, new.right_in


def _short(where: str, wanted_in: float, made_in: float) -> list[str]:
    """Say where the kit's nearest stack is not the one that is wanted."""
    off_in = made_in - wanted_in
    if abs(off_in) < _UNSAID_IN:
        return []
    return [
        f"The kit's nearest {where} stack is {thousandths(made_in)}, {thousandths(off_in)} "
        f"{'more' if off_in > 0 else 'less'} than wanted: measure it, and expect the set to move by so much."
    ]


def _notches(axle: Axle, ring_in: float) -> str:
    other = "right" if axle.ring_gear_side == "left" else "left"
    out, inward = (axle.ring_gear_side, other) if ring_in > 0 else (other, axle.ring_gear_side)
    if axle.notch_in is None:
        return (
            f"Side adjusters: back off the {out} one and tighten the {inward} one by the same, "
            f"{thousandths(ring_in)} of ring gear; the backlash tells what a notch gives."
        )
    count = abs(notches_for(ring_in, axle.notch_in, axle.ring_gear_side).left)
    noun = "notch" if count == 1 else "notches"
    return f"Side adjusters: back off the {out} one {count} {noun}, tighten the {inward} one {count} {noun}."
