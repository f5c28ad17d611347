"""What the lists are searched by: columns of `jobs` derived from what is recorded. Rebuilt at will."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from typing import Any

from sqlalchemy import Connection, delete, func, insert, select, update

from pattern.archive import codec
from pattern.archive.schema import entries, job_tags, jobs, rolls
from pattern.jobs import AsFound, FinalSheet, Part
from pattern.records import Axle

_MOST_WORDS = 20_000


def folded(text: str) -> list[str]:
    """The words of a text as they are looked for: no case, no accents, letters and digits only.

    Both databases search what this makes (Unicode compatibility decomposition, combining marks
    dropped), so that both find the same.
    """
    plain = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(sign for sign in plain if not unicodedata.combining(sign))
    return re.findall(r"[^\W_]+", bare)


def searchable(texts: Iterable[str]) -> str:
    """What `jobs.words` holds for a job with these texts."""
    return " ".join(folded(" ".join(texts))[:_MOST_WORDS])


def latest(connection: Connection, job_number: int, roll_id: int | None) -> dict[str, str]:
    """The standing JSON of each section of a job (`roll_id` None) or of one roll."""
    rows = connection.execute(
        select(entries.c.section, entries.c.value)
        .where(entries.c.job_number == job_number, entries.c.roll_id.is_(None) if roll_id is None
               else entries.c.roll_id == roll_id)
        .order_by(entries.c.id)
    )  # fmt: skip
    return {row.section: row.value for row in rows}


def refresh(connection: Connection, job_number: int) -> None:
    """Derive a job's list columns and tags again, after anything of it changed."""
    standing = latest(connection, job_number, None)
    counted = select(func.count()).where(rolls.c.job_number == job_number)
    tags = codec.from_json(tuple[str, ...], standing.get("tags", "[]"))
    columns = _columns(standing) | {
        "roll_count": connection.scalar(counted),
        "tag_list": ", ".join(tags),
        "words": searchable([*_words(standing), *tags, *_roll_notes(connection, job_number)]),
    }
    connection.execute(update(jobs).where(jobs.c.number == job_number).values(**columns))
    written = set(
        connection.scalars(select(job_tags.c.tag).where(job_tags.c.job_number == job_number))
    )
    if written != set(tags):
        connection.execute(delete(job_tags).where(job_tags.c.job_number == job_number))
        for tag in tags:
            connection.execute(insert(job_tags).values(job_number=job_number, tag=tag))


def refresh_all(connection: Connection) -> None:
    """Derive every job's list columns again, after the schema changed."""
    for number in connection.scalars(select(jobs.c.number)).all():
        refresh(connection, number)


def _columns(standing: dict[str, str]) -> dict[str, Any]:
    axle: Axle | None = codec.from_json(Axle | None, standing.get("axle", "null"))
    found: AsFound = codec.from_json(AsFound, standing.get("as_found", "{}"))
    final: FinalSheet = codec.from_json(FinalSheet, standing.get("final", "{}"))
    return {
        "status": codec.from_json(str, standing.get("status", '"open"')),
        "customer": codec.from_json(str, standing.get("customer", '""')),
        "vehicle": codec.from_json(str, standing.get("vehicle", '""')),
        "ring_teeth": axle.ring_teeth if axle else None,
        "pinion_teeth": axle.pinion_teeth if axle else None,
        "ring_diameter_in": axle.ring_diameter_in if axle else None,
        "ratio_hundredths": round(axle.ratio * 100) if axle else None,
        "depth_shim": axle.depth_shim if axle else "unknown",
        "pinion_mark": found.pinion_mark,
        "ended_depth_shim_in": final.depth_shim_in,
        "ended_left_shim_in": final.left_shim_in,
        "ended_right_shim_in": final.right_shim_in,
    }


def _words(standing: dict[str, str]) -> Iterable[str]:
    for section in ("customer", "vehicle", "notes"):
        yield codec.from_json(str, standing.get(section, '""'))
    for part in codec.from_json(tuple[Part, ...], standing.get("parts", "[]")):
        yield f"{part.name} {part.number}"
    found = codec.from_json(AsFound, standing.get("as_found", "{}"))
    final = codec.from_json(FinalSheet, standing.get("final", "{}"))
    yield from (found.notes, found.pinion_mark, found.ring_mark, final.notes, final.checked_by)


def _roll_notes(connection: Connection, job_number: int) -> Iterable[str]:
    yield from connection.scalars(select(rolls.c.note).where(rolls.c.job_number == job_number))
    edited = select(entries.c.value).where(
        entries.c.job_number == job_number, entries.c.section.in_(("note", "struck"))
    )
    for value in connection.scalars(edited):
        yield codec.from_json(str, value)
