"""Verify finds what is wrong, says nothing of what is right, and changes nothing."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner

from pattern.archive.location import find_location
from pattern.archive.store import Archive
from pattern.archive.verify import verify
from pattern.cli import commands
from pattern.errors import ArchiveNewer, ArchiveUnavailable
from tests.archive.samples import AXLE, advice, photo_bytes, reading, roll

pytestmark = pytest.mark.folder_only  # the harm is done to files

CLI = [sys.executable, "-m", "pattern.cli"]


@pytest.fixture
def shop(archive: Archive) -> Archive:
    for number in (1, 2):
        data = photo_bytes(number)
        archive.add_roll(archive.new_job(axle=AXLE), roll(), [(data, reading(data))], advice())
    return archive


def photo_path(archive: Archive, number: int) -> Path:
    path = archive.photos.local_path(hashlib.sha256(photo_bytes(number)).hexdigest())
    assert path is not None
    return path


def sql(archive: Archive, *statements: str) -> None:
    file = archive.location.database_file
    assert file is not None
    with closing(sqlite3.connect(file)) as connection:
        for statement in statements:
            connection.execute(statement)
        connection.commit()


def test_a_sound_archive_is_clean(shop: Archive) -> None:
    verdict = shop.verify()
    assert verdict.is_clean
    assert (verdict.jobs, verdict.rolls, verdict.photos, verdict.findings) == (2, 2, 2, ())


def delete_photo(shop: Archive) -> None:
    photo_path(shop, 1).unlink()


def flip_a_bit(shop: Archive) -> None:
    path = photo_path(shop, 2)
    data = bytearray(path.read_bytes())
    data[100] ^= 1
    path.write_bytes(bytes(data))


def cut_a_photo_short(shop: Archive) -> None:
    photo_path(shop, 1).write_bytes(photo_bytes(1)[:-5])


def add_an_orphan(shop: Archive) -> None:
    shop.photos.put(photo_bytes(9))


def add_a_stray(shop: Archive) -> None:
    photo_path(shop, 1).with_name("holiday.jpg").write_bytes(b"x")


def lose_a_job(shop: Archive) -> None:
    sql(shop, "DELETE FROM jobs WHERE number = 2")


def lose_a_photos_row(shop: Archive) -> None:
    sql(shop, "DROP TRIGGER photos_no_delete", "DELETE FROM photos WHERE rowid = 1")


def spoil_a_roll(shop: Archive) -> None:
    sql(
        shop,
        "DROP TRIGGER rolls_no_update",
        "UPDATE rolls SET roll = '{\"drive\": 5}' WHERE id = 1",
    )


def spoil_an_entry(shop: Archive) -> None:
    sql(shop, "DROP TRIGGER entries_no_update", "UPDATE entries SET value = '{' WHERE id = 1")


def spoil_the_file(shop: Archive) -> None:
    shop.close()
    file = shop.location.database_file
    assert file is not None
    data = bytearray(file.read_bytes())
    data[4096 * 3 : 4096 * 8] = b"\x5a" * (4096 * 5)
    file.write_bytes(bytes(data))


@pytest.mark.parametrize(
    ("harm", "codes"),
    [
        (delete_photo, {"missing"}),
        (flip_a_bit, {"damaged"}),
        (cut_a_photo_short, {"damaged"}),
        (add_an_orphan, {"orphan"}),
        (add_a_stray, {"stray"}),
        (lose_a_job, {"reference"}),
        (lose_a_photos_row, {"reference", "orphan"}),
        (spoil_a_roll, {"record"}),
        (spoil_an_entry, {"record"}),
        (spoil_the_file, {"database"}),
    ],
)
def test_every_harm_is_found_and_the_exit_code_is_seven(
    shop: Archive, harm: Callable[[Archive], None], codes: set[str]
) -> None:
    harm(shop)
    verdict = shop.verify()
    assert not verdict.is_clean
    assert {finding.code for finding in verdict.findings if finding.is_fault} == codes
    arguments = ["archive", "verify", "--archive", str(shop.location.folder), "--json"]
    ran = CliRunner().invoke(commands, arguments, standalone_mode=False)
    assert ran.return_value == 7, ran.output
    told = json.loads(ran.stdout)
    assert told["clean"] is False
    assert codes <= {line["code"] for line in told["findings"]}


def test_the_program_itself_ends_with_zero_or_seven(shop: Archive) -> None:
    place = str(shop.location.folder)
    ran = subprocess.run(
        [*CLI, "archive", "verify", "--archive", place], capture_output=True, text=True, check=False
    )
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "clean; 2 jobs, 2 rolls, 2 photos" in ran.stdout
    flip_a_bit(shop)
    ran = subprocess.run(
        [*CLI, "archive", "verify", "--archive", place],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 7
    assert "FAULT damaged" in ran.stdout


def test_photos_on_their_way_are_in_order(shop: Archive) -> None:
    shop.hold_photo(photo_bytes(7))
    part = photo_path(shop, 1).with_name(".abc.part")
    part.write_bytes(b"half")
    verdict = shop.verify()
    assert verdict.is_clean
    assert [f.code for f in verdict.findings] == ["held", "leftover"]


def test_verify_tells_how_far_it_is(shop: Archive) -> None:
    told: list[tuple[int, int]] = []
    verify(shop.location, lambda done, everything: told.append((done, everything)))
    assert told == [(1, 2), (2, 2)]


def test_verify_changes_nothing(shop: Archive) -> None:
    flip_a_bit(shop)
    add_an_orphan(shop)
    shop.close()
    folder = shop.location.folder
    assert folder is not None

    def state() -> dict[str, bytes]:
        files = [p for p in folder.rglob("*") if p.is_file() and p.suffix not in (".sqlite-shm",)]
        return {str(p): p.read_bytes() for p in files if p.stat().st_size}

    before = state()
    shop.verify()
    assert state() == before


def test_an_older_archive_is_checked_without_upgrading_it(tmp_path: Path) -> None:
    import shutil

    old = Path(__file__).parent.parent / "archives" / "schema_0001"
    shutil.copytree(old, tmp_path / "old")
    verdict = verify(find_location(tmp_path / "old"))
    assert verdict.is_clean
    assert "older_schema" in {f.code for f in verdict.findings}
    assert (tmp_path / "old" / "jobs.sqlite").read_bytes() == (old / "jobs.sqlite").read_bytes()


def test_no_archive_and_a_newer_one_are_told_apart(shop: Archive, tmp_path: Path) -> None:
    with pytest.raises(ArchiveUnavailable, match="there is no archive"):
        verify(find_location(tmp_path / "nowhere"))
    assert not (tmp_path / "nowhere").exists()
    sql(shop, "UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(ArchiveNewer):
        shop.verify()


def test_the_database_passes_sqlites_own_check(shop: Archive) -> None:
    # Outside check: SQLite's PRAGMA integrity_check and foreign_key_check on the file itself.
    file = shop.location.database_file
    assert file is not None
    with closing(sqlite3.connect(file)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        words = "INSERT INTO job_words(job_words, rank) VALUES ('integrity-check', 1)"
        connection.execute(words)
