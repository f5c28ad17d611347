"""`contact-pattern job report`: the printed record of a job."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pattern.cli.options import archive_option, open_archive, write_new


@click.command("report")
@archive_option
@click.argument("job_id", metavar="JOB")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE",
              help="FILE.pdf or FILE.html; default: JOB.pdf here.")  # fmt: skip
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True)
@click.option("--units", type=click.Choice(["in", "mm"]), default="in", show_default=True)
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
