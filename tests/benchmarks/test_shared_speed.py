"""Shared archives under load, on loopback: filing by eight benches at once, and reading again.

Run with `pytest -m bench tests/benchmarks/test_shared_speed.py -s -n0`; about five minutes on two cores.
`BENCH_SECONDS` (default 120) is how long eight clients file, `BENCH_PHOTOS` a folder for their photos:
one in memory (/dev/shm) leaves the database as what is measured. Other programs that want the cores spoil
the efficiency.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy import func, select, text

from pattern.archive.again import Outcome, Task, keep
from pattern.archive.cluster import Run, read_again
from pattern.archive.codec import to_json
from pattern.archive.schema import later_readings, rolls
from pattern.archive.store import Archive
from pattern.settings import Settings
from pattern.workflow import read_photo
from tests.archive import readers
from tests.archive.pictures import jpeg
from tests.archive.samples import reading, roll
from tests.archive.servers import Postgres, postgres

pytestmark = [pytest.mark.bench, pytest.mark.timeout(1200)]

SAMPLES = Path(__file__).parents[2] / "sample_images"
PHOTO_BYTES = 100_000


@pytest.fixture(scope="module")
def server() -> Iterator[Postgres]:
    with postgres(fsync=True) as started:
        yield started


@pytest.fixture
def new_place(server: Postgres, tmp_path: Path) -> Iterator[Callable[[], str]]:
    """Makes new archives; photos go to a folder in `BENCH_PHOTOS`, the database to this disk."""
    with ExitStack() as made:

        def make() -> str:
            folder = tempfile.mkdtemp(dir=os.environ.get("BENCH_PHOTOS", tmp_path))
            made.callback(shutil.rmtree, folder)
            name = server.new_database()
            made.callback(server.drop, name)
            return f"{server.url}/{name}?photos={folder}"

        yield make


@pytest.fixture
def place(new_place: Callable[[], str]) -> str:
    return new_place()


# --- filing ---------------------------------------------------------------------------------------

CLIENT = """
import json, os, sys, time
from tests.archive.samples import reading, roll
from pattern.archive.store import Archive
from pattern.errors import EditedMeanwhile
place, who, seconds, size = sys.argv[1], int(sys.argv[2]), float(sys.argv[3]), int(sys.argv[4])
times, mine, edits, refused = [], [], 0, 0
with Archive.open(place) as archive:
    print("ready", flush=True)
    sys.stdin.readline()
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if len(times) % 5 == 0:
            mine.append(archive.new_job(customer=f"bench {who}"))
        shots = []
        for side in ("drive", "coast"):
            data = os.urandom(size)
            shots.append((data, reading(data, side)))
        start = time.monotonic()
        archive.add_roll(mine[-1], roll(), shots, note=f"{who}/{len(times)}")
        times.append(time.monotonic() - start)
        if len(times) % 20 == 0:  # now and then all of them change one and the same sheet
            while True:
                seen = archive.job("J0001").version
                try:
                    archive.edit("J0001", notes=f"{who}/{edits}", seen=seen)
                    edits += 1
                    break
                except EditedMeanwhile:
                    refused += 1
print(json.dumps({"jobs": mine, "times": times, "edits": edits, "refused": refused}))
"""


def filing(place: str, clients: int, seconds: float) -> tuple[list[dict[str, Any]], float]:
    """What that many clients at once filed, and rolls a second of all of them together."""
    with Archive.open(place) as archive:
        archive.new_job(customer="everybody's")
    command = [sys.executable, "-c", CLIENT, place]
    benches = [
        subprocess.Popen(
            [*command, str(who), str(seconds), str(PHOTO_BYTES)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for who in range(clients)
    ]  # fmt: skip
    for bench in benches:
        assert bench.stdout is not None
        assert bench.stdout.readline() == "ready\n"
    start = time.monotonic()
    for bench in benches:
        assert bench.stdin is not None
        bench.stdin.write("go\n")
        bench.stdin.flush()
    told = [bench.communicate(timeout=seconds + 120) for bench in benches]
    took = time.monotonic() - start
    assert [errors for _, errors in told] == [""] * clients, "no client met an error"
    done = [json.loads(out) for out, _ in told]
    return done, sum(len(client["times"]) for client in done) / took


def check(place: str, done: list[dict[str, Any]]) -> None:
    """All that was acknowledged is there, once, whole."""
    with Archive.open(place.split("?")[0]) as archive:
        for who, client in enumerate(done):
            notes = [filed.note for job in client["jobs"] for filed in archive.job(job).rolls]
            assert notes == [f"{who}/{n}" for n in range(len(client["times"]))]
        edits = [json.loads(e.after) for e in archive.history("J0001") if e.section == "notes"]
        assert sorted(edits) == sorted(
            f"{who}/{n}" for who, client in enumerate(done) for n in range(client["edits"])
        )
        verdict = archive.verify()
        assert verdict.findings == ()
        assert verdict.photos == 2 * sum(len(client["times"]) for client in done)


def test_eight_benches_file_at_once_without_error_or_loss(
    new_place: Callable[[], str],
) -> None:
    seconds = float(os.environ.get("BENCH_SECONDS", "120"))
    other, place = new_place(), new_place()
    one, rate_of_one = filing(other, 1, min(seconds, 20.0))
    eight, rate_of_eight = filing(place, 8, seconds)
    for clients, rate in ((one, rate_of_one), (eight, rate_of_eight)):
        times = np.array([t for client in clients for t in client["times"]]) * 1000
        print(
            f"\n{len(clients)} clients: {rate:.1f} rolls/s of two photos of {PHOTO_BYTES} bytes, "
            f"{len(times)} rolls; ms a roll: median {np.median(times):.0f}, "
            f"99th percentile {np.quantile(times, 0.99):.0f}, longest {times.max():.0f}; "
            f"{sum(c['edits'] for c in clients)} edits of one sheet, "
            f"{sum(c['refused'] for c in clients)} refused and made again"
        )
    print(f"eight against one: {rate_of_eight / rate_of_one:.2f}")
    check(other, one)
    check(place, eight)


# --- reading again --------------------------------------------------------------------------------


@contextmanager
def cluster(workers: int, threads: int = 1) -> Iterator[str]:
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=workers, threads_per_worker=threads, host="127.0.0.1", silence_logs=50,
        dashboard_address="127.0.0.1:0",
    ) as started:  # fmt: skip
        yield started.scheduler_address


def file_samples(archive: Archive, repeats: int) -> int:
    """The sample photos on record, each side as its name says; how many."""
    job_id, count = archive.new_job(), 0
    for _ in range(repeats):
        shots = []
        for path in sorted(SAMPLES.glob("*.jpg")):
            if path.stem.endswith(("_drive", "_coast")):
                side = path.stem.rsplit("_", 1)[1]
                data = path.read_bytes()
                shots.append((path, reading(data, side, path.name)))  # type: ignore[arg-type]
        archive.add_roll(job_id, roll(), shots)
        count += len(shots)
    return count


def timed(archive: Archive, workers: int, settings: Settings, count: int) -> tuple[float, Run]:
    """Photos a second in the steady state: from the first photos on, when all workers are warm, to
    the moment before workers run out of photos."""
    moments: list[tuple[float, int]] = []
    with cluster(workers) as scheduler:
        run = read_again(
            archive, read_photo, settings, scheduler=scheduler,
            progress=lambda done, _failed, _all: moments.append((time.monotonic(), done)),
        )  # fmt: skip
    assert run.done == count
    assert run.failures == []
    start = next(m for m in moments if m[1] >= 2 * workers)
    end = next(m for m in moments if m[1] >= count - workers)
    return (end[1] - start[1]) / (end[0] - start[0]), run


def test_two_workers_read_again_nearly_twice_as_fast_as_one(place: str) -> None:
    with Archive.open(place) as archive:
        count = file_samples(archive, 2)
        rates = {}
        for workers, threshold in (
            (1, 0.51),
            (2, 0.52),
        ):  # other settings: another reader, all is read
            rates[workers], run = timed(
                archive, workers, Settings(tooth_confidence=threshold), count
            )
            print(
                f"\n{workers} workers: {rates[workers]:.3f} photos/s, {run.read} read, {run.declined} declined"
            )
        sizes = archive.database.read(
            lambda c: c.execute(select(func.length(later_readings.c.reading))).scalars().all()
        )
        print(f"a reading is {np.mean(sizes):.0f} bytes of JSON on average")
    efficiency = rates[2] / (2 * rates[1])
    print(f"efficiency of two workers: {efficiency:.1%}")
    assert efficiency >= 0.85


def test_what_handing_out_and_keeping_can_carry(place: str) -> None:
    """What one scheduler and one asking process carry: small photos, a reader that only looks, and as
    many photos handed out as 32 cores would take."""
    with Archive.open(place) as archive:
        job_id = archive.new_job()
        for start in range(0, 1500, 50):
            shots = []
            for number in range(start, start + 50):
                data = jpeg(number)
                shots.append((data, reading(data)))
            archive.add_roll(job_id, roll(), shots)
        moments: list[tuple[float, float, int]] = []

        def note(done: int, _failed: int, _all: int) -> None:
            moments.append((time.monotonic(), time.process_time(), done))

        with cluster(2, threads=16) as scheduler:
            run = read_again(archive, readers.quick, Settings(), scheduler=scheduler, progress=note)
        assert run.read == 1500
        first, last = moments[len(moments) // 4], moments[-1]
        took, worked, carried = (b - a for a, b in zip(first, last, strict=True))
        print(f"\nhanded out, read at a glance and kept: {carried / took:.0f} photos/s")
        print(f"of that, asking process and scheduler: {1000 * worked / carried:.2f} ms a photo")
        told = to_json(replace(reading(b""), teeth=reading(b"").teeth * 2))
        places = archive.database.read(
            lambda c: c.execute(text("SELECT roll_id, position FROM roll_photos")).all()
        )
        tasks = [Task(r, p, "", "", "", "drive", "right") for r, p in places]
        for batch in (1, 10, 100):
            start_s = time.monotonic()
            for begin in range(0, 1000, batch):
                outcomes = [Outcome(task, told) for task in tasks[begin : begin + batch]]
                keep(archive.database, f"bench {batch}", outcomes)
            rate = 1000 / (time.monotonic() - start_s)
            print(f"kept {batch} at a time, {len(told)} bytes each: {rate:.0f} readings/s")
        assert (
            archive.database.read(lambda c: c.scalar(select(func.count()).select_from(rolls))) == 30
        )
