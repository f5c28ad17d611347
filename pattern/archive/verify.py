"""Check an archive against itself: every hash, every reference, every stored record. Changes nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from sqlalchemy import Connection, select, text

from pattern.archive import codec
from pattern.archive.database import Database, read_version
from pattern.archive.job_ids import job_id
from pattern.archive.load import load_job
from pattern.archive.location import Location
from pattern.archive.photos import PhotoStore, store_of
from pattern.archive.schema import incoming, jobs, later_readings, photos, roll_photos, rolls
from pattern.archive.upgrade import REVISIONS
from pattern.errors import (
    ArchiveDamaged,
    ArchiveError,
    ArchiveNewer,
    ArchiveUnavailable,
    InvalidInput,
)
from pattern.records import Reading

Code = Literal[
    "database", "reference", "record", "missing", "damaged", "orphan", "stray", "held", "leftover",
    "older_schema",
]  # fmt: skip
_NOTES: tuple[Code, ...] = ("held", "leftover", "older_schema")
Progress = Callable[[int, int], None]
_SYSTEM_FILES = {".DS_Store", "Thumbs.db", "desktop.ini"}


@dataclass(frozen=True)
class Finding:
    """One thing seen. `is_fault` is False for what is in order but worth saying."""

    code: Code
    subject: str
    message: str

    @property
    def is_fault(self) -> bool:
        """Whether something is wrong."""
        return self.code not in _NOTES


@dataclass(frozen=True)
class Verdict:
    """What a check found, and how much it looked at."""

    jobs: int
    rolls: int
    photos: int
    findings: tuple[Finding, ...]

    @property
    def is_clean(self) -> bool:
        """Whether nothing is wrong."""
        return not any(finding.is_fault for finding in self.findings)


def verify(location: Location, progress: Progress | None = None) -> Verdict:
    """Re-hash every photo and follow every reference. Raises ArchiveUnavailable, ArchiveNewer.

    Photos that are on their way (announced but not yet named by a roll) are in order: a draft holds
    them, or a filing is under way or was interrupted. `progress` is told (photos looked at, all
    photos) after each.
    """
    file = location.database_file
    if file is not None and not file.is_file():
        raise ArchiveUnavailable(
            "there is no archive", subject=str(location), remedy="Check the name of the place"
        )
    database = Database(location, read_only=True)
    with closing(database):
        try:
            # what lies in the store is listed before the rows are looked at: whoever files meanwhile
            # has announced a photo before it came to lie there
            store = database.read(lambda connection: _store(connection, location))
            lying = sorted(store.names())
            with database.reading() as connection:
                return _check(connection, location, store, lying, progress)
        except ArchiveDamaged as fault:
            return Verdict(0, 0, 0, (Finding("database", str(location), fault.what),))


def _store(connection: Connection, location: Location) -> PhotoStore:
    _known_version(connection, location)
    return store_of(connection, location)


def _known_version(connection: Connection, location: Location) -> str:
    version = read_version(connection)
    if version is None:
        raise ArchiveDamaged("the database is no job archive")
    if version not in REVISIONS:
        raise ArchiveNewer(
            f"the archive has schema {version}, this program knows up to {REVISIONS[-1]}",
            subject=str(location),
            remedy="Install the newer version of this program",
        )
    return version


def _check(
    connection: Connection,
    location: Location,
    store: PhotoStore,
    lying: list[str],
    progress: Progress | None,
) -> Verdict:
    version = _known_version(connection, location)
    is_sqlite = connection.dialect.name == "sqlite"
    found: list[Finding] = list(_database(connection)) if is_sqlite else []
    if any(finding.code == "database" for finding in found):
        return Verdict(0, 0, 0, tuple(found))
    if version == REVISIONS[-1]:
        found += _records(connection)
    else:
        message = f"schema {version} will be brought to {REVISIONS[-1]} when it is next opened"
        found.append(Finding("older_schema", str(location), message))
    found += _photos(connection, store, lying, progress or _quiet)
    counts = [
        len(connection.execute(select(c)).all())
        for c in (jobs.c.number, rolls.c.id, photos.c.sha256)
    ]
    return Verdict(counts[0], counts[1], counts[2], tuple(found))


def _database(connection: Connection) -> Iterator[Finding]:
    for (line,) in connection.execute(text("PRAGMA integrity_check")).all():
        if line != "ok":
            yield Finding("database", "integrity_check", str(line))
    for row in connection.execute(text("PRAGMA foreign_key_check")).all():
        message = f"row {row[1]} names a row of {row[2]} that is not there"
        yield Finding("reference", str(row[0]), message)


def _records(connection: Connection) -> Iterator[Finding]:
    for number in connection.scalars(select(jobs.c.number)).all():
        try:
            load_job(connection, number)
        except (ArchiveError, InvalidInput) as fault:
            yield Finding("record", job_id(number), fault.message)
    for row in connection.execute(select(later_readings)):
        try:
            codec.from_json(Reading, row.reading, where=f"reading by {row.reader}")
        except (ArchiveError, InvalidInput) as fault:
            yield Finding("record", f"roll row {row.roll_id}", fault.message)


def _quiet(_done: int, _all: int) -> None:
    """Nobody watches."""


def _photos(
    connection: Connection, store: PhotoStore, lying: list[str], progress: Progress
) -> Iterator[Finding]:
    sizes = {row.sha256: row.size_bytes for row in connection.execute(select(photos))}
    held = set(connection.scalars(select(incoming.c.sha256)))
    named = set(connection.scalars(select(roll_photos.c.sha256).distinct()))
    for done, (sha256, size) in enumerate(sizes.items(), start=1):
        yield from _photo(store, sha256, size)
        progress(done, len(sizes))
        if sha256 not in named:
            yield Finding("reference", sha256, "a photo's row that no roll names")
    for sha256 in lying:
        if sha256 in sizes:
            continue
        if sha256 in held:
            yield Finding("held", sha256, "held for a draft, or by a filing that was interrupted")
        else:
            yield Finding("orphan", sha256, "a photo in the store that nothing names")
    for name in store.strays():
        if name.endswith(".part"):
            yield Finding(
                "leftover", name, "left by an interrupted write; `archive tidy` removes it"
            )
        elif name not in _SYSTEM_FILES:
            yield Finding("stray", name, "a file in the photo store that is no photo of ours")


def _photo(store: PhotoStore, sha256: str, size: int) -> Iterator[Finding]:
    try:
        data = store.get(sha256)
    except ArchiveDamaged as fault:
        yield Finding("missing" if "missing" in fault.what else "damaged", sha256, fault.what)
    except ArchiveUnavailable as fault:
        yield Finding("damaged", sha256, fault.what)
    else:
        if len(data) != size:
            yield Finding("damaged", sha256, f"has {len(data)} bytes, {size} are on record")


def refuse_unclean(verdict: Verdict, place: Path | str) -> None:
    """Raise ArchiveDamaged if anything is wrong, naming the first fault."""
    faults = [finding for finding in verdict.findings if finding.is_fault]
    if faults:
        raise ArchiveDamaged(
            f"{len(faults)} fault{'s' if len(faults) > 1 else ''}, first: {faults[0].message}",
            subject=str(place),
            remedy="See `contact-pattern archive verify`",
        )
