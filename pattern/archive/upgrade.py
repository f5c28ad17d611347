"""Make a new archive, or bring an old one to the present schema. Killed at any moment, both hold.

A new file is made aside and put in place whole. An upgrade is one transaction under the write lock,
after a copy of the old file was put beside it.
"""

from __future__ import annotations

import os
import sqlite3
import uuid
from pathlib import Path

from sqlalchemy import Connection, insert, text

from pattern.archive import schema
from pattern.archive.database import Database, make_engine, read_version, translated
from pattern.archive.durable import sync_file, sync_folder
from pattern.archive.listing import refresh_all
from pattern.archive.location import DATABASE_NAME, Location
from pattern.errors import (
    ArchiveDamaged,
    ArchiveError,
    ArchiveNewer,
    ArchiveUnavailable,
    InvalidSettings,
)

REVISIONS = ("0001", "0002", "0003")
"""Every schema this program can read, oldest first; the last is the present one."""


def prepare(location: Location) -> Database:
    """Open the archive at `location`, made or upgraded where needed.

    Raises ArchiveNewer, ArchiveDamaged, ArchiveUnavailable.
    """
    if location.folder and not (location.folder / DATABASE_NAME).exists():
        try:
            with translated(str(location)):
                _make_folder(location.folder)
        except ArchiveError:
            raise
        except (OSError, sqlite3.Error) as fault:
            raise _unavailable(location, fault) from fault
    database = Database(location)
    try:
        version = database.version()
        if version is None and not location.folder:
            _make_on_server(database)
        elif version != REVISIONS[-1]:
            _check_known(version, location)
            _upgrade(location)
    except BaseException:
        database.close()
        raise
    return database


def _check_known(version: str | None, location: Location) -> None:
    if version is None:
        raise ArchiveDamaged(
            "the database is no job archive",
            subject=str(location),
            remedy="Give another folder, or restore a backup",
        )
    if version not in REVISIONS:
        raise ArchiveNewer(
            f"the archive has schema {version}, this program knows up to {REVISIONS[-1]}",
            subject=str(location),
            remedy="Install the newer version of this program; nothing was changed",
        )


def _make_folder(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    fresh = folder / f"{DATABASE_NAME}.new-{uuid.uuid4().hex}"
    try:
        raw = sqlite3.connect(fresh)
        raw.execute("PRAGMA journal_mode = WAL")  # stays with the file; not from a transaction
        raw.close()
        engine = make_engine(f"sqlite+pysqlite:///{fresh}", foreign_keys=False)
        with engine.connect() as plain:
            connection = plain.execution_options(archive_writes=True)
            with connection.begin():
                migrate(connection, REVISIONS[-1])
                connection.execute(insert(schema.facts), _birth_facts("photos"))
        engine.dispose()
        sync_file(fresh)
        _place(fresh, folder / DATABASE_NAME)
    finally:
        for leftover in folder.glob(f"{fresh.name}*"):
            leftover.unlink(missing_ok=True)
    sync_folder(folder)


def _place(fresh: Path, final: Path) -> None:
    try:
        os.link(fresh, final)  # unlike a rename this never replaces what another process just made
    except FileExistsError:
        return
    except OSError:  # a file system without hard links, such as a memory stick's
        if not final.exists():
            fresh.rename(final)


def _birth_facts(photos: str) -> list[dict[str, str]]:
    return [{"key": "archive", "value": uuid.uuid4().hex}, {"key": "photos", "value": photos}]


def _make_on_server(database: Database) -> None:
    if not database.location.photos:
        raise InvalidSettings(
            "a new archive on a server needs a photo store",
            subject="archive",
            remedy="Add ?photos=FOLDER-OR-URL to the archive's URL",
        )
    with database.writing() as connection:
        _one_bench_at_a_time(connection)
        _refuse_other_encodings(connection, database.location)
        if read_version(connection) is None:
            migrate(connection, REVISIONS[-1])
            connection.execute(insert(schema.facts), _birth_facts(database.location.photos))


def _one_bench_at_a_time(connection: Connection) -> None:
    """SQLite's write lock does it by itself; on a server, wait for whoever makes or upgrades it now."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(20101)"))


def _refuse_other_encodings(connection: Connection, location: Location) -> None:
    encoding = connection.scalar(text("SHOW server_encoding"))
    if encoding != "UTF8":
        raise InvalidSettings(
            f"the database keeps text as {encoding}",
            subject=str(location),
            remedy="Make one for the archive: CREATE DATABASE jobs ENCODING 'UTF8' TEMPLATE template0",
        )


def _upgrade(location: Location) -> None:
    """Bring an old archive to the present schema, or find that another process just did."""
    database = Database(location, foreign_keys=False)  # tables may be rebuilt on the way
    try:
        with database.writing() as connection:
            _one_bench_at_a_time(connection)
            version = read_version(connection)
            if version == REVISIONS[-1]:
                return
            if location.database_file:
                _copy_beside(location.database_file, str(version))
            migrate(connection, REVISIONS[-1])
            refresh_all(connection)
            if database.is_sqlite:
                _refuse_broken(connection, location)
    finally:
        database.close()


def _refuse_broken(connection: Connection, location: Location) -> None:
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if broken:
        raise ArchiveDamaged(
            f"{len(broken)} references lead nowhere; it was left as it is",
            subject=str(location),
            remedy="Restore a backup made before",
        )


def _copy_beside(file: Path, version: str) -> None:
    copy = file.with_name(f"{file.name}.schema-{version}")
    aside = file.with_name(f"{copy.name}.new-{uuid.uuid4().hex}")
    try:
        source, target = sqlite3.connect(file), sqlite3.connect(aside)
        try:
            source.backup(target)
        finally:
            source.close()
            target.close()
        sync_file(aside)
        aside.replace(copy)
        sync_folder(file.parent)
    except (OSError, sqlite3.Error) as fault:
        aside.unlink(missing_ok=True)
        raise ArchiveUnavailable(
            f"no copy could be made before the upgrade ({fault})",
            subject=str(file),
            remedy="Free some space; the archive was left as it is",
        ) from fault


def migrate(connection: Connection, revision: str) -> None:
    """Run the migrations up to `revision` inside the caller's transaction."""
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).with_name("migrations")))
    config.attributes["connection"] = connection
    script = ScriptDirectory.from_config(config)

    def steps(present: object, _context: object) -> object:
        return script._upgrade_revs(revision, present)  # type: ignore[arg-type]

    with EnvironmentContext(config, script, fn=steps, destination_rev=revision):
        script.run_env()


def _unavailable(location: Location, fault: Exception) -> ArchiveUnavailable:
    return ArchiveUnavailable(
        f"no archive can be made here ({getattr(fault, 'strerror', None) or fault})",
        subject=str(location),
        remedy="Give a folder that you may write to with --archive",
    )
