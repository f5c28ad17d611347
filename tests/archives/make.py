"""Make the archive of the present schema that later versions must open: `python -m tests.archives.make`.

Run once for each new schema, before its release; an archive that was released is never made again.
`expected.json` beside it is what its jobs said on that day.
"""

from __future__ import annotations

import argparse
import json
import sqlite3
import sys
from pathlib import Path

from pattern.archive.again import Outcome, keep, tasks
from pattern.archive.codec import to_data, to_json
from pattern.archive.store import Archive
from pattern.archive.upgrade import REVISIONS
from tests.archive import samples

HERE = Path(__file__).parent


def make() -> Path:
    """Make the folder for the present schema; refuses if it exists."""
    folder = HERE / f"schema_{REVISIONS[-1]}"
    if folder.exists():
        sys.exit(f"{folder.name} exists; a released archive is never made again")
    with Archive.open(folder) as archive:
        jobs = [_finished(archive), _open(archive)]
        _read_again(archive)
        expected = [to_data(archive.job(job)) for job in jobs]
        history = [len(archive.history(job)) for job in jobs]
        file = archive.location.database_file
    assert file is not None
    with sqlite3.connect(file) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    text = json.dumps({"jobs": expected, "history": history}, indent=1, ensure_ascii=False)
    (folder / "expected.json").write_text(text + "\n", encoding="utf-8")
    return folder


def _finished(archive: Archive) -> str:
    job_id = archive.new_job(
        customer="Öz & Daughters", vehicle="flat-bed, 1987", axle=samples.AXLE, tags=("rush", "rear"),
        as_found=samples.AS_FOUND, parts=samples.PARTS, notes="“Quote first”", by="Ann",
    )  # fmt: skip
    drive, coast, again = (samples.photo_bytes(n) for n in (1, 2, 3))
    archive.add_roll(
        job_id, samples.roll(0.3, 0.8, 0.0122),
        [(drive, samples.reading(drive)), (coast, samples.declined(coast))],
        samples.advice(), kind="as_found", backlash_readings_in=(0.012, 0.0124),
    )  # fmt: skip
    archive.add_roll(
        job_id, samples.roll(0.5, 0.52, 0.008, 0.004, -0.006),
        [(again, samples.reading(again)), (drive, samples.reading(drive))], None, note="brake light",
    )  # fmt: skip
    archive.edit_roll(job_id, 2, readings={1: samples.reading(again, lengthwise=0.5)}, by="Sam")
    archive.add_roll(job_id, samples.roll(), [], None)
    archive.edit_roll(job_id, 3, struck="brake slipped", by="Sam")
    archive.edit(
        job_id, final=samples.FINAL, status="done", customer="Öz & Daughters GmbH", by="Cy"
    )
    return job_id


def _read_again(archive: Archive) -> None:
    """What a later reader said of the first photos."""
    to_do = list(tasks(archive.database, "a later one"))[:2]
    told = to_json(samples.reading(samples.photo_bytes(1), lengthwise=0.31))
    keep(archive.database, "a later one", [Outcome(task, told) for task in to_do])


def _open(archive: Archive) -> str:
    job_id = archive.new_job(customer="Walk-in")
    archive.save_draft(job_id, "roll", {"backlash": "0.00"})
    archive.hold_photo(samples.photo_bytes(4))
    return job_id


if __name__ == "__main__":
    argparse.ArgumentParser(
        prog="python -m tests.archives.make",
        description="Make the archive of the present schema that later versions must open; once.",
    ).parse_args()
    print(make())
