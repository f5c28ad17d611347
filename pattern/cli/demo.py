"""`contact-pattern demo`: the main job on a bundled pair of photos, from picture files to the record."""

from __future__ import annotations

import dataclasses
import itertools
import json
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pattern.cli.output import make_folder, write_new
from pattern.errors import WouldOverwrite

if TYPE_CHECKING:
    from pattern.archive.store import Archive
    from pattern.records import Advice, Axle, Reading, Roll

PHOTOS = Path(__file__).with_name("demo_photos")


@click.command()
@click.option(
    "--json", "as_json", is_flag=True, help="Two readings and one advice, a JSON object a line."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for overlays and PDF; default: a new folder contact-pattern-demo here.",
)
@click.option(
    "--keep", is_flag=True, help="File the job in your own archive instead of a passing one."
)
def demo(as_json: bool, out: Path | None, keep: bool) -> None:
    """The main job on a bundled pair: two photos, two readings, one advice, one record.

    The photos are rendered and the job is invented. Your own archive stays untouched without --keep.
    """
    from pattern.settings import load_settings
    from pattern.setup.axle_record import axle_from_fields
    from pattern.workflow import advise, file_roll, read_photo, read_roll

    folder = _fresh(out)
    case = json.loads((PHOTOS / "case.json").read_text(encoding="utf-8"))
    axle = axle_from_fields(case["axle"])
    settings = load_settings()
    shots = [
        (
            PHOTOS / f"{side}.jpg",
            read_photo(PHOTOS / f"{side}.jpg", side, hand=axle.hand, settings=settings),
        )
        for side in ("drive", "coast")
    ]
    drive, coast = (reading for _, reading in shots)
    roll = read_roll([drive], [coast], case["backlash_in"])
    advice = advise(axle, [roll], settings=settings)
    with _archive(keep) as archive:
        job = archive.new_job(axle=axle, **case["job"])
        file_roll(archive, job, roll, shots, advice)
        written = [*_overlays(folder, shots), _record(folder, archive, job)]
    if as_json:
        _say_json(drive, coast, advice)
    else:
        _say(axle, roll, advice)
    for path in written:
        click.echo(f"Written: {path}", err=True)
    if keep:
        click.echo(f"Filed as {job} in {archive.location}.", err=True)
    click.echo("Next: contact-pattern app", err=True)


def _fresh(out: Path | None) -> Path:
    """The folder to write into, made here; never one that holds something already."""
    if out is not None:
        if out.exists() and any(out.iterdir()):
            raise WouldOverwrite(
                "is not empty", subject=str(out), remedy="Name a new folder with --out"
            )
        make_folder(out)
        return out
    for number in itertools.count(1):
        folder = Path("contact-pattern-demo" + (f"-{number}" if number > 1 else ""))
        try:
            folder.mkdir()
        except FileExistsError:
            continue
        return folder
    raise AssertionError  # the count above has no end


@contextmanager
def _archive(keep: bool) -> Iterator[Archive]:
    from pattern.archive.store import Archive

    if keep:
        with Archive.open() as archive:
            yield archive
        return
    with tempfile.TemporaryDirectory() as folder, Archive.open(folder) as archive:
        yield archive


def _overlays(folder: Path, shots: list[tuple[Path, Reading]]) -> list[Path]:
    from pattern.photo.decode import load_photo
    from pattern.report.overlay import draw_overlay
    from pattern.settings import Settings

    written = []
    for photo, reading in shots:
        target = folder / f"{reading.side}_reading.png"
        write_new(target, draw_overlay(load_photo(photo, Settings()), reading))
        written.append(target)
    return written


def _record(folder: Path, archive: Archive, job: str) -> Path:
    from pattern.report.pdf import job_pdf

    target = folder / "record.pdf"
    write_new(target, job_pdf(archive.job(job), archive.photo))
    return target


def _say_json(drive: Reading, coast: Reading, advice: Advice) -> None:
    from pattern.reading.as_json import reading_json

    lines: list[dict[str, Any]] = [
        reading_json(drive),
        reading_json(coast),
        dataclasses.asdict(advice),
    ]
    for line in lines:
        click.echo(json.dumps(line, allow_nan=False))


def _say(axle: Axle, roll: Roll, advice: Advice) -> None:
    from pattern.cli.advise import lines

    click.echo(
        f"Ring gear {axle.ring_teeth}/{axle.pinion_teeth} ({axle.ratio:.2f}), {axle.ring_diameter_in:g} in, "
        f"backlash {roll.backlash_in:.4f} in"
    )
    for side in ("drive", "coast"):
        mark = getattr(roll, side)
        if mark is not None:
            click.echo(
                f"  {side:5}: {mark.lengthwise:.2f} ± {mark.lengthwise_sd:.2f} from toe to heel, "
                f"{mark.profile:.2f} ± {mark.profile_sd:.2f} from root to tip"
            )
    click.echo("")
    for line in lines(advice):
        click.echo(line)
