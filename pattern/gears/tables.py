"""Write the response table of typical sets, its comparison with printed rules, and the sign sweep.

`python -m pattern.gears.tables` writes RESPONSE.md and lengthwise_sign.svg (the latter needs matplotlib).
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pattern.gears.blank import System
from pattern.gears.published import TABLES, Rule, agreement
from pattern.gears.response import MOVES, Rate, Response, response
from pattern.gears.sign_sweep import (
    Sweep,
    best_threshold,
    cutter_and_cones_apart,
    hit_rate,
    plot,
    sweep,
    turning_point,
)
from pattern.records import SIDES, Axle, Side

TYPICAL: tuple[tuple[str, Axle, System], ...] = (
    ("41/11, 8.5 in, hypoid", Axle(41, 11, 8.5), "tapered"),
    ("37/9, 9.75 in, offset 1.125 in", Axle(37, 9, 9.75, offset_in=1.125), "tapered"),
    ("43/14, 8.8 in, hypoid", Axle(43, 14, 8.8), "tapered"),
    ("39/7, 14 in, offset 1.5 in", Axle(39, 7, 14.0, offset_in=1.5), "tapered"),
    ("45/11, 8.5 in, spiral bevel", Axle(45, 11, 8.5, offset_in=0.0), "tapered"),
    ("41/11, 8.5 in, hypoid", Axle(41, 11, 8.5), "uniform"),
    ("37/9, 9.75 in, offset 1.125 in", Axle(37, 9, 9.75, offset_in=1.125), "uniform"),
    ("43/14, 8.8 in, hypoid", Axle(43, 14, 8.8), "uniform"),
    ("45/11, 8.5 in, spiral bevel", Axle(45, 11, 8.5, offset_in=0.0), "uniform"),
)
_SETS, _WIDE_SETS, _BLANKS = 300, 500, 40
_SURE, _UNSURE = 0.9, 0.1


def main(arguments: Sequence[str] | None = None) -> None:
    """The command line: compute and write both files."""
    parser = argparse.ArgumentParser(
        prog="python -m pattern.gears.tables",
        description="Compute how typical sets answer to moves and write RESPONSE.md and "
        "lengthwise_sign.svg, over those that are there. About a minute on one core.",
    )
    parser.add_argument(
        "folder", nargs="?", type=Path, default=Path(__file__).parent,
        help="an existing folder; default: that of this module",
    )  # fmt: skip
    folder = parser.parse_args(arguments).folder
    if not folder.is_dir():
        parser.error(f"{folder} is no folder: make it first, or name another")
    write_tables(folder)


def write_tables(folder: Path) -> None:
    """Compute and write both files into an existing folder."""
    found = [(name, response(axle, system, blanks=_BLANKS)) for name, axle, system in TYPICAL]
    usual, wide = sweep(_SETS, 1, wide=False), sweep(_WIDE_SETS, 2, wide=True)
    text = "\n".join(
        [
            *_head(),
            *_reading(),
            *_rates(found),
            "",
            *_agreement(found),
            "",
            *_signs(usual, wide),
            "",
        ]
    )
    (folder / "RESPONSE.md").write_text(text, encoding="utf-8")
    plot(wide, folder / "lengthwise_sign.svg")


def _head() -> list[str]:
    return [
        "# How typical sets answer to moves",
        "",
        "Written by `python -m pattern.gears.tables`; do not edit. Rigid, unloaded contact of a default set of",
        "each size (`defaults.py`), moved from the drawing position. Shares are of the tooth: lengthwise + is",
        "toward the heel, profile + toward the tip. Rates are per 0.001 in of move (pinion + deeper, ring gear",
        "+ away) or per minute of arc of shaft angle. The figure after ± is the spread over sets of that size",
        "(dimensions, cutter, crowning, bias not known), the percentage the share of them with a positive sign.",
        "",
    ]


def _reading() -> list[str]:
    return [
        "## In words",
        "",
        "- Height is sure: a deeper pinion goes to the root on both sides of every set, by about as much on",
        "  uniform depth as on tapered (the trade's remark that uniform sets answer weakly is not borne out).",
        "- The truck hypoid manual describes tapered hypoids, the grader manual uniform ones; each contradicts",
        "  the other kind. Neither is wrong, and neither is universal.",
        "- Tapered sets with little or no offset lie in between: there both sides may go to the toe.",
        "- Holding the backlash takes back about half of what a tapered set's drive side answers lengthwise, and",
        "  makes the sign less sure: on such sets height is the better sign of depth.",
        "- A ring gear moved away sends the drive side to the heel on every set, as printed. The coast side",
        "  moves little, and mostly to the toe, against the trade's table for tapered depth.",
        "- The lengthwise sign for depth turns at a ratio of curve radius to mean cone distance that falls with",
        "  the offset, and lies higher for the coast side than for the drive side. It is the curve itself that",
        "  does it, neither the pitch cones nor the taper of the depth: a tooth system tells it only because each",
        "  has its usual cutters.",
        "",
    ]


def _rates(found: list[tuple[str, Response]]) -> list[str]:
    lines = ["## Rates", ""]
    lines += ["| set | depth | curve ratio | side | axis | pinion | pinion, backlash held | ring gear | offset | shaft angle |",
              "|---|---|---|---|---|---|---|---|---|---|"]  # fmt: skip
    for name, one in found:
        for side in SIDES:
            for axis, rates in (("lengthwise", one.lengthwise), ("profile", one.profile)):
                cells = " | ".join(_cell(rates[side, move]) for move in MOVES)
                lines.append(
                    f"| {name} | {one.system} | {one.curve_ratio:.2f} | {side} | {axis} | {cells} |"
                )
    lines += ["", "Backlash, inches normal to the tooth at the heel per inch of move:", "",
              "| set | depth | pinion | ring gear | ring gear per pinion that holds it |",
              "|---|---|---|---|---|"]  # fmt: skip
    for name, one in found:
        pinion, ring = (one.backlash[move] for move in ("pinion", "ring"))
        lines.append(
            f"| {name} | {one.system} | {pinion.value * 1000:+.2f} ± {pinion.sd * 1000:.2f} | "
            f"{ring.value * 1000:+.2f} ± {ring.sd * 1000:.2f} | {-pinion.value / ring.value:.2f} |"
        )
    return lines


def _cell(rate: Rate) -> str:
    if np.isnan(rate.sd):
        return f"{rate.value:+.4f}"
    return f"{rate.value:+.4f} ± {rate.sd:.4f} ({rate.chance_positive:.0%})"


def _agreement(found: list[tuple[str, Response]]) -> list[str]:
    lines = [
        "## Against printed rules",
        "",
        "Share of the drawn sets that do what the rule says. **Bold**: computation and rule agree (90 % or",
        "more); struck through: they contradict each other (10 % or less); plain: it depends on the set.",
        "For a pinion move the first figure is for the pinion alone, the second with the ring gear following so",
        "that the backlash is held; the printed rules do not say which they mean.",
        "",
    ]
    for table in TABLES:
        lines += [f"### {table.name.capitalize()}", "", f"{table.source}.", ""]
        lines += ["| set | depth | " + " | ".join(_rule(rule) for rule in table.rules) + " |"]
        lines += ["|---|---|" + "---|" * len(table.rules)]
        for name, one in found:
            pairs = zip(agreement(table, one), agreement(table, one, held=True), strict=True)
            cells = " | ".join(
                _share(alone) + (f" / {_share(held)}" if rule.move == "pinion" else "")
                for (rule, alone), (_, held) in pairs
            )
            lines.append(f"| {name} | {one.system} | {cells} |")
        lines.append("")
    return lines[:-1]


def _rule(rule: Rule) -> str:
    where = {
        ("lengthwise", 1): "heel",
        ("lengthwise", -1): "toe",
        ("profile", 1): "tip",
        ("profile", -1): "root",
    }
    move = "pinion deeper" if rule.move == "pinion" else "ring gear away"
    return f"{move}: {rule.side} to {where[rule.axis, rule.sign]}"


def _share(share: float) -> str:
    text = f"{share:.0%}"
    return f"**{text}**" if share >= _SURE else f"~~{text}~~" if share <= _UNSURE else text


def _signs(usual: Sweep, wide: Sweep) -> list[str]:
    lines = [
        "## What the lengthwise sign for pinion depth hangs on",
        "",
        f"{len(usual.ratio)} drawn sets with the cutters usual for their tooth system: how often each sign of",
        "the set tells which way the mark goes when the pinion goes deeper.",
        "",
        "| side | pinion | rule by tooth system | tapered sets | uniform sets | best single ratio | rule by ratio |",
        "|---|---|---|---|---|---|---|",
    ]
    for side in SIDES:
        heel = usual.uniform if side == "drive" else ~usual.uniform
        for way, rate in _both_ways(usual, side):
            cut, hits = best_threshold(usual.ratio, rate)
            parts = [hit_rate(heel[some], rate[some]) for some in (~usual.uniform, usual.uniform)]
            lines.append(
                f"| {side} | {way} | {hit_rate(heel, rate):.0%} | {parts[0]:.0%} | {parts[1]:.0%} | {cut:.2f} "
                f"| {hits:.0%} |"
            )
    lines += [
        "",
        f"{len(wide.ratio)} sets with cutters spread evenly over 0.6 to 1.2 of the mean cone distance in both",
        "systems: the ratio (lengthwise curve radius over mean cone distance) at which the sign turns.",
        "",
        "| side | pinion | offset over diameter | sets | turning point | rule by ratio right |",
        "|---|---|---|---|---|---|",
    ]
    for side in SIDES:
        for way, rate in _both_ways(wide, side):
            for low, high in ((-0.01, 0.01), (0.05, 0.10), (0.10, 0.15), (0.15, 0.21)):
                some = (wide.offset > low) & (wide.offset <= high)
                name = "none" if high < 0.02 else f"{low:.2f} to {high:.2f}"
                lines.append(
                    f"| {side} | {way} | {name} | {int(some.sum())} | "
                    f"{turning_point(wide.ratio[some], rate[some]):.2f} | "
                    f"{best_threshold(wide.ratio[some], rate[some])[1]:.0%} |"
                )
    lines += [
        "",
        "Cutter and pitch cones taken apart (41/11, 8.5 in, tapered; rate of the pinion alone, drive / coast):",
        "the cutter alone turns both signs, the cones that a design would take with it turn neither.",
        "",
        "| cutter radius over mean cone distance | cutter, cones following | cutter alone | cones alone |",
        "|---|---|---|---|",
    ]
    for share in (0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2):
        one = cutter_and_cones_apart(TYPICAL[0][1], share)
        cells = " | ".join(f"{d:+.4f} / {c:+.4f}" for d, c in (one.both, one.cutter, one.cones))
        lines.append(f"| {share:.1f} | {cells} |")
    lines += ["", "![Lengthwise rate against the ratio](lengthwise_sign.svg)"]
    return lines


def _both_ways(found: Sweep, side: Side) -> tuple[tuple[str, NDArray[np.float64]], ...]:
    alone: NDArray[np.float64] = getattr(found, side)
    held: NDArray[np.float64] = getattr(found, f"{side}_held")
    return ("alone", alone), ("backlash held", held)


if __name__ == "__main__":
    main()
