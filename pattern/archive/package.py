"""A job as one zip: `job.json` as `job.schema.json` describes it, the photos, the report.

The records here are that JSON. Everything recorded goes along, history included, so that an import
is the job again and not a summary of it.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import Connection, select

from pattern import __version__
from pattern.archive import codec
from pattern.archive.job_ids import job_id, no_such_job
from pattern.archive.schema import entries, jobs, photos, roll_photos, rolls
from pattern.archive.sheets import section_type
from pattern.errors import InvalidInput
from pattern.jobs import RollKind
from pattern.records import Advice, Reading, Roll, Side

FORMAT = "gear-contact-pattern job"
FORMAT_VERSION = 1
SCHEMA_FILE = Path(__file__).with_name("job.schema.json")
_HASH, _UID = re.compile(r"[0-9a-f]{64}"), re.compile(r"[0-9a-f]{32}")
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")


@dataclass(frozen=True)
class PackedEntry:
    """One line of the history; `roll` is the roll's uid, or None for the job's own sheets."""

    section: str
    value: Any
    at: str
    by: str = ""
    roll: str | None = None


@dataclass(frozen=True, eq=False)
class PackedPhoto:
    """A photo of a roll with its automatic reading; `sha256` is that of the original."""

    position: int
    side: Side
    name: str
    sha256: str
    reading: Reading


@dataclass(frozen=True, eq=False)
class PackedRoll:
    """A roll as it was filed; corrections are in the entries."""

    uid: str
    number: int
    kind: RollKind
    filed_at: str
    version: str
    roll: Roll
    by: str = ""
    note: str = ""
    backlash_readings_in: tuple[float, ...] = ()
    advice: Advice | None = None
    photos: tuple[PackedPhoto, ...] = ()


@dataclass(frozen=True)
class PackedFile:
    """A photo in the zip. `file_sha256` differs from `sha256` where its location was blanked."""

    sha256: str
    file_sha256: str
    size_bytes: int

    @property
    def name(self) -> str:
        """Its name in the zip."""
        return f"photos/{self.file_sha256}"


@dataclass(frozen=True, eq=False)
class PackedJob:
    """All of `job.json`. `sheets` is what stands at present, for reading only."""

    uid: str
    id: str
    opened_at: str
    changed_at: str
    format: Literal["gear-contact-pattern job"] = FORMAT  # type: ignore[assignment]
    format_version: int = FORMAT_VERSION
    made_by: str = __version__
    entries: tuple[PackedEntry, ...] = ()
    rolls: tuple[PackedRoll, ...] = ()
    files: tuple[PackedFile, ...] = ()
    sheets: dict[str, Any] = field(default_factory=dict)

    @property
    def identity(self) -> str:
        """SHA-256 of what was recorded, whichever archive it lies in."""
        told = codec.to_data([self.entries, self.rolls])
        for roll in told[1]:
            for photo in roll["photos"]:
                del photo[
                    "sha256"
                ]  # a copy without location has another, its reading the first one
        return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()


def pack(connection: Connection, number: int) -> PackedJob:
    """Everything on record about a job; `files` as they lie in this archive."""
    row = connection.execute(select(jobs).where(jobs.c.number == number)).first()
    if row is None:
        raise no_such_job(number)
    filed = connection.execute(
        select(rolls).where(rolls.c.job_number == number).order_by(rolls.c.number)
    ).all()
    lines = connection.execute(
        select(entries, rolls.c.uid)
        .outerjoin(rolls, rolls.c.id == entries.c.roll_id)
        .where(entries.c.job_number == number)
        .order_by(entries.c.id)
    ).all()
    packed = tuple(_roll(connection, roll) for roll in filed)
    return PackedJob(
        uid=row.uid,
        id=job_id(number),
        opened_at=row.opened_at,
        changed_at=row.changed_at,
        entries=tuple(
            PackedEntry(x.section, json.loads(x.value), x.at, x.by, x.uid) for x in lines
        ),
        rolls=packed,
        files=_files(connection, packed),
        sheets={x.section: json.loads(x.value) for x in lines if x.uid is None},
    )


def _roll(connection: Connection, row: Any) -> PackedRoll:
    shots = connection.execute(
        select(roll_photos).where(roll_photos.c.roll_id == row.id).order_by(roll_photos.c.position)
    )
    return PackedRoll(
        uid=row.uid,
        number=row.number,
        kind=row.kind,
        filed_at=row.filed_at,
        version=row.version,
        roll=codec.from_json(Roll, row.roll),
        by=row.by,
        note=row.note,
        backlash_readings_in=codec.from_json(tuple[float, ...], row.backlash_readings),
        advice=codec.from_json(Advice, row.advice) if row.advice else None,
        photos=tuple(
            PackedPhoto(s.position, s.side, s.name, s.sha256, codec.from_json(Reading, s.reading))
            for s in shots
        ),
    )


def _files(connection: Connection, packed: tuple[PackedRoll, ...]) -> tuple[PackedFile, ...]:
    wanted = dict.fromkeys(photo.sha256 for roll in packed for photo in roll.photos)
    sizes = {
        row.sha256: row.size_bytes
        for row in connection.execute(select(photos).where(photos.c.sha256.in_(list(wanted))))
    }
    return tuple(PackedFile(sha256, sha256, sizes[sha256]) for sha256 in wanted)


def unpack(text: bytes, where: str) -> PackedJob:
    """Read `job.json`. Raises InvalidInput naming what does not fit."""
    try:
        data = json.loads(text)
        if not isinstance(data, dict) or data.get("format") != FORMAT:
            raise ValueError(f"its format is not {FORMAT!r}")
        if int(data.get("format_version", 0)) > FORMAT_VERSION:
            raise ValueError("it was made by a newer version of this program")
        job: PackedJob = codec.from_data(PackedJob, data)
        return _checked(job)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as fault:
        what = fault.message if isinstance(fault, InvalidInput) else str(fault)
        raise InvalidInput(
            f"job.json does not fit: {what}", subject=where, remedy="Export the job again"
        ) from fault


def _checked(job: PackedJob) -> PackedJob:
    uids = [job.uid, *(roll.uid for roll in job.rolls)]
    hashes = [h for file in job.files for h in (file.sha256, file.file_sha256)]
    moments = [
        job.opened_at,
        job.changed_at,
        *(e.at for e in job.entries),
        *(r.filed_at for r in job.rolls),
    ]
    for values, shape, what in (
        (uids, _UID, "uid"),
        (hashes, _HASH, "SHA-256"),
        (moments, _MOMENT, "moment"),
    ):
        for value in values:
            if not shape.fullmatch(value):
                raise ValueError(f"{value[:70]!r} is no {what}")
    if [roll.number for roll in job.rolls] != list(range(1, len(job.rolls) + 1)):
        raise ValueError("the rolls are not numbered 1, 2, 3 ...")
    if len(set(uids)) != len(uids):
        raise ValueError("two rolls have the same uid")
    known = {file.sha256 for file in job.files}
    missing = {photo.sha256 for roll in job.rolls for photo in roll.photos} - known
    if missing:
        raise ValueError(f"photo {min(missing)[:12]} is named by a roll but not listed")
    return replace(job, entries=tuple(_entry(entry, job) for entry in job.entries))


def _entry(entry: PackedEntry, job: PackedJob) -> PackedEntry:
    if entry.roll is not None and entry.roll not in {roll.uid for roll in job.rolls}:
        raise ValueError(f"an entry names roll {entry.roll[:40]!r}, which is not there")
    kind = section_type(entry.section, of_roll=entry.roll is not None)
    return replace(entry, value=codec.to_data(codec.from_data(kind, entry.value)))
