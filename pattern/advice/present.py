"""The axle as it stands on the bench: the job's sheet, the moves made since, the pattern as found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pattern.advice.shims import shims_for
from pattern.jobs import Job
from pattern.records import Axle, Roll, SideReading


def present_axle(job: Job, in_work: Roll | None = None) -> Axle | None:
    """The job's axle with the shims that all moves on record, and those of a roll in work, left in it.

    The sheet's shims are those before any move on record. A used set aims at the job's as-found
    pattern where one is on file. None while the axle is not described. Raises InvalidAxle where the
    moves on record would need a shim thinner than nothing.
    """
    if job.axle is None:
        return None
    made = [filed.roll for filed in job.rolls] + ([in_work] if in_work is not None else [])
    moved = shims_for(job.axle, None, _sum(made, "pinion_move_in"), _sum(made, "ring_move_in"))
    return replace(
        job.axle,
        depth_shim_in=moved.depth_in,
        left_shim_in=moved.left_in,
        right_shim_in=moved.right_in,
        target=job.axle.target or _as_found(job),
    )


def _sum(rolls: Sequence[Roll], field: str) -> float:
    return round(sum(getattr(roll, field) or 0.0 for roll in rolls), 7)


def _as_found(job: Job) -> tuple[SideReading | None, SideReading | None] | None:
    if job.axle is None or job.axle.condition != "used":
        return None
    found = [filed.roll for filed in job.standing_rolls if filed.kind == "as_found"]
    return (found[0].drive, found[0].coast) if found else None
