"""`contact-pattern job add-roll` and `edit-roll`: read the photos, ask for advice, file it all."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pattern.cli.options import archive_option, open_archive
from pattern.cli.output import counted, shown

if TYPE_CHECKING:
    from pattern.jobs import Job
    from pattern.records import Advice, Reading, Roll, Side


@click.command("add-roll")
@archive_option
@click.argument("job_id", metavar="JOB")
@click.option(
    "--drive",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="PHOTO",
    help="Photo of the drive (convex) side; may be given several times.",
)
@click.option(
    "--coast",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="PHOTO",
    help="Photo of the coast (concave) side; may be given several times.",
)
@click.option("--drive-outline", metavar="FILE", help="Outlines drawn by hand (JSON), or: frame.")
@click.option("--coast-outline", metavar="FILE", help="The same for the coast side.")
@click.option(
    "--others-follow",
    is_flag=True,
    help="With outlines drawn by hand: also measure the other teeth that are found, laid anew from them.",
)
@click.option(
    "--backlash",
    "backlash_in",
    type=float,
    metavar="IN",
    help="Normal to the tooth at the heel, inches: 0.008.",
)
@click.option(
    "--dial",
    "dial_in",
    multiple=True,
    type=float,
    metavar="IN",
    help="One backlash reading around the ring gear; give all of them in order of turning.",
)
@click.option(
    "--pinion-move",
    "pinion_move_in",
    type=float,
    metavar="IN",
    help="Made since the roll before; + is toward the ring gear's axis.",
)
@click.option(
    "--ring-move",
    "ring_move_in",
    type=float,
    metavar="IN",
    help="Made since the roll before; + is away from the pinion.",
)
@click.option(
    "--kind",
    type=click.Choice(["as_found", "roll", "final"]),
    default="roll",
    show_default=True,
    help="As found before any change, a test roll, or the last pattern.",
)
@click.option("--note", default="", help="Free text.")
@click.option("--by", default="", help="Who rolled it.")
@click.option("--no-advice", is_flag=True, help="File without asking for advice.")
@click.option("--file-declined", is_flag=True, help="File even if no photo could be read.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object: number, readings, advice.")
def add_roll(
    place: str | None, job_id: str, drive: tuple[Path, ...], coast: tuple[Path, ...],
    drive_outline: str | None, coast_outline: str | None, others_follow: bool,
    dial_in: tuple[float, ...], backlash_in: float | None, pinion_move_in: float | None, ring_move_in: float | None,
    kind: Any, note: str, by: str, no_advice: bool, file_declined: bool, as_json: bool,
) -> int:  # fmt: skip
    """Read the photos of a test roll, advise the next correction, and file it all with a job."""
    from pattern.cli.read import check_follow
    from pattern.workflow import file_roll, read_roll

    check_follow(others_follow, drive_outline, coast_outline)
    if not drive and not coast:
        raise click.UsageError("Give photos with --drive, --coast or both.")
    if backlash_in is None and dial_in:
        backlash_in = sum(dial_in) / len(dial_in)
    with open_archive(place) as archive:
        found = archive.job(job_id)
        shots = [
            *_read(drive, "drive", found, drive_outline, others_follow),
            *_read(coast, "coast", found, coast_outline, others_follow),
        ]
        declined = [reading for _, reading in shots if reading.status == "declined"]
        for reading in declined:
            for reason in reading.reasons:
                click.echo(shown(f"{reading.photo}: {reason.message}"), err=True)
        if len(declined) == len(shots) and not file_declined:
            click.echo("No photo could be read; nothing was filed.", err=True)
            return 4
        roll = read_roll(
            [r for _, r in shots if r.side == "drive"], [r for _, r in shots if r.side == "coast"],
            backlash_in, pinion_move_in=pinion_move_in, ring_move_in=ring_move_in,
        )  # fmt: skip
        advice, refused = (None, 0) if no_advice else _advice(found, roll)
        number = file_roll(
            archive, job_id, roll, shots, advice,
            kind=kind, backlash_readings_in=dial_in, note=note, by=by,
        )  # fmt: skip
    _say(found.id, number, [reading for _, reading in shots], advice, as_json)
    return refused or (4 if declined else 0)


def _read(
    photos: tuple[Path, ...], side: Side, found: Job, outline: str | None, others_follow: bool
) -> list[tuple[Path, Reading]]:
    from pattern.cli.read import load_outlines, outlines_for
    from pattern.settings import load_settings
    from pattern.workflow import read_photo

    hand = found.axle.hand if found.axle else "right"
    is_drawn = outline not in (None, "frame")
    drawn: Any = load_outlines(Path(str(outline))) if is_drawn else outline
    settings = load_settings()
    shots = []
    for photo in photos:
        outlines: Any = outlines_for(drawn, photo) if is_drawn else drawn
        reading = read_photo(
            photo, side, hand=hand, outlines=outlines, others_follow=others_follow and is_drawn,
            settings=settings,
        )  # fmt: skip
        shots.append((photo, reading))
    return shots


def _advice(found: Job, roll: Roll) -> tuple[Advice | None, int]:
    """The advice and 0; or None and the exit code of why there is none, so that the roll is filed."""
    from pattern.advice.present import present_axle
    from pattern.errors import InvalidInput, NoCorrection
    from pattern.settings import load_settings
    from pattern.workflow import advise

    rolls = [filed.roll for filed in found.standing_rolls] + [roll]
    settings = load_settings()
    try:
        axle = present_axle(found, roll)
        if axle is None:
            click.echo("No advice: the job has no axle data (job edit --sheet).", err=True)
            return None, 0
        return advise(axle, rolls, settings=settings), 0
    except (InvalidInput, NoCorrection) as fault:
        click.echo(f"No advice: {fault.message}", err=True)
        return None, fault.exit_code


def _say(
    job_id: str, number: int, readings: list[Reading], advice: Advice | None, as_json: bool
) -> None:
    if as_json:
        import dataclasses

        from pattern.reading.as_json import reading_json

        told = {
            "job": job_id,
            "roll": number,
            "readings": [reading_json(reading) for reading in readings],
            "advice": dataclasses.asdict(advice) if advice else None,
        }
        click.echo(json.dumps(told, allow_nan=False))
        return
    from pattern.cli.advise import lines

    click.echo(f"{job_id} roll {number} filed.")
    for reading in readings:
        where: str = reading.status
        if reading.lengthwise is not None and reading.profile is not None:
            where = f"{reading.lengthwise:.2f} from the toe, {reading.profile:.2f} from the root"
        click.echo(shown(f"  {reading.side}: {where}  {reading.photo}"))
    for line in lines(advice) if advice else ():
        click.echo(line)


@click.command("edit-roll")
@archive_option
@click.argument("job_id", metavar="JOB")
@click.argument("number", type=int, metavar="ROLL")
@click.option("--note", help="Free text.")
@click.option("--strike", "struck", metavar="REASON", help="Leave this roll out of the advice.")
@click.option("--kind", type=click.Choice(["as_found", "roll", "final"]),
              help="What the roll really was.")  # fmt: skip
@click.option("--unstrike", is_flag=True, help="Let it count again.")
@click.option("--backlash", "backlash_in", type=float, metavar="IN",
              help="Normal to the tooth at the heel, inches.")  # fmt: skip
@click.option("--pinion-move", "pinion_move_in", type=float, metavar="IN",
              help="Made before this roll; + is toward the ring gear's axis.")  # fmt: skip
@click.option("--ring-move", "ring_move_in", type=float, metavar="IN",
              help="Made before this roll; + is away from the pinion.")  # fmt: skip
@click.option("--by", default="", help="Who corrects it.")
def edit_roll(
    place: str | None, job_id: str, number: int, note: str | None, struck: str | None,
    kind: str | None, unstrike: bool, by: str, **measured: float | None,
) -> None:  # fmt: skip
    """Correct what was recorded of a roll. What was filed stays in the history."""
    from dataclasses import replace

    sections: dict[str, Any] = {}
    if note is not None:
        sections["note"] = note
    if kind is not None:
        sections["kind"] = kind
    if struck is not None or unstrike:
        sections["struck"] = "" if unstrike else struck
    changes: dict[str, Any] = {name: value for name, value in measured.items() if value is not None}
    with open_archive(place) as archive:
        found = archive.job(job_id)
        filed = next((r for r in found.rolls if r.number == number), None)
        if changes and filed is not None:
            sections["roll"] = replace(filed.roll, **changes)
        changed = archive.edit_roll(job_id, number, by=by, seen=found.version, **sections)
    click.echo(f"{counted(changed, 'section')} changed.", err=True)
