"""What a ring gear move asks of the side shims or the threaded side adjusters.

A ring gear move is + away from the pinion. The ring gear side is the side of the housing that the
ring gear's back faces: a thicker shim there pushes the ring gear toward the pinion. The same change
taken out on one side and put in on the other keeps the sum, and with it the case preload
(TM 9-2320-289-34 p. 6-22).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, sqrt
from typing import Literal

from pattern.errors import InvalidAxle

RingGearSide = Literal["left", "right"]


@dataclass(frozen=True)
class SideShims:
    """Changes (+ thicker) and new thicknesses, inches; None where the present shim is not known."""

    left_change_in: float
    right_change_in: float
    left_in: float | None
    right_in: float | None


def side_shims_for(
    ring_move_in: float,
    ring_gear_side: RingGearSide,
    left_in: float | None = None,
    right_in: float | None = None,
    *,
    preload_change_in: float = 0.0,
) -> SideShims:
    """Side shims for a ring gear move (+ away from the pinion).

    `preload_change_in` is case preload as added thickness in all, half to each side (the worked
    example of TM 9-2320-289-34 p. 6-19, Table 6-1). Raises InvalidAxle when a side has not enough
    shim to take out, or a size is beyond what shims do.
    """
    _check_move("ring_move_in", ring_move_in)
    if not isfinite(preload_change_in) or abs(preload_change_in) > 0.040:
        raise InvalidAxle(
            f"{preload_change_in!r} in is no preload",
            subject="preload_change_in",
            remedy="Preload is a few thousandths in all; take the maker's figure",
        )
    behind_ring = preload_change_in / 2 - ring_move_in
    opposite = preload_change_in / 2 + ring_move_in
    left, right = (behind_ring, opposite) if ring_gear_side == "left" else (opposite, behind_ring)
    return SideShims(
        left, right, _new("left_shim_in", left_in, left), _new("right_shim_in", right_in, right)
    )


def _check_move(field: str, move_in: float) -> None:
    if not isfinite(move_in) or abs(move_in) > 0.15:
        raise InvalidAxle(
            f"{move_in!r} in is no ring gear move",
            subject=field,
            remedy="Give inches; thousandths are meant, so 0.004 for four",
        )


def _new(field: str, present_in: float | None, change_in: float) -> float | None:
    if present_in is None:
        return None
    new_in = round(present_in + change_in, 7)
    if new_in < 0:
        raise InvalidAxle(
            f"{present_in:g} in is too thin to take {-change_in:.4f} in out",
            subject=field,
            remedy="Measure the side shims again, or check on which side the ring gear sits",
        )
    return new_in


# --- threaded side adjusters ------------------------------------------------------------------


@dataclass(frozen=True)
class Notches:
    """Turns of the side adjusters in whole notches: + is in (tighter), - is out.

    `ring_move_in` is the move these notches make. `preload_change_in` is what they add to the
    distance pressed together by both adjusters.
    """

    left: int
    right: int
    ring_move_in: float
    preload_change_in: float


def notches_for(
    ring_move_in: float,
    notch_in: float,
    ring_gear_side: RingGearSide,
    *,
    preload_notches: int = 0,
) -> Notches:
    """Whole notches for a ring gear move (+ away): the same number out on one side, in on the other.

    Equal notches keep the preload; `preload_notches` are then added on the side away from the ring
    gear only, with the half notch of ring gear move that this makes counted in `ring_move_in`
    (common practice, no source). Raises InvalidAxle when `notch_in` is not a length.
    """
    if not isfinite(notch_in) or not 1e-4 <= notch_in <= 0.1:
        raise InvalidAxle(
            f"{notch_in!r} in a notch cannot be",
            subject="notch_in",
            remedy="Divide the thread's pitch by the notches of one turn, or learn it from a move",
        )
    _check_move("ring_move_in", ring_move_in)
    equal = round(ring_move_in / notch_in)
    behind_ring, opposite = -equal, equal + preload_notches
    left, right = (behind_ring, opposite) if ring_gear_side == "left" else (opposite, behind_ring)
    return Notches(
        left,
        right,
        ring_move_in=(opposite - behind_ring) / 2 * notch_in,
        preload_change_in=(opposite + behind_ring) * notch_in,
    )


def notch_from_thread(pitch_in: float, notches_a_turn: int) -> float:
    """Travel of one notch: the adjuster's thread pitch over its notches, inches.

    Raises InvalidAxle for a pitch or a number of notches that no adjuster has.
    """
    if not isfinite(pitch_in) or not 0.01 <= pitch_in <= 0.5:
        raise InvalidAxle(
            f"{pitch_in!r} in is no thread pitch",
            subject="pitch_in",
            remedy="Give inches a turn: 1/16 in = 0.0625",
        )
    if not 2 <= notches_a_turn <= 200:
        raise InvalidAxle(
            f"{notches_a_turn!r} notches a turn cannot be",
            subject="notches_a_turn",
            remedy="Count the notches once around the adjuster",
        )
    return pitch_in / notches_a_turn


@dataclass(frozen=True)
class LearntNotch:
    """Inches a notch and one standard deviation."""

    notch_in: float
    notch_sd_in: float


def learn_notch(moves: Sequence[tuple[int, float]], move_sd_in: float = 0.0005) -> LearntNotch:
    """Inches a notch from moves made: (notches turned on both adjusters, ring gear move measured).

    Least squares through zero, ``notch = sum(n m) / sum(n^2)``; its spread is that of the measured
    moves over ``sqrt(sum(n^2))``. Raises InvalidAxle when nothing was turned, or when the moves go
    against the notches, which means that one sign was recorded the wrong way round.
    """
    for _, move in moves:
        _check_move("moves", move)
    weight = sum(notches**2 for notches, _ in moves)
    if weight == 0:
        raise InvalidAxle(
            "no notch was turned", subject="moves", remedy="Record at least one turned notch"
        )
    notch = sum(notches * move for notches, move in moves) / weight
    if notch <= 0:
        raise InvalidAxle(
            "the moves go against the notches",
            subject="moves",
            remedy="Check the signs: + is the ring gear away from the pinion in both columns",
        )
    return LearntNotch(notch, move_sd_in / sqrt(weight))
