"""A PostgreSQL server and an S3-speaking one, each of its own on loopback, started for the tests."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest


def needed(is_here: bool, what: str) -> None:
    """Skip where a server's programs are missing; in CI that is a failure."""
    if is_here:
        return
    if os.environ.get("CI") == "true":
        pytest.fail(what)
    pytest.skip(what)


def free_port() -> int:
    with closing(socket.socket()) as ear:
        ear.bind(("127.0.0.1", 0))
        return int(ear.getsockname()[1])


class Postgres:
    """A server of Debian's package. Its language is not the C locale's, as in most shops."""

    def __init__(self, folder: Path, *, fsync: bool = False) -> None:
        self.programs = postgres_programs()
        assert self.programs is not None
        self.folder, self.port, self.fsync = folder, free_port(), fsync
        self._as: list[str] = []
        if os.getuid() == 0:  # the server refuses to run as root
            shutil.chown(folder, "postgres")
            self._as = ["runuser", "-u", "postgres", "--"]
        self._run(
            "initdb", "-D", str(folder / "data"), "-A", "trust", "-U", "bench", "--no-sync",
            "--encoding=UTF8", "--locale=C.UTF-8", "--locale-provider=icu", "--icu-locale=en-US",
        )  # fmt: skip
        self.start()

    @property
    def url(self) -> str:
        return f"postgresql+psycopg://bench@127.0.0.1:{self.port}"

    def start(self) -> None:
        options = f"-p {self.port} -k {self.folder} -h 127.0.0.1 -c max_connections=60"
        options += f" -c fsync={'on' if self.fsync else 'off'}"
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-w", "-o", options,
                  "-l", str(self.folder / "log"), "start")  # fmt: skip

    def stop(self) -> None:
        """At once, as a power cut would."""
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-m", "immediate", "stop")

    def ask(self, database: str, statement: str) -> None:
        import psycopg

        plain = self.url.replace("+psycopg", "")
        with psycopg.connect(f"{plain}/{database}", autocommit=True) as connection:
            connection.execute(statement)  # type: ignore[arg-type]

    def new_database(self, *, like: str = "template1") -> str:
        name = "jobs_" + uuid.uuid4().hex[:12]
        self.ask("postgres", f'CREATE DATABASE "{name}" TEMPLATE "{like}"')
        return name

    def drop(self, name: str) -> None:
        self.ask("postgres", f'DROP DATABASE "{name}" WITH (FORCE)')

    def cut_every_connection(self, database: str) -> None:
        """End the other connections, as a restart of the server or a broken cable does."""
        self.ask(
            "postgres",
            f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{database}'",
        )

    def _run(self, program: str, *arguments: str) -> None:
        assert self.programs is not None
        subprocess.run(
            [*self._as, str(self.programs / program), *arguments],
            check=True,
            stdout=subprocess.DEVNULL,
        )


def postgres_programs() -> Path | None:
    """Where initdb lies; Debian keeps it off the path."""
    found = [Path(p).parent for p in [shutil.which("initdb")] if p]
    found += sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name))
    return found[-1] if found else None


@contextmanager
def postgres(*, fsync: bool = False) -> Iterator[Postgres]:
    """A server in a folder of its own: pytest closes its folders to the user that runs the server."""
    needed(
        postgres_programs() is not None,
        "PostgreSQL's programs are not here (apt-get install postgresql)",
    )
    with tempfile.TemporaryDirectory(prefix="postgres-") as folder:
        server = Postgres(Path(folder), fsync=fsync)
        try:
            yield server
        finally:
            server.stop()


class ObjectStore:
    """moto's server: the S3 protocol by HTTP, in a process that can be killed."""

    def __init__(self) -> None:
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self.process = subprocess.Popen(
            [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(self.port)],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        deadline = time.monotonic() + 60
        while True:
            try:
                urllib.request.urlopen(f"{self.url}/moto-api/", timeout=5).close()
                return
            except OSError:
                if self.process.poll() is not None or time.monotonic() > deadline:
                    raise
                time.sleep(0.1)

    def bucket(self) -> str:
        """A fresh bucket's name, made with the protocol's own PUT."""
        name = "shop-" + uuid.uuid4().hex[:12]
        urllib.request.urlopen(
            urllib.request.Request(f"{self.url}/{name}", method="PUT", data=b""), timeout=30
        ).close()
        return name


@contextmanager
def object_store(monkeypatch: pytest.MonkeyPatch) -> Iterator[ObjectStore]:
    """Started, and named to every client by the variables that S3 clients read."""
    server = ObjectStore()
    for name, value in {
        "AWS_ENDPOINT_URL": server.url, "AWS_ACCESS_KEY_ID": "bench", "AWS_DEFAULT_REGION": "us-east-1",
        "AWS_SECRET_ACCESS_KEY": "of-a-test", "AWS_CONFIG_FILE": os.devnull,
        "AWS_SHARED_CREDENTIALS_FILE": os.devnull,
    }.items():  # fmt: skip
        monkeypatch.setenv(name, value)
    try:
        yield server
    finally:
        server.process.kill()
        server.process.wait()


def plain(place: str) -> str:
    """The address as PostgreSQL's own client takes it."""
    return place.replace("+psycopg", "")
