"""Find jobs: a page of the list by words and filters, and jobs like one at hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Select, func, or_, select

from pattern.archive.load import job_id, job_number
from pattern.archive.schema import job_tags, jobs, rolls
from pattern.errors import InvalidInput
from pattern.jobs import STATUSES, JobLine, JobPage

PAGE = 50
_LISTED = (
    jobs.c.number, jobs.c.opened_at, jobs.c.changed_at, jobs.c.status, jobs.c.customer,
    jobs.c.vehicle, jobs.c.ring_teeth, jobs.c.pinion_teeth, jobs.c.ring_diameter_in,
)  # fmt: skip


@dataclass(frozen=True)
class Query:
    """What to look for; everything given must hold. Dates are ISO, of the day a job was opened.

    `older_than` is a job id: the page after it. `ratio` is ring gear over pinion teeth, found to
    within 0.006, as the trade rounds it.
    """

    words: str = ""
    tag: str = ""
    status: str = ""
    ring_teeth: int | None = None
    pinion_teeth: int | None = None
    ratio: float | None = None
    ring_diameter_in: float | None = None
    since: str = ""
    until: str = ""
    older_than: str = ""
    page_size: int = PAGE

    def __post_init__(self) -> None:
        if self.status and self.status not in STATUSES:
            raise InvalidInput(
                f"{self.status!r} is not known",
                subject="status",
                remedy="Use: " + ", ".join(STATUSES),
            )
        if not 1 <= self.page_size <= 1000:
            raise InvalidInput(f"{self.page_size}", subject="page_size", remedy="Give 1 to 1000")


def list_jobs(connection: Connection, query: Query) -> JobPage:
    """A page of jobs, newest first."""
    chosen = _filtered(select(*_LISTED), query).order_by(jobs.c.number.desc())
    rows = connection.execute(chosen.limit(query.page_size + 1)).all()
    shown = rows[: query.page_size]
    numbers = [row.number for row in shown]
    tags = _tags_of(connection, numbers)
    counts = _rolls_of(connection, numbers)
    lines = tuple(
        JobLine(
            id=job_id(row.number),
            rolls=counts.get(row.number, 0),
            tags=tuple(tags.get(row.number, ())),
            **{column.name: getattr(row, column.name) for column in _LISTED[1:]},
        )
        for row in shown
    )
    return JobPage(lines, lines[-1].id if len(rows) > query.page_size else None)


def _filtered(chosen: Select[Any], query: Query) -> Select[Any]:
    for name in ("ring_teeth", "pinion_teeth"):
        if getattr(query, name) is not None:
            chosen = chosen.where(jobs.c[name] == getattr(query, name))
    if query.status:
        chosen = chosen.where(jobs.c.status == query.status)
    if query.ratio is not None:
        ratio = jobs.c.ring_teeth * 1.0 / jobs.c.pinion_teeth
        chosen = chosen.where(ratio.between(query.ratio - 0.006, query.ratio + 0.006))
    if query.ring_diameter_in is not None:
        low, high = query.ring_diameter_in - 0.05, query.ring_diameter_in + 0.05
        chosen = chosen.where(jobs.c.ring_diameter_in.between(low, high))
    if query.tag:
        tagged = select(job_tags.c.job_number).where(job_tags.c.tag == query.tag.lower())
        chosen = chosen.where(jobs.c.number.in_(tagged))
    if query.since:
        chosen = chosen.where(jobs.c.opened_at >= query.since)
    if query.until:
        chosen = chosen.where(jobs.c.opened_at < query.until + "~")  # the whole day counts
    if query.older_than:
        chosen = chosen.where(jobs.c.number < job_number(query.older_than))
    for word in query.words.split():
        chosen = chosen.where(
            or_(jobs.c.customer.icontains(word, autoescape=True),
                jobs.c.vehicle.icontains(word, autoescape=True))
        )  # fmt: skip
    return chosen


def _tags_of(connection: Connection, numbers: list[int]) -> dict[int, list[str]]:
    found: dict[int, list[str]] = {}
    rows = select(job_tags).where(job_tags.c.job_number.in_(numbers)).order_by(job_tags.c.tag)
    for row in connection.execute(rows):
        found.setdefault(row.job_number, []).append(row.tag)
    return found


def _rolls_of(connection: Connection, numbers: list[int]) -> dict[int, int]:
    counted = (
        select(rolls.c.job_number, func.count())
        .where(rolls.c.job_number.in_(numbers))
        .group_by(rolls.c.job_number)
    )
    return {row[0]: row[1] for row in connection.execute(counted)}
