"""Backups made while the archive is in use, restored, and tidying up."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from pattern.archive.backup import restore
from pattern.archive.codec import to_data
from pattern.archive.location import find_location
from pattern.archive.store import Archive
from pattern.errors import ArchiveDamaged, WouldOverwrite
from tests.archive.samples import AXLE, photo_bytes, reading, roll

pytestmark = pytest.mark.folder_only  # a server has its own tools


def fill(archive: Archive, count: int, first: int = 0) -> str:
    job_id = archive.new_job(axle=AXLE)
    for number in range(first, first + count):
        data = photo_bytes(number)
        archive.add_roll(job_id, roll(), [(data, reading(data))])
    return job_id


@pytest.mark.parametrize("copy", [False, True])
def test_a_backup_is_an_archive_that_says_the_same(
    archive: Archive, tmp_path: Path, copy: bool
) -> None:
    job_id = fill(archive, 3)
    held = archive.hold_photo(photo_bytes(50))
    verdict = archive.backup(tmp_path / "backup", copy=copy)
    assert verdict.is_clean
    assert (verdict.jobs, verdict.rolls, verdict.photos) == (1, 3, 3)
    with Archive.open(tmp_path / "backup") as kept:
        assert to_data(kept.job(job_id)) == to_data(archive.job(job_id))
        assert kept.history(job_id) == archive.history(job_id)
        assert kept.photo(held) == photo_bytes(50)
    original = archive.photos.local_path(held)
    assert original is not None
    assert (original.stat().st_nlink > 1) is not copy


def test_a_restored_backup_goes_on_as_before(archive: Archive, tmp_path: Path) -> None:
    job_id = fill(archive, 2)
    archive.backup(tmp_path / "backup")
    restore(tmp_path / "backup", find_location(tmp_path / "new shop"))
    with Archive.open(tmp_path / "new shop") as again:
        data = photo_bytes(77)
        assert again.add_roll(job_id, roll(), [(data, reading(data))]) == 3
        assert again.verify().is_clean
    assert len(archive.job(job_id).rolls) == 2


def test_a_backup_taken_while_others_file_is_whole(archive: Archive, tmp_path: Path) -> None:
    stop = threading.Event()
    filed: list[int] = []

    def keep_filing() -> None:
        job_id = archive.new_job()
        number = 1000
        while not stop.is_set():
            data = photo_bytes(number)
            filed.append(archive.add_roll(job_id, roll(), [(data, reading(data))]))
            number += 1

    worker = threading.Thread(target=keep_filing)
    worker.start()
    try:
        for number in range(3):
            while len(filed) < 3 * (number + 1):
                stop.wait(0.01)
            before = len(filed)
            verdict = archive.backup(tmp_path / f"backup {number}")
            assert verdict.is_clean
            assert verdict.rolls >= before
    finally:
        stop.set()
        worker.join()
    assert archive.verify().is_clean


def test_a_backup_never_overwrites(archive: Archive, tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    with pytest.raises(WouldOverwrite):
        archive.backup(tmp_path / "there")
    fill(archive, 1)
    archive.backup(tmp_path / "backup")
    with pytest.raises(WouldOverwrite):
        restore(tmp_path / "backup", archive.location)


def test_a_damaged_archive_makes_no_backup_and_a_damaged_backup_is_not_restored(
    archive: Archive, tmp_path: Path
) -> None:
    fill(archive, 2)
    archive.backup(tmp_path / "good", copy=True)
    for folder in (archive.location.folder, tmp_path / "good"):
        assert folder is not None
        photo = next((folder / "photos").glob("*/*"))
        photo.write_bytes(b"damaged")
    with pytest.raises(ArchiveDamaged):
        archive.backup(tmp_path / "bad")
    with pytest.raises(ArchiveDamaged):
        restore(tmp_path / "good", find_location(tmp_path / "new"))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["good", "shop"]


def test_tidying_takes_only_what_nothing_needs(archive: Archive) -> None:
    fill(archive, 1)
    forgotten, drafted = (archive.hold_photo(photo_bytes(n)) for n in (60, 61))
    archive.save_draft("J0001", "roll", {"drive": [drafted]})
    part = archive.photos.local_path(forgotten)
    assert part is not None
    leftover = part.with_name(".x.part")
    leftover.write_bytes(b"half")
    os.utime(leftover, (0, 0))
    assert archive.tidy(older_than_days=30) == (".x.part",)
    assert archive.tidy(older_than_days=0) == (forgotten,)
    assert archive.held_photos() == (drafted,)
    assert archive.photo(drafted) == photo_bytes(61)
    assert archive.verify().is_clean
    assert len(archive.job("J0001").rolls[0].photos) == 1


def test_a_photo_tidied_away_between_upload_and_filing_is_filed_whole(archive: Archive) -> None:
    data = photo_bytes(5)
    archive.hold_photo(data)
    archive.tidy(older_than_days=0)
    archive.add_roll(archive.new_job(), roll(), [(data, reading(data))])
    assert archive.verify().is_clean
