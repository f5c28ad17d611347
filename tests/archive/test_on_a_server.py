"""An archive on a server is made, opened and upgraded as one in a folder is, whoever comes first."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import text

from pattern.archive.database import Database
from pattern.archive.location import find_location
from pattern.archive.store import Archive
from pattern.errors import InvalidSettings
from tests.archive.servers import Postgres, plain

Place = Callable[[], str]


def test_recorded_rows_refuse_to_change_there_too(server_place: Place) -> None:
    place = server_place()
    with Archive.open(place) as archive:
        archive.new_job(customer="A")
    for statement in ("DELETE FROM entries", "UPDATE entries SET value = 'x'"):
        with (
            psycopg.connect(plain(place)) as connection,
            pytest.raises(psycopg.Error, match="never changed"),
        ):
            connection.execute(statement)  # type: ignore[arg-type]


def test_a_new_archive_there_must_be_told_where_photos_go(server: Postgres) -> None:
    name = server.new_database()
    with pytest.raises(InvalidSettings, match="photo store"):
        Archive.open(f"{server.url}/{name}")
    server.drop(name)


def test_another_photo_store_than_the_archives_own_is_refused(
    server_place: Place, tmp_path: Path
) -> None:
    place = server_place()
    with pytest.raises(InvalidSettings, match="keeps its photos in"):
        Archive.open(f"{place}?photos={tmp_path / 'other'}")


def test_a_database_that_cannot_hold_every_letter_is_refused(
    server: Postgres, tmp_path: Path
) -> None:
    server.ask(
        "postgres",
        "CREATE DATABASE narrow ENCODING 'LATIN1' LOCALE 'C' LOCALE_PROVIDER libc TEMPLATE template0",
    )
    with pytest.raises(InvalidSettings, match="keeps text as LATIN1"):
        Archive.open(f"{server.url}/narrow?photos={tmp_path}")
    server.drop("narrow")


def test_many_benches_making_one_archive_make_one(server: Postgres, tmp_path: Path) -> None:
    name = server.new_database()
    place = f"{server.url}/{name}?photos={tmp_path / 'photos'}"

    def open_it(_: int) -> str:
        with Archive.open(place) as archive:
            return archive.new_job()

    with ThreadPoolExecutor(4) as benches:
        assert sorted(benches.map(open_it, range(4))) == ["J0001", "J0002", "J0003", "J0004"]
    server.drop(name)


def test_many_benches_upgrading_one_archive_upgrade_it_once(
    server: Postgres, tmp_path: Path
) -> None:
    from pattern.archive.upgrade import REVISIONS, migrate

    name = server.new_database()
    place = f"{server.url}/{name}?photos={tmp_path / 'photos'}"
    old = Database(find_location(place))
    with old.writing() as connection:
        migrate(connection, REVISIONS[0])
        connection.execute(text("INSERT INTO facts VALUES ('archive', 'x')"))
        connection.execute(text(f"INSERT INTO facts VALUES ('photos', '{tmp_path / 'photos'}')"))
        connection.execute(
            text(
                "INSERT INTO jobs (uid, opened_at, changed_at, status) "
                "VALUES ('1', '2026-01-02T03:04:05Z', '2026-01-02T03:04:05Z', 'open')"
            )
        )
        connection.execute(
            text(
                "INSERT INTO entries (job_number, section, value, at) "
                "VALUES (1, 'customer', '\"Zebra & Co\"', '2026-01-02T03:04:05Z')"
            )
        )
    old.close()

    def open_it(_: int) -> str:
        with Archive.open(place) as archive:
            return archive.list_jobs(words="zebra", until="2026-01-02").jobs[0].customer

    with ThreadPoolExecutor(4) as benches:
        assert list(benches.map(open_it, range(4))) == ["Zebra & Co"] * 4
    server.drop(name)


def test_the_migrations_lead_to_the_same_tables_there(server_place: Place) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    from pattern.archive import schema

    with Archive.open(server_place()) as archive, archive.database.reading() as connection:
        context = MigrationContext.configure(connection)
        differences = compare_metadata(context, schema.metadata)
    assert [d for d in differences if "words" not in str(d)] == []


def test_words_are_found_there_by_an_index(server_place: Place) -> None:
    with Archive.open(server_place()) as archive, archive.database.writing() as connection:
        connection.execute(text("SET LOCAL enable_seqscan = off"))
        plan = connection.execute(
            text(
                "EXPLAIN SELECT number FROM jobs "
                "WHERE to_tsvector('simple', jobs.words) @@ to_tsquery('simple', '(''zeb'':*)')"
            )
        ).scalars()
        assert "jobs_by_words" in " ".join(plan)
