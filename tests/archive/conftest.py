"""Every test that asks for `archive` runs twice: on a folder with SQLite, and on PostgreSQL."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from pattern.archive.store import Archive
from tests.archive.servers import ObjectStore, Postgres, object_store, postgres


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "archive" in metafunc.fixturenames:
        in_a_folder = metafunc.definition.get_closest_marker("folder_only")
        kinds = ["sqlite"] if in_a_folder else ["sqlite", "postgresql"]
        metafunc.parametrize("archive", kinds, indirect=True)


@pytest.fixture(scope="session")
def empty_archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A new archive, made once and copied: making one runs every migration."""
    folder = tmp_path_factory.mktemp("empty") / "shop"
    Archive.open(folder).close()
    return folder


@pytest.fixture(scope="session")
def server() -> Iterator[Postgres]:
    """One PostgreSQL server for all tests of this process."""
    with postgres() as started:
        yield started


@pytest.fixture(scope="session")
def empty_database(server: Postgres, tmp_path_factory: pytest.TempPathFactory) -> str:
    """A database with a new archive in it, made once and copied."""
    name = server.new_database()
    Archive.open(f"{server.url}/{name}?photos={tmp_path_factory.mktemp('nowhere')}").close()
    return name


@pytest.fixture
def server_place(
    server: Postgres, empty_database: str, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Callable[[], str]]:
    """Makes URLs of new archives on the server, each with a photo folder of its own."""
    with ExitStack() as made:

        def place() -> str:
            name = server.new_database(like=empty_database)
            made.callback(server.drop, name)
            photos = tmp_path_factory.mktemp("photos")
            server.ask(name, f"UPDATE facts SET value = '{photos}' WHERE key = 'photos'")
            return f"{server.url}/{name}"

        yield place


@pytest.fixture
def archive(
    tmp_path: Path,
    tmp_path_factory: pytest.TempPathFactory,
    empty_archive: Path,
    request: pytest.FixtureRequest,
) -> Iterator[Archive]:
    if request.param == "postgresql":
        place = request.getfixturevalue("server_place")()
        cache = tmp_path_factory.mktemp("cache")
        request.getfixturevalue("monkeypatch").setenv("XDG_CACHE_HOME", str(cache))
    else:
        place = shutil.copytree(empty_archive, tmp_path / "shop")
    with Archive.open(place) as opened:
        yield opened


@pytest.fixture(scope="session")
def s3() -> Iterator[ObjectStore]:
    """One object store for all tests of this process."""
    with pytest.MonkeyPatch.context() as patch, object_store(patch) as started:
        yield started
