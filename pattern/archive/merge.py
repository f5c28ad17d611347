"""Two benches edit one job at once: nothing that either wrote may vanish unnoticed.

Each edit says which version of the job it was made from. Section by section, what the edit did not
change is left as the other bench has it; where both changed the same section the second is refused and
told who wrote what.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Row, select

from pattern.archive.job_ids import job_id
from pattern.archive.schema import entries
from pattern.errors import EditedMeanwhile

_SHOWN = 80


def without_lost_updates(
    connection: Connection,
    job_number: int,
    roll_id: int | None,
    seen: int,
    standing: Mapping[str, str],
    fresh: Mapping[str, str],
    unsaid: Mapping[str, str],
) -> dict[str, str]:
    """Of the sections in `fresh`, JSON by name, those that the edit itself changed since `seen`.

    `standing` is what the job says now, `unsaid` what a section says that nobody has edited yet. Raises
    EditedMeanwhile, naming each section that was changed here and there to different ends.
    """
    lines = _lines(connection, job_number, roll_id)
    before = dict(unsaid)
    before |= {line.section: line.value for line in lines if line.job_version <= seen}
    standing = {**unsaid, **standing}
    changed = {name: value for name, value in fresh.items() if before.get(name) != value}
    clashes = [name for name in changed if standing.get(name) != before.get(name)]
    if clashes:
        last = {line.section: line for line in lines}
        told = "; ".join(_told(name, before.get(name), last[name]) for name in clashes)
        raise EditedMeanwhile(
            f"was changed meanwhile: {told}",
            subject=job_id(job_number),
            remedy="Look at it as it is now and make the edit again; nothing of it was written",
        )
    return changed


def _lines(connection: Connection, job_number: int, roll_id: int | None) -> Sequence[Row[Any]]:
    whose = entries.c.roll_id.is_(None) if roll_id is None else entries.c.roll_id == roll_id
    rows = select(entries).where(entries.c.job_number == job_number, whose).order_by(entries.c.id)
    return connection.execute(rows).all()


def _told(section: str, before: str | None, line: Row[Any]) -> str:
    by = f" by {line.by}" if line.by else ""
    return f"{section}{by} at {line.at}, from {_short(before)} to {_short(line.value)}"


def _short(value: str | None) -> str:
    if value is None:
        return "nothing"
    return value if len(value) <= _SHOWN else value[: _SHOWN - 1] + "…"
