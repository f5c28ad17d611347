"""The trade's direction rules, as data: which way a mark moves, by tooth system.

Common practice, no single source. The tapered-depth rows on pinion depth are corroborated by
TM 9-2320-266-34 para 19-5c (both sides) and TM 5-3810-300-24&P2 p. 4-255 (height); the ring gear rows
by TM 10-3930-660-34 p. 9-29 and TM 9-2320-273-34 p. 10-29 (drive side). The uniform-depth rows have
only the look-alike of TM 5-3805-260-24 pp. 3-244/3-245.

The table is never used as the size of anything; `pattern.advice.response` holds the sizes. It serves
to say in plain words where the computation agrees with what the shop has on its wall, and where not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pattern.records import Side, ToothSystem

Member = Literal["pinion", "ring"]


@dataclass(frozen=True)
class Rule:
    """Where the mark goes for a positive move: pinion deeper (backlash held), ring gear away.

    `lengthwise` is +1 toward the heel, -1 toward the toe, 0 where the sources give no reliable sign;
    `profile` is +1 toward the tip, -1 toward the root. `source` corroborates the row.
    """

    member: Member
    side: Side
    lengthwise: int
    profile: int
    source: str


_TAPERED = (
    Rule("pinion", "drive", -1, -1, "TM 9-2320-266-34 para 19-5c"),
    Rule("pinion", "coast", +1, -1, "TM 9-2320-266-34 para 19-5c"),
    Rule("ring", "drive", +1, +1, "TM 10-3930-660-34 p. 9-29"),
    Rule("ring", "coast", +1, +1, "common practice, no source"),
)
_UNIFORM = (
    Rule("pinion", "drive", +1, -1, "common practice, no source"),
    Rule("pinion", "coast", -1, -1, "common practice, no source"),
    Rule("ring", "drive", +1, +1, "common practice, no source"),
    Rule("ring", "coast", +1, +1, "common practice, no source"),
)
TABLE: dict[Literal["tapered", "uniform"], tuple[Rule, ...]] = {
    "tapered": _TAPERED,
    "uniform": _UNIFORM,
}


def rule(system: ToothSystem, member: Member, side: Side) -> Rule | None:
    """Look the rule up; None where the tooth system is unknown and the two tables differ."""
    if system == "unknown":
        both = {
            (r.lengthwise, r.profile): r
            for rows in TABLE.values()
            for r in rows
            if (r.member, r.side) == (member, side)
        }
        return next(iter(both.values())) if len(both) == 1 else None
    return next(r for r in TABLE[system] if (r.member, r.side) == (member, side))


def table_direction(
    system: ToothSystem, drive: tuple[float, float] | None, coast: tuple[float, float] | None
) -> dict[Member, int]:
    """Which way the printed table would move pinion and ring gear for marks off their place.

    `drive` and `coast` are (lengthwise, profile) distances of the mark from its place, + toward heel
    and tip, already zero where too small to matter. Height decides the pinion on tapered sets. On
    uniform ones the opposite-ends split does. The ring gear follows the drive side's end, once the
    pinion's share is allowed for. +1 is pinion deeper and ring gear away; 0 is no move.
    """
    moves: dict[Member, int] = {"pinion": 0, "ring": 0}
    sides = [(s, at) for s, at in (("drive", drive), ("coast", coast)) if at is not None]
    height = sum(at[1] for _, at in sides) / max(len(sides), 1)
    split = drive[0] - coast[0] if drive is not None and coast is not None else 0.0
    if system == "uniform" and abs(split) > 0.0:
        moves["pinion"] = -_sign(split)
    elif abs(height) > 0.0:
        moves["pinion"] = _sign(height)
    ends = sum(at[0] for _, at in sides) / max(len(sides), 1)
    if abs(ends) > 0.0:
        moves["ring"] = -_sign(ends)
    return moves


def _sign(value: float) -> int:
    return (value > 0) - (value < 0)
