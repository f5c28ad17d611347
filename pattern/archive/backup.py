"""Back an archive up while it is in use, restore one, and tidy up what no job needs.

A backup is an archive of its own that can be opened where it lies.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import time
import uuid
from contextlib import closing
from pathlib import Path

from sqlalchemy import delete, select

from pattern.archive.database import Database
from pattern.archive.durable import make_folders, sync_file, sync_folder, write_durably
from pattern.archive.location import DATABASE_NAME, Location, find_location
from pattern.archive.photos import PhotoStore
from pattern.archive.schema import drafts, incoming, photos
from pattern.archive.verify import Verdict, refuse_unclean, verify
from pattern.errors import ArchiveUnavailable, PatternError, WouldOverwrite


def backup(location: Location, store: PhotoStore, target: Path, *, copy: bool = False) -> Verdict:
    """Write a backup to the new folder `target` and verify it; others may go on filing meanwhile.

    The database is copied first, as it stood at one moment; every photo it names was stored before.
    On the same disk photos are linked, not copied, unless `copy`. `target` appears only once it is
    whole. Raises WouldOverwrite, ArchiveUnavailable, ArchiveDamaged.
    """
    file = location.database_file
    if file is None:
        raise ArchiveUnavailable(
            "is on a server",
            subject=str(location),
            remedy="Use the server's own tools, or `contact-pattern archive copy` to a folder",
        )
    _refuse_existing(target)
    aside = target.with_name(f".{target.name}.{uuid.uuid4().hex}.part")
    try:
        make_folders(aside)
        _copy_database(file, aside / DATABASE_NAME)
        _copy_photos(store, aside, copy=copy)
        verdict = verify(find_location(aside))
        refuse_unclean(verdict, target)
        aside.rename(target)
        sync_folder(target.parent)
    except PatternError:
        raise
    except (OSError, sqlite3.Error) as fault:
        raise ArchiveUnavailable(
            f"the backup could not be written ({getattr(fault, 'strerror', None) or fault})",
            subject=str(target),
            remedy="Check the space there; nothing was left behind",
        ) from fault
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return verdict


def restore(source: Path, target: Location) -> Verdict:
    """Put a verified backup in place as the archive at `target`, where none may be yet."""
    if target.folder is None:
        raise ArchiveUnavailable(
            "is on a server",
            subject=str(target),
            remedy="Put it there with `contact-pattern archive copy`",
        )
    origin = find_location(source)
    refuse_unclean(verify(origin), source)
    if target.folder.exists() and not any(target.folder.iterdir()):
        target.folder.rmdir()
    return backup(origin, PhotoStore(str(source / "photos")), target.folder, copy=True)


def tidy(database: Database, store: PhotoStore, *, older_than_days: float = 30) -> tuple[str, ...]:
    """Remove photos held longer than that which no roll and no draft names, and interrupted writes.

    Returns what was removed. On SQLite it runs under the write lock, so that no filing can be cut into;
    on a server it holds the row of each photo it takes, which a filing of that photo waits for.
    """
    removed = []
    limit = time.time() - older_than_days * 86400
    with database.writing() as connection:
        kept = " ".join(connection.scalars(select(drafts.c.value)))
        rows = select(incoming.c.sha256, incoming.c.at).with_for_update(skip_locked=True)
        for sha256, at in connection.execute(rows).all():
            if _seconds(at) >= limit or sha256 in kept:
                continue
            connection.execute(delete(incoming).where(incoming.c.sha256 == sha256))
            named = select(photos.c.sha256).where(photos.c.sha256 == sha256)
            if connection.scalar(named) is not None:
                continue  # two benches brought it in at once, and one of them has filed it
            if store.has(sha256):
                store.remove(sha256)
            removed.append(sha256)
        removed += store.remove_leftovers(min(limit, time.time() - 86400))
    return tuple(removed)


def _seconds(at: str) -> float:
    from datetime import datetime

    return datetime.fromisoformat(at).timestamp()


def _refuse_existing(target: Path) -> None:
    if target.exists():
        raise WouldOverwrite(
            "exists already", subject=str(target), remedy="Give a new folder; nothing was written"
        )


def _copy_database(source: Path, target: Path) -> None:
    with closing(sqlite3.connect(source)) as live, closing(sqlite3.connect(target)) as copy:
        live.backup(copy)
        copy.execute("PRAGMA journal_mode = WAL")
    sync_file(target)


def _copy_photos(store: PhotoStore, folder: Path, *, copy: bool) -> None:
    target = PhotoStore(str(folder / "photos"))
    with closing(sqlite3.connect(folder / DATABASE_NAME)) as connection:
        named = [row[0] for row in connection.execute("SELECT sha256 FROM photos")]
        held = [row[0] for row in connection.execute("SELECT sha256 FROM incoming")]
    for sha256 in [*named, *(name for name in held if store.has(name))]:
        origin, final = store.local_path(sha256), target.local_path(sha256)
        if final is None:
            raise AssertionError("a backup's photos lie in a folder")
        if copy or origin is None or not _linked(origin, final):
            write_durably(final, store.get(sha256))


def _linked(origin: Path, final: Path) -> bool:
    make_folders(final.parent)
    try:
        os.link(origin, final)
    except OSError:
        return False  # another disk, or a file system without hard links
    return True
