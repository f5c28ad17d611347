"""Take a job out to a zip, and into another archive, with clashes kept apart."""

from __future__ import annotations

import json
import re
import uuid
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import Connection, insert, select

from pattern.archive import codec
from pattern.archive.database import Database
from pattern.archive.durable import sync_file, sync_folder
from pattern.archive.filing import announce, note_photo
from pattern.archive.geotags import without_location
from pattern.archive.job_ids import job_id
from pattern.archive.listing import refresh
from pattern.archive.package import PackedFile, PackedJob, pack, unpack
from pattern.archive.photos import PhotoStore, digest
from pattern.archive.schema import entries, jobs, roll_photos, rolls
from pattern.errors import (
    ArchiveUnavailable,
    InvalidInput,
    PatternError,
    UnreadablePhoto,
    WouldOverwrite,
)
from pattern.photo.decode import decode_photo

MAX_FILES, MAX_JSON, MAX_PHOTO, MAX_ALL = 5_000, 64 << 20, 200 << 20, 4 << 30
_ALLOWED = re.compile(r"job\.json|report\.(pdf|html)|photos/[0-9a-f]{64}")
_SPACE = uuid.UUID("6c1a3a0e-5d0f-4a51-9a63-2f1e0f3c7b10")


@dataclass(frozen=True)
class Arrival:
    """What an import did: the job's id here, and whether it is new, was here already, or clashed."""

    job_id: str
    outcome: Literal["new", "already here", "kept apart"]


def export_job(
    database: Database, store: PhotoStore, number: int, target: Path,
    *, with_location: bool = False, extras: Mapping[str, bytes] | None = None,
) -> None:  # fmt: skip
    """Write a job to the new zip `target`: job.json, photos, and `extras` such as report.pdf.

    Where photos were taken is blanked in the copies unless `with_location`; originals stay as they
    are. Raises WouldOverwrite, ArchiveDamaged, ArchiveUnavailable.
    """
    if target.exists():
        raise WouldOverwrite("exists already", subject=str(target), remedy="Give another name")
    job = database.read(lambda connection: pack(connection, number))
    aside = target.absolute().with_name(f".{target.name}.{uuid.uuid4().hex}.part")
    try:
        with zipfile.ZipFile(aside, "x") as package:
            _fill(package, store, job, with_location=with_location, extras=extras or {})
        sync_file(aside)
        aside.rename(target)
        sync_folder(aside.parent)
    except PatternError:
        raise
    except OSError as fault:
        raise ArchiveUnavailable(
            f"cannot be written ({fault.strerror or fault})",
            subject=str(target),
            remedy="Give another place",
        ) from fault
    finally:
        aside.unlink(missing_ok=True)


def _fill(
    package: zipfile.ZipFile, store: PhotoStore, job: PackedJob,
    *, with_location: bool, extras: Mapping[str, bytes],
) -> None:  # fmt: skip
    files = []
    for file in job.files:
        data = store.get(file.sha256)
        shown = data if with_location else without_location(data, f"photo {file.sha256[:12]}")
        files.append(PackedFile(file.sha256, digest(shown), len(shown)))
        _add(package, files[-1].name, shown, zipfile.ZIP_STORED)
    told = codec.to_data(replace(job, files=tuple(files)))
    text = json.dumps(told, ensure_ascii=False, indent=1)
    _add(package, "job.json", text.encode(), zipfile.ZIP_DEFLATED)
    for name, data in extras.items():
        _add(package, name, data, zipfile.ZIP_STORED)


def _add(package: zipfile.ZipFile, name: str, data: bytes, how: int) -> None:
    if name in package.namelist():
        return
    info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))  # the same job makes the same bytes
    info.compress_type = how
    info.external_attr = 0o644 << 16
    package.writestr(info, data)


def import_job(database: Database, store: PhotoStore, source: Path) -> Arrival:
    """Bring a job in. Everything is checked before anything is stored.

    A job that is here already with the same record is left alone; one that differs comes in as a job
    of its own. Raises InvalidInput for anything that is not such a zip, ArchiveUnavailable.
    """
    if not source.is_file():
        raise InvalidInput("is no file here", subject=str(source), remedy="Check the zip's name")
    try:
        with zipfile.ZipFile(source) as package:
            job = _check_package(package, source.name)
            if known := database.read(lambda connection: _known(connection, job)):
                return known
            announce(database, [file.file_sha256 for file in job.files])
            for file in job.files:
                store.put(_photo(package, file, source.name))
    except PatternError:
        raise
    except (
        OSError,
        zipfile.BadZipFile,
        zlib.error,
        NotImplementedError,
        RuntimeError,
        EOFError,
    ) as fault:
        raise _refused(source.name, f"is no job export ({fault})") from fault
    return database.write(lambda connection: _settle(connection, job))


def _check_package(package: zipfile.ZipFile, name: str) -> PackedJob:
    members = package.namelist()
    if len(members) > MAX_FILES:
        raise _refused(name, f"holds {len(members)} files, more than {MAX_FILES}")
    if len(set(members)) != len(members):
        raise _refused(name, "holds two files of the same name")
    for member in members:
        if not _ALLOWED.fullmatch(member):
            raise _refused(name, f"holds a foreign file, {member[:60]!r}")
    if "job.json" not in members:
        raise _refused(name, "holds no job.json")
    job = unpack(_bounded(package, "job.json", MAX_JSON, name), name)
    listed = {file.name for file in job.files}
    if listed != {member for member in members if member.startswith("photos/")}:
        raise _refused(name, "its photos are not those that job.json lists")
    total = 0
    for file in job.files:
        data = _photo(package, file, name)
        total += len(data)
        if total > MAX_ALL:
            raise _refused(name, "unpacks to more than 4 GiB")
        try:
            decode_photo(data, file.name)
        except UnreadablePhoto as fault:
            raise _refused(name, fault.message) from fault
    return job


def _photo(package: zipfile.ZipFile, file: PackedFile, name: str) -> bytes:
    data = _bounded(package, file.name, MAX_PHOTO, name)
    if digest(data) != file.file_sha256:
        raise _refused(name, f"{file.name[:24]} is damaged: its SHA-256 differs")
    return data


def _bounded(package: zipfile.ZipFile, member: str, limit: int, name: str) -> bytes:
    """Read at most `limit` bytes, whatever size the zip's own header claims."""
    with package.open(member) as file:
        data = file.read(limit + 1)
    if len(data) > limit:
        raise _refused(name, f"{member[:24]} unpacks to more than {limit >> 20} MiB")
    return data


def _refused(name: str, what: str) -> InvalidInput:
    return InvalidInput(
        what, subject=name, remedy="Give a zip made by `contact-pattern job export`"
    )


def _known(connection: Connection, job: PackedJob) -> Arrival | None:
    """Where this very record was brought in already, under its own id or kept apart."""
    here = _number(connection, job.uid)
    if here is not None and pack(connection, here).identity == job.identity:
        return Arrival(job_id(here), "already here")
    apart = _number(connection, _renamed(job).uid)
    return None if apart is None else Arrival(job_id(apart), "already here")


def _settle(connection: Connection, job: PackedJob) -> Arrival:
    if known := _known(connection, job):  # another bench brought it in meanwhile
        return known
    if _number(connection, job.uid) is None:
        return Arrival(job_id(_write(connection, job, "")), "new")
    return Arrival(job_id(_write(connection, _renamed(job), job.uid)), "kept apart")


def _number(connection: Connection, uid: str) -> int | None:
    number = connection.scalar(select(jobs.c.number).where(jobs.c.uid == uid))
    return None if number is None else int(number)


def _renamed(job: PackedJob) -> PackedJob:
    """The same job under ids of its own, the same each time, so that it comes in apart but once."""
    uid = uuid.uuid5(_SPACE, job.uid + job.identity).hex
    fresh = {roll.uid: uuid.uuid5(_SPACE, uid + roll.uid).hex for roll in job.rolls}
    return replace(
        job,
        uid=uid,
        rolls=tuple(replace(roll, uid=fresh[roll.uid]) for roll in job.rolls),
        entries=tuple(replace(e, roll=fresh[e.roll] if e.roll else None) for e in job.entries),
    )


def _write(connection: Connection, job: PackedJob, imported_from: str) -> int:
    row = {
        "uid": job.uid, "opened_at": job.opened_at, "changed_at": job.changed_at, "status": "open",
        "imported_from": imported_from,
    }  # fmt: skip
    fresh = insert(jobs).values(**row).returning(jobs.c.number)
    number = int(connection.execute(fresh).scalar_one())
    files = {file.sha256: file for file in job.files}
    roll_ids = {roll.uid: _write_roll(connection, number, roll, files) for roll in job.rolls}
    for entry in job.entries:
        connection.execute(
            insert(entries).values(
                job_number=number, roll_id=roll_ids[entry.roll] if entry.roll else None,
                section=entry.section, value=codec.to_json(entry.value), at=entry.at, by=entry.by,
            )
        )  # fmt: skip
    refresh(connection, number)
    return number


def _write_roll(
    connection: Connection, number: int, roll: Any, files: Mapping[str, PackedFile]
) -> int:
    values = {
        "uid": roll.uid, "job_number": number, "number": roll.number, "kind": roll.kind,
        "filed_at": roll.filed_at, "by": roll.by, "version": roll.version, "note": roll.note,
        "roll": codec.to_json(roll.roll),
        "backlash_readings": codec.to_json(roll.backlash_readings_in),
        "advice": codec.to_json(roll.advice) if roll.advice else None,
    }  # fmt: skip
    clash = select(rolls.c.uid).where(rolls.c.uid == roll.uid)
    if connection.scalar(clash) is not None:  # the roll is here, in another job
        values["uid"] = uuid.uuid4().hex
    roll_id = int(
        connection.execute(insert(rolls).values(**values).returning(rolls.c.id)).scalar_one()
    )
    for photo in roll.photos:
        file = files[photo.sha256]
        sha256 = file.file_sha256
        note_photo(connection, sha256, file.size_bytes, roll.filed_at)
        connection.execute(
            insert(roll_photos).values(
                roll_id=roll_id, position=photo.position, sha256=sha256, side=photo.side,
                name=Path(photo.name).name, reading=codec.to_json(photo.reading),
            )
        )  # fmt: skip
    return roll_id
