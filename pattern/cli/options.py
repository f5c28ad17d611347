"""Options and arguments that several commands share."""

from __future__ import annotations

import re
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

    return Archive.open(place)


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
