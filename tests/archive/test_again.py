"""Reading again: every photo once by the present reader, whatever dies on the way."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import select

from pattern.archive import cluster
from pattern.archive.again import Outcome, Task, Worker, keep, tasks
from pattern.archive.cluster import Run, read_again
from pattern.archive.codec import from_json, to_data, to_json
from pattern.archive.reader import reader_name
from pattern.archive.schema import later_readings
from pattern.archive.store import Archive
from pattern.errors import ArchiveUnavailable, InvalidSettings
from pattern.records import Reading
from pattern.settings import Settings
from tests.archive import readers
from tests.archive.pictures import jpeg
from tests.archive.samples import reading, roll
from tests.archive.servers import free_port

if TYPE_CHECKING:
    from distributed import LocalCluster

DEMO = Path(__file__).parents[2] / "pattern" / "cli" / "demo_photos"


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A Dask cluster of two workers, each a process that is started anew when it dies."""
    import dask

    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DEADLY_ONCE", str(tmp_path_factory.mktemp("deadly")))
        patient = {"distributed.scheduler.allowed-failures": 1} | cluster._PATIENT
        with dask.config.set(patient), _two_workers() as started:
            yield started.scheduler_address


def _two_workers() -> LocalCluster:
    from distributed import LocalCluster

    return LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1",
        dashboard_address="127.0.0.1:0", silence_logs=50,
    )  # fmt: skip


def fill(archive: Archive, *names: str, first: int = 0) -> list[str]:
    """File photos with those names, two a roll; returns their hashes."""
    job_id, hashes = archive.new_job(), []
    for start in range(0, len(names), 2):
        shots = []
        for number, name in enumerate(names[start : start + 2], start=first + start):
            data = jpeg(number)
            shots.append((data, reading(data, "drive", name)))
            hashes.append(shots[-1][1].sha256)
        archive.add_roll(job_id, roll(), shots)
    return hashes


def kept(archive: Archive) -> dict[tuple[int, int, str], Reading]:
    """Every later reading on record, by roll row, position and reader."""
    with archive.database.reading() as connection:
        rows = connection.execute(select(later_readings)).all()
    assert len({(r.roll_id, r.position, r.reader) for r in rows}) == len(rows)
    return {(r.roll_id, r.position, r.reader): from_json(Reading, r.reading) for r in rows}


def again(archive: Archive, scheduler: str, **options: object) -> Run:
    return read_again(archive, readers.quick, Settings(), scheduler=scheduler, **options)  # type: ignore[arg-type]


def test_every_photo_is_read_once_and_kept_beside_what_was_filed(
    archive: Archive, scheduler: str
) -> None:
    hashes = fill(archive, *(f"p{n}.jpg" for n in range(7)))
    before = to_data(archive.job("J0001"))
    told: list[tuple[int, int, int]] = []
    run = again(archive, scheduler, progress=lambda *state: told.append(state))
    assert (run.read, run.declined, run.failures, run.earlier) == (7, 0, [], 0)
    assert told[-1] == (7, 0, 7)
    readings = kept(archive)
    assert sorted(r.sha256 for r in readings.values()) == sorted(hashes)
    assert {reader for _, _, reader in readings} == {reader_name(Settings())}
    assert to_data(archive.job("J0001")) == before, "what was filed stands, version and all"
    assert archive.verify().findings == ()
    once_more = again(archive, scheduler)
    assert (once_more.done, once_more.earlier) == (0, 7)
    assert kept(archive).keys() == readings.keys()


def test_what_two_runs_at_once_read_is_kept_once(archive: Archive) -> None:
    fill(archive, "a.jpg", "b.jpg", first=800)
    one, two = tasks(archive.database, "x")
    first, second = (to_json(reading(b"", lengthwise=at)) for at in (0.3, 0.7))
    keep(archive.database, "x", [Outcome(one, first)])
    keep(archive.database, "x", [Outcome(one, second), Outcome(two, second)])
    assert [r.lengthwise for _, r in sorted(kept(archive).items())] == [0.3, 0.7]


def test_stopped_in_the_middle_it_goes_on_where_it_was(archive: Archive, scheduler: str) -> None:
    fill(archive, *(f"p{n}.jpg" for n in range(9)))
    assert again(archive, scheduler, limit=2).done == 2
    first = kept(archive)
    assert len(first) == 2

    def stop(done: int, _failed: int, _all: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        again(archive, scheduler, progress=stop)
    second = kept(archive)
    assert 2 < len(second) < 9, "what had come in by then is kept"
    rest = again(archive, scheduler)
    assert (rest.earlier, rest.read) == (len(second), 9 - len(second))
    assert len(kept(archive)) == 9


@pytest.mark.folder_only
def test_a_worker_killed_in_the_middle_loses_nothing(archive: Archive, scheduler: str) -> None:
    names = [f"p{n}.jpg" for n in range(8)]
    names[3] = readers.DEADLY
    hashes = fill(archive, *names, first=100)
    run = again(archive, scheduler)
    assert (run.read, run.failures) == (8, [])
    assert sorted(r.sha256 for r in kept(archive).values()) == sorted(hashes)


@pytest.mark.folder_only
def test_a_photo_that_no_worker_survives_is_told_and_the_others_are_read(
    archive: Archive, scheduler: str
) -> None:
    fill(archive, "a.jpg", readers.POISON, readers.FAULTY, readers.DIM, "b.jpg", "c.jpg", first=200)
    run = again(archive, scheduler)
    assert (run.read, run.declined) == (3, 1)
    told = dict(run.failures)
    assert set(told) == {"J0001 roll 1 photo 2", "J0001 roll 2 photo 1"}
    assert "every worker that read it died" in told["J0001 roll 1 photo 2"]
    assert "no tooth is that short" in told["J0001 roll 2 photo 1"]
    assert len(kept(archive)) == 4
    assert len(list(tasks(archive.database, run.reader))) == 2, "a later run tries those again"


@pytest.mark.folder_only
def test_a_photo_that_is_missing_is_told_and_read_once_it_is_back(
    archive: Archive, scheduler: str
) -> None:
    gone, _ = fill(archive, "a.jpg", "b.jpg", first=300)
    path = archive.photos.local_path(gone)
    assert path is not None
    data = path.read_bytes()
    path.unlink()
    run = again(archive, scheduler)
    assert run.read == 1
    ((where, why),) = run.failures
    assert where == "J0001 roll 1 photo 1"
    assert "is missing" in why
    archive.photos.put(data)
    assert again(archive, scheduler).read == 1


@pytest.mark.folder_only
def test_other_settings_are_another_reader(archive: Archive, scheduler: str) -> None:
    fill(archive, "a.jpg", first=400)
    again(archive, scheduler)
    other = Settings(tooth_min_px=60.0)
    run = read_again(archive, readers.quick, other, scheduler=scheduler)
    assert (run.read, run.earlier) == (1, 0)
    assert {reader for _, _, reader in kept(archive)} == {
        reader_name(Settings()),
        reader_name(other),
    }


@pytest.mark.folder_only
def test_workers_with_another_reader_are_refused(
    archive: Archive, scheduler: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(archive, "a.jpg", first=500)
    monkeypatch.setattr(cluster, "reader_name", lambda _: "0.0.9-000000000000-000000000000")
    with pytest.raises(InvalidSettings, match="a worker has the reader"):
        again(archive, scheduler)
    assert kept(archive) == {}


@pytest.mark.folder_only
def test_a_worker_that_joins_later_with_another_reader_reads_nothing(archive: Archive) -> None:
    fill(archive, "a.jpg", first=600)
    (task,) = tasks(archive.database, "x")
    outcome = Worker(archive.photos.url, Settings(), "0.0.9-other", readers.quick)(task)
    assert outcome.reading == ""
    assert "Install the same version" in outcome.fault


@pytest.mark.folder_only
@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "nonsense"])
def test_a_scheduler_that_is_not_there_is_named(
    archive: Archive, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(archive, "a.jpg", first=700)
    monkeypatch.setattr(cluster, "_ANSWER_S", 0.5)
    with pytest.raises(ArchiveUnavailable, match="no scheduler answers there") as refused:
        again(archive, address)
    assert refused.value.subject == address


@pytest.mark.folder_only
def test_a_scheduler_without_workers_is_told(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    from distributed import LocalCluster

    fill(archive, "a.jpg", first=900)
    monkeypatch.setattr(cluster, "_WORKERS_S", 0.3)
    with (
        LocalCluster(n_workers=0, host="127.0.0.1", dashboard_address="127.0.0.1:0") as idle,
        pytest.raises(ArchiveUnavailable, match="has no workers"),
    ):
        again(archive, idle.scheduler_address)


@pytest.mark.folder_only
def test_a_scheduler_that_goes_away_in_the_middle_is_told_and_what_came_in_is_kept(
    archive: Archive, scheduler: str
) -> None:
    fill(archive, *(f"p{n}.jpg" for n in range(40)), first=1000)
    with (
        machines() as (own, address),
        pytest.raises(ArchiveUnavailable, match="the scheduler went away"),
    ):
        again(archive, address, progress=lambda done, _f, _a: own.kill() if done else None)
    had = len(kept(archive))
    assert 0 < had < 40
    assert again(archive, scheduler).read == 40 - had


@pytest.mark.folder_only
def test_a_run_whose_workers_are_all_gone_ends(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    def to_do(*arguments: Any) -> Iterator[Task]:
        monkeypatch.setattr(cluster, "_WORKERS_S", 0.5)  # it is there; from now on it may be missed
        return tasks(*arguments)

    fill(archive, readers.POISON, first=1100)
    monkeypatch.setattr(cluster, "tasks", to_do)
    monkeypatch.setattr(cluster, "_COUNT_S", 0.1)
    with machines() as (_, address), pytest.raises(ArchiveUnavailable, match="every worker went"):
        again(archive, address)  # its only worker dies and nobody starts it anew
    assert kept(archive) == {}


@contextmanager
def machines() -> Iterator[tuple[subprocess.Popen[bytes], str]]:
    """A scheduler and one worker as they are started by hand, on machines of their own."""
    port = free_port()
    address = f"tcp://127.0.0.1:{port}"
    own = subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1",
         "--port", str(port), "--dashboard-address", "127.0.0.1:0"],
        stderr=subprocess.DEVNULL,
    )  # fmt: skip
    worker = subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_worker", address, "--nthreads", "1",
         "--no-dashboard", "--no-nanny", "--death-timeout", "60"],
        stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        _wait_for(port)
        yield own, address
    finally:
        for process in (own, worker):
            process.kill()
            process.wait()


def _wait_for(port: int) -> None:
    for _ in range(600):
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return
        except OSError:
            time.sleep(0.1)


def test_a_photo_is_read_the_way_it_was_filed(archive: Archive) -> None:
    job_id, data = archive.new_job(), jpeg(1)
    plain = reading(data)
    drawn = replace(plain, flags=("drawn_by_hand",), hand="left")
    turned = replace(plain, flags=("toe_overridden",), toe="up")
    archive.add_roll(job_id, roll(), [(data, plain), (data, drawn), (data, turned), (data, plain)])
    archive.edit_roll(job_id, 1, readings={4: replace(plain, side="coast")})
    one, two, three, four = tasks(archive.database, "x")
    assert (one.side, one.hand, one.toe, one.outlines) == ("drive", "right", None, None)
    assert two.hand == "left"
    assert two.outlines is not None
    assert len(two.outlines) == 2
    # toe-tip, middle of the tip edge, heel-tip, heel-root, middle of the root edge, toe-root
    assert two.outlines[0] == (
        (10.25, 20.5), (105.125, 25.25), (200.0, 30.0), (190.0, 90.0), (102.0, 85.0), (14.0, 80.0),
    )  # fmt: skip
    assert three.toe == "up"
    assert four.side == "coast", "a side that was put right by hand is the side"


def test_more_photos_than_a_page_are_all_found_once(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pattern.archive.again._PAGE", 3)
    fill(archive, *(f"p{n}.jpg" for n in range(8)))
    found = [(t.roll_id, t.position) for t in tasks(archive.database, "x")]
    assert len(found) == len(set(found)) == 8
    assert found == sorted(found)


def test_the_readers_name_changes_with_its_network(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import shutil

    import pattern
    from pattern.archive import reader

    copy = tmp_path / "pattern"
    for part in (*reader._PARTS, *reader._FILES):
        source = Path(pattern.__file__).parent / part
        if source.is_dir():
            shutil.copytree(source, copy / part)
        else:
            copy.mkdir(exist_ok=True)
            shutil.copy(source, copy / part)
    here = reader._fingerprint()
    monkeypatch.setattr(pattern, "__file__", str(copy / "__init__.py"))
    reader._fingerprint.cache_clear()
    assert reader._fingerprint() == here, "the same files elsewhere are the same reader"
    network = next((copy / "teeth" / "weights").glob("*.onnx"))
    network.write_bytes(network.read_bytes() + b"\0")
    reader._fingerprint.cache_clear()
    assert reader._fingerprint() != here
    reader._fingerprint.cache_clear()


@pytest.mark.folder_only
def test_the_command_reads_with_the_ordinary_reader_on_this_machines_cores(
    archive: Archive,
) -> None:
    from pattern.workflow import read_photo

    photo = DEMO / "drive.jpg"
    filed = read_photo(photo, "drive")
    archive.add_roll(archive.new_job(), roll(), [(photo, filed)])
    command = [sys.executable, "-m", "pattern.cli", "archive"]
    place = ["--archive", str(archive.location.folder), "--json"]
    ran = subprocess.run(
        [*command, "read-again", "--workers", "1", *place],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (ran.returncode, ran.stderr) == (0, "")
    told = json.loads(ran.stdout)
    assert told["read"] + told["declined"] == 1
    assert told["failures"] == []
    # the same reader on the same photo says the same, here and in a worker
    (later,) = kept(archive).values()
    assert to_data(later) == to_data(filed)
    ran = subprocess.run([*command, "changes", *place], capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stderr) == (0, "")
    changes = json.loads(ran.stdout)
    assert (changes["photos"], changes["gained"], changes["lost"]) == (1, 0, 0)
    assert changes["largest"] == []
