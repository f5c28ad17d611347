"""All readings of jobs as one table (CSV, RFC 4180), a row a photo and reading."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

from pattern.archive.again import Later
from pattern.jobs import FiledPhoto, FiledRoll, Job
from pattern.records import Reading

COLUMNS = (
    "job", "roll", "kind", "filed_at", "struck", "side", "photo", "sha256", "source", "status",
    "lengthwise", "lengthwise_sd", "profile", "profile_sd",
    "lengthwise_5", "lengthwise_95", "profile_5", "profile_95", "tilt_deg", "area", "compound",
    "flags", "backlash_in", "pinion_move_in", "ring_move_in",
    "advised_pinion_move_in", "advised_ring_move_in", "verdict", "version", "settings",
)  # fmt: skip

LaterOf = Callable[[str], Mapping[tuple[int, int], Sequence[Later]]]


def readings_csv(jobs: Iterable[Job], later: LaterOf | None = None) -> str:
    """The table with its heading. Unknown is empty. Corrected photos have two rows.

    `later` gives what later readers said of a job's photos; each is a row of its own after those.

    A text that a spreadsheet would take for a formula is given a leading apostrophe.
    """
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for job in jobs:
        said = later(job.id) if later else {}
        for filed in job.rolls:
            for photo in filed.photos:
                again = said.get((filed.number, photo.position), [])
                for source, reading in _readings(photo, again):
                    row = _row(job, filed, photo, source, reading)
                    writer.writerow({name: _safe(value) for name, value in row.items()})
    return out.getvalue()


def _readings(photo: FiledPhoto, again: Sequence[Later]) -> Iterator[tuple[str, Reading]]:
    yield "automatic", photo.reading
    if photo.corrected:
        yield "by hand", photo.corrected
    for told in again:
        yield f"again, {told.reader}", told.reading


def _row(
    job: Job, filed: FiledRoll, photo: FiledPhoto, source: str, reading: Reading
) -> dict[str, object]:
    extent = reading.extent
    return {
        "job": job.id, "roll": filed.number, "kind": filed.kind, "filed_at": filed.filed_at,
        "struck": filed.struck, "side": photo.side, "photo": photo.name, "sha256": photo.sha256,
        "source": source, "status": reading.status,
        "lengthwise": reading.lengthwise, "lengthwise_sd": reading.lengthwise_sd,
        "profile": reading.profile, "profile_sd": reading.profile_sd,
        "lengthwise_5": extent.lengthwise[0] if extent else None,
        "lengthwise_95": extent.lengthwise[1] if extent else None,
        "profile_5": extent.profile[0] if extent else None,
        "profile_95": extent.profile[1] if extent else None,
        "tilt_deg": reading.tilt_deg, "area": reading.area, "compound": reading.compound,
        "flags": " ".join(reading.flags), "backlash_in": filed.roll.backlash_in,
        "pinion_move_in": filed.roll.pinion_move_in, "ring_move_in": filed.roll.ring_move_in,
        "advised_pinion_move_in": filed.advice.pinion_move_in if filed.advice else None,
        "advised_ring_move_in": filed.advice.ring_move_in if filed.advice else None,
        "verdict": filed.advice.verdict if filed.advice else None,
        "version": reading.version, "settings": reading.settings,
    }  # fmt: skip


def _safe(value: object) -> object:
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return value
