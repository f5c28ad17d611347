"""Read filed photos again with the present reader; what it says is kept beside what was filed.

Which photos are still to be read follows from what is kept, so that a run can stop at any moment and the
next one goes on. Nothing that was filed is changed, and no roll or advice takes up a later reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, and_, func, select, tuple_
from sqlalchemy.dialects import postgresql, sqlite

from pattern.archive import codec
from pattern.archive.database import Database
from pattern.archive.job_ids import job_id
from pattern.archive.outline_points import Points, six_points
from pattern.archive.photos import PhotoStore
from pattern.archive.reader import reader_name
from pattern.archive.schema import entries, later_readings, roll_photos, rolls
from pattern.archive.sheets import READING, now
from pattern.errors import InvalidSettings, PatternError
from pattern.photo.decode import decode_photo
from pattern.records import Direction, Hand, Photo, Reading, Side
from pattern.settings import Settings

Read = Callable[..., Reading]
"""`pattern.workflow.read_photo`, handed in: the archive lies below the workflow."""
_PAGE = 500


@dataclass(frozen=True)
class Task:
    """A filed photo to be read again, the way it was read: same side, hand and drawn outlines.

    `outlines` are six points a tooth, pixels, as `pattern.teeth.given` takes them; None if the teeth
    were found automatically.
    """

    roll_id: int
    position: int
    where: str
    sha256: str
    name: str
    side: Side
    hand: Hand
    toe: Direction | None = None
    outlines: tuple[Points, ...] | None = None


@dataclass(frozen=True)
class Later:
    """What a later reader said of a filed photo, and when."""

    reader: str
    read_at: str
    reading: Reading


@dataclass(frozen=True)
class Outcome:
    """What became of a task: the reading as JSON, or why there is none."""

    task: Task
    reading: str = ""
    fault: str = ""
    declined: bool = False


@dataclass(frozen=True)
class Worker:
    """All that a worker needs to read any of the photos; it is sent to other processes and machines."""

    photos: str
    settings: Settings
    reader: str
    read: Read

    def __call__(self, task: Task) -> Outcome:
        """Read one photo. A known fault is an outcome; it never stops the others."""
        try:
            self.refuse_other_reader()
            photo = decode_photo(PhotoStore(self.photos).get(task.sha256), task.name, self.settings)
            reading = self._read(photo, task)
        except PatternError as fault:
            return Outcome(task, fault=fault.message)
        except Exception as fault:  # a fault of the reader with one photo is told, the next is read
            return Outcome(task, fault=f"{type(fault).__name__}: {fault}")
        return Outcome(task, codec.to_json(reading), declined=reading.status == "declined")

    def _read(self, photo: Photo, task: Task) -> Reading:
        import cv2

        cv2.setNumThreads(1)  # a worker has one core; the others have theirs
        return self.read(
            photo, task.side, hand=task.hand, toe=task.toe, outlines=task.outlines,
            settings=self.settings,
        )  # fmt: skip

    def refuse_other_reader(self) -> None:
        """Raise InvalidSettings where another version of the reader is installed."""
        here = reader_name(self.settings)
        if here != self.reader:
            raise InvalidSettings(
                f"a worker has the reader {here}, asked is {self.reader}",
                subject="--scheduler",
                remedy="Install the same version of this program on every machine",
            )


# --- what is to be read ---------------------------------------------------------------------------


def count_tasks(connection: Connection, reader: str) -> tuple[int, int]:
    """Filed photos that `reader` has not read yet, and all of them."""
    everything = connection.scalar(select(func.count()).select_from(roll_photos))
    done = select(func.count()).where(later_readings.c.reader == reader)
    return int(everything or 0) - int(connection.scalar(done) or 0), int(everything or 0)


def tasks(database: Database, reader: str) -> Iterator[Task]:
    """Every filed photo that `reader` has not read yet, oldest roll first, looked up as it is needed."""
    last = (0, 0)
    while page := database.read(lambda connection, after=last: _page(connection, reader, after)):  # type: ignore[misc]
        yield from page
        last = (page[-1].roll_id, page[-1].position)


def _page(connection: Connection, reader: str, after: tuple[int, int]) -> list[Task]:
    place = tuple_(roll_photos.c.roll_id, roll_photos.c.position)
    shots = connection.execute(
        select(roll_photos, rolls.c.job_number, rolls.c.number)
        .join(rolls, rolls.c.id == roll_photos.c.roll_id)
        .outerjoin(later_readings, _same_photo(reader))
        .where(later_readings.c.reader.is_(None), place > tuple_(*after))
        .order_by(roll_photos.c.roll_id, roll_photos.c.position)
        .limit(_PAGE)
    ).all()
    by_hand = corrections(connection, [shot.roll_id for shot in shots])
    return [_task(shot, by_hand.get((shot.roll_id, shot.position))) for shot in shots]


def _same_photo(reader: str) -> ColumnElement[bool]:
    return and_(
        later_readings.c.roll_id == roll_photos.c.roll_id,
        later_readings.c.position == roll_photos.c.position,
        later_readings.c.reader == reader,
    )


def corrections(
    connection: Connection, roll_ids: Sequence[int]
) -> dict[tuple[int, int], Reading | None]:
    """The standing hand-corrected readings of rolls, by roll row and position of the photo."""
    lines = connection.execute(
        select(entries.c.roll_id, entries.c.section, entries.c.value)
        .where(entries.c.roll_id.in_(set(roll_ids)), entries.c.section.startswith(READING))
        .order_by(entries.c.id)
    )
    return {
        (line.roll_id, int(line.section.removeprefix(READING))): codec.from_json(
            Reading | None, line.value
        )
        for line in lines
    }


def _task(shot: Row[Any], corrected: Reading | None) -> Task:
    where = f"{job_id(shot.job_number)} roll {shot.number} photo {shot.position}"
    filed: Reading = codec.from_json(Reading, shot.reading, where=where)
    drawn = "drawn_by_hand" in filed.flags and filed.teeth
    return Task(
        roll_id=shot.roll_id,
        position=shot.position,
        where=where,
        sha256=shot.sha256,
        name=shot.name,
        side=corrected.side if corrected else filed.side,
        hand=(corrected or filed).hand,
        toe=filed.toe if "toe_overridden" in filed.flags else None,
        outlines=tuple(six_points(t) for t in filed.teeth) if drawn else None,
    )


def later_of(connection: Connection, job_number: int) -> dict[tuple[int, int], list[Later]]:
    """What later readers said of a job's photos, oldest first, by roll number and position."""
    rows = connection.execute(
        select(later_readings, rolls.c.number)
        .join(rolls, rolls.c.id == later_readings.c.roll_id)
        .where(rolls.c.job_number == job_number)
        .order_by(later_readings.c.read_at, later_readings.c.reader)
    )
    found: dict[tuple[int, int], list[Later]] = {}
    for row in rows:
        told = Later(row.reader, row.read_at, codec.from_json(Reading, row.reading))
        found.setdefault((row.number, row.position), []).append(told)
    return found


# --- what was read --------------------------------------------------------------------------------


def keep(database: Database, reader: str, outcomes: Iterable[Outcome]) -> None:
    """Record readings; one that is there already stays."""
    rows = [
        {"roll_id": o.task.roll_id, "position": o.task.position, "reader": reader,
         "read_at": now(), "reading": o.reading}
        for o in outcomes
        if not o.fault
    ]  # fmt: skip
    if not rows:
        return

    def write(connection: Connection) -> None:
        dialect: Any = sqlite if connection.dialect.name == "sqlite" else postgresql
        connection.execute(dialect.insert(later_readings).on_conflict_do_nothing(), rows)

    database.write(write)
