"""`contact-pattern advise`: the next correction from an axle and its rolls."""

from __future__ import annotations

import dataclasses
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

if TYPE_CHECKING:
    from pattern.records import Advice


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option(
    "--json", "as_json", is_flag=True, help="One JSON object on stdout, nothing else there."
)
@click.option(
    "--kit",
    "kit_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The shop's shims as JSON.",
)
@click.option(
    "--units",
    type=click.Choice(["in", "mm"]),
    default="in",
    show_default=True,
    help="Of the words; JSON stays in inches.",
)
@click.option(
    "--settings",
    "settings_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Settings as TOML.",
)
def advise(
    file: Path,
    as_json: bool,
    kit_file: Path | None,
    units: Literal["in", "mm"],
    settings_file: Path | None,
) -> None:
    """Advise the next correction. FILE: {"axle": {...}, "rolls": [{...}, ...]}, oldest roll first."""
    from pattern.advice.correction import correct
    from pattern.settings import load_settings
    from pattern.setup.axle_record import load_case
    from pattern.setup.stacks import load_kit

    axle, rolls = load_case(file)
    kit = None if kit_file is None else load_kit(kit_file)
    advice = correct(axle, rolls, kit=kit, settings=load_settings(settings_file))
    if as_json:
        sys.stdout.write(json.dumps(dataclasses.asdict(advice), allow_nan=False) + "\n")
        return
    for line in lines(advice, units):
        click.echo(line)


def lines(advice: Advice, units: Literal["in", "mm"] = "in") -> list[str]:
    """The advice as lines of text, sizes in thousandths of an inch or in millimetres."""
    from pattern.setup.units import told_in

    head = {
        "accept": "ACCEPT: leave the shims as they are.",
        "adjust": "ADJUST",
        "reject": "NO SHIM MENDS THIS",
        "undecided": "UNDECIDED: measure first.",
    }[advice.verdict]
    if advice.verdict == "accept" and (advice.pinion_move_in or advice.ring_move_in):
        head = "ACCEPT: good enough as it stands. Optional, to come closer to its place:"
    text = [head]
    for noun, plus, minus, move, sd in (
        ("Pinion", "deeper", "shallower", advice.pinion_move_in, advice.pinion_move_sd_in),
        ("Ring gear", "away from the pinion", "toward the pinion", advice.ring_move_in, advice.ring_move_sd_in),
    ):  # fmt: skip
        if move is not None and sd is not None:
            way = "stays" if move == 0 else f"{_size(move, units)} {plus if move > 0 else minus}"
            text.append(f"  {noun}: {way} (± {_size(sd, units)})")
    for noun, shim in (("Depth shim", advice.depth_shim_in), ("Left side shim", advice.left_shim_in), ("Right side shim", advice.right_shim_in)):  # fmt: skip
        if shim is not None:
            text.append(f"  {noun}: {_size(shim, units)}")
    if advice.chance is not None:
        when = "after the move" if advice.verdict == "adjust" else "now"
        text.append(f"  Chance of a good pattern {when}: {advice.chance:.0%}")
    text += ["", "Why:", *(f"  - {told_in(reason, units)}" for reason in advice.reasons)]
    return [*text, "", "Caution:", *(f"  - {caution}" for caution in advice.cautions)]


def _size(inches: float, units: str) -> str:
    from pattern.records import MM_PER_IN

    return f"{abs(inches) * MM_PER_IN:.3f} mm" if units == "mm" else f"{abs(inches):.4f} in"
