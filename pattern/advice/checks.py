"""What makes a job impossible to advise on: bad data by field, contradictions, damage."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pattern.advice.estimate import Fit, Hypothesis
from pattern.advice.evidence import Evidence
from pattern.errors import InvalidAxle, NoCorrection
from pattern.records import SIDES, Axle, Roll, Side

_BOUND_IN = 0.0005
_WANDER = 0.15
_SIDES_LAME = 0.45
_MISFIT_SD = 4.5
_FLIP_MISFIT = 0.5
_LOST_SD = 11.0
_ODD_SD = 1.5
_OPPOSED = 0.08
_NARROWEST_IN = 0.0005


@dataclass(frozen=True)
class Fault:
    """Why no shim is advised: the flag code filed with the advice, and the words."""

    code: str
    words: str


def check_rolls(axle: Axle, rolls: Sequence[Roll]) -> None:
    """Raise InvalidAxle for what no estimate can use, naming the roll and the field."""
    if not rolls:
        raise InvalidAxle(
            "no test roll is given",
            subject="rolls",
            remedy="Roll the set and read the first pattern",
        )
    if not isinstance(axle, Axle) or not all(isinstance(roll, Roll) for roll in rolls):
        raise InvalidAxle(
            "an Axle and a list of Roll are needed", subject="rolls", remedy="Build them first"
        )
    if all(roll.drive is None and roll.coast is None for roll in rolls):
        raise InvalidAxle(
            "no roll has a reading of either side",
            subject="rolls",
            remedy="Photograph and read the drive and the coast side",
        )


def check_limits(axle: Axle) -> None:
    """Raise NoCorrection for limits that no shim can hold."""
    if axle.backlash_max_in - axle.backlash_min_in < _NARROWEST_IN:
        raise NoCorrection(
            f"{axle.backlash_min_in:g} to {axle.backlash_max_in:g} in is narrower than a shim or a "
            "dial can hold",
            subject="backlash_min_in, backlash_max_in",
            remedy="Look the maker's limits up again; they lie 0.001 in apart or more",
        )


def is_bound(roll: Roll) -> bool:
    """No free movement: the set is bound, its mark is not to be trusted."""
    return roll.backlash_in is not None and roll.backlash_in < _BOUND_IN


def damage(roll: Roll) -> Fault | None:
    """A pattern that no shim mends, seen on the mark itself."""
    for side in SIDES:
        reading = getattr(roll, side)
        if reading is not None and reading.bands > 1:
            return Fault(
                "bridged_profile",
                f"The {side} mark lies in {reading.bands} separate bands, a bridged profile: the "
                "teeth do not fit each other (wrong pairing, wear or a damaged cutter finish). "
                "No shim mends that; check that ring gear and pinion are one matched set.",
            )
        if reading is not None and reading.wander is not None and reading.wander > _WANDER:
            return Fault(
                "wander",
                f"The {side} mark wanders by {reading.wander:.2f} of the tooth around the ring gear: "
                "look for a bent case, dirt or a burr under the ring gear, or loose bearings, and "
                "measure the runout. No shim mends that.",
            )
    if roll.drive is not None and roll.coast is not None:
        apart = roll.drive.profile - roll.coast.profile
        if abs(apart) > _SIDES_LAME + 2.0 * (roll.drive.profile_sd + roll.coast.profile_sd):
            high, low = ("drive", "coast") if apart > 0 else ("coast", "drive")
            return Fault(
                "lame_contact",
                f"The {high} mark lies high and the {low} mark low, lame contact: pinion and ring "
                "gear moves take both the same way, so no shim brings both right. Look for an "
                "unmatched set, a sprung housing or a wrong bearing.",
            )
    return None


def flips(rolls: Sequence[Roll], base: Hypothesis) -> list[Hypothesis]:
    """The same job with one recorded move of the other sign, every move in turn."""
    return [
        Hypothesis(base.system, base.prior * 0.02, ((t, member),))
        for t, roll in enumerate(rolls)
        if t > 0
        for member, move in enumerate((roll.pinion_move_in, roll.ring_move_in))
        if move is not None and abs(move) >= 0.002
    ]


def fits_badly(fit: Fit) -> bool:
    """The rolls contradict each other beyond their spreads."""
    return fit.misfit > fit.measured + _MISFIT_SD * math.sqrt(2.0 * fit.measured)


def flip_explains(fit: Fit, flipped: Fit) -> bool:
    """One move of the other sign would take most of the contradiction away."""
    return flipped.misfit < _FLIP_MISFIT * fit.misfit and not fits_badly(flipped)


def contradiction(rolls: Sequence[Roll], flipped: Fit) -> Fault:
    """Name the roll and the field whose sign is probably wrong."""
    ((t, member),) = flipped.hypothesis.flipped  # `flips` turns one move at a time
    field, noun, way = (
        ("pinion_move_in", "pinion", ("deeper", "shallower"))
        if member == 0
        else ("ring_move_in", "ring gear", ("away from the pinion", "toward the pinion"))
    )
    move = getattr(rolls[t], field)
    said, did = way if move > 0 else way[::-1]
    return Fault(
        "contradiction",
        f"rolls[{t}].{field}: the {noun} is recorded as moved {said} by {abs(move):.3f} in, but "
        f"marks and backlash went as if it had moved {did}. Check the record, where the shim sits "
        "and which way it was changed; then advise again. No move is advised before that.",
    )


def is_odd(fit: Fit) -> bool:
    """Sound sets seldom follow the rolls as badly as this: look whether the set is damaged."""
    return fit.misfit > fit.measured + _ODD_SD * math.sqrt(2.0 * fit.measured)


def unfit_sign(evidence: Evidence) -> Fault | None:
    """What the last marks look like of the patterns that no shim mends, None if like none.

    Only a look: a depth error shows at opposite ends too. The estimate weighs it.
    """
    off = evidence.centre[-1] - evidence.design
    if np.isnan(off).any():
        return None
    if off[1] * off[3] < 0 and min(abs(off[1]), abs(off[3])) > _OPPOSED:
        high, low = ("drive", "coast") if off[1] > 0 else ("coast", "drive")
        return Fault(
            "lame_contact",
            f"The {high} mark lies high and the {low} mark low, lame contact: no move of pinion or "
            "ring gear brings both right. Look for an unmatched set, a sprung housing or a wrong "
            "bearing before cutting any shim.",
        )
    if off[0] * off[2] < 0 and min(abs(off[0]), abs(off[2])) > _OPPOSED:
        return Fault(
            "cross_contact",
            "The marks lie at opposite ends of drive and coast side, cross contact, and height and "
            "backlash do not go with a depth error: the shafts do not meet as they should. Look for a "
            "bent housing, worn bores or an unmatched set before cutting any shim.",
        )
    return None


def is_lost(rolls: Sequence[Roll], fit: Fit) -> bool:
    """No account of the set follows the rolls at all.

    Among 1,000 advices of honest jobs, some with twice the noise they state, the worst misfit was
    9.5 standard deviations. Where a move is not recorded, bad is enough: it is the likely reason.
    """
    if unsaid_moves(rolls):
        return fits_badly(fit)
    return fit.misfit > fit.measured + _LOST_SD * math.sqrt(2.0 * fit.measured)


def unsaid_moves(rolls: Sequence[Roll]) -> list[str]:
    """The rolls after the first that say nothing of a move, by field."""
    return [
        f"rolls[{t}]"
        for t, roll in enumerate(rolls)
        if t > 0 and roll.pinion_move_in is None and roll.ring_move_in is None
    ]


def still_to_read(rolls: Sequence[Roll]) -> list[Side]:
    """The sides missing in the last roll, but for those that cannot be seen.

    A shop says that a side cannot be seen by filing one position twice without it.
    """
    looks = [
        (before, again)
        for before, again in pairwise(rolls)
        if not again.pinion_move_in and not again.ring_move_in
    ]
    return [
        side
        for side in SIDES
        if getattr(rolls[-1], side) is None
        and not any(getattr(a, side) is None and getattr(b, side) is None for a, b in looks)
    ]


def disagreement(rolls: Sequence[Roll]) -> Fault:
    """The marks did not follow the recorded moves, and no single wrong sign explains it."""
    if len(rolls) == 1:
        return Fault(
            "contradiction",
            f"rolls[0].backlash_in: {rolls[0].backlash_in} in does not go with these marks on such a set. "
            "Measure the backlash again at the heel, pinion held; check its unit, the axle's data and "
            "that both photos are of this roll. No move is advised before that.",
        )
    unsaid = unsaid_moves(rolls)
    hint = f" No move is recorded for {', '.join(unsaid)}: add what was moved." if unsaid else ""
    return Fault(
        "contradiction",
        "The rolls do not fit together: marks and backlash did not follow the recorded moves."
        f"{hint} Check pinion_move_in, ring_move_in and backlash_in of each roll, and that each photo "
        "is of its own roll; or start again from the last roll alone. No move is advised before that.",
    )
