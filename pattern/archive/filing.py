"""File a roll: photos first, synced; then the rows that name them, in one transaction."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, delete, func, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite

from pattern import __version__
from pattern.archive import codec
from pattern.archive.database import Database
from pattern.archive.job_ids import no_such_job
from pattern.archive.listing import refresh
from pattern.archive.photos import PhotoStore, digest
from pattern.archive.schema import incoming, jobs, photos, roll_photos, rolls
from pattern.archive.sheets import now
from pattern.errors import InvalidInput, UnreadablePhoto
from pattern.jobs import ROLL_KINDS, RollKind
from pattern.records import Advice, Reading, Roll


@dataclass(frozen=True)
class NewRoll:
    """A roll about to be filed. `uid` makes filing it twice file it once."""

    roll: Roll
    advice: Advice | None = None
    kind: RollKind = "roll"
    backlash_readings_in: tuple[float, ...] = ()
    note: str = ""
    by: str = ""
    uid: str = ""
    filed_at: str = ""
    version: str = __version__

    def __post_init__(self) -> None:
        if self.kind not in ROLL_KINDS:
            raise InvalidInput(
                f"{self.kind!r} is not known",
                subject="kind",
                remedy="Use: " + ", ".join(ROLL_KINDS),
            )


def file_roll(
    database: Database,
    store: PhotoStore,
    job_number: int,
    new: NewRoll,
    taken: Sequence[tuple[Path | bytes, Reading]],
) -> int:
    """File a roll and return its number in the job. The call returns once all of it is on the disk.

    Raises UnreadablePhoto, InvalidInput if a photo is not the one that was read, ArchiveError.
    """
    originals = [(_original(photo, reading), reading) for photo, reading in taken]
    announce(database, [digest(data) for data, _ in originals])
    for data, _ in originals:
        store.put(data)
    known = replace(new, uid=new.uid or uuid.uuid4().hex)  # filed once, however often it is tried
    return database.write(lambda c: write_roll(c, store, job_number, known, originals))


def announce(database: Database, hashes: Sequence[str]) -> None:
    """Name photos that are about to come in, so that a kill before their row leaves no stray."""
    if hashes:
        database.write(lambda connection: _announce(connection, hashes))


def _announce(connection: Connection, hashes: Sequence[str]) -> None:
    for name in sorted(set(hashes)):  # in one order on every bench, so that none waits for another
        if connection.scalar(select(photos.c.sha256).where(photos.c.sha256 == name)) is None:
            row = _insert(connection, incoming).values(sha256=name, at=now())
            renewed = {"at": row.excluded.at}
            connection.execute(row.on_conflict_do_update(index_elements=["sha256"], set_=renewed))


def note_photo(connection: Connection, sha256: str, size_bytes: int, at: str) -> None:
    """Record that a photo is in the store, whoever else does so now; it is on its way no more."""
    row = _insert(connection, photos).values(sha256=sha256, size_bytes=size_bytes, stored_at=at)
    connection.execute(row.on_conflict_do_nothing())
    connection.execute(delete(incoming).where(incoming.c.sha256 == sha256))


def _insert(connection: Connection, table: Table) -> Any:
    dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
    return dialect.insert(table)


def write_roll(
    connection: Connection,
    store: PhotoStore,
    job_number: int,
    new: NewRoll,
    originals: Sequence[tuple[bytes, Reading]],
) -> int:
    """The rows of one roll, inside the caller's transaction. The photos are in the store already."""
    uid = new.uid or uuid.uuid4().hex
    lock_job(connection, job_number)
    earlier = connection.execute(select(rolls).where(rolls.c.uid == uid)).first()
    if earlier is not None:
        if earlier.job_number != job_number:
            raise InvalidInput("was filed with another job", subject=f"roll {uid}")
        return int(earlier.number)
    at = new.filed_at or now()
    last = select(func.max(rolls.c.number)).where(rolls.c.job_number == job_number)
    number = int(connection.scalar(last) or 0) + 1
    values = {
        "uid": uid, "job_number": job_number, "number": number, "kind": new.kind, "filed_at": at,
        "by": new.by, "version": new.version, "note": new.note,
        "roll": codec.to_json(new.roll),
        "backlash_readings": codec.to_json(new.backlash_readings_in),
        "advice": codec.to_json(new.advice) if new.advice else None,
    }  # fmt: skip
    fresh = insert(rolls).values(**values).returning(rolls.c.id)
    roll_id = connection.execute(fresh).scalar_one()
    _name_photos(connection, store, roll_id, originals, at)
    raised = {"changed_at": now(), "version": jobs.c.version + 1}
    connection.execute(update(jobs).where(jobs.c.number == job_number).values(**raised))
    refresh(connection, job_number)
    return number


def _name_photos(
    connection: Connection,
    store: PhotoStore,
    roll_id: int,
    originals: Sequence[tuple[bytes, Reading]],
    at: str,
) -> None:
    named = {digest(data): data for data, _ in originals}
    for sha256 in sorted(named):  # in one order on every bench, so that none waits for another
        note_photo(connection, sha256, len(named[sha256]), at)  # from here on no tidying takes it
        if not store.has(sha256):  # tidied away between announcing and filing, days apart
            store.put(named[sha256])
    for position, (data, reading) in enumerate(originals, start=1):
        connection.execute(
            insert(roll_photos).values(
                roll_id=roll_id, position=position, sha256=digest(data), side=reading.side,
                name=Path(reading.photo).name or f"photo {position}", reading=codec.to_json(reading),
            )
        )  # fmt: skip


def lock_job(connection: Connection, job_number: int) -> None:
    """Hold the job until the transaction ends (SQLite holds the whole file already)."""
    row = select(jobs.c.number).where(jobs.c.number == job_number).with_for_update()
    if connection.scalar(row) is None:
        raise no_such_job(job_number)


def lock_draft(connection: Connection, job_id: str, key: str) -> None:
    """Hold a half-done form, there or not, until the transaction ends (SQLite holds the whole file)."""
    if connection.dialect.name == "postgresql":
        connection.execute(select(func.pg_advisory_xact_lock(20102, func.hashtext(job_id + key))))


def _original(photo: Path | bytes, reading: Reading) -> bytes:
    try:
        data = photo if isinstance(photo, bytes) else photo.read_bytes()
    except OSError as fault:
        raise UnreadablePhoto(
            f"cannot be opened ({fault.strerror})",
            subject=str(photo),
            remedy="Give the photo's file",
        ) from fault
    if reading.sha256 and digest(data) != reading.sha256:
        raise InvalidInput(
            "is not the photo that was read: its bytes differ",
            subject=reading.photo or str(photo),
            remedy="Read it again, then file it",
        )
    return data
