"""`contact-pattern archive`: verify, back up, restore, tidy and copy the archive of jobs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pattern.cli.archive_again import changes, read_again
from pattern.cli.options import archive_option, open_archive, watched
from pattern.cli.output import counted

if TYPE_CHECKING:
    from pattern.archive.verify import Verdict


@click.group()
def archive() -> None:
    """Verify, back up and move the archive of jobs; read its photos again."""


archive.add_command(read_again)
archive.add_command(changes)


@archive.command("verify")
@archive_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def verify(place: str | None, as_json: bool) -> int:
    """Re-hash every photo and follow every reference. Changes nothing; exit code 7 if wrong."""
    from pattern.archive.location import find_location
    from pattern.archive.verify import verify as check

    location = find_location(place)
    with watched("Photos") as progress:
        verdict = check(location, progress)
    if as_json:
        told = {
            "archive": str(location), "clean": verdict.is_clean, "jobs": verdict.jobs,
            "rolls": verdict.rolls, "photos": verdict.photos,
            "findings": [
                {"code": f.code, "fault": f.is_fault, "subject": f.subject, "message": f.message}
                for f in verdict.findings
            ],
        }  # fmt: skip
        click.echo(json.dumps(told, ensure_ascii=False))
    else:
        for finding in verdict.findings:
            kind = "FAULT" if finding.is_fault else "note"
            click.echo(f"{kind} {finding.code}: {finding.subject}: {finding.message}")
        state = "clean" if verdict.is_clean else "NOT clean"
        click.echo(f"{location}: {state}; {_size(verdict)}")
    return 0 if verdict.is_clean else 7


@archive.command("backup")
@archive_option
@click.argument("target", type=click.Path(path_type=Path), metavar="FOLDER")
@click.option("--copy", is_flag=True, help="Copy photos even where they could be linked.")
def backup(place: str | None, target: Path, copy: bool) -> None:
    """Write a verified copy of the archive to a new FOLDER, also while others file."""
    with open_archive(place) as opened:
        verdict = opened.backup(target, copy=copy)
    click.echo(f"{target}: {_size(verdict)}")


@archive.command("restore")
@archive_option
@click.argument("source", type=click.Path(path_type=Path), metavar="BACKUP")
def restore(place: str | None, source: Path) -> None:
    """Put a BACKUP in place as the archive, where none may be yet."""
    from pattern.archive.backup import restore as put_back
    from pattern.archive.location import find_location

    location = find_location(place)
    verdict = put_back(source, location)
    click.echo(f"{location}: {_size(verdict)}")


@archive.command("tidy")
@archive_option
@click.option("--days", default=30.0, show_default=True, type=click.FloatRange(min=1),
              help="How long photos that no roll and no draft names are kept.")  # fmt: skip
def tidy(place: str | None, days: float) -> None:
    """Remove photos that were uploaded but never filed, and what interrupted writes left."""
    with open_archive(place) as opened:
        removed = opened.tidy(older_than_days=days)
    click.echo(f"{len(removed)} removed.", err=True)
    for name in removed:
        click.echo(name)


@archive.command("copy")
@click.argument("source", metavar="FROM")
@click.argument("target", metavar="TO")
def copy(source: str, target: str) -> None:
    """Copy the whole archive at FROM to the new place TO, verified; each a folder or a database URL.

    FROM stays as it is. Stop the benches first: what is filed while it runs may not come along.
    Interrupted, the same command goes on.
    """
    from pattern.archive.location import find_location
    from pattern.archive.transfer import copy_archive

    place = find_location(target)
    with watched("Photos") as progress:
        done = copy_archive(find_location(source), place, progress)
    click.echo(f"{place}: {_size(done.verdict)}, verified")
    if done.is_behind:
        click.echo(
            "FROM was written to meanwhile; what came last may not be in the copy.", err=True
        )


def _size(verdict: Verdict) -> str:
    return ", ".join(
        counted(number, noun)
        for number, noun in (
            (verdict.jobs, "job"),
            (verdict.rolls, "roll"),
            (verdict.photos, "photo"),
        )
    )
