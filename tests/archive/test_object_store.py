"""Photos in an object store: the S3 protocol as moto's server speaks it, on loopback."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from pattern.archive.photos import PhotoStore
from pattern.archive.store import Archive
from pattern.errors import ArchiveDamaged, ArchiveUnavailable, InvalidSettings
from tests.archive.pictures import jpeg
from tests.archive.samples import AXLE, advice, photo_bytes, reading, roll
from tests.archive.servers import ObjectStore, Postgres

# SHA-256 of "abc": FIPS 180-4's worked example.
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture
def store(s3: ObjectStore) -> PhotoStore:
    return PhotoStore(f"s3://{s3.bucket()}/photos")


@pytest.fixture
def place(server: Postgres, s3: ObjectStore) -> Iterator[str]:
    """A new archive with its rows on PostgreSQL and its photos in a bucket."""
    name = server.new_database()
    yield f"{server.url}/{name}?photos=s3://{s3.bucket()}/photos"
    server.drop(name)


def client(s3: ObjectStore) -> Any:
    """Another client of the protocol than our own."""
    import boto3

    return boto3.client("s3", endpoint_url=s3.url)


def raw(s3: ObjectStore, store: PhotoStore, sha256: str, data: bytes | None = None) -> bytes:
    """An object's bytes by another client, past our own code; with `data` they are replaced first."""
    bucket, folder = store.url.removeprefix("s3://").split("/")
    where = {"Bucket": bucket, "Key": f"{folder}/{sha256[:2]}/{sha256}"}
    if data is not None:
        client(s3).put_object(**where, Body=data)
    return client(s3).get_object(**where)["Body"].read()  # type: ignore[no-any-return]


def test_bytes_lie_there_under_their_sha_256(s3: ObjectStore, store: PhotoStore) -> None:
    assert store.put(b"abc") == ABC
    assert raw(s3, store, ABC) == b"abc"
    assert store.get(ABC) == b"abc"
    assert (list(store.names()), list(store.strays())) == ([ABC], [])
    assert store.local_path(ABC) is None
    store.remove(ABC)
    assert not store.has(ABC)
    assert list(store.names()) == []


def test_a_missing_photo_is_named(store: PhotoStore) -> None:
    with pytest.raises(ArchiveDamaged, match="aaaaaaaaaaaa is missing"):
        store.get("a" * 64)


def test_a_photo_that_was_changed_there_is_noticed_on_reading_and_mended_by_filing_again(
    s3: ObjectStore, store: PhotoStore
) -> None:
    data = photo_bytes()
    sha256 = store.put(data)
    raw(s3, store, sha256, data[:-1] + b"?")
    with pytest.raises(ArchiveDamaged, match="no longer what was stored"):
        store.get(sha256)
    store.put(data)
    assert raw(s3, store, sha256) == data


def test_a_job_lives_on_both_servers(place: str, s3: ObjectStore) -> None:
    with Archive.open(place) as archive:
        job_id = archive.new_job(axle=AXLE)
        data = jpeg(1)
        assert archive.add_roll(job_id, roll(), [(data, reading(data))], advice()) == 1
        held = archive.hold_photo(jpeg(2))
        assert archive.verify().is_clean
        assert [f.code for f in archive.verify().findings] == ["held"]
    with Archive.open(place.split("?")[0]) as again:
        assert again.photos.url.startswith("s3://")
        assert again.photo(reading(data).sha256) == data
        assert again.thumbnail(held, 64).startswith(b"\xff\xd8\xff")
        raw(s3, again.photos, reading(data).sha256, b"other")
        assert [f.code for f in again.verify().findings if f.is_fault] == ["damaged"]
        assert again.tidy(older_than_days=0) == (held,)
        assert not again.photos.has(held)


def test_a_bucket_that_is_not_there_is_said_and_not_made(s3: ObjectStore) -> None:
    s3.bucket()
    with pytest.raises(ArchiveUnavailable, match="bucket does not exist"):
        PhotoStore("s3://nobody-made-this/photos").put(photo_bytes())
    there = {bucket["Name"] for bucket in client(s3).list_buckets()["Buckets"]}
    assert there
    assert "nobody-made-this" not in there


# --- an upload is cut off -------------------------------------------------------------------------


class Cable:
    """Carries bytes to the store until so many went through; then it is pulled out, for good."""

    def __init__(self, to_port: int, bytes_long: int) -> None:
        self._to, self._left, self._lock = to_port, bytes_long, threading.Lock()
        self._ear = socket.create_server(("127.0.0.1", 0))
        self.port = self._ear.getsockname()[1]
        self.carried = 0
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        while True:
            try:
                near, _ = self._ear.accept()
            except OSError:
                return
            far = socket.create_connection(("127.0.0.1", self._to))
            for source, sink, counts in ((near, far, True), (far, near, False)):
                threading.Thread(
                    target=self._carry, args=(source, sink, counts), daemon=True
                ).start()

    def _carry(self, source: socket.socket, sink: socket.socket, counts: bool) -> None:
        try:
            while data := source.recv(4096):
                if counts:
                    with self._lock:
                        data, is_cut = data[: self._left], len(data) > self._left
                        self._left -= len(data)
                        self.carried += len(data)
                    sink.sendall(data)
                    if is_cut:
                        break
                else:
                    sink.sendall(data)
        except OSError:
            pass
        for end in (source, sink):
            end.close()

    def close(self) -> None:
        self._ear.close()


@pytest.fixture
def pulled_cable(
    s3: ObjectStore, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Callable[[int], Cable]]:
    """Puts a cable between us and the store."""
    import s3fs

    cables: list[Cable] = []

    def lay(bytes_long: int) -> Cable:
        cables.append(Cable(s3.port, bytes_long))
        monkeypatch.setenv("AWS_ENDPOINT_URL", f"http://127.0.0.1:{cables[-1].port}")
        monkeypatch.setenv("AWS_MAX_ATTEMPTS", "1")  # the waits between tries are not ours to test
        monkeypatch.setattr(s3fs.S3FileSystem, "retries", 2)
        s3fs.S3FileSystem.clear_instance_cache()
        return cables[-1]

    yield lay
    monkeypatch.undo()
    s3fs.S3FileSystem.clear_instance_cache()
    for cable in cables:
        cable.close()


def test_an_upload_that_is_cut_off_leaves_no_row_and_can_be_done_again(
    place: str, s3: ObjectStore, pulled_cable: Callable[[int], Cable]
) -> None:
    import s3fs

    data = photo_bytes(1) * 800  # a megabyte
    with Archive.open(place) as archive:
        job_id = archive.new_job()
    cable = pulled_cable(len(data) // 2)
    with Archive.open(place) as cut:
        with pytest.raises(ArchiveUnavailable) as refused:
            cut.add_roll(job_id, roll(), [(data, reading(data))])
        assert "cannot be" in refused.value.message
        assert cable.carried == len(data) // 2, "it was cut in the middle of the upload"
        assert cut.job(job_id).rolls == ()
    cable.close()
    s3fs.S3FileSystem.clear_instance_cache()
    pulled_cable(1 << 40)
    with Archive.open(place) as archive:
        assert archive.verify().findings == (), "nothing half lies in the store"
        assert archive.held_photos() == (reading(data).sha256,), "announced, and never come"
        assert archive.add_roll(job_id, roll(), [(data, reading(data))]) == 1
        assert archive.photo(reading(data).sha256) == data
        assert archive.verify().findings == ()


KILLED = """
import os, signal, sys, threading
from tests.archive.samples import photo_bytes, reading, roll
from pattern.archive.store import Archive
data = photo_bytes(1) * 800
with Archive.open(sys.argv[1]) as archive:
    print("ready", flush=True)
    sys.stdin.readline()
    archive.add_roll("J0001", roll(), [(data, reading(data))])
"""


def test_a_bench_killed_in_the_middle_of_an_upload_leaves_no_row(
    place: str, s3: ObjectStore, pulled_cable: Callable[[int], Cable]
) -> None:
    cable = pulled_cable(300_000)
    with Archive.open(place) as archive:
        archive.new_job()
        command = [sys.executable, "-c", KILLED, place]
        with subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        ) as bench:
            assert bench.stdout is not None
            assert bench.stdin is not None
            bench.stdout.readline()
            bench.stdin.write(b"go\n")
            bench.stdin.flush()
            while cable.carried < 300_000 and bench.poll() is None:
                threading.Event().wait(0.005)
            bench.kill()
        assert cable.carried == 300_000
        assert archive.job("J0001").rolls == ()


def test_a_store_that_is_away_is_named(monkeypatch: pytest.MonkeyPatch, s3: ObjectStore) -> None:
    import s3fs

    monkeypatch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:1")
    monkeypatch.setenv("AWS_MAX_ATTEMPTS", "1")
    monkeypatch.setattr(s3fs.S3FileSystem, "retries", 1)
    s3fs.S3FileSystem.clear_instance_cache()
    away = PhotoStore("s3://shop/photos")
    for ask in (
        lambda: away.put(photo_bytes()),
        lambda: away.get("a" * 64),
        lambda: away.has("a" * 64),
        lambda: away.remove("a" * 64),
        lambda: list(away.names()),
    ):
        with pytest.raises(ArchiveUnavailable, match="s3://shop/photos: a photo cannot be"):
            ask()
    s3fs.S3FileSystem.clear_instance_cache()


@pytest.mark.parametrize("url", ["nosuch://shop/photos", "ftps3://x"])
def test_a_kind_of_store_that_nobody_knows_is_refused(url: str) -> None:
    with pytest.raises(InvalidSettings, match="is no photo store"):
        PhotoStore(url)
