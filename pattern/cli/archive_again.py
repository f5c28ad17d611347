"""`contact-pattern archive read-again` and `changes`: the present reader over all filed photos."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import click

from pattern.cli.options import archive_option, open_archive, watched
from pattern.cli.output import write_new

UNREADABLE = 3


@click.command("read-again")
@archive_option
@click.option("--scheduler", default="", metavar="ADDRESS",
              help="Of a Dask cluster, as tcp://HOST:8786; default: the cores of this machine.")  # fmt: skip
@click.option("--workers", type=click.IntRange(min=1), metavar="N",
              help="How many of this machine's cores; default: all.")  # fmt: skip
@click.option("--limit", type=click.IntRange(min=1), metavar="N",
              help="Stop after so many photos; the next run goes on.")  # fmt: skip
@click.option("--settings", "settings_file", type=click.Path(path_type=Path, dir_okay=False),
              help="TOML file.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def read_again(
    place: str | None, scheduler: str, workers: int | None, limit: int | None,
    settings_file: Path | None, as_json: bool,
) -> int:  # fmt: skip
    """Read every filed photo with the present reader and keep its reading beside the one filed.

    Stopped at any moment, the next run goes on; photos that this reader has read are not read twice. No
    roll and no advice is changed by it. Exit code 3 if a photo could not be read by anybody.
    """
    import logging

    from pattern.archive import cluster
    from pattern.settings import load_settings
    from pattern.workflow import read_photo

    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what matters is told below
    settings = load_settings(settings_file)
    with open_archive(place) as archive, watched("Photos") as bar:
        progress = None if bar is None else lambda done, failed, all_: bar(done, all_, failed)
        run = cluster.read_again(
            archive, read_photo, settings,
            scheduler=scheduler, workers=workers, limit=limit, progress=progress,
        )  # fmt: skip
    for where, why in run.failures:
        click.echo(f"{where}: {why}", err=True)
    if as_json:
        click.echo(json.dumps(asdict(run), ensure_ascii=False))
    else:
        click.echo(
            f"{run.reader}: {run.read} read, {run.declined} declined, {len(run.failures)} failed, "
            f"{run.earlier} read before"
        )
    return UNREADABLE if run.failures else 0


@click.command("changes")
@archive_option
@click.option("--before", default="as filed", metavar="READER", show_default=True,
              help="The reader to compare with.")  # fmt: skip
@click.option("--after", default="", metavar="READER", help="Default: the one that read last.")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE.html",
              help="Also a page with the ten largest changes as pictures.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def changes(place: str | None, before: str, after: str, out: Path | None, as_json: bool) -> None:
    """How readings changed from one reader to another, over all photos that both have read."""
    from pattern.archive.changes import reading_changes
    from pattern.archive.codec import to_data
    from pattern.report.changes import change_in_words, changes_html, changes_lines

    with open_archive(place) as archive:
        found = reading_changes(archive.database, before=before, after=after)
        if out is not None:
            write_new(out, changes_html(found, archive.photo).encode("utf-8"))
    if as_json:
        click.echo(json.dumps(to_data(found), ensure_ascii=False))
        return
    click.echo(f"From {found.before} to {found.after}, changes in shares of the tooth")
    for what, value in changes_lines(found):
        click.echo(f"  {what}: {value}")
    for change in found.largest:
        click.echo(f"{change.job_id} roll {change.roll} {change.name}: {change_in_words(change)}")
