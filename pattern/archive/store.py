"""The archive: open it, file jobs and rolls, edit with history, find, and keep drafts of the page."""

from __future__ import annotations

import json
import os
import uuid
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, delete, insert, select

from pattern.archive import codec, sheets
from pattern.archive.backup import backup, tidy
from pattern.archive.filing import NewRoll, announce, file_roll, lock_draft, lock_job
from pattern.archive.find import Query, jobs_like, list_jobs, shim_hint
from pattern.archive.job_ids import job_id, job_number
from pattern.archive.load import load_job
from pattern.archive.location import Location, find_location
from pattern.archive.merge import merged_draft
from pattern.archive.photos import digest, store_of
from pattern.archive.schema import drafts, incoming, jobs, rolls
from pattern.archive.upgrade import prepare
from pattern.archive.verify import Verdict, verify
from pattern.errors import InvalidInput
from pattern.jobs import Entry, Job, JobPage, LikeJob, RollKind, ShimHint
from pattern.records import Advice, Axle, Reading, Roll

if TYPE_CHECKING:
    from pattern.archive.again import Later
    from pattern.archive.exchange import Arrival


class Archive:
    """All jobs of a shop. Safe to use from several threads and processes at once.

    `Archive.open()` finds it, makes it if new (`is_new` says so), and upgrades an older one. Job ids
    are as in J0042. Every method that changes something returns once the change is on the disk, and
    raises ArchiveUnavailable, with nothing stored half, when the place refuses. What needs image
    libraries is imported when it is used: a list of jobs must not wait for them.
    """

    def __init__(self, location: Location) -> None:
        self.location = location
        file = location.database_file
        self.is_new = file is not None and not file.exists()
        self.database = prepare(location)
        try:
            self.photos = self.database.read(lambda connection: store_of(connection, location))
        except BaseException:
            self.database.close()
            raise

    @classmethod
    def open(
        cls, place: str | Path | None = None, environment: Mapping[str, str] | None = None
    ) -> Archive:
        """Open the archive at `place`, else at CONTACT_PATTERN_ARCHIVE, else the user's own.

        Raises ArchiveNewer, ArchiveDamaged, ArchiveUnavailable, InvalidSettings.
        """
        return cls(find_location(place, os.environ if environment is None else environment))

    def close(self) -> None:
        """Give the file back. Using the archive as a context manager does the same."""
        self.database.close()

    def __enter__(self) -> Archive:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # --- jobs ---------------------------------------------------------------------------------

    def new_job(self, *, by: str = "", **sections: Any) -> str:
        """Open a job and return its id. `sections` as in `edit`, all of them optional."""
        values = {"status": "open", "customer": "", "vehicle": ""} | sections
        checked = {name: sheets.checked(name, v, of_roll=False) for name, v in values.items()}
        at = sheets.now()
        row = {"uid": uuid.uuid4().hex, "opened_at": at, "changed_at": at, "status": "open"}

        def open_it(connection: Connection) -> int:
            here = connection.scalar(select(jobs.c.number).where(jobs.c.uid == row["uid"]))
            if here is not None:  # done again after the connection was lost at the very end
                return int(here)
            fresh = insert(jobs).values(**row).returning(jobs.c.number)
            number = int(connection.execute(fresh).scalar_one())
            sheets.write_entries(connection, number, None, checked, by)
            return number

        return job_id(self.database.write(open_it))

    def job(self, job_id: str) -> Job:
        """Everything on record about one job. Raises InvalidInput if there is none."""
        return self.database.read(lambda c: load_job(c, job_number(job_id)))

    def list_jobs(self, query: Query | None = None, **filters: Any) -> JobPage:
        """A page of jobs, newest first; see `pattern.archive.find.Query` for the filters."""
        asked = query or Query(**filters)
        return self.database.read(lambda c: list_jobs(c, asked))

    def jobs_like(self, axle: Axle, *, but: str = "") -> tuple[LikeJob, ...]:
        """Finished jobs of the same tooth counts and diameter, newest first, `but` left out."""
        return self.database.read(lambda c: jobs_like(c, axle, but=but))

    def shim_hint(self, axle: Axle, *, but: str = "") -> ShimHint | None:
        """A depth shim to start from, from jobs like this one; None without evidence."""
        return shim_hint(axle, self.jobs_like(axle, but=but))

    def edit(
        self,
        job_id: str,
        *,
        by: str = "",
        seen: int | None = None,
        over: Collection[str] = (),
        **sections: Any,
    ) -> int:
        """Change sections of a job; what stood before stays in the history. Returns how many changed.

        Sections: status, customer, vehicle, axle, as_found, parts, notes, tags, final. `seen` is the
        `Job.version` the edit was made from: what another bench changed since is kept where this edit
        did not touch it, else EditedMeanwhile says who wrote what. Sections in `over` are written all
        the same, by one who was told. Raises InvalidInput naming the section.
        """
        checked = {name: sheets.checked(name, v, of_roll=False) for name, v in sections.items()}
        number = job_number(job_id)

        def change(connection: Connection) -> int:
            lock_job(connection, number)
            return sheets.write_entries(connection, number, None, checked, by, seen=seen, over=over)

        return self.database.write(change)

    def history(self, job_id: str) -> tuple[Entry, ...]:
        """Every edit of a job and of its rolls, oldest first."""
        return self.database.read(lambda c: sheets.history(c, job_number(job_id)))

    # --- rolls --------------------------------------------------------------------------------

    def add_roll(
        self,
        job_id: str,
        roll: Roll,
        photos: Sequence[tuple[Path | bytes, Reading]],
        advice: Advice | None = None,
        *,
        kind: RollKind = "roll",
        backlash_readings_in: Sequence[float] = (),
        note: str = "",
        by: str = "",
        uid: str = "",
    ) -> int:
        """File a roll, its photos byte for byte, and the advice as given; returns its number.

        `kind` is ``as_found`` for the pattern before any change and ``final`` for the last one.
        `uid` (any 32 hex digits) makes filing the same roll twice file it once. Raises
        UnreadablePhoto, InvalidInput if a photo is not the one that was read, ArchiveError.
        """
        new = NewRoll(roll, advice, kind, tuple(backlash_readings_in), note, by, uid)
        return file_roll(self.database, self.photos, job_number(job_id), new, photos)

    def edit_roll(
        self,
        job_id: str,
        number: int,
        *,
        by: str = "",
        seen: int | None = None,
        readings: Mapping[int, Reading | None] | None = None,
        **sections: Any,
    ) -> int:
        """Correct a roll; what was filed stays. Returns how many sections changed.

        `readings` gives hand-corrected readings by the photo's position (None takes one back).
        Sections: kind, roll, backlash_readings_in, advice, note, struck (a reason strikes the roll out, an
        empty text takes it back). `seen` as in `edit`.
        """
        values = dict(sections)
        values |= {f"{sheets.READING}{position}": r for position, r in (readings or {}).items()}
        checked = {name: sheets.checked(name, v, of_roll=True) for name, v in values.items()}
        job = job_number(job_id)

        def change(connection: Connection) -> int:
            lock_job(connection, job)
            found = select(rolls.c.id).where(rolls.c.job_number == job, rolls.c.number == number)
            roll_id = connection.scalar(found)
            if roll_id is None:
                raise InvalidInput(
                    f"there is no roll {number}", subject=job_id, remedy="See `job show`"
                )
            return sheets.write_entries(connection, job, roll_id, checked, by, seen=seen)

        return self.database.write(change)

    # --- photos -------------------------------------------------------------------------------

    def photo(self, sha256: str) -> bytes:
        """A photo's original bytes, re-hashed. Raises ArchiveDamaged."""
        return self.photos.get(sha256)

    def thumbnail(self, sha256: str, long_side_px: int = 1600) -> bytes:
        """A reduced JPEG of a photo, upright and without metadata, from a cache that may be deleted.

        Raises ArchiveDamaged, UnreadablePhoto.
        """
        from pattern.archive.thumbnails import thumbnail, thumbnail_folder

        return thumbnail(self.photos, thumbnail_folder(self.location), sha256, long_side_px)

    def hold_photo(self, data: bytes) -> str:
        """Keep an uploaded photo for a draft, before a roll names it; returns its SHA-256."""
        sha256 = digest(data)
        announce(self.database, [sha256])
        return self.photos.put(data)

    def held_photos(self) -> tuple[str, ...]:
        """Photos that no roll names yet."""
        held = select(incoming.c.sha256).order_by(incoming.c.at)
        return self.database.read(lambda c: tuple(c.scalars(held)))

    def later_readings(self, job_id: str) -> dict[tuple[int, int], list[Later]]:
        """What later readers said of a job's photos, by roll number and position; see `archive.again`."""
        from pattern.archive.again import later_of

        return self.database.read(lambda c: later_of(c, job_number(job_id)))

    # --- exchange -----------------------------------------------------------------------------

    def export_job(
        self,
        job_id: str,
        target: Path,
        *,
        with_location: bool = False,
        extras: Mapping[str, bytes] | None = None,
    ) -> None:
        """Write a job with its photos and history to a new zip; see `pattern.archive.exchange`."""
        from pattern.archive.exchange import export_job

        number = job_number(job_id)
        export_job(self.database, self.photos, number, target,
                   with_location=with_location, extras=extras)  # fmt: skip

    def import_job(self, source: Path) -> Arrival:
        """Bring an exported job in, kept apart from one here that differs. Raises InvalidInput."""
        from pattern.archive.exchange import import_job

        return import_job(self.database, self.photos, source)

    # --- trust --------------------------------------------------------------------------------

    def verify(self) -> Verdict:
        """Re-hash every photo and follow every reference; changes nothing."""
        return verify(self.location)

    def backup(self, target: Path, *, copy: bool = False) -> Verdict:
        """Write a verified copy of the archive to a new folder while it is in use."""
        return backup(self.location, self.photos, target, copy=copy)

    def tidy(self, *, older_than_days: float = 30) -> tuple[str, ...]:
        """Remove long-held photos that nothing names and what interrupted writes left behind."""
        return tidy(self.database, self.photos, older_than_days=older_than_days)

    # --- drafts -------------------------------------------------------------------------------

    def save_draft(self, job_id: str, key: str, value: object) -> None:
        """Keep a half-done form: any JSON value, replaced each time. `job_id` may be empty."""
        text = json.dumps(codec.to_data(value), ensure_ascii=False)
        where = (drafts.c.job_id == job_id) & (drafts.c.key == key)
        row = {"job_id": job_id, "key": key, "value": text, "at": sheets.now()}

        def replace(connection: Connection) -> None:
            connection.execute(delete(drafts).where(where))
            connection.execute(insert(drafts).values(**row))

        self.database.write(replace)

    def merge_draft(
        self, job_id: str, key: str, before: Mapping[str, Any], after: Mapping[str, Any]
    ) -> None:
        """Keep what one device changed in a half-done form; what others changed meanwhile stays."""
        was, now = codec.to_data(dict(before)), codec.to_data(dict(after))
        where = (drafts.c.job_id == job_id) & (drafts.c.key == key)

        def merge(connection: Connection) -> None:
            lock_draft(connection, job_id, key)
            stored = connection.scalar(select(drafts.c.value).where(where))
            value = merged_draft(was, json.loads(stored) if stored else None, now)
            row = {"value": json.dumps(value, ensure_ascii=False), "at": sheets.now()}
            connection.execute(delete(drafts).where(where))
            connection.execute(insert(drafts).values(job_id=job_id, key=key, **row))

        self.database.write(merge)

    def draft(self, job_id: str, key: str) -> Any:
        """The draft's value, or None."""
        where = (drafts.c.job_id == job_id) & (drafts.c.key == key)
        text = self.database.read(lambda c: c.scalar(select(drafts.c.value).where(where)))
        return None if text is None else json.loads(text)

    def drop_draft(self, job_id: str, key: str) -> None:
        """Forget a draft."""
        where = (drafts.c.job_id == job_id) & (drafts.c.key == key)
        self.database.write(lambda c: c.execute(delete(drafts).where(where)))
