"""`contact-pattern read` over a folder: order, several processes, Ctrl-C, going on where it stopped."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pattern.cli.read_many import jobs_for
from tests.hard.cases import drive, drive_photo
from tests.hard.running import Run, run

PROGRAM = [sys.executable, "-m", "pattern.cli"]


def _folder(place: Path, count: int) -> Path:
    """Photos that differ in their bytes alone, with a file of outlines beside the folder."""
    folder = place / "photos"
    folder.mkdir()
    for number in range(count):
        (folder / f"p{number:03}.PNG").write_bytes(drive_photo() + b"%d" % number)
    (folder / "notes.txt").write_text("painted yellow")
    (place / "o.json").write_text(json.dumps(drive().outlines[:1]))
    return folder


def _words(folder: Path, *more: object) -> list[str]:
    outline = folder.parent / "o.json"
    return [
        "read", str(folder), "--side", "drive", "--outline", str(outline), "--json",
        *map(str, more),
    ]  # fmt: skip


def _read(folder: Path, *more: object) -> Run:
    return run(*_words(folder, *more))


def _names(stdout: str) -> list[str]:
    return [json.loads(line)["photo"] for line in stdout.splitlines()]


def test_a_folder_stands_for_its_photos_in_order_of_name(tmp_path: Path) -> None:
    done = _read(_folder(tmp_path, 3))
    assert done.code == 0
    assert _names(done.stdout) == ["p000.PNG", "p001.PNG", "p002.PNG"]
    assert done.stderr == "", "progress is for a terminal alone"


def test_a_folder_without_photos_is_named(tmp_path: Path) -> None:
    done = _read(_folder(tmp_path, 0))
    assert done.code == 3
    assert "is a folder without photos" in done.stderr


def test_two_processes_say_what_one_says_in_the_same_order(tmp_path: Path) -> None:
    folder = _folder(tmp_path, 6)
    (folder / "p002.PNG").write_bytes(b"no picture")
    one, two = _read(folder, "--jobs", 1), _read(folder, "--jobs", 2)
    assert two.stderr == one.stderr
    assert two.stdout == one.stdout
    assert one.code == two.code == 3
    assert len(_names(one.stdout)) == 5


def test_further_processes_are_begun_only_for_many_photos() -> None:
    assert jobs_for(1, None) == jobs_for(7, None) == 1
    assert jobs_for(1000, None) == len(os.sched_getaffinity(0))
    assert jobs_for(3, 8) == 3
    assert jobs_for(1000, 8) == 8


def test_what_has_a_line_is_passed_over_and_a_line_cut_off_is_read_again(tmp_path: Path) -> None:
    folder = _folder(tmp_path, 4)
    first = _read(folder)
    done_file = tmp_path / "all.jsonl"
    lines = first.stdout.splitlines(keepends=True)
    done_file.write_text("".join(lines[:2]) + lines[2][:100] + "\n[1]\n")
    again = _read(folder, "--skip-done", done_file)
    assert again.stdout == "".join(lines[2:])
    assert "2 of 4 photos are done already." in again.stderr


@pytest.mark.parametrize("other", [("--hand", "left"), ("--settings", "s.toml")])
def test_a_line_made_otherwise_is_not_done(
    tmp_path: Path, other: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("s.toml").write_text("tooth_min_px = 40")
    folder = _folder(tmp_path, 1)
    Path("all.jsonl").write_text(_read(folder).stdout)
    assert _read(folder, "--skip-done", "all.jsonl").stdout == ""
    again = _read(folder, "--skip-done", "all.jsonl", *other)
    assert again.stdout or "wrong way round" in again.stderr, "it was read again"


def _hears_ctrl_c() -> None:
    """What a shell starts in the background is deaf to it, and so are all that it starts."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _begun(folder: Path, out: Path) -> subprocess.Popen[bytes]:
    """Reading with two processes, in a process group of its own, stopped at nothing; one line is out."""
    with out.open("wb") as lines:
        program = subprocess.Popen(
            [*PROGRAM, *_words(folder, "--jobs", 2)], stdout=lines, stderr=subprocess.PIPE,
            start_new_session=True, preexec_fn=_hears_ctrl_c,
        )  # fmt: skip
    deadline = time.monotonic() + 60
    while out.stat().st_size == 0:
        assert program.poll() is None, program.stderr.read() if program.stderr else ""
        assert time.monotonic() < deadline
        time.sleep(0.02)
    return program


def _left_of(group: int) -> list[int]:
    """Processes of a group that are not yet gone."""
    left = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, process_group = stat.read_text().rpartition(")")[2].split()[:3]
        except (OSError, ValueError):
            continue
        if int(process_group) == group and state != "Z":
            left.append(int(stat.parent.name))
    return left


def _wait_until_gone(group: int) -> None:
    deadline = time.monotonic() + 20
    while left := _left_of(group):
        assert time.monotonic() < deadline, left
        time.sleep(0.05)


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for processes in /proc")
def test_ctrl_c_leaves_whole_lines_and_no_process_and_can_be_gone_on_from(tmp_path: Path) -> None:
    folder, out = _folder(tmp_path, 150), tmp_path / "all.jsonl"
    program = _begun(folder, out)
    os.killpg(program.pid, signal.SIGINT)  # as a terminal does
    _, stderr = program.communicate(timeout=60)
    assert program.returncode == 130
    assert stderr.decode().strip() == "Interrupted."
    _wait_until_gone(program.pid)
    names = _names(out.read_text())
    assert 0 < len(names) < 150
    assert names == [f"p{number:03}.PNG" for number in range(len(names))]
    for path in sorted(folder.glob("*.PNG"))[len(names) + 2 :]:
        path.unlink()
    rest = _read(folder, "--skip-done", out)
    assert _names(rest.stdout) == [f"p{len(names) + more:03}.PNG" for more in (0, 1)]


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for processes in /proc")
def test_a_killed_program_leaves_no_worker_behind(tmp_path: Path) -> None:
    program = _begun(_folder(tmp_path, 150), tmp_path / "all.jsonl")
    program.kill()
    program.communicate(timeout=60)
    _wait_until_gone(program.pid)


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for processes in /proc")
def test_a_worker_ended_by_the_system_is_said_with_what_to_do(tmp_path: Path) -> None:
    program = _begun(_folder(tmp_path, 150), tmp_path / "all.jsonl")
    workers = [
        pid for pid in _left_of(program.pid)
        if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()
    ]  # fmt: skip
    os.kill(workers[0], signal.SIGKILL)
    _, stderr = program.communicate(timeout=60)
    assert program.returncode == 1
    assert stderr.decode().startswith("--jobs: the system ended a worker process")
    assert "Traceback" not in stderr.decode()
    _wait_until_gone(program.pid)
