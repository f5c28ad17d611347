"""Read many photos: over the processor's cores, results in order, one bad photo beside the others."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pattern.cli.output import make_folder, write_new
from pattern.errors import InvalidOutline, PatternError, UnreadablePhoto, WouldOverwrite

if TYPE_CHECKING:
    from pattern.records import Photo, Reading
    from pattern.settings import Settings

SUFFIXES = frozenset((".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"))
_WORTH_A_PROCESS = 4
"""Photos for which a further process repays its start, about a second."""


@dataclass(frozen=True)
class Task:
    """One photo to read. `options` are those of `pattern.read_photo`; `overlay` a folder or None."""

    path: Path
    options: dict[str, Any]
    settings: Settings
    overlay: Path | None = None
    force: bool = False


@dataclass(frozen=True, eq=False)
class Outcome:
    """What came of a photo: its reading, or the message of why there is none and its exit code."""

    path: Path
    reading: Reading | None
    fault: str = ""
    exit_code: int = 0


def photos_in(paths: Sequence[Path]) -> list[Path]:
    """The photos named, and for a folder those in it by name. Raises UnreadablePhoto for a bare one."""
    found: list[Path] = []
    for path in paths:
        if not path.is_dir():
            found.append(path)
            continue
        inside = sorted(p for p in path.iterdir() if p.suffix.lower() in SUFFIXES and p.is_file())
        if not inside:
            raise UnreadablePhoto(
                "is a folder without photos",
                subject=str(path),
                remedy="Name the folder they are in",
            )
        found += inside
    return found


def jobs_for(photos: int, asked: int | None) -> int:
    """How many processes: as asked, else the cores, but none that would not repay its start."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return max(1, min(photos, asked or min(cores or 1, photos // _WORTH_A_PROCESS)))


def read_each(tasks: Sequence[Task], jobs: int) -> Iterator[Outcome]:
    """Outcomes in the order of the tasks, each as soon as it and those before it are there.

    With one job all is done in this process. Raises PatternError when the system ends a worker.
    """
    if jobs == 1:
        yield from map(read_one, tasks)
        return
    threads = max(1, (os.cpu_count() or 1) // jobs)
    pool = ProcessPoolExecutor(
        jobs, mp_context=get_context("spawn"), initializer=_begin_worker, initargs=(threads,)
    )
    try:
        yield from pool.map(read_one, tasks)
    except BrokenProcessPool as fault:
        raise PatternError(
            "the system ended a worker process, perhaps for want of memory",
            subject="--jobs",
            remedy="Read again with fewer; --skip-done goes on where this stopped",
        ) from fault
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


def read_one(task: Task) -> Outcome:
    """Read one photo and draw its overlay; a known fault becomes an outcome."""
    from pattern.photo.decode import load_photo
    from pattern.workflow import read_photo

    try:
        photo = load_photo(task.path, task.settings)
        reading = read_photo(photo, settings=task.settings, **task.options)
        if task.overlay is not None:
            _write_overlay(task.overlay, task.path, photo, reading, task.force)
    except InvalidOutline as error:
        named = InvalidOutline(
            error.what, subject=f"{task.path}: {error.subject}", remedy=error.remedy
        )
        return Outcome(task.path, None, named.message, named.exit_code)
    except PatternError as error:
        return Outcome(task.path, None, error.message, error.exit_code)
    return Outcome(task.path, reading)


def _write_overlay(folder: Path, path: Path, photo: Photo, reading: Reading, force: bool) -> None:
    from pattern.report.overlay import draw_overlay

    target = folder / f"{path.stem}_reading.png"
    remedy = "Name another folder or add --force"
    if target.exists() and not force:  # before the drawing, which takes longer
        raise WouldOverwrite("exists already", subject=str(target), remedy=remedy)
    make_folder(folder)
    write_new(target, draw_overlay(photo, reading), overwrite=force, remedy=remedy)


def _begin_worker(threads: int) -> None:
    """Leave Ctrl-C to the first process, and end when that one is gone, however it went."""
    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    cv2.setNumThreads(threads)
    parent = parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    wait([sentinel])
    os._exit(1)
