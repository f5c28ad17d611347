"""The database connection, and the one place that opens transactions.

SQLite runs with a write-ahead log, foreign keys, full synchronisation (a roll that was acknowledged
is on the disk) and a busy timeout, so that several processes can file at once. On a server a read is
one snapshot, and a transaction that lost its connection is done again from its beginning.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DatabaseError, DBAPIError, OperationalError, SQLAlchemyError

from pattern.archive.location import Location
from pattern.errors import (
    ArchiveDamaged,
    ArchiveError,
    ArchiveUnavailable,
    InvalidSettings,
)

Result = TypeVar("Result")

BUSY_SECONDS = 30.0
RETRY_WAITS_S = (0.2, 1.0, 3.0)
"""How long to wait before a transaction that lost its connection is tried again."""
_PASSING = ("08", "40001", "40P01", "57P01", "57P02", "57P03")
"""SQLSTATEs (PostgreSQL's documentation, appendix A) of faults that another try can mend: connection
exceptions, serialisation failure, deadlock, a server that is shut down, has crashed or is starting."""
_DAMAGED = ("malformed", "not a database", "no such table", "no such column", "disk image")


class Database:
    """One archive's database. `reading()` and `writing()` are the only transactions there are.

    With `read_only` nothing can be changed; on a disk that cannot be written nothing ever can.
    """

    def __init__(
        self, location: Location, *, read_only: bool = False, foreign_keys: bool = True
    ) -> None:
        self.location = location
        self.engine = make_engine(_url(location, read_only), foreign_keys=foreign_keys)
        self._reader = self.engine
        if not self.is_sqlite:  # SQLite's reads are snapshots by themselves
            self._reader = self.engine.execution_options(
                isolation_level="REPEATABLE READ", postgresql_readonly=True
            )

    @property
    def is_sqlite(self) -> bool:
        """Whether this is the local file."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A consistent view; nothing can be changed."""
        with translated(str(self.location)), self._reader.connect() as connection:
            yield connection

    def read(self, task: Callable[[Connection], Result]) -> Result:
        """The task's result from a consistent view; asked again if the connection was lost."""

        def attempt() -> Result:
            with self.reading() as connection:
                return task(connection)

        return self._patiently(attempt)

    def write(self, task: Callable[[Connection], Result]) -> Result:
        """All of the task or nothing of it; done again if the connection was lost.

        A connection that is lost while the end is being written leaves open whether it was: a task
        must come to the same when it is done twice.
        """

        def attempt() -> Result:
            with self.writing() as connection:
                return task(connection)

        return self._patiently(attempt)

    def _patiently(self, attempt: Callable[[], Result]) -> Result:
        for wait_s in () if self.is_sqlite else RETRY_WAITS_S:
            try:
                return attempt()
            except ArchiveUnavailable as fault:
                if not _is_passing(fault.__cause__):
                    raise
                time.sleep(wait_s)
        return attempt()

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """All or nothing. On SQLite the lock is taken at the start, so nobody fails half way.

        Raises ArchiveUnavailable if the folder was moved away or its disk was taken out: an open file
        would still take rows, their photos would go elsewhere.
        """
        file = self.location.database_file
        if file is not None and not file.exists():
            raise ArchiveUnavailable(
                "the archive is no longer there",
                subject=str(self.location),
                remedy="Put its folder or disk back, or open it where it is now; nothing was stored",
            )
        with translated(str(self.location)), self.engine.connect() as connection:
            connection = connection.execution_options(archive_writes=True)
            with connection.begin():
                yield connection

    def version(self) -> str | None:
        """The schema's revision by plain SQL (Alembic is slow to import); None: not an archive."""
        with self.reading() as connection:
            return read_version(connection)

    def close(self) -> None:
        """Give all connections back."""
        self.engine.dispose()


def _url(location: Location, read_only: bool) -> str:
    file = location.database_file
    if file is None or not file.exists():
        return location.database_url
    if _is_sealed(file):  # SQLite's log needs a file beside it, unless told that nobody writes
        return f"sqlite+pysqlite:///{file.absolute().as_uri()}?immutable=1&uri=true"
    if read_only:
        return f"sqlite+pysqlite:///{file.absolute().as_uri()}?mode=ro&uri=true"
    return f"sqlite+pysqlite:///{file.absolute().as_uri()}?mode=rw&uri=true"  # never make a file


def _is_sealed(file: Path) -> bool:
    """Whether the place cannot be written and every change has reached the file itself."""
    log = file.with_name(f"{file.name}-wal")
    if log.exists() and log.stat().st_size:
        return False
    if hasattr(os, "statvfs") and os.statvfs(file).f_flag & os.ST_RDONLY:
        return True
    return not os.access(file.parent, os.W_OK)


def read_version(connection: Connection) -> str | None:
    """The schema's revision, or None where there is no version table."""
    if not connection.dialect.has_table(connection, "alembic_version"):
        return None
    row = connection.execute(text("SELECT version_num FROM alembic_version")).first()
    return str(row[0]) if row else None


def make_engine(url: str, *, foreign_keys: bool = True) -> Engine:
    """An engine with the archive's rules set on every connection."""
    if not url.startswith("sqlite"):
        return _server_engine(url)
    engine = create_engine(url, connect_args={"timeout": BUSY_SECONDS, "check_same_thread": False})

    @event.listens_for(engine, "connect")
    def _set_rules(connection: sqlite3.Connection, _record: Any) -> None:
        connection.isolation_level = None  # the begin event below starts transactions itself
        connection.execute(f"PRAGMA busy_timeout = {int(BUSY_SECONDS * 1000)}")
        connection.execute(f"PRAGMA foreign_keys = {'ON' if foreign_keys else 'OFF'}")
        connection.execute("PRAGMA synchronous = FULL")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("archive_writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _server_engine(url: str) -> Engine:
    own = make_url(url).query.get("options", "")
    rules = {
        "connect_timeout": 10,
        "keepalives_idle": 30,  # a cable that was pulled out is noticed within a minute
        "keepalives_interval": 10,
        "keepalives_count": 3,
        "options": f"-c lock_timeout={int(BUSY_SECONDS * 1000)} {own}".strip(),
    }
    try:
        return create_engine(url, pool_pre_ping=True, connect_args=rules)
    except ModuleNotFoundError as fault:
        raise InvalidSettings(
            f"{fault.name} is needed for an archive on a server",
            subject="archive",
            remedy="Install it: pip install 'gear-contact-pattern[shared]'",
        ) from fault


def _is_passing(fault: BaseException | None) -> bool:
    """Whether the connection was lost, or two transactions stood in each other's way."""
    if not isinstance(fault, DBAPIError):
        return False
    state = getattr(fault.orig, "sqlstate", None)
    if state is None:  # the connection broke before the server could say a word
        return fault.connection_invalidated or isinstance(fault, OperationalError)
    return fault.connection_invalidated or str(state).startswith(_PASSING)


@contextmanager
def translated(place: str) -> Iterator[None]:
    """Turn the database's errors into ours, with the remedy."""
    try:
        yield
    except SQLAlchemyError as fault:
        raise _explain(fault, place) from fault
    except UnicodeDecodeError as fault:  # the driver, on a text that is none
        raise _damaged(str(fault), place) from fault


def _explain(fault: SQLAlchemyError, place: str) -> ArchiveError:
    words = str(getattr(fault, "orig", None) or fault)
    if isinstance(fault, DatabaseError) and any(word in words for word in _DAMAGED):
        return _damaged(words, place)
    if "full" in words:
        what, remedy = "the disk is full", "Free some space and file again; nothing was stored half"
    elif "readonly" in words or "read-only" in words:
        what, remedy = "the archive cannot be written", "Give a folder that you may write to"
    elif "locked" in words or "busy" in words or "lock timeout" in words:
        what, remedy = "another program holds the archive", "Close it, or try again in a moment"
    elif isinstance(fault, DBAPIError) and fault.connection_invalidated:
        what = f"the connection to the archive was lost ({_first_line(words)})"
        remedy = "Check the server and the network, then do it again; nothing was stored half"
    elif isinstance(fault, OperationalError):
        words = _first_line(words)
        what, remedy = f"the archive does not answer ({words})", "Check the folder or the server"
    else:
        what, remedy = f"the archive refused ({words})", "Run `contact-pattern archive verify`"
    return ArchiveUnavailable(what, subject=place, remedy=remedy)


def _first_line(words: str) -> str:
    return words.strip().splitlines()[0] if words.strip() else words


def _damaged(words: str, place: str) -> ArchiveDamaged:
    return ArchiveDamaged(
        f"the database is damaged or no job archive ({words})",
        subject=place,
        remedy="Restore a backup with `contact-pattern archive restore`",
    )
