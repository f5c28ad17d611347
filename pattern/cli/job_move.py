"""`contact-pattern job report`, `export`, `import`, `readings`: what leaves and enters the archive."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pattern.cli.options import archive_option, open_archive
from pattern.cli.output import write_new


@click.command("report")
@archive_option
@click.argument("job_id", metavar="JOB")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE",
              help="FILE.pdf or FILE.html; default: JOB.pdf here.")  # fmt: skip
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True,
              help="Of the PDF.")  # fmt: skip
@click.option("--units", type=click.Choice(["in", "mm"]), default="in", show_default=True,
              help="Inches and pounds, or millimetres and newtons.")  # fmt: skip
@click.option("--overwrite", is_flag=True, help="Replace the file if it is there.")
def report(
    place: str | None, job_id: str, out: Path | None, paper: Any, units: Any, overwrite: bool
) -> None:
    """Write a job's record: as found, each roll with its photos and moves, the final sheet."""
    with open_archive(place) as archive:
        found = archive.job(job_id)
        out = out or Path(f"{found.id}.pdf")
        if out.suffix.lower() in (".html", ".htm"):
            from pattern.report.html import job_html

            data = job_html(found, archive.thumbnail, units=units).encode()
        else:
            from pattern.report.pdf import job_pdf

            data = job_pdf(found, archive.thumbnail, paper=paper, units=units)
    write_new(out, data, overwrite=overwrite)
    click.echo(str(out))


@click.command("export")
@archive_option
@click.argument("job_id", metavar="JOB")
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE.zip", help="Default: JOB.zip."
)
@click.option("--with-location", is_flag=True,
              help="Leave in where the photos were taken; else the copies do not tell it.")  # fmt: skip
@click.option("--no-report", is_flag=True, help="Leave the printed record out.")
def export(
    place: str | None, job_id: str, out: Path | None, with_location: bool, no_report: bool
) -> None:
    """Write a job to one zip: job.json (see its published schema), photos, printed record."""
    with open_archive(place) as archive:
        found = archive.job(job_id)
        extras = {}
        if not no_report:
            from pattern.report.pdf import job_pdf

            extras["report.pdf"] = job_pdf(found, archive.thumbnail)
        out = out or Path(f"{found.id}.zip")
        archive.export_job(job_id, out, with_location=with_location, extras=extras)
    click.echo(str(out))


@click.command("import")
@archive_option
@click.argument("source", type=click.Path(path_type=Path), metavar="FILE.zip")
def import_(place: str | None, source: Path) -> None:
    """Bring an exported job in. One that differs from a job here is kept apart from it."""
    with open_archive(place) as archive:
        arrival = archive.import_job(source)
    click.echo(arrival.job_id)
    click.echo(f"{arrival.job_id}: {arrival.outcome}.", err=True)


@click.command("schema")
def schema() -> None:
    """Print the JSON Schema of job.json in an exported zip."""
    from pattern.archive.package import SCHEMA_FILE

    click.echo(SCHEMA_FILE.read_text(encoding="utf-8"), nl=False)


@click.command("readings")
@archive_option
@click.argument("job_ids", nargs=-1, required=True, metavar="JOB...")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE.csv",
              help="Default: standard output.")  # fmt: skip
def readings(place: str | None, job_ids: tuple[str, ...], out: Path | None) -> None:
    """All readings of jobs as CSV, a row for each photo and reading."""
    from pattern.archive.table import readings_csv

    with open_archive(place) as archive:
        text = readings_csv((archive.job(job_id) for job_id in job_ids), archive.later_readings)
    if out is None:
        click.echo(text, nl=False)
    else:
        write_new(out, text.encode("utf-8"))
