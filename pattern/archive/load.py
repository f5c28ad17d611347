"""Put a job together from its rows."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from sqlalchemy import Connection, Row, select

from pattern.archive import codec
from pattern.archive.job_ids import job_id, no_such_job
from pattern.archive.schema import entries, jobs, photos, roll_photos, rolls
from pattern.archive.sheets import JOB_SECTIONS, READING
from pattern.jobs import FiledPhoto, FiledRoll, Job, RollKind
from pattern.records import Advice, Reading, Roll

Standing = dict[int | None, dict[str, str]]


def load_job(connection: Connection, number: int) -> Job:
    """Everything on record about one job. Raises InvalidInput if there is none."""
    row = connection.execute(select(jobs).where(jobs.c.number == number)).first()
    if row is None:
        raise no_such_job(number)
    standing = _standing(connection, number)
    where = f"job {job_id(number)}"
    sheets = {
        name: codec.from_json(kind, standing[None][name], where=where)
        for name, kind in JOB_SECTIONS.items()
        if name in standing[None]
    }
    return Job(
        id=job_id(row.number),
        uid=row.uid,
        opened_at=row.opened_at,
        changed_at=row.changed_at,
        imported_from=row.imported_from,
        version=row.version,
        rolls=_rolls(connection, number, standing, where),
        **sheets,
    )


def _standing(connection: Connection, number: int) -> Standing:
    found: Standing = defaultdict(dict)
    rows = select(entries).where(entries.c.job_number == number).order_by(entries.c.id)
    for row in connection.execute(rows):
        found[row.roll_id][row.section] = row.value
    return found


def _rolls(
    connection: Connection, number: int, standing: Standing, where: str
) -> tuple[FiledRoll, ...]:
    shots: dict[int, list[Row[Any]]] = defaultdict(list)
    for shot in connection.execute(
        select(roll_photos, photos.c.size_bytes)
        .join(photos, photos.c.sha256 == roll_photos.c.sha256)
        .join(rolls, rolls.c.id == roll_photos.c.roll_id)
        .where(rolls.c.job_number == number)
        .order_by(roll_photos.c.roll_id, roll_photos.c.position)
    ):
        shots[shot.roll_id].append(shot)
    rows = select(rolls).where(rolls.c.job_number == number).order_by(rolls.c.number)
    return tuple(
        _roll(row, shots[row.id], standing[row.id], where) for row in connection.execute(rows).all()
    )


def _roll(row: Row[Any], shots: list[Row[Any]], edits: dict[str, str], where: str) -> FiledRoll:
    where = f"{where}, roll {row.number}"
    as_filed = codec.from_json(Roll, row.roll, where=where)
    advice_as_filed = codec.from_json(Advice, row.advice, where=where) if row.advice else None
    readings = codec.from_json(
        tuple[float, ...], edits.get("backlash_readings_in", row.backlash_readings), where=where
    )
    advice = advice_as_filed
    if "advice" in edits:
        advice = codec.from_json(Advice | None, edits["advice"], where=where)
    return FiledRoll(
        number=row.number,
        uid=row.uid,
        kind=codec.from_json(RollKind, edits["kind"], where=where) if "kind" in edits else row.kind,
        filed_at=row.filed_at,
        roll=codec.from_json(Roll, edits["roll"], where=where) if "roll" in edits else as_filed,
        as_filed=as_filed,
        photos=tuple(_photo(shot, edits, where) for shot in shots),
        backlash_readings_in=readings,
        advice=advice,
        advice_as_filed=advice_as_filed,
        note=codec.from_json(str, edits["note"], where=where) if "note" in edits else row.note,
        struck=codec.from_json(str, edits["struck"], where=where) if "struck" in edits else "",
        version=row.version,
        by=row.by,
    )


def _photo(shot: Row[Any], edits: dict[str, str], where: str) -> FiledPhoto:
    by_hand = edits.get(f"{READING}{shot.position}", "null")
    corrected = codec.from_json(Reading | None, by_hand, where=where)
    return FiledPhoto(
        position=shot.position,
        name=shot.name,
        sha256=shot.sha256,
        side=corrected.side if corrected else shot.side,
        size_bytes=shot.size_bytes,
        reading=codec.from_json(Reading, shot.reading, where=where),
        corrected=corrected,
    )
