"""Bytes that survive a power cut: written aside, synced, renamed, and the folder synced as well."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def write_durably(path: Path, data: bytes) -> None:
    """Put `data` at `path` whole or not at all. Raises OSError, with nothing left behind."""
    make_folders(path.parent)
    with written_aside(path, data) as aside:
        aside.replace(path)
    sync_folder(path.parent)


@contextmanager
def written_aside(path: Path, data: bytes) -> Iterator[Path]:
    """A synced file with `data` beside `path`, to be given its name; gone at the end if it was not."""
    aside = path.with_name(f".{path.name}.{uuid.uuid4().hex}.part")
    try:
        with aside.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        yield aside
    finally:
        aside.unlink(missing_ok=True)


def make_folders(folder: Path) -> None:
    """Make a folder and those above it, each synced into its parent."""
    if folder.is_dir():
        return
    make_folders(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


def sync_file(path: Path) -> None:
    """Force a closed file to the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """Force a folder's entries to the disk, where the system can (Windows opens no folders)."""
    if os.name == "nt":
        return
    sync_file(folder)
