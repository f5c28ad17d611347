"""Nothing acknowledged is ever lost: killed at random, out of space, read-only, four at once."""

from __future__ import annotations

import errno
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest

from pattern.archive import filing
from pattern.archive.photos import PhotoStore
from pattern.archive.store import Archive
from pattern.archive.upgrade import REVISIONS
from pattern.errors import ArchiveUnavailable
from tests.archive.samples import photo_bytes, reading, roll

FILING = """
import os, sys
from tests.archive.samples import photo_bytes, reading, roll
from pattern.archive.store import Archive
import pattern.archive.verify

def file_until_killed(place, job_id, first):
    with Archive.open(place) as archive:
        for number in range(first, first + 10_000):
            drive, coast = photo_bytes(2 * number), photo_bytes(2 * number + 1)
            shots = [(drive, reading(drive)), (coast, reading(coast, "coast"))]
            filed = archive.add_roll(job_id, roll(), shots, note=str(number))
            os.write(1, f"filed {filed} {number}\\n".encode())

for line in sys.stdin:
    place, job_id, first = line.rstrip("\\n").split("\\t")
    child = os.fork()
    if child == 0:
        file_until_killed(place, job_id, int(first))
    os.write(1, f"started {child}\\n".encode())
    os.waitpid(child, 0)
    os.write(1, b"dead\\n")
"""


def kill_while_filing(place: Path, times: int, seed: int) -> None:
    """File in a child that is killed at a random moment of its third roll or before, again and again."""
    chance = random.Random(seed)
    with Archive.open(place) as archive:
        job_id = archive.new_job(customer="killed")
    command = [sys.executable, "-c", FILING]
    acknowledged: dict[int, int] = {}
    pace = 0.05
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as forks:
        assert forks.stdin is not None
        assert forks.stdout is not None
        for turn in range(times):
            forks.stdin.write(f"{place}\t{job_id}\t{turn * 10_000}\n")
            forks.stdin.flush()
            start, wanted, filed = time.monotonic(), chance.randrange(3), 0
            child = 0
            for line in forks.stdout:
                word, *numbers = line.split()
                if word == "started":
                    child = int(numbers[0])
                elif word == "filed":
                    acknowledged[int(numbers[0])] = int(numbers[1])
                    filed += 1
                    pace = 0.8 * pace + 0.2 * (time.monotonic() - start) / filed
                elif word == "dead":
                    break
                if child and filed == wanted:
                    time.sleep(chance.uniform(0.0, 1.2 * pace))
                    os.kill(child, signal.SIGKILL)
                    wanted = -1
            if turn % 10 == 9 or turn == times - 1:
                _check(place, job_id, acknowledged)
        forks.stdin.close()
    assert len(acknowledged) > times / 2, "too little was acknowledged to prove anything"


def _check(place: Path, job_id: str, acknowledged: dict[int, int]) -> None:
    with Archive.open(place) as archive:
        rolls = {filed.number: filed for filed in archive.job(job_id).rolls}
        assert sorted(rolls) == list(range(1, len(rolls) + 1))
        for number, content in acknowledged.items():
            assert rolls[number].note == str(content)
            assert len(rolls[number].photos) == 2
        notes = [filed.note for filed in rolls.values()]
        assert len(set(notes)) == len(notes), "a roll was filed twice"
        assert [f for f in archive.verify().findings if f.is_fault] == []


def test_fifteen_kills_lose_nothing(tmp_path: Path) -> None:
    kill_while_filing(tmp_path / "shop", times=15, seed=15)


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_two_hundred_kills_lose_nothing(tmp_path: Path) -> None:
    kill_while_filing(tmp_path / "shop", times=200, seed=200)


def test_killed_between_photo_and_row_leaves_a_photo_on_its_way(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    job_id, data = archive.new_job(), photo_bytes(1)

    class Killed(BaseException):
        pass

    def die(*_: object) -> int:
        raise Killed

    monkeypatch.setattr(filing, "write_roll", die)
    with pytest.raises(Killed):
        archive.add_roll(job_id, roll(), [(data, reading(data))])
    verdict = archive.verify()
    assert verdict.is_clean
    assert [f.code for f in verdict.findings] == ["held"]
    assert archive.job(job_id).rolls == ()


@pytest.mark.parametrize("step", ["announce", "put", "write_roll", "_name_photos"])
@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EROFS])
def test_a_disk_that_refuses_at_any_step_leaves_nothing_half(
    archive: Archive, monkeypatch: pytest.MonkeyPatch, step: str, code: int
) -> None:
    job_id, data = archive.new_job(), photo_bytes(1)
    refusal = _refusal(code)
    if step == "put":
        monkeypatch.setattr(os, "fsync", refusal)
    else:
        monkeypatch.setattr(filing, step, refusal)
    with pytest.raises(OSError, match=os.strerror(code)):
        archive.add_roll(job_id, roll(), [(data, reading(data))])
    monkeypatch.undo()
    assert archive.job(job_id).rolls == ()
    assert archive.verify().is_clean
    assert archive.add_roll(job_id, roll(), [(data, reading(data))]) == 1
    assert archive.verify().findings == ()


def _refusal(code: int) -> Callable[..., None]:
    def refuse(*_: object) -> None:
        raise OSError(code, os.strerror(code))

    return refuse


class SmallDisk:
    """A file system of two megabytes. Without the right to mount one, the nearest stand-in for it:
    writes to the disk refuse once two megabytes lie there, and sealing takes the permissions away."""

    def __init__(self, place: Path, patch: pytest.MonkeyPatch) -> None:
        self.place = place
        self._patch = patch
        place.mkdir()
        self._is_mounted = self._mount("-t", "tmpfs", "-o", "size=2m", "tmpfs")
        if not self._is_mounted:
            patch.setattr(os, "fsync", self._full_above(2 << 20))

    def grow(self) -> None:
        if self._is_mounted:
            assert self._mount("-o", "remount,size=8m")
        else:
            self._patch.undo()

    def seal(self) -> None:
        if self._is_mounted:
            assert self._mount("-o", "remount,ro")
            return
        for path in (self.place, *self.place.rglob("*")):
            path.chmod(0o555 if path.is_dir() else 0o444)

    def release(self) -> None:
        if self._is_mounted:
            subprocess.run(["umount", "-l", str(self.place)], check=True)
            return
        for path in (self.place, *self.place.rglob("*")):
            path.chmod(0o755)

    def _mount(self, *options: str) -> bool:
        command = ["mount", *options, str(self.place)]
        return subprocess.run(command, capture_output=True, check=False).returncode == 0

    def _full_above(self, limit: int) -> Callable[[int], None]:
        def refuse(_handle: int) -> None:
            if sum(p.stat().st_size for p in self.place.rglob("*") if p.is_file()) > limit:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        return refuse


@pytest.fixture
def small_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[SmallDisk]:
    disk = SmallDisk(tmp_path / "disk", monkeypatch)
    yield disk
    disk.release()


def test_a_disk_that_fills_up_keeps_every_acknowledged_roll(small_disk: SmallDisk) -> None:
    with Archive.open(small_disk.place / "shop") as archive:
        job_id, filed = archive.new_job(), 0
        with pytest.raises(ArchiveUnavailable) as refused:
            for number in range(1000):
                data = photo_bytes(number) * 20
                assert archive.add_roll(job_id, roll(), [(data, reading(data))]) == number + 1
                filed = number + 1
        assert filed > 5
        assert "space" in refused.value.message
        assert len(archive.job(job_id).rolls) == filed
        assert archive.verify().is_clean
        small_disk.grow()
        data = photo_bytes(5000) * 20
        assert archive.add_roll(job_id, roll(), [(data, reading(data))]) == filed + 1


def test_a_read_only_disk_can_be_read_and_says_why_it_cannot_be_written(
    small_disk: SmallDisk,
) -> None:
    with Archive.open(small_disk.place / "shop") as archive:
        job_id, data = archive.new_job(customer="A"), photo_bytes(1)
        archive.add_roll(job_id, roll(), [(data, reading(data))])
    small_disk.seal()
    with Archive.open(small_disk.place / "shop") as archive:
        assert archive.job(job_id).customer == "A"
        assert archive.photo(reading(data).sha256) == data
        assert archive.verify().is_clean
        with pytest.raises(ArchiveUnavailable, match="cannot be written"):
            archive.edit(job_id, customer="B")
        with pytest.raises(ArchiveUnavailable, match="cannot be written"):
            archive.add_roll(job_id, roll(), [(photo_bytes(2), reading(photo_bytes(2)))])
    with pytest.raises(ArchiveUnavailable, match="no archive can be made here"):
        Archive.open(small_disk.place / "other")


FOUR = """
import sys
from tests.archive.samples import photo_bytes, reading, roll
from pattern.archive.store import Archive
place, job_id, who = sys.argv[1], sys.argv[2], int(sys.argv[3])
with Archive.open(place) as archive:
    for number in range(8):
        data, shared = photo_bytes(who * 100 + number), photo_bytes(7)
        shots = [(data, reading(data)), (shared, reading(shared, "coast"))]
        print(archive.add_roll(job_id, roll(), shots, note=f"{who}/{number}"), flush=True)
"""


def test_four_processes_filing_at_once_lose_nothing_and_double_nothing(tmp_path: Path) -> None:
    with Archive.open(tmp_path / "shop") as archive:
        job_id = archive.new_job()
    command = [sys.executable, "-c", FOUR, str(tmp_path / "shop"), job_id]
    running = [
        subprocess.Popen([*command, str(who)], stdout=subprocess.PIPE, text=True)
        for who in range(4)
    ]
    told = [[int(n) for n in process.communicate(timeout=120)[0].split()] for process in running]
    assert sorted(number for numbers in told for number in numbers) == list(range(1, 33))
    with Archive.open(tmp_path / "shop") as archive:
        notes = [filed.note for filed in archive.job(job_id).rolls]
        assert sorted(notes) == sorted(f"{who}/{n}" for who in range(4) for n in range(8))
        assert archive.verify().is_clean


def test_many_threads_of_one_page_lose_nothing_and_double_nothing(archive: Archive) -> None:
    job_id = archive.new_job()

    def session(who: int) -> list[int]:
        numbers = []
        for number in range(5):
            data = photo_bytes(who * 10 + number)
            archive.save_draft(job_id, f"roll {who}", {"number": number})
            made = archive.add_roll(job_id, roll(), [(data, reading(data))], note=f"{who}/{number}")
            numbers.append(made)
            archive.edit(job_id, notes=f"{who}/{number}")
            assert len(archive.job(job_id).rolls) >= made
        return numbers

    with ThreadPoolExecutor(6) as sessions:
        told = list(sessions.map(session, range(6)))
    assert sorted(number for numbers in told for number in numbers) == list(range(1, 31))
    assert len([e for e in archive.history(job_id) if e.section == "notes"]) == 30
    assert archive.verify().is_clean


UPGRADE = """
import sys
from pattern.archive.store import Archive
import alembic.config, alembic.runtime.environment, alembic.script, alembic.op
print("ready", flush=True)
sys.stdin.readline()
Archive.open(sys.argv[1]).close()
print("done", flush=True)
"""


def test_an_upgrade_killed_at_any_moment_can_be_done_again(tmp_path: Path) -> None:
    import shutil

    old = Path(__file__).parent.parent / "archives" / "schema_0001"
    chance = random.Random(3)
    seen = set()
    for turn in range(4):
        place = tmp_path / str(turn)
        shutil.copytree(old, place)
        command = [sys.executable, "-c", UPGRADE, str(place)]
        process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdout.readline()
        process.stdin.write(b"go\n")
        process.stdin.flush()
        time.sleep(chance.uniform(0.0, 0.1))
        process.kill()
        process.communicate()
        with closing(sqlite3.connect(place / "jobs.sqlite")) as connection:
            seen.add(connection.execute("SELECT version_num FROM alembic_version").fetchone()[0])
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        with Archive.open(place) as archive:
            assert len(archive.job("J0001").rolls) == 3
            assert archive.verify().is_clean
    assert seen <= {"0001", REVISIONS[-1]}


def test_the_store_of_photos_can_be_shared_by_two_stores_at_once(tmp_path: Path) -> None:
    one, two = PhotoStore(str(tmp_path / "p")), PhotoStore(str(tmp_path / "p"))
    data = photo_bytes()
    assert one.put(data) == two.put(data)
    assert two.get(one.put(data)) == data
