"""Copy a whole archive to another place: a folder to a server and its object store, back, or between two.

Photos go first, each under its hash; then every row in one transaction, compared with its origin before
it counts. Interrupted at any moment the new place holds no job, and the same command goes on.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass

from sqlalchemy import Connection, Table, delete, func, insert, select, text, update

from pattern.archive.database import Database
from pattern.archive.filing import announce
from pattern.archive.location import Location
from pattern.archive.photos import PhotoStore, store_of
from pattern.archive.schema import entries, facts, incoming, jobs, metadata, photos, rolls
from pattern.archive.upgrade import prepare
from pattern.archive.verify import Verdict, refuse_unclean, verify
from pattern.errors import ArchiveDamaged, ArchiveUnavailable, InvalidInput, WouldOverwrite

Progress = Callable[[int, int], None]
TABLES = tuple(table for table in metadata.sorted_tables if table is not facts)
"""Every table whose rows belong to the jobs, those that others refer to first."""
_AT_ONCE = 8
_ROWS = 500


@dataclass(frozen=True)
class Transfer:
    """What was copied, checked at its new place. `is_behind`: the old one was written to meanwhile."""

    verdict: Verdict
    rows: int
    is_behind: bool


def copy_archive(source: Location, target: Location, progress: Progress | None = None) -> Transfer:
    """Copy everything to a place where no job is yet; the old place stays as it is.

    `progress` is told (photos copied, all photos). Raises WouldOverwrite if there are jobs at the
    target, ArchiveDamaged if a photo or a row is not what it was, ArchiveUnavailable.
    """
    _refuse_nothing(source)
    if source.database_url == target.database_url:
        raise InvalidInput("is the same place", subject=str(target), remedy="Give another one")
    with closing(prepare(source)) as old, closing(prepare(target)) as new:
        store = old.read(lambda connection: store_of(connection, source))
        goal = new.read(lambda connection: store_of(connection, target))
        new.read(lambda connection: _refuse_jobs(connection, target))
        before = old.read(_mark)
        carried = _carry(old, store, new, goal, progress or _quiet)
        rows = _copy_rows(old, store, new, goal, carried)
        is_behind = old.read(_mark) != before
    verdict = verify(target)
    refuse_unclean(verdict, str(target))
    return Transfer(verdict, rows, is_behind)


def _refuse_nothing(source: Location) -> None:
    file = source.database_file
    is_there = file.is_file() if file is not None else None
    if is_there is None:
        with closing(Database(source, read_only=True)) as database:
            is_there = database.version() is not None
    if not is_there:
        raise ArchiveUnavailable(
            "there is no archive", subject=str(source), remedy="Check the place to copy from"
        )


def _refuse_jobs(connection: Connection, target: Location) -> None:
    if connection.scalar(select(func.count()).select_from(jobs)):
        raise WouldOverwrite(
            "holds jobs already",
            subject=str(target),
            remedy="Give a new place; nothing was written",
        )


def _mark(connection: Connection) -> tuple[int, ...]:
    """Rises with everything that is recorded."""
    return tuple(
        int(connection.scalar(select(func.max(column))) or 0)
        for column in (entries.c.id, rolls.c.id)
    )


def _quiet(_done: int, _all: int) -> None:
    """Nobody watches."""


# --- photos ---------------------------------------------------------------------------------------


def _carry(
    old: Database, store: PhotoStore, new: Database, goal: PhotoStore, progress: Progress
) -> set[str]:
    named = old.read(lambda connection: _photos_of(connection, store))
    for start in range(0, len(named), _ROWS):
        announce(new, named[start : start + _ROWS])
    with ThreadPoolExecutor(_AT_ONCE) as carriers:
        carried = carriers.map(lambda sha256: goal.put(store.get(sha256)), named)
        for done, _ in enumerate(carried, start=1):
            progress(done, len(named))
    return set(named)


def _photos_of(connection: Connection, store: PhotoStore) -> list[str]:
    """Photos that a roll names, and those that are held and have come."""
    named = list(connection.scalars(select(photos.c.sha256)))
    held = connection.scalars(select(incoming.c.sha256)).all()
    return sorted({*named, *(sha256 for sha256 in held if store.has(sha256))})


# --- rows -----------------------------------------------------------------------------------------


def _copy_rows(
    old: Database, store: PhotoStore, new: Database, goal: PhotoStore, carried: set[str]
) -> int:
    with old.reading() as origin, new.writing() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("LOCK TABLE jobs IN EXCLUSIVE MODE"))  # nobody files before us
        _refuse_jobs(connection, new.location)
        for sha256 in set(_photos_of(origin, store)) - carried:  # filed while photos were copied
            goal.put(store.get(sha256))
            carried.add(sha256)
        announced = sorted(carried)
        for start in range(0, len(announced), _ROWS):
            some = incoming.c.sha256.in_(announced[start : start + _ROWS])
            connection.execute(delete(incoming).where(some))
        count = 0
        for table in TABLES:
            for rows in _parts(origin, table):
                connection.execute(insert(table), rows)
                count += len(rows)
            if _told(origin, table) != _told(connection, table):
                raise ArchiveDamaged(
                    f"the rows of {table.name} did not come through as they were",
                    subject=str(new.location),
                    remedy="Nothing was kept; check both servers and copy again",
                )
        _go_on_numbering(connection)
        name = select(facts.c.value).where(facts.c.key == "archive")
        same = update(facts).where(facts.c.key == "archive").values(value=origin.scalar(name))
        connection.execute(same)
    return count


def _parts(connection: Connection, table: Table) -> Iterator[list[dict[str, object]]]:
    found = connection.execute(select(table).execution_options(yield_per=_ROWS))
    for rows in found.mappings().partitions():
        yield [dict(row) for row in rows]


def _told(connection: Connection, table: Table) -> tuple[int, int]:
    """How many rows, and the sum of their hashes: the same in whatever order a database gives them."""
    count, total = 0, 0
    for rows in _parts(connection, table):
        count += len(rows)
        total += sum(_hash(list(row.values())) for row in rows)
    return count, total


def _hash(values: Sequence[object]) -> int:
    return int.from_bytes(hashlib.sha256(json.dumps(values).encode()).digest(), "big")


def _go_on_numbering(connection: Connection) -> None:
    """Let a server count on from the numbers that came along; SQLite does so by itself."""
    if connection.dialect.name != "postgresql":
        return
    for table, column in (("jobs", "number"), ("rolls", "id"), ("entries", "id")):
        last = f"SELECT coalesce(max({column}), 0) + 1 FROM {table}"
        connection.execute(
            text(f"SELECT setval(pg_get_serial_sequence('{table}', '{column}'), ({last}), false)")
        )
