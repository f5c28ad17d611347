"""Moving up: a folder to PostgreSQL and an object store and back again, every byte and every row."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from pattern.archive import transfer
from pattern.archive.codec import to_data
from pattern.archive.location import find_location
from pattern.archive.store import Archive
from pattern.archive.transfer import copy_archive
from pattern.errors import ArchiveDamaged, ArchiveUnavailable, InvalidInput, WouldOverwrite
from tests.archive.pictures import jpeg
from tests.archive.samples import AS_FOUND, AXLE, FINAL, advice, declined, reading, roll
from tests.archive.servers import ObjectStore, Postgres


@pytest.fixture
def up(server: Postgres, s3: ObjectStore) -> Iterator[str]:
    """A database and a bucket with nothing in them."""
    name = server.new_database()
    yield f"{server.url}/{name}?photos=s3://{s3.bucket()}/photos"
    server.drop(name)


def fill(archive: Archive) -> None:
    """Jobs with everything an archive can hold, a photo on two rolls, one held and a half-done form."""
    job_id = archive.new_job(
        customer="Öz & Daughters", axle=AXLE, as_found=AS_FOUND, tags=("rush",), by="Ann"
    )
    drive, coast = jpeg(1), jpeg(2, gps=True)
    for _ in range(2):
        shots = [(drive, reading(drive)), (coast, declined(coast))]
        archive.add_roll(job_id, roll(), shots, advice(), note="light brake")
    archive.edit_roll(job_id, 1, readings={1: reading(drive, lengthwise=0.5)}, by="Sam")
    archive.edit(job_id, final=FINAL, status="done")
    archive.new_job(customer="Walk-in")
    archive.hold_photo(jpeg(3))
    archive.save_draft("J0002", "roll", {"backlash": "0.00"})


def told(archive: Archive) -> str:
    """All that an archive says, photos by their hashes, which were checked on reading."""
    ids = [line.id for line in archive.list_jobs().jobs]
    everything = [
        [to_data(archive.job(job_id)) for job_id in ids],
        [to_data(archive.history(job_id)) for job_id in ids],
        to_data(archive.list_jobs(words="brake daughters")),
        archive.held_photos(),
        archive.draft("J0002", "roll"),
    ]
    for sha256 in sorted(archive.photos.names()):
        archive.photo(sha256)
    return json.dumps([*everything, sorted(archive.photos.names())])


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    with Archive.open(tmp_path / "shop") as archive:
        fill(archive)
    return tmp_path / "shop"


def test_up_and_down_again_it_says_the_same(shop: Path, up: str, tmp_path: Path) -> None:
    moved = copy_archive(find_location(shop), find_location(up))
    assert (moved.verdict.is_clean, moved.is_behind) == (True, False)
    copy_archive(find_location(up), find_location(tmp_path / "down"))
    with (
        Archive.open(shop) as first,
        Archive.open(up) as second,
        Archive.open(tmp_path / "down") as third,
    ):
        assert told(first) == told(second) == told(third)
        assert [list(a.verify().findings) for a in (first, second, third)] == [
            list(first.verify().findings)
        ] * 3
        for archive in (second, third):  # and there the work goes on
            data = jpeg(9)
            assert archive.new_job(customer="new") == "J0003"
            assert archive.add_roll("J0001", roll(), [(data, reading(data))]) == 3
            assert archive.edit("J0001", notes="moved") == 1
            assert archive.list_jobs(words="new").jobs[0].id == "J0003"
        assert told(first) != told(second)


def test_between_two_servers_and_between_two_folders(
    shop: Path, up: str, tmp_path: Path, server: Postgres, s3: ObjectStore
) -> None:
    copy_archive(find_location(shop), find_location(tmp_path / "beside"))
    copy_archive(find_location(shop), find_location(up))
    name = server.new_database()
    other = f"{server.url}/{name}?photos=s3://{s3.bucket()}/elsewhere"
    copy_archive(find_location(up), find_location(other))
    with Archive.open(tmp_path / "beside") as one, Archive.open(other) as two:
        assert told(one) == told(two)
    server.drop(name)


def test_an_empty_archive_can_move_too(tmp_path: Path, up: str) -> None:
    Archive.open(tmp_path / "empty").close()
    assert copy_archive(find_location(tmp_path / "empty"), find_location(up)).rows == 0
    with Archive.open(up) as archive:
        assert archive.new_job() == "J0001"


def test_nothing_is_copied_over_jobs(shop: Path, up: str) -> None:
    with Archive.open(up) as archive:
        archive.new_job(customer="here first")
    with pytest.raises(WouldOverwrite, match="holds jobs already"):
        copy_archive(find_location(shop), find_location(up))
    with Archive.open(up) as archive:
        assert len(archive.list_jobs().jobs) == 1
        assert list(archive.photos.names()) == []


def test_a_place_without_an_archive_is_not_made_one(tmp_path: Path, server: Postgres) -> None:
    target = find_location(tmp_path / "to")
    for nowhere in (str(tmp_path / "from"), f"{server.url}/postgres"):
        with pytest.raises(ArchiveUnavailable, match="there is no archive"):
            copy_archive(find_location(nowhere), target)
    assert list(tmp_path.iterdir()) == []


def test_a_place_is_not_copied_to_itself(shop: Path) -> None:
    with pytest.raises(InvalidInput, match="is the same place"):
        copy_archive(find_location(shop), find_location(shop))


def test_a_damaged_photo_stops_it_before_any_row(shop: Path, up: str) -> None:
    next((shop / "photos").glob("*/*")).write_bytes(b"damaged")
    with pytest.raises(ArchiveDamaged, match="no longer what was stored"):
        copy_archive(find_location(shop), find_location(up))
    with Archive.open(up) as archive:
        assert archive.list_jobs().jobs == ()
        assert archive.verify().is_clean


@pytest.mark.parametrize("step", ["_carry", "_go_on_numbering"])
def test_interrupted_it_leaves_no_job_and_goes_on_when_asked_again(
    shop: Path, up: str, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    class Interrupted(BaseException):
        pass

    whole: Callable[..., object] = getattr(transfer, step)

    def interrupt(*arguments: object) -> None:
        whole(*arguments)
        raise Interrupted

    monkeypatch.setattr(transfer, step, interrupt)
    with pytest.raises(Interrupted):
        copy_archive(find_location(shop), find_location(up))
    with Archive.open(up) as archive:
        assert archive.list_jobs().jobs == ()
        assert archive.verify().is_clean
    monkeypatch.undo()
    copy_archive(find_location(shop), find_location(up))
    with Archive.open(shop) as first, Archive.open(up) as second:
        assert told(first) == told(second)


def test_a_row_that_does_not_come_through_is_noticed_and_nothing_kept(
    shop: Path, up: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = transfer._parts

    def losing(connection: object, table: object) -> Iterator[list[dict[str, object]]]:
        for rows in whole(connection, table):  # type: ignore[arg-type]
            is_origin = connection.dialect.name == "sqlite"  # type: ignore[attr-defined]
            if is_origin and table is transfer.entries and not lost:
                lost.append(rows[0] | {"value": '"changed on the way"'})
                yield [lost[0], *rows[1:]]
            else:
                yield rows

    lost: list[dict[str, object]] = []
    monkeypatch.setattr(transfer, "_parts", losing)
    with pytest.raises(ArchiveDamaged, match="rows of entries did not come through"):
        copy_archive(find_location(shop), find_location(up))
    with Archive.open(up) as archive:
        assert archive.list_jobs().jobs == ()


def test_what_is_filed_while_photos_are_copied_comes_along_whole_and_is_told(
    shop: Path, up: str
) -> None:
    late = jpeg(20)

    def file_one(done: int, _all: int) -> None:
        if done == 1:
            with Archive.open(shop) as archive:
                archive.add_roll("J0002", roll(), [(late, reading(late))])

    moved = copy_archive(find_location(shop), find_location(up), file_one)
    assert moved.is_behind
    with Archive.open(up) as archive:
        assert archive.photo(archive.job("J0002").rolls[0].photos[0].sha256) == late
        assert archive.verify().is_clean


def test_the_command_says_what_it_did(shop: Path, up: str) -> None:
    command = [sys.executable, "-m", "pattern.cli", "archive", "copy", str(shop), up]
    ran = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "2 jobs, 2 rolls, 2 photos, verified" in ran.stdout
    again = subprocess.run(command, capture_output=True, text=True, check=False)
    assert again.returncode == 8
    assert "holds jobs already" in again.stderr
