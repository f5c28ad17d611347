"""Read photos again on a Dask cluster: the cores of this machine, or a scheduler's many machines.

Workers fetch photos from the store and read them; only this process writes to the database, as readings
come in. A worker that dies has its photo read by another.
"""

from __future__ import annotations

import math
import os
import time
import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib import import_module
from itertools import islice
from typing import TYPE_CHECKING, Any

from pattern.archive.again import Outcome, Read, Task, Worker, count_tasks, keep, tasks
from pattern.archive.reader import reader_name
from pattern.errors import ArchiveUnavailable, InvalidSettings
from pattern.settings import Settings

if TYPE_CHECKING:
    from pattern.archive.store import Archive

Progress = Callable[[int, int, int], None]
_AHEAD = 3
"""Photos handed out for each core: one in work, the next ones at hand."""
_ANSWER_S, _WORKERS_S, _COUNT_S, _POLL_S = 10.0, 60.0, 1.0, 0.05
"""How long a scheduler has to answer and to have a worker; how often cores are counted, and looked for
what came in."""
_PATIENT = {
    "distributed.deploy.lost-worker-timeout": "1 hour",
    "distributed.comm.timeouts.connect": "2 minutes",
}
"""A worker starts, or is started anew by its nanny when it died, however busy the machine is."""


@dataclass
class Run:
    """What a run did. `failures` are (photo, why) of photos that nobody could read; a later run tries
    them again. `earlier` were read by this reader before."""

    reader: str
    earlier: int = 0
    read: int = 0
    declined: int = 0
    failures: list[tuple[str, str]] = field(default_factory=list)

    @property
    def done(self) -> int:
        """Photos that this run is through with."""
        return self.read + self.declined + len(self.failures)

    def count(self, outcome: Outcome) -> None:
        """Take one photo's outcome in."""
        if outcome.fault:
            self.failures.append((outcome.task.where, outcome.fault))
        elif outcome.declined:
            self.declined += 1
        else:
            self.read += 1


def read_again(
    archive: Archive,
    read: Read,
    settings: Settings,
    *,
    scheduler: str = "",
    workers: int | None = None,
    limit: int | None = None,
    progress: Progress | None = None,
) -> Run:
    """Read every filed photo that the present reader has not read yet, and keep its readings.

    `read` is `pattern.workflow.read_photo`. Without a `scheduler` address this machine's cores are
    used, or `workers` of them. `progress` is told (done, failed, all). Raises InvalidSettings if Dask
    is not installed or the workers have another reader, ArchiveUnavailable if the scheduler does not
    answer; what was read until then is kept.
    """
    worker = Worker(archive.photos.url, settings, reader_name(settings), read)
    pending, everything = archive.database.read(lambda c: count_tasks(c, worker.reader))
    run = Run(worker.reader, earlier=everything - pending)
    pending = min(pending, limit) if limit is not None else pending
    if not pending:
        return run
    with _client(scheduler, workers) as client:
        for fault in client.run(worker.refuse_other_reader, on_error="return").values():
            if isinstance(fault, InvalidSettings):
                raise fault  # a worker that just died raises others, and nobody misses it
        to_do = islice(tasks(archive.database, worker.reader), limit)
        for outcomes in _outcomes(client, worker, to_do):
            keep(archive.database, worker.reader, outcomes)
            for outcome in outcomes:
                run.count(outcome)
            if progress:
                progress(run.done, len(run.failures), pending)
    return run


def _outcomes(client: Any, worker: Worker, to_do: Iterator[Task]) -> Iterator[list[Outcome]]:
    """Outcomes as they come in, with only so many photos handed out that no core waits.

    Dask blames a worker's death on all photos that were handed to it: those are read once more at the
    end, one at a time, before any of them is told as a failure.
    """
    run = uuid.uuid4().hex[:8]  # a run that goes on must not be given an earlier run's failure
    handed_out: dict[str, Task] = {}
    suspects: list[Task] = []
    coming, cores = _dask().as_completed(loop=client.loop), _Cores(client)

    def hand_out() -> None:
        for task in islice(to_do, max(0, _AHEAD * cores.count() - len(handed_out))):
            key = f"read-{run}-{task.roll_id}-{task.position}"
            handed_out[key] = task
            coming.add(client.submit(worker, task, key=key, pure=False))

    hand_out()
    while handed_out:
        outcomes = []
        for future in coming.next_batch(block=False):
            if future.status in ("pending", "lost"):  # its worker died with the result; read again
                coming.add(future)
                continue
            task = handed_out.pop(future.key)
            outcome, _ = _outcome(future, task)
            if outcome is None:
                suspects.append(task)
            else:
                outcomes.append(outcome)
        hand_out()
        if outcomes:
            yield outcomes
        else:
            time.sleep(_POLL_S)
    for task in suspects:
        future = client.submit(worker, task, pure=False)
        while not future.done():
            cores.count()
            time.sleep(_POLL_S)
        outcome, why = _outcome(future, task)
        fault = f"every worker that read it died ({why})"
        yield [outcome if outcome is not None else Outcome(task, fault=fault)]


class _Cores:
    """How many cores there are, asked now and then: machines come and go."""

    def __init__(self, client: Any) -> None:
        self._client = client
        self._number, self._asked_at, self._there_at = 1, -math.inf, time.monotonic()

    def count(self) -> int:
        """At least one. Raises ArchiveUnavailable if all workers have been gone for a while."""
        now = time.monotonic()
        if now - self._asked_at < _COUNT_S:
            return self._number
        try:
            self._number, self._asked_at = sum(self._client.nthreads().values()), now
        except (OSError, CancelledError) as fault:
            raise _gone("the scheduler went away") from fault
        if self._number:
            self._there_at = now
        elif now - self._there_at > _WORKERS_S:
            raise _gone("every worker went away")
        self._number = max(1, self._number)
        return self._number


def _gone(what: str) -> ArchiveUnavailable:
    return ArchiveUnavailable(
        what,
        subject="archive read-again",
        remedy="What was read until then is kept; start it and run the same again",
    )


def _outcome(future: Any, task: Task) -> tuple[Outcome | None, str]:
    """The outcome, or None and what Dask says of a worker that died on it."""
    try:
        return future.result(), ""
    except CancelledError as fault:
        raise _gone("the scheduler went away") from fault
    except Exception as fault:  # known faults are outcomes: this is Dask's word for a dead worker
        return None, str(fault)


def _dask() -> Any:
    try:
        return import_module("distributed")
    except ModuleNotFoundError as fault:
        raise InvalidSettings(
            f"{fault.name} is needed to read photos again",
            subject="archive read-again",
            remedy="Install it: pip install 'gear-contact-pattern[cluster]'",
        ) from fault


@contextmanager
def _client(scheduler: str, workers: int | None) -> Iterator[Any]:
    dask = _dask()
    if scheduler:
        try:
            client = dask.Client(scheduler, timeout=_ANSWER_S, set_as_default=False)
        except (OSError, ValueError) as fault:
            raise ArchiveUnavailable(
                f"no scheduler answers there ({fault})",
                subject=scheduler,
                remedy="Start one with `dask scheduler`, and give its address as tcp://HOST:8786",
            ) from fault
        with client:
            try:
                client.wait_for_workers(1, timeout=_WORKERS_S)
            except TimeoutError as fault:
                raise ArchiveUnavailable(
                    "the scheduler has no workers",
                    subject=scheduler,
                    remedy="Start `dask worker ADDRESS --nthreads 1 --nworkers auto` on the machines",
                ) from fault
            yield client
        return
    with (
        _local_cluster(dask, workers or _cores()) as cluster,
        dask.Client(cluster, set_as_default=False) as client,
    ):
        yield client


@contextmanager
def _local_cluster(dask: Any, workers: int) -> Iterator[Any]:
    with import_module("dask").config.set(_PATIENT):
        try:
            cluster = dask.LocalCluster(
                n_workers=workers, threads_per_worker=1, processes=True, host="127.0.0.1",
                dashboard_address="127.0.0.1:0", silence_logs=50,
            )  # fmt: skip
        except (OSError, RuntimeError) as fault:
            raise ArchiveUnavailable(
                f"the workers on this machine did not start ({fault})",
                subject="archive read-again",
                remedy="Close other programs, or give fewer --workers",
            ) from fault
        with cluster:
            yield cluster


def _cores() -> int:
    """Those that this process may use, where the system says so."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
