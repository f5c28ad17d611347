"""`contact-pattern setup`: the arithmetic around the pattern, one bench question a command."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import click

json_option = click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")

MAKERS_DATA = "The maker's service data decide limits and torques."


@click.group()
def setup() -> None:
    """Tooth counts, starting shim, backlash around the ring gear, torque, shim stacks."""


@setup.command()
@click.argument("ratio_or_counts", metavar="RATIO|RING/PINION")
@json_option
def counts(ratio_or_counts: str, as_json: bool) -> None:
    """Tooth counts that a stamped ratio can mean, or a look at counts: 3.73 or 41/11."""
    from pattern.cli.options import parse_teeth
    from pattern.setup.ratio import ToothCounts, check_counts, counts_for_ratio

    remarks: tuple[str, ...] = ()
    if "/" in ratio_or_counts or ":" in ratio_or_counts:
        ring, pinion = parse_teeth(ratio_or_counts)
        remarks = check_counts(ring, pinion)
        found: tuple[ToothCounts, ...] = (ToothCounts(ring, pinion),)
    else:
        found = counts_for_ratio(ratio_or_counts)
        remarks = ("A ratio does not settle the counts: count the teeth.",)
    rows = [
        {**dataclasses.asdict(c), "ratio": round(c.ratio, 4), "turns_to_repeat": c.turns_to_repeat}
        for c in found
    ]
    lines = [f"{c.ring_teeth}/{c.pinion_teeth} = {c.ratio:.3f}" for c in found]
    _say(as_json, {"counts": rows, "remarks": list(remarks)}, [*lines, *remarks])


@setup.command()
@click.option(
    "--new", "new_mark", required=True, metavar="MARK", help="Mark etched on the new pinion: +2."
)
@click.option("--old", "old_mark", metavar="MARK", help="Mark etched on the old pinion.")
@click.option(
    "--old-shim", "old_shim_in", type=float, help="Depth shim under the old pinion, inches."
)
@click.option("--gauge", "gauge_in", type=float, help="Depth gauge reading, inches.")
@click.option(
    "--convention",
    type=click.Choice(["old_minus_new", "new_minus_old", "gauge_plus_mark", "unknown"]),
    default="unknown",
    show_default=True,
    help="How this maker's marks work; both signs are in use.",
)
@click.option(
    "--mark-unit",
    type=click.Choice(["thousandths_in", "mm", "hundredths_mm"]),
    help="Unit of the marks where they do not show it.",
)
@json_option
def shim(
    new_mark: str, old_mark: str | None, old_shim_in: float | None, gauge_in: float | None,
    convention: Any, mark_unit: Any, as_json: bool,
) -> None:  # fmt: skip
    """The starting depth shim from the etched marks of two pinions, or from a depth gauge."""
    from pattern.setup.starting_shim import read_mark, starting_shim

    found = starting_shim(
        convention,
        read_mark(new_mark, mark_unit),
        old_mark_in=None if old_mark is None else read_mark(old_mark, mark_unit),
        old_shim_in=old_shim_in,
        gauge_in=gauge_in,
    )
    lines = []
    for start in found:
        change = "" if start.change_in is None else f" change {start.change_in:+.4f} in"
        size = "" if start.shim_in is None else f" shim {start.shim_in:.4f} in"
        lines.append(f"{start.convention}:{change}{size}")
    if len(found) > 1:
        lines.append("The sign of a mark is the maker's: look it up, or use a depth gauge.")
    lines.append("A starting shim only: the pattern decides.")
    _say(as_json, {"starting_shims": [dataclasses.asdict(start) for start in found]}, lines)


@setup.command()
@click.argument("readings", nargs=-1, required=True, type=float, metavar="READING...")
@click.option("--min", "low", type=float, required=True, help="The maker's lower limit, inches.")
@click.option("--max", "high", type=float, required=True, help="The maker's upper limit, inches.")
@click.option(
    "--variation",
    type=float,
    default=0.003,
    show_default=True,
    help="Most that places may differ, inches.",
)
@click.option(
    "--dial",
    type=click.Choice(["normal", "rotation"]),
    default="normal",
    show_default=True,
    help="Plunger square to the tooth, or along the rotation.",
)
@click.option(
    "--heel-spiral", type=float, help="Spiral angle at the heel, degrees, for --dial rotation."
)
@json_option
def backlash(
    readings: tuple[float, ...], low: float, high: float, variation: float,
    dial: Any, heel_spiral: float | None, as_json: bool,
) -> None:  # fmt: skip
    """Backlash read at equal steps around the ring gear, in inches: spread, runout, limits."""
    from pattern.setup.backlash import backlash_around, check_backlash
    from pattern.setup.dial import normal_backlash

    normal = [normal_backlash(r, dial, heel_spiral_angle_deg=heel_spiral) for r in readings]
    around = backlash_around([n.backlash_in for n in normal])
    findings = check_backlash(around, low, high, variation)
    lines = [
        f"mean {around.mean_in:.4f} ± {around.mean_sd_in:.4f} in, "
        f"from {around.minimum_in:.4f} to {around.maximum_in:.4f} in, normal to the tooth"
    ]
    runout = around.runout
    if runout is None:
        lines.append("Three places or more show the runout.")
    else:
        seen = "seen" if runout.seen else "not beyond the scatter"
        lines.append(
            f"once a turn {runout.full_movement_in:.4f} ± {2 * runout.amplitude_sd_in:.4f} in in all, "
            f"loosest at {runout.high_at_deg:.0f}°: {seen}"
        )
    if dial == "rotation" and heel_spiral is None:
        lines.append(
            "Spiral angle not given: the dial is taken to read 1.3 times the normal backlash."
        )
    lines += [f"{f.message}. {f.remedy}" for f in findings] or ["Inside the limits."]
    body = dataclasses.asdict(around) | {
        "minimum_in": around.minimum_in,
        "maximum_in": around.maximum_in,
        "findings": [dataclasses.asdict(f) for f in findings],
    }
    _say(as_json, body, [*lines, MAKERS_DATA])


@setup.command()
@click.argument("pull", type=float)
@click.argument("radius_in", type=float, metavar="RADIUS")
@click.option(
    "--unit",
    type=click.Choice(["lbf", "N", "kgf"]),
    default="lbf",
    show_default=True,
    help="Of the pull.",
)
@click.option("--low", type=float, help="The maker's lower limit, lbf·in.")
@click.option("--high", type=float, help="The maker's upper limit, lbf·in.")
@click.option(
    "--spacer",
    type=click.Choice(["crush", "solid"]),
    default="crush",
    show_default=True,
    help="What sits between the pinion bearings.",
)
@json_option
def torque(
    pull: float, radius_in: float, unit: Any, low: float | None, high: float | None,
    spacer: Any, as_json: bool,
) -> None:  # fmt: skip
    """Rotating torque from a pull scale read while the pinion turns, at RADIUS inches."""
    from pattern.errors import InvalidAxle
    from pattern.setup.preload import Torque, check_torque, rotating_torque
    from pattern.setup.units import nm_from_lbf_in

    if (low is None) != (high is None):
        raise InvalidAxle(
            "only one limit is given", subject="--low/--high", remedy="Give both, or none"
        )
    found = rotating_torque(pull, radius_in, unit)
    lines = [f"{found.lbf_in:.1f} lbf·in ({found.nm:.2f} N·m)"]
    finding = None
    if low is not None and high is not None:
        limits = Torque(nm_from_lbf_in(low)), Torque(nm_from_lbf_in(high))
        finding = check_torque(found, *limits, spacer=spacer)
        lines.append(f"{finding.message}. {finding.remedy}" if finding else "Inside the limits.")
    body = {
        "nm": found.nm,
        "lbf_in": found.lbf_in,
        "finding": None if finding is None else dataclasses.asdict(finding),
    }
    _say(as_json, body, [*lines, MAKERS_DATA])


@setup.command()
@click.option(
    "--kit",
    "kit_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The shop's shims as JSON; default: an invented starter kit.",
)
@click.option(
    "--unit",
    type=click.Choice(["in", "mm"]),
    default="in",
    show_default=True,
    help="Of the starter kit.",
)
@click.option("--depth", "depth_in", type=float, help="Depth shim wanted, inches.")
@click.option("--left", "left_in", type=float, help="Left side shim wanted, inches.")
@click.option("--right", "right_in", type=float, help="Right side shim wanted, inches.")
@json_option
def stack(
    kit_file: Path | None, unit: Any, depth_in: float | None, left_in: float | None,
    right_in: float | None, as_json: bool,
) -> None:  # fmt: skip
    """The stacks nearest to what is wanted; without a wish, the kit as JSON to edit."""
    from pattern.errors import InvalidAxle
    from pattern.setup.kits import starter_kit
    from pattern.setup.stacks import load_kit

    kit = starter_kit(unit) if kit_file is None else load_kit(kit_file)
    stacks = {}
    if depth_in is not None:
        stacks["depth"] = kit.depth_stack(depth_in)
    if left_in is not None and right_in is not None:
        stacks["left"], stacks["right"] = kit.side_stacks(left_in, right_in)
    elif left_in is not None or right_in is not None:
        raise InvalidAxle(
            "only one side is given",
            subject="--left/--right",
            remedy="Give both: they draw on one stock and keep the preload together",
        )
    if not stacks:
        click.echo(kit.to_json())
        return
    lines = [
        f"{place}: {' + '.join(f'{piece:.4f}' for piece in laid.pieces_in) or 'nothing'} = "
        f"{laid.total_in:.4f} in ({laid.error_in:+.4f} from {laid.wanted_in:.4f})"
        for place, laid in stacks.items()
    ]
    body = {
        place: {"pieces_in": laid.pieces_in, "total_in": laid.total_in, "error_in": laid.error_in}
        for place, laid in stacks.items()
    }
    _say(as_json, body, lines)


def _say(as_json: bool, body: dict[str, Any], lines: list[str]) -> None:
    if as_json:
        click.echo(json.dumps(body, allow_nan=False))
        return
    for line in lines:
        click.echo(line)
