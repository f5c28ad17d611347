"""Bad moments for the program as a user runs it: the disk full, a kill, the clock set back, two
versions on one archive, the archive's disk gone. The archive's own moments are in `tests/archive`.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from pattern.archive.location import DATABASE_NAME
from pattern.cli.output import write_new
from pattern.errors import InvalidInput, WouldOverwrite
from tests.archive.test_kill import SmallDisk
from tests.hard.cases import AXLE, drive, drive_photo
from tests.hard.running import assert_message, run

PROGRAM = [sys.executable, "-m", "pattern.cli"]


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """An archive with a job of one roll, and beside it the photo and its outlines."""
    (tmp_path / "p.png").write_bytes(drive_photo())
    (tmp_path / "o.json").write_text(json.dumps(drive().outlines[:2]))
    (tmp_path / "axle.json").write_text(json.dumps(AXLE))
    place = tmp_path / "shop"
    assert run("job", "new", "--archive", place, "--axle", tmp_path / "axle.json").code == 0
    assert _file_a_roll(place).code == 0
    return place


def _file_a_roll(place: Path) -> object:
    return run(
        "job", "add-roll", "J0001", "--archive", place, "--drive", place.parent / "p.png",
        "--drive-outline", place.parent / "o.json", "--backlash", "0.008",
    )  # fmt: skip


@pytest.fixture
def full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    disk = SmallDisk(tmp_path / "disk", monkeypatch)
    (disk.place / "filler").write_bytes(bytes((2 << 20) - 30_000))
    yield disk.place
    disk.release()


# --- results of commands ------------------------------------------------------------------------------


def test_a_full_disk_leaves_no_half_result_and_room_again_lets_it_be_written(
    shop: Path, full_disk: Path
) -> None:
    overlay = (
        "read", shop.parent / "p.png", "--side", "drive", "--outline", shop.parent / "o.json",
        "--overlay", full_disk / "pictures",
    )  # fmt: skip
    report = ("job", "report", "J0001", "--archive", shop, "--out", full_disk / "r.pdf")
    for words in (overlay, report):
        done = run(*words)
        assert done.code == 5, done
        assert "space" in done.refusals[-1]
        assert_message(done.refusals[-1])
        left = [p for p in full_disk.rglob("*") if p.is_file() and p.name != "filler"]
        assert left == []
    (full_disk / "filler").unlink()
    for words in (overlay, report):
        assert run(*words).code == 0


def test_an_interruption_in_the_middle_of_writing_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_new(tmp_path / "r.pdf", b"report")
    assert list(tmp_path.iterdir()) == []


def test_a_result_never_takes_the_place_of_another_unasked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "r.pdf"
    monkeypatch.setattr(os, "fsync", lambda _: target.write_bytes(b"mine"))  # made meanwhile
    with pytest.raises(WouldOverwrite):
        write_new(target, b"report")
    assert target.read_bytes() == b"mine"
    write_new(target, b"report", overwrite=True)
    assert target.read_bytes() == b"report"
    assert list(tmp_path.iterdir()) == [target]


def test_a_stick_that_knows_no_links_takes_results_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refused)
    write_new(tmp_path / "r.pdf", b"report")
    assert (tmp_path / "r.pdf").read_bytes() == b"report"


def test_a_place_that_is_gone_is_named(tmp_path: Path) -> None:
    with pytest.raises(InvalidInput, match="cannot be written"):
        write_new(tmp_path / "gone" / "r.pdf", b"report")


# --- the archive under a running program ----------------------------------------------------------------


def test_killed_while_filing_a_roll_leaves_it_filed_or_not_and_the_archive_clean(
    shop: Path,
) -> None:
    words = [
        "job", "add-roll", "J0001", "--archive", str(shop), "--drive", str(shop.parent / "p.png"),
        "--drive-outline", str(shop.parent / "o.json"), "--backlash", "0.008",
    ]  # fmt: skip
    start = time.monotonic()
    assert subprocess.run([*PROGRAM, *words], capture_output=True, check=False).returncode == 0
    whole_s = time.monotonic() - start
    for share in (0.6, 0.8, 0.95):
        program = subprocess.Popen([*PROGRAM, *words], stdout=subprocess.DEVNULL)
        time.sleep(share * whole_s)
        program.send_signal(signal.SIGKILL)
        program.wait()
    assert run("archive", "verify", "--archive", shop).code == 0
    rolls = json.loads(run("job", "show", "J0001", "--json", "--archive", shop).stdout)["rolls"]
    assert 2 <= len(rolls) <= 5
    assert [roll["number"] for roll in rolls] == list(range(1, len(rolls) + 1))


def test_every_command_leaves_a_newer_programs_archive_alone_and_says_so(shop: Path) -> None:
    file = shop / DATABASE_NAME
    connection = sqlite3.connect(file)
    connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.commit()
    connection.close()
    before = file.read_bytes()
    for words in (
        ("job", "list"), ("job", "new", "--customer", "A"), ("job", "show", "J0001"),
        ("job", "edit", "J0001", "--notes", "x"), ("job", "report", "J0001"),
        ("job", "export", "J0001"), ("archive", "verify"), ("archive", "tidy"),
    ):  # fmt: skip
        done = run(*words, "--archive", shop)
        assert done.code == 7, (words, done)
        assert "newer version of this program" in done.stderr
        assert_message(done.refusals[-1])
    assert file.read_bytes() == before


def test_where_the_archives_disk_is_not_plugged_in_the_new_archive_is_announced(shop: Path) -> None:
    shutil.rmtree(shop)
    shop.mkdir()  # the bare mount point
    done = run("job", "show", "J0001", "--archive", shop)
    assert done.code == 5
    assert f"A new archive was made: {shop}" in done.stderr
    assert "J0001: there is no such job" in done.stderr


def test_a_clock_set_back_files_and_lists_in_the_order_of_filing(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    past = time.time() - 20 * 365 * 86_400
    monkeypatch.setattr(time, "time", lambda: past)
    assert _file_a_roll(shop).code == 0  # type: ignore[attr-defined]
    assert run("job", "new", "--archive", shop, "--customer", "later").code == 0
    listed = run("job", "list", "--archive", shop).stdout.splitlines()
    assert [line[:5] for line in listed] == ["J0002", "J0001"]
    rolls = json.loads(run("job", "show", "J0001", "--json", "--archive", shop).stdout)["rolls"]
    assert [roll["number"] for roll in rolls] == [1, 2]
