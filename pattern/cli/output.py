"""Write a result's file whole or not at all, never over another unasked."""

from __future__ import annotations

import os
from pathlib import Path

from pattern.archive.durable import written_aside
from pattern.errors import InvalidInput, WouldOverwrite

_HARMLESS = "\n\N{NO-BREAK SPACE}"


def write_new(
    path: Path, data: bytes, *, overwrite: bool = False, remedy: str = "Give another name, or --overwrite"
) -> None:  # fmt: skip
    """Write a result. Raises WouldOverwrite if the file is there, InvalidInput if it cannot be.

    The bytes go to a file beside it first, so that a full disk or a kill leaves no half result.
    """
    if path.exists() and not overwrite:
        raise WouldOverwrite("exists already", subject=str(path), remedy=remedy)
    try:
        with written_aside(path, data) as aside:
            if overwrite or not _linked(aside, path):
                aside.replace(path)
    except FileExistsError as fault:  # somebody made it meanwhile
        raise WouldOverwrite("exists already", subject=str(path), remedy=remedy) from fault
    except OSError as fault:
        raise InvalidInput(
            f"cannot be written ({fault.strerror})", subject=str(path), remedy="Give another place"
        ) from fault


def _linked(aside: Path, path: Path) -> bool:
    """Give the file its name, unless that is taken; False where the disk knows no links (a stick)."""
    try:
        os.link(aside, path)
    except FileExistsError:
        raise
    except OSError:
        return False
    return True


def make_folder(folder: Path) -> None:
    """Make the folder for results. Raises InvalidInput if it cannot be made."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise InvalidInput(
            f"cannot be made ({fault.strerror})", subject=str(folder), remedy="Give another place"
        ) from fault


def counted(number: int, noun: str) -> str:
    """1 job, 2 jobs."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def shown(text: str) -> str:
    """A text of a user or a file for the terminal: what would steer it is shown escaped; lines stay."""
    return "".join(c if c.isprintable() or c in _HARMLESS else ascii(c)[1:-1] for c in text)
