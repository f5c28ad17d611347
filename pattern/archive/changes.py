"""How readings changed from one reader to another, over all photos that both have read."""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from sqlalchemy import Connection, Row, Select, and_, func, select, tuple_

from pattern.archive import codec
from pattern.archive.again import corrections
from pattern.archive.database import Database
from pattern.archive.job_ids import job_id
from pattern.archive.schema import later_readings, photos, roll_photos, rolls
from pattern.errors import InvalidInput
from pattern.jobs import AS_FILED, ChangedReading, ReadingChanges, centre_distance
from pattern.reading.score import OFF_CENTRE
from pattern.records import Reading

LARGEST = 10
_PAGE = 500


def readers(connection: Connection) -> list[tuple[str, int]]:
    """Every later reader and how many photos it has read, the one that read last first."""
    found = (
        select(later_readings.c.reader, func.count())
        .group_by(later_readings.c.reader)
        .order_by(func.max(later_readings.c.read_at).desc())
    )
    return [(row[0], int(row[1])) for row in connection.execute(found)]


def reading_changes(
    database: Database, *, before: str = AS_FILED, after: str = "", largest: int = LARGEST
) -> ReadingChanges:
    """Compare two readers; `after` is by default the one that read last.

    Raises InvalidInput for a reader that has read nothing here.
    """
    known = database.read(readers)
    after = after or (known[0][0] if known else "")
    for name in (before, after):
        if name != AS_FILED and name not in dict(known):
            raise InvalidInput(
                f"the reader {name!r} has read no photo here"
                if name
                else "no photo was read again yet",
                subject="archive changes",
                remedy="Run `contact-pattern archive read-again`; known: "
                + (", ".join(name for name, _ in known) or AS_FILED),
            )
    tally = _Tally(largest)
    for change in _changes(database, before, after):
        tally.take(change)
    return tally.told(before, after)


# --- reading rows ---------------------------------------------------------------------------------


def _changes(database: Database, before: str, after: str) -> Iterator[ChangedReading]:
    last = (0, 0)
    while page := database.read(lambda c, at=last: _page(c, before, after, at)):  # type: ignore[misc]
        yield from (change for _, change in page)
        last = page[-1][0]


def _page(
    connection: Connection, before: str, after: str, last: tuple[int, int]
) -> list[tuple[tuple[int, int], ChangedReading]]:
    rows = connection.execute(_rows(before, after, last)).all()
    by_hand = corrections(connection, [row.roll_id for row in rows])
    found = []
    for row in rows:
        place = (row.roll_id, row.position)
        found.append((place, _change(row, by_hand.get(place))))
    return found


def _rows(before: str, after: str, last: tuple[int, int]) -> Select[Any]:
    shot = roll_photos.c
    old, new = later_readings.alias("old"), later_readings.alias("new")
    chosen = (
        select(
            shot.roll_id, shot.position, shot.name, shot.sha256, photos.c.size_bytes,
            rolls.c.job_number, rolls.c.number,
            (shot.reading if before == AS_FILED else old.c.reading).label("before"),
            (shot.reading if after == AS_FILED else new.c.reading).label("after"),
        )
        .join(rolls, rolls.c.id == shot.roll_id)
        .join(photos, photos.c.sha256 == shot.sha256)
    )  # fmt: skip
    for table, name in ((old, before), (new, after)):
        if name != AS_FILED:
            same = and_(table.c.roll_id == shot.roll_id, table.c.position == shot.position)
            chosen = chosen.join(table, and_(same, table.c.reader == name))
    place = tuple_(shot.roll_id, shot.position)
    return chosen.where(place > tuple_(*last)).order_by(shot.roll_id, shot.position).limit(_PAGE)


def _change(row: Row[Any], by_hand: Reading | None) -> ChangedReading:
    where = f"{job_id(row.job_number)} roll {row.number}"
    return ChangedReading(
        job_id=job_id(row.job_number),
        roll=row.number,
        position=row.position,
        name=row.name,
        sha256=row.sha256,
        size_bytes=row.size_bytes,
        before=codec.from_json(Reading, row.before, where=where),
        after=codec.from_json(Reading, row.after, where=where),
        by_hand=by_hand,
    )


# --- counting -------------------------------------------------------------------------------------


class _Tally:
    """Numbers of every change, and whole readings of the largest only."""

    def __init__(self, largest: int) -> None:
        self._room = largest
        self._largest: list[tuple[float, int, ChangedReading]] = []
        self._apart: list[tuple[float, float]] = []
        self._hand: list[tuple[float, float]] = []
        self.photos = self.gained = self.lost = self.beyond = self.turned = 0

    def take(self, change: ChangedReading) -> None:
        """Count one photo."""
        self.photos += 1
        was, now = (r.status == "read" for r in (change.before, change.after))
        self.gained += now and not was
        self.lost += was and not now
        if change.distance is not None:
            self._take_move(change)
        if was != now or change.distance:
            # a reading lost or gained has no distance: after those that moved, lost ones first
            rank = change.distance if change.distance is not None else (-1.0 if was else -2.0)
            heapq.heappush(self._largest, (rank, -self.photos, change))
            if len(self._largest) > self._room:
                heapq.heappop(self._largest)

    def _take_move(self, change: ChangedReading) -> None:
        moved = [_axis(change, axis) for axis in ("lengthwise", "profile")]
        self._apart.append((abs(moved[0][0]), abs(moved[1][0])))
        self.beyond += any(abs(apart) > 2.0 * spread for apart, spread, _ in moved)
        self.turned += any(turned for _, _, turned in moved)
        before = centre_distance(change.before, change.by_hand)
        after = centre_distance(change.after, change.by_hand)
        if before is not None and after is not None:
            self._hand.append((before, after))

    def told(self, before: str, after: str) -> ReadingChanges:
        """What was counted."""
        apart, hand = np.array(self._apart), np.array(self._hand)
        spread = [
            (float(np.median(column)), float(np.quantile(column, 0.95))) for column in apart.T
        ]
        return ReadingChanges(
            before=before,
            after=after,
            photos=self.photos,
            both_read=len(apart),
            gained=self.gained,
            lost=self.lost,
            lengthwise=spread[0] if spread else None,
            profile=spread[1] if spread else None,
            beyond_spread=self.beyond,
            turned=self.turned,
            by_hand=len(hand),
            hand_before=float(np.median(hand[:, 0])) if len(hand) else None,
            hand_after=float(np.median(hand[:, 1])) if len(hand) else None,
            largest=tuple(change for _, _, change in sorted(self._largest, reverse=True)),
        )


def _axis(change: ChangedReading, axis: str) -> tuple[float, float, bool]:
    """By how much it moved along an axis, the two stated spreads together, and whether it turned."""
    was, now = getattr(change.before, axis) - 0.5, getattr(change.after, axis) - 0.5
    spreads = [getattr(r, f"{axis}_sd") or 0.0 for r in (change.before, change.after)]
    turned = was * now < 0 and max(abs(was), abs(now)) > OFF_CENTRE
    return now - was, math.hypot(*spreads), turned
