"""Two benches edit one job at once: nothing that either wrote may vanish unnoticed.

Each edit says which version of the job it was made from. Section by section, what the edit did not
change is left as the other bench has it; where both changed the same section the second is refused and
told who wrote what.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
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
    over: Collection[str] = (),
) -> dict[str, str]:
    """Of the sections in `fresh`, JSON by name, those that the edit itself changed since `seen`.

    `standing` is what the job says now, `unsaid` what a section says that nobody has edited yet; the
    sections in `over` are written all the same. Raises EditedMeanwhile, naming each other section that
    was changed here and there to different ends.
    """
    lines = _lines(connection, job_number, roll_id)
    before = dict(unsaid)
    before |= {line.section: line.value for line in lines if line.job_version <= seen}
    standing = {**unsaid, **standing}
    changed = {name: value for name, value in fresh.items() if before.get(name) != value}
    clashes = [n for n in changed if standing.get(n) != before.get(n) and n not in over]
    if clashes:
        last = {line.section: line for line in lines}
        told = "; ".join(_told(name, before.get(name), last[name]) for name in clashes)
        fault = EditedMeanwhile(
            f"was changed meanwhile: {told}",
            subject=job_id(job_number),
            remedy="Look at it as it is now and make the edit again; nothing of it was written",
        )
        fault.sections = tuple(clashes)
        raise fault
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


def merged_draft(before: dict[str, Any], stored: Any, after: dict[str, Any]) -> dict[str, Any]:
    """A half-done form with what one device changed, from `before` to `after`, over what is `stored`.

    Field by field; of a list of records, those that were added and taken out.
    """
    if not isinstance(stored, dict):
        return after
    changed = {k: v for k, v in after.items() if k not in before or before[k] != v}
    for name, value in changed.items():
        lists = before.get(name), stored.get(name), value
        if lists[0] != lists[1] and all(_is_records(one) for one in lists):
            changed[name] = _merged_records(*lists)
    return after | stored | changed


def _is_records(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(item, dict) for item in value)


def _merged_records(before: Any, stored: Any, after: Any) -> list[Any]:
    kept = [item for item in stored if item in after or item not in before]
    return kept + [item for item in after if item not in before and item not in kept]
