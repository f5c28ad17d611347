"""`contact-pattern predict`: the marks and the backlash that given moves leave, printed and drawn."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pattern.cli.options import parse_teeth
from pattern.cli.output import write_new

if TYPE_CHECKING:
    from pattern.gears.predict import Prediction
    from pattern.records import SideReading


@click.command()
@click.option(
    "--teeth", required=True, metavar="RING/PINION", help="Tooth counts, for example 41/11."
)
@click.option("--diameter", type=float, required=True, help="Ring gear diameter, inches.")
@click.option(
    "--pinion", type=float, default=0.0, help="Pinion move, inches, + toward the ring gear's axis."
)
@click.option(
    "--ring", type=float, default=0.0, help="Ring gear move, inches, + away from the pinion."
)
@click.option("--system", type=click.Choice(["tapered", "uniform", "unknown"]), default="unknown",
              help="Tooth depth: tapered (heel deeper than toe) or uniform.")  # fmt: skip
@click.option(
    "--hand", type=click.Choice(["right", "left"]), default="right", help="Hand of the ring gear."
)
@click.option("--face-width", type=float, help="Face width of the ring gear, inches.")
@click.option("--offset", type=float, help="Pinion offset, inches; 0 for a spiral bevel set.")
@click.option("--cutter-radius", type=float, help="Cutter radius, inches.")
@click.option(
    "--backlash",
    type=float,
    help="Backlash before the moves, inches, square to the tooth at the heel.",
)
@click.option(
    "--drive-mark",
    metavar="LENGTHxWIDTH",
    help="Size of a mark seen on this set, shares of the tooth, like 0.45x0.5.",
)
@click.option("--coast-mark", metavar="LENGTHxWIDTH", help="The same on the coast side.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
@click.option(
    "--svg", type=click.Path(path_type=Path, dir_okay=False), help="Write the drawing here."
)
def predict(
    teeth: str, diameter: float, pinion: float, ring: float, system: str, hand: str,
    face_width: float | None, offset: float | None, cutter_radius: float | None,
    backlash: float | None, drive_mark: str | None, coast_mark: str | None, as_json: bool, svg: Path | None,
) -> None:  # fmt: skip
    """Predict both marks and the backlash when a set that stood right is moved.

    Rigid and unloaded, for a typical set of these counts; the spread says what is not known of yours.
    The size of a mark seen on the set tells its crowning, which decides how far marks move.
    """
    from pattern.gears.predict import predict as compute
    from pattern.records import Axle

    ring_teeth, pinion_teeth = parse_teeth(teeth)
    axle = Axle(
        ring_teeth, pinion_teeth, diameter, tooth_system=system, hand=hand,  # type: ignore[arg-type]
        face_width_in=face_width, offset_in=offset, cutter_radius_in=cutter_radius,
    )  # fmt: skip
    found = compute(
        axle, pinion, ring, backlash_in=backlash, drive=_seen(drive_mark, "--drive-mark"),
        coast=_seen(coast_mark, "--coast-mark"),
    )  # fmt: skip
    if svg is not None:
        write_new(svg, _drawing(found, axle.hand).encode())
        click.echo(f"Drawn: {svg}", err=True)
    if as_json:
        click.echo(json.dumps(_as_data(found)))
        return
    for prediction in (found, found.other):
        if prediction is not None:
            _tell(prediction)
    if found.assumed:
        click.echo("Not given, taken from typical sets: " + ", ".join(found.assumed), err=True)


def _seen(size: str | None, option: str) -> SideReading | None:
    """A mark of which only the size counts."""
    from pattern.records import SideReading

    if size is None:
        return None
    try:
        length, width = (float(part) for part in size.lower().split("x"))
    except ValueError:
        raise click.BadParameter(
            "length and width are meant, like 0.45x0.5", param_hint=option
        ) from None
    return SideReading(0.5, 0.5, length=length, width=width)


def _tell(found: Prediction) -> None:
    click.echo(
        f"{found.system} depth, pinion {found.pinion_move_in:+.4f} in, ring gear {found.ring_move_in:+.4f} in"
    )
    click.echo(
        "         lengthwise (0 toe, 1 heel)   profile (0 root, 1 tip)   length  width  runs off"
    )
    for name, side in (("drive", found.drive), ("coast", found.coast)):
        if side is None:
            click.echo(f"  {name}  no mark")
            continue
        click.echo(
            f"  {name}  {side.lengthwise:15.2f} ± {side.lengthwise_sd:.2f} {side.profile:19.2f} ± "
            f"{side.profile_sd:.2f} {side.length or 0:12.2f} {side.width or 0:6.2f}  "
            + (", ".join(side.edges) or "no edge")
        )
    click.echo(
        f"  backlash {found.backlash_in:.4f} ± {found.backlash_sd_in:.4f} in square to the tooth at the heel, "
        f"{found.backlash_rotation_in:.4f} in along the rotation"
    )


def _as_data(found: Prediction) -> dict[str, Any]:
    data: dict[str, Any] = {
        "system": found.system,
        "pinion_move_in": found.pinion_move_in,
        "ring_move_in": found.ring_move_in,
        "drive": _side_data(found.drive),
        "coast": _side_data(found.coast),
        "backlash_in": round(found.backlash_in, 5),
        "backlash_sd_in": round(found.backlash_sd_in, 5),
        "backlash_rotation_in": round(found.backlash_rotation_in, 5),
        "motion_error_arcsec": {
            side: round(found.marks.side(side).motion_error_arcsec, 2)
            for side in ("drive", "coast")
        },
        "assumed": list(found.assumed),
    }
    if found.other is not None:
        data["other"] = _as_data(found.other)
    return data


def _side_data(side: SideReading | None) -> dict[str, Any] | None:
    if side is None:
        return None
    return {
        "lengthwise": round(side.lengthwise, 4),
        "lengthwise_sd": round(side.lengthwise_sd, 4),
        "profile": round(side.profile, 4),
        "profile_sd": round(side.profile_sd, 4),
        "length": None if side.length is None else round(side.length, 4),
        "width": None if side.width is None else round(side.width, 4),
        "tilt_deg": None if side.tilt_deg is None else round(side.tilt_deg, 2),
        "edges": list(side.edges),
        "bands": side.bands,
    }


def _drawing(found: Prediction, hand: str) -> str:
    from pattern.gears.drawing import draw_marks_svg

    return draw_marks_svg(
        found.marks.drive, found.marks.coast, hand=hand, depth_ratio=found.depth_ratio,  # type: ignore[arg-type]
        title=f"Contact pattern, {found.system} depth",
    )  # fmt: skip
