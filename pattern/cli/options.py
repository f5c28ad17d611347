"""Options and arguments that several commands share."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from pattern.archive.store import Archive

archive_option = click.option(
    "--archive",
    "place",
    default=None,
    metavar="PLACE",
    help="Folder or database of the jobs; default: CONTACT_PATTERN_ARCHIVE, then your data folder.",
)


def open_archive(place: str | None) -> Archive:
    """Open the archive; the import waits until a command needs it."""
    from pattern.archive.store import Archive

    archive = Archive.open(place)
    if archive.is_new:  # on a disk that is not plugged in, this would be the wrong place
        click.echo(f"A new archive was made: {archive.location}", err=True)
    return archive


@contextmanager
def watched(what: str) -> Iterator[Callable[..., None] | None]:
    """A progress bar on stderr, where somebody sits in front of it: called with done, all, failed."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
    )

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=None)

        def show(done: int, of: int, failed: int = 0) -> None:
            told = f"{what}, {failed} failed" if failed else what
            bar.update(task, completed=done, total=of, description=told)

        yield show


def parse_teeth(text: str) -> tuple[int, int]:
    """(41, 11) for 41/11. Raises InvalidAxle."""
    from pattern.errors import InvalidAxle

    if not re.fullmatch(r"\d{1,4}\s*[/:]\s*\d{1,4}", text.strip()):
        raise InvalidAxle(
            f"{text!r} is not two tooth counts",
            subject="--teeth",
            remedy="Give ring gear/pinion: 41/11",
        )
    ring, pinion = re.split(r"[/:]", text)
    return int(ring), int(pinion)
