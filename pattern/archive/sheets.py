"""The sheets of a job and of a roll: what can be edited, and the append-only entries behind it.

An edit adds an entry and never changes one; what stands is the latest entry of its section.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, insert, select, update

from pattern.archive import codec
from pattern.archive.listing import latest, refresh
from pattern.archive.merge import without_lost_updates
from pattern.archive.schema import entries, jobs, roll_photos, rolls
from pattern.errors import InvalidInput
from pattern.jobs import AsFound, Entry, FinalSheet, Part, RollKind, Status
from pattern.records import Advice, Axle, Reading, Roll

JOB_SECTIONS: dict[str, Any] = {
    "status": Status,
    "customer": str,
    "vehicle": str,
    "axle": Axle | None,
    "as_found": AsFound,
    "parts": tuple[Part, ...],
    "notes": str,
    "tags": tuple[str, ...],
    "final": FinalSheet,
}
ROLL_SECTIONS: dict[str, Any] = {
    "kind": RollKind,
    "roll": Roll,
    "backlash_readings_in": tuple[float, ...],
    "advice": Advice | None,
    "note": str,
    "struck": str,
}
_UNSAID = {
    "status": '"open"', "customer": '""', "vehicle": '""', "axle": "null", "notes": '""',
    "as_found": codec.to_json(AsFound()), "parts": "[]", "tags": "[]",
    "final": codec.to_json(FinalSheet()),
}  # fmt: skip
"""What a job says of a section that was never edited."""
READING = "reading:"
"""A photo's hand-corrected reading is the section ``reading:POSITION``."""


def now() -> str:
    """This moment in UTC, ISO 8601, so that text order is time order."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def section_type(section: str, *, of_roll: bool) -> Any:
    """The type a section holds. Raises InvalidInput for an unknown one."""
    if of_roll and section.startswith(READING) and section.removeprefix(READING).isdigit():
        return Reading | None
    known = ROLL_SECTIONS if of_roll else JOB_SECTIONS
    if section not in known:
        raise InvalidInput(
            "is no part of a job's record",
            subject=section or "''",
            remedy="Use one of: " + ", ".join(known),
        )
    return known[section]


def checked(section: str, value: Any, *, of_roll: bool) -> str:
    """The section's JSON, after a round through its type. Raises InvalidInput naming the section."""
    kind = section_type(section, of_roll=of_roll)
    if section == "tags":
        value = _clean_tags(value)
    if section == "axle" and isinstance(value, Mapping):
        from pattern.setup.axle_record import axle_from_fields

        value = axle_from_fields(value)  # lengths in mm, a stamped ratio, and its own messages
    try:
        return codec.to_json(codec.from_data(kind, codec.to_data(value), strict=True))
    except (ValueError, TypeError, KeyError, AttributeError) as fault:
        if isinstance(fault, InvalidInput):
            raise
        raise InvalidInput(
            f"does not fit: {fault}", subject=section, remedy="Correct the value"
        ) from fault


def write_entries(
    connection: Connection, job_number: int, roll_id: int | None, values: Mapping[str, str], by: str,
    *, seen: int | None = None, over: Collection[str] = (),
) -> int:  # fmt: skip
    """Add an entry for each section whose JSON differs from what stands; returns how many.

    `seen` is the version of the job that the edit was made from. The caller holds the job locked.
    Raises EditedMeanwhile.
    """
    standing = latest(connection, job_number, roll_id)
    fresh = {name: value for name, value in values.items() if standing.get(name) != value}
    if seen is not None:
        unsaid = _UNSAID if roll_id is None else _as_filed(connection, roll_id)
        fresh = without_lost_updates(
            connection, job_number, roll_id, seen, standing, fresh, unsaid, over
        )
    at = now()
    if fresh:
        raised = {"changed_at": at, "version": jobs.c.version + 1}
        this_job = update(jobs).where(jobs.c.number == job_number)
        version = connection.scalar(this_job.values(**raised).returning(jobs.c.version))
    for section, value in fresh.items():
        row = {"job_number": job_number, "roll_id": roll_id, "section": section, "value": value}
        connection.execute(insert(entries).values(**row, at=at, by=by, job_version=version))
    if fresh:
        refresh(connection, job_number)
    return len(fresh)


def _as_filed(connection: Connection, roll_id: int) -> dict[str, str]:
    row = connection.execute(select(rolls).where(rolls.c.id == roll_id)).one()
    taken = select(roll_photos.c.position).where(roll_photos.c.roll_id == roll_id)
    return {f"{READING}{position}": "null" for position in connection.scalars(taken)} | {
        "kind": codec.to_json(row.kind), "roll": row.roll, "note": codec.to_json(row.note),
        "backlash_readings_in": row.backlash_readings, "advice": row.advice or "null",
        "struck": '""',
    }  # fmt: skip


def history(connection: Connection, job_number: int) -> tuple[Entry, ...]:
    """Every entry of a job and its rolls, oldest first, each with what stood before it."""
    rows = connection.execute(
        select(entries, rolls.c.number.label("roll_number"))
        .outerjoin(rolls, rolls.c.id == entries.c.roll_id)
        .where(entries.c.job_number == job_number)
        .order_by(entries.c.id)
    )
    standing: dict[tuple[int | None, str], str] = {}
    found = []
    for row in rows:
        key = (row.roll_number, row.section)
        found.append(
            Entry(row.at, row.by, row.section, row.roll_number, standing.get(key), row.value)
        )
        standing[key] = row.value
    return tuple(found)


def _clean_tags(tags: Any) -> tuple[str, ...]:
    if isinstance(tags, str):
        tags = tags.split(",")
    cleaned = sorted({" ".join(str(tag).lower().split()) for tag in tags} - {""})
    for tag in cleaned:
        if len(tag) > 60:
            raise InvalidInput("is longer than 60 letters", subject=tag[:60], remedy="Shorten it")
    return tuple(cleaned)
