"""Tooth counts and ratio: what a stamped ratio can mean, and whether counts can be right."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from math import gcd

from pattern.errors import InvalidAxle

COMMON_COUNTS = (
    (41, 11), (41, 10), (37, 9), (41, 12), (43, 12), (45, 11), (39, 11), (43, 14),
)  # fmt: skip
"""Counts behind the ratios met most (common practice, no source)."""

RING_TEETH = range(30, 61)
PINION_TEETH = range(6, 21)


@dataclass(frozen=True)
class ToothCounts:
    """Teeth of the ring gear and of the pinion."""

    ring_teeth: int
    pinion_teeth: int

    @property
    def ratio(self) -> float:
        """Ring gear teeth over pinion teeth."""
        return self.ring_teeth / self.pinion_teeth

    @property
    def common_factor(self) -> int:
        """1 for a hunting set: every pinion tooth meets every ring gear tooth."""
        return gcd(self.ring_teeth, self.pinion_teeth)

    @property
    def turns_to_repeat(self) -> int:
        """Ring gear turns after which the same teeth meet again."""
        return self.pinion_teeth // self.common_factor


def counts_for_ratio(stamped: str | float) -> tuple[ToothCounts, ...]:
    """Tooth counts that a trade ratio, rounded to its decimals (two at least), can stand for.

    Most likely first: the counts met most, then hunting sets, then ring gears near 41 teeth. A
    ratio does not settle the counts: let the shop choose or count. Raises InvalidAxle when nothing
    fits.
    """
    value, half_digit = _rounded(stamped)
    found = [
        ToothCounts(ring, pinion)
        for pinion in PINION_TEETH
        for ring in RING_TEETH
        if ring > pinion and abs(Decimal(ring) / pinion - value) <= half_digit
    ]
    if not found:
        raise InvalidAxle(
            f"no usual tooth counts make {stamped}",
            subject="ratio",
            remedy="Count the teeth of ring gear and pinion",
        )
    return tuple(sorted(found, key=_unlikeliness))


def check_counts(ring_teeth: int, pinion_teeth: int) -> tuple[str, ...]:
    """Plain remarks on tooth counts that can exist but deserve a second look; empty when usual.

    Raises InvalidAxle when ring gear and pinion are swapped or a count is not above zero.
    """
    for field, teeth in (("ring_teeth", ring_teeth), ("pinion_teeth", pinion_teeth)):
        if isinstance(teeth, bool) or not isinstance(teeth, int) or teeth < 1:
            raise InvalidAxle(
                f"{teeth!r} is not a tooth count", subject=field, remedy="Count the teeth"
            )
    if pinion_teeth >= ring_teeth:
        raise InvalidAxle(
            f"{pinion_teeth} pinion teeth against {ring_teeth} ring gear teeth",
            subject="pinion_teeth",
            remedy="The ring gear has the larger count; give ring gear and pinion in that order",
        )
    counts = ToothCounts(ring_teeth, pinion_teeth)
    remarks = []
    if ring_teeth not in RING_TEETH or pinion_teeth not in PINION_TEETH:
        remarks.append(
            f"{ring_teeth}/{pinion_teeth} is unusual for a car or truck axle: count again."
        )
    elif not 2.0 <= counts.ratio <= 7.5:
        remarks.append(f"A ratio of {counts.ratio:.2f} is unusual: count again.")
    if counts.common_factor > 1:
        remarks.append(
            f"{ring_teeth} and {pinion_teeth} share the factor {counts.common_factor}: the same teeth "
            f"meet again every {counts.turns_to_repeat} turns of the ring gear. Where the maker marks "
            "mating teeth, mesh them as marked."
        )
    return tuple(remarks)


def check_ratio(stamped: str | float, ring_teeth: int, pinion_teeth: int) -> None:
    """Raises InvalidAxle when the counts do not round to the stamped ratio."""
    value, half_digit = _rounded(stamped)
    if abs(Decimal(ring_teeth) / pinion_teeth - value) > half_digit:
        raise InvalidAxle(
            f"{stamped} is stamped, but {ring_teeth}/{pinion_teeth} is "
            f"{ring_teeth / pinion_teeth:.3f}",
            subject="ratio",
            remedy="Count the teeth again; the set may not be the one on the tag",
        )


def _rounded(stamped: str | float) -> tuple[Decimal, Decimal]:
    try:
        value = Decimal(str(stamped).strip())
        exponent = value.as_tuple().exponent
    except InvalidOperation as fault:
        raise _not_a_ratio(stamped) from fault
    if not isinstance(exponent, int) or not 1 < value < 20:
        raise _not_a_ratio(stamped)
    return value, Decimal(1).scaleb(-max(2, -exponent)) / 2


def _not_a_ratio(stamped: str | float) -> InvalidAxle:
    return InvalidAxle(
        f"{stamped!r} is not a ratio", subject="ratio", remedy="Give a number such as 3.73"
    )


def _unlikeliness(counts: ToothCounts) -> tuple[bool, bool, int, int]:
    return (
        (counts.ring_teeth, counts.pinion_teeth) not in COMMON_COUNTS,
        counts.common_factor > 1,
        abs(counts.ring_teeth - 41),
        counts.ring_teeth,
    )
