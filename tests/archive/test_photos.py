"""The photo store: content addressing, wholeness, durability."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from pattern.archive.photos import PhotoStore, digest
from pattern.errors import ArchiveDamaged, ArchiveUnavailable
from tests.archive.samples import photo_bytes


@pytest.fixture
def store(tmp_path: Path) -> PhotoStore:
    return PhotoStore(str(tmp_path / "photos"))


# FIPS 180-4's SHA-256 with the worked examples NIST publishes for it ("abc", the two-block message)
# and one million "a" (FIPS 180-2 appendix B.3).
@pytest.mark.parametrize(
    ("message", "expected"),
    [
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ],
)
def test_a_photos_name_is_its_sha_256_by_the_published_examples(
    store: PhotoStore, message: bytes, expected: str
) -> None:
    assert digest(message) == expected
    assert store.put(message) == expected
    path = store.local_path(expected)
    assert path is not None
    assert path.read_bytes() == message


def test_bytes_come_back_as_they_went_in(store: PhotoStore) -> None:
    data = photo_bytes()
    assert store.get(store.put(data)) == data


def test_a_missing_photo_is_named(store: PhotoStore) -> None:
    with pytest.raises(ArchiveDamaged, match="aaaaaaaaaaaa is missing"):
        store.get("a" * 64)


def test_a_changed_photo_is_noticed_on_reading(store: PhotoStore) -> None:
    sha256 = store.put(photo_bytes())
    path = store.local_path(sha256)
    assert path is not None
    path.write_bytes(b"other")
    with pytest.raises(ArchiveDamaged, match="no longer what was stored"):
        store.get(sha256)


def test_filing_a_damaged_photo_again_mends_it(store: PhotoStore) -> None:
    data = photo_bytes()
    path = store.local_path(store.put(data))
    assert path is not None
    path.write_bytes(data[:-1] + b"?")
    store.put(data)
    assert path.read_bytes() == data


@pytest.mark.parametrize("name", ["../../etc/passwd", "", "A" * 64, "a" * 63])
def test_only_a_hash_can_be_a_name(store: PhotoStore, name: str) -> None:
    with pytest.raises(ArchiveDamaged, match="no SHA-256 name"):
        store.get(name)


def test_the_file_is_synced_before_its_name_and_the_folder_after(
    store: PhotoStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps: list[str] = []
    fsync, replace = os.fsync, Path.replace

    def note_fsync(handle: int) -> None:
        steps.append("sync folder" if Path(f"/proc/self/fd/{handle}").is_dir() else "sync file")
        fsync(handle)

    def note_replace(self: Path, target: Path) -> Path:
        steps.append("name")
        return replace(self, target)

    monkeypatch.setattr(os, "fsync", note_fsync)
    monkeypatch.setattr(Path, "replace", note_replace)
    store.put(photo_bytes())
    assert steps[-3:] == ["sync file", "name", "sync folder"]


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EROFS, errno.EIO])
def test_a_refusing_disk_gives_a_clear_message_and_leaves_nothing_half(
    store: PhotoStore, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    def refuse(handle: int) -> None:
        if not Path(f"/proc/self/fd/{handle}").is_dir():
            raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, "fsync", refuse)
    with pytest.raises(ArchiveUnavailable, match=os.strerror(code)):
        store.put(photo_bytes())
    assert list(store.names()) == []
    assert [p for p in Path(store.url).rglob("*") if p.is_file()] == []


def test_an_object_store_keeps_the_same_bytes() -> None:
    store = PhotoStore("memory://shop/photos")
    data = photo_bytes()
    sha256 = store.put(data)
    store.put(data)
    assert list(store.names()) == [sha256]
    assert store.get(sha256) == data
    assert store.local_path(sha256) is None
    store.remove(sha256)
    assert not store.has(sha256)
