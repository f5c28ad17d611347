"""Printed direction rules, as signs that a computed response can be compared with.

Each rule says where a mark goes: +1 toward the heel or the tip, −1 toward the toe or the root. They are
evidence, not authority: two of them contradict each other, and neither says for which tooth system.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pattern.gears.response import Move, Response
from pattern.records import Side

Axis = Literal["lengthwise", "profile"]


@dataclass(frozen=True)
class Rule:
    """A positive `move` (pinion deeper, ring gear away) sends a side's mark toward `sign`."""

    side: Side
    axis: Axis
    move: Move
    sign: int


@dataclass(frozen=True)
class Table:
    """One printed table with its source; `rules` holds only what it states itself."""

    name: str
    source: str
    rules: tuple[Rule, ...]


_PROFILE = tuple(Rule(side, "profile", "pinion", -1) for side in ("drive", "coast"))

TABLES = (
    Table(
        "truck hypoid manual",
        "TM 9-2320-266-34 para 19-5c (both sides, pinion)",
        (
            Rule("drive", "lengthwise", "pinion", -1),
            Rule("coast", "lengthwise", "pinion", +1),
            *_PROFILE,
        ),
    ),
    Table(
        "loader hypoid manual",
        "TM 10-3930-660-34 p. 9-29 and TM 5-3810-306-34 p. 8-42 (drive side, ring gear)",
        (Rule("drive", "lengthwise", "ring", +1), Rule("drive", "profile", "pinion", -1)),
    ),
    Table(
        "grader spiral bevel manual",
        "TM 5-3805-260-24 pp. 3-244/3-245 (both sides, pinion; height for the concave side)",
        (
            Rule("drive", "lengthwise", "pinion", +1),
            Rule("coast", "lengthwise", "pinion", -1),
            Rule("coast", "profile", "pinion", -1),
        ),
    ),
    Table(
        "trade table, tapered depth",
        "common practice, no source",
        (
            Rule("drive", "lengthwise", "pinion", -1),
            Rule("coast", "lengthwise", "pinion", +1),
            *_PROFILE,
            Rule("drive", "lengthwise", "ring", +1),
            Rule("coast", "lengthwise", "ring", +1),
            Rule("drive", "profile", "ring", +1),
            Rule("coast", "profile", "ring", +1),
        ),
    ),
    Table(
        "trade table, uniform depth",
        "common practice, no source",
        (
            Rule("drive", "lengthwise", "pinion", +1),
            Rule("coast", "lengthwise", "pinion", -1),
            *_PROFILE,
            Rule("drive", "lengthwise", "ring", +1),
            Rule("coast", "lengthwise", "ring", -1),
            Rule("drive", "profile", "ring", +1),
            Rule("coast", "profile", "ring", +1),
        ),
    ),
)


def agreement(table: Table, found: Response, *, held: bool = False) -> list[tuple[Rule, float]]:
    """For each rule of a table the share of draws of the set that agree with it.

    `held` takes a pinion move with the ring gear following so that the backlash stays; the printed
    rules leave open which they mean.
    """
    shares = []
    for rule in table.rules:
        rates = found.lengthwise if rule.axis == "lengthwise" else found.profile
        move: Move = "pinion_held" if held and rule.move == "pinion" else rule.move
        positive = rates[rule.side, move].chance_positive
        shares.append((rule, positive if rule.sign > 0 else 1 - positive))
    return shares
