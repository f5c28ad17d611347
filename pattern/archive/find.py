"""Find jobs: a page of the list by words and filters, and jobs like one at hand."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
from typing import Any

from sqlalchemy import Connection, Select, exists, literal_column, select, table, text

from pattern.archive.job_ids import job_id, job_number
from pattern.archive.listing import folded
from pattern.archive.schema import job_tags, jobs
from pattern.errors import InvalidInput
from pattern.jobs import STATUSES, JobLine, JobPage, LikeJob, ShimHint
from pattern.records import Axle

PAGE = 50
SAME_DIAMETER_IN = 0.05
_FULL_TEXT = table("job_words")
_LISTED = (
    jobs.c.number, jobs.c.opened_at, jobs.c.changed_at, jobs.c.status, jobs.c.customer,
    jobs.c.vehicle, jobs.c.ring_teeth, jobs.c.pinion_teeth, jobs.c.ring_diameter_in,
    jobs.c.roll_count, jobs.c.tag_list,
)  # fmt: skip


@dataclass(frozen=True)
class Query:
    """What to look for; everything given must hold. Dates are ISO, of the day a job was opened.

    `words` are found in customer, vehicle, notes, parts, etched marks and tags, by their beginnings,
    or as a job's id. `older_than` is a job id: the page after it. `ratio` is ring gear over pinion
    teeth, to the hundredth that the trade rounds it to.
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
    words = query.words.split()
    chosen = _by_columns(select(*_LISTED), query)
    newest_first: Any = jobs.c.number.desc()
    if len(words) == 1 and (number := _as_number(words[0])) is not None:
        chosen = chosen.where(jobs.c.number == number)
    elif runs := [run for word in words if (run := folded(word))]:
        chosen, newest_first = _by_words(connection, chosen, query, runs)
    elif words:
        return JobPage((), None)  # signs only: no job is known by those
    elif query.tag:
        tagged = job_tags.c.job_number == jobs.c.number
        chosen = chosen.join(job_tags, tagged).where(job_tags.c.tag == query.tag.lower())
        newest_first = job_tags.c.job_number.desc()
    rows = connection.execute(chosen.order_by(newest_first).limit(query.page_size + 1)).all()
    lines = tuple(_line(row) for row in rows[: query.page_size])
    return JobPage(lines, lines[-1].id if len(rows) > query.page_size else None)


def _by_columns(chosen: Select[Any], query: Query) -> Select[Any]:
    for name in ("ring_teeth", "pinion_teeth"):
        if getattr(query, name) is not None:
            chosen = chosen.where(jobs.c[name] == getattr(query, name))
    if query.status:
        chosen = chosen.where(jobs.c.status == query.status)
    if query.ratio is not None:
        chosen = chosen.where(jobs.c.ratio_hundredths == round(query.ratio * 100))
    if query.ring_diameter_in is not None:
        low, high = _same_diameter(query.ring_diameter_in)
        chosen = chosen.where(jobs.c.ring_diameter_in.between(low, high))
    if query.since:
        chosen = chosen.where(jobs.c.opened_at >= query.since)
    if query.until:
        chosen = chosen.where(jobs.c.opened_at < query.until + "~")  # the whole day counts
    if query.older_than:
        chosen = chosen.where(jobs.c.number < job_number(query.older_than))
    return chosen


def _by_words(
    connection: Connection, chosen: Select[Any], query: Query, words: list[list[str]]
) -> tuple[Select[Any], Any]:
    """Jobs with every one of `words`, each a run of words whose last one may go on."""
    if connection.dialect.name != "sqlite":
        wanted = " & ".join("(" + " <-> ".join(f"'{w}'" for w in run) + ":*)" for run in words)
        match = text("to_tsvector('simple', jobs.words) @@ to_tsquery('simple', :wanted)")
        chosen = chosen.where(match.bindparams(wanted=wanted))
        return _tagged(chosen, query.tag, jobs.c.number), jobs.c.number.desc()
    # let the full-text table lead, in its own order: it stops as soon as the page is full
    wanted = " ".join('"' + " ".join(run) + '"*' for run in words)
    rowid: Any = literal_column("job_words.rowid")
    # the plus keeps SQLite from leading with `jobs` and asking the full-text table row by row
    chosen = chosen.join(_FULL_TEXT, jobs.c.number == literal_column("+job_words.rowid"))
    chosen = chosen.where(text("job_words MATCH :wanted").bindparams(wanted=wanted))
    if query.older_than:
        chosen = chosen.where(rowid < job_number(query.older_than))
    return _tagged(chosen, query.tag, rowid), rowid.desc()


def _tagged(chosen: Select[Any], tag: str, number: Any) -> Select[Any]:
    """Only jobs with the tag; asked of `number`, before a job's own row is fetched."""
    if not tag:
        return chosen
    named = (job_tags.c.job_number == number) & (job_tags.c.tag == tag.lower())
    return chosen.where(exists().where(named))


def _as_number(word: str) -> int | None:
    is_id = word[:1] in "Jj" and word[1:].isascii() and word[1:].isdigit() and len(word) >= 5
    return job_number(word) if is_id else None


def _line(row: Any) -> JobLine:
    return JobLine(
        id=job_id(row.number),
        opened_at=row.opened_at,
        changed_at=row.changed_at,
        status=row.status,
        customer=row.customer,
        vehicle=row.vehicle,
        ring_teeth=row.ring_teeth,
        pinion_teeth=row.pinion_teeth,
        ring_diameter_in=row.ring_diameter_in,
        rolls=row.roll_count,
        tags=tuple(row.tag_list.split(", ")) if row.tag_list else (),
    )


def _same_diameter(diameter_in: float) -> tuple[float, float]:
    return diameter_in - SAME_DIAMETER_IN, diameter_in + SAME_DIAMETER_IN


def jobs_like(
    connection: Connection, axle: Axle, *, but: str = "", limit: int = 20
) -> tuple[LikeJob, ...]:
    """Finished jobs with the same tooth counts and ring gear diameter, and their shims at the end."""
    low, high = _same_diameter(axle.ring_diameter_in)
    chosen = select(jobs).where(
        jobs.c.ring_teeth == axle.ring_teeth,
        jobs.c.pinion_teeth == axle.pinion_teeth,
        jobs.c.ring_diameter_in.between(low, high),
        jobs.c.status == "done",
        jobs.c.ended_depth_shim_in.is_not(None),
    )
    if but:
        chosen = chosen.where(jobs.c.number != job_number(but))
    rows = connection.execute(chosen.order_by(jobs.c.number.desc()).limit(limit))
    return tuple(
        LikeJob(
            id=job_id(row.number),
            changed_at=row.changed_at,
            vehicle=row.vehicle,
            depth_shim_in=row.ended_depth_shim_in,
            left_shim_in=row.ended_left_shim_in,
            right_shim_in=row.ended_right_shim_in,
            depth_shim=row.depth_shim,
            pinion_mark=row.pinion_mark,
        )
        for row in rows
    )


def shim_hint(axle: Axle, likes: tuple[LikeJob, ...]) -> ShimHint | None:
    """A depth shim to start from: the middle of those that jobs like this one ended on.

    Only jobs whose shim sits at the same known place count; None where there are none.
    """
    same = [like for like in likes if like.depth_shim == axle.depth_shim != "unknown"]
    shims = [like.depth_shim_in for like in same if like.depth_shim_in is not None]
    if not shims:
        return None
    return ShimHint(median(shims), min(shims), max(shims), tuple(same))
