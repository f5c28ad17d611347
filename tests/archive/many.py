"""A generated archive of many invented jobs, written in bulk: rows as `listing` derives them."""

from __future__ import annotations

import random
import uuid
from pathlib import Path

from sqlalchemy import insert

from pattern.archive import codec
from pattern.archive.database import Database
from pattern.archive.listing import searchable
from pattern.archive.schema import entries, job_tags, jobs
from pattern.archive.store import Archive
from pattern.records import Axle

COUNTS = ((41, 11), (41, 10), (37, 9), (41, 12), (43, 12), (45, 11), (39, 11), (43, 14))
DIAMETERS = (7.5, 8.0, 8.5, 8.8, 9.25, 9.75, 10.5)
NAMES = ("Ada", "Bo", "Chen", "Dov", "Eze", "Fay", "Gus", "Hana", "Ines", "Jo", "Kai", "Lou")
MAKES = ("pickup", "van", "flat-bed", "wagon", "coupé", "tractor", "ambulance", "camper")
TAGS = ("rush", "fleet", "warranty", "rear axle", "front axle", "noise", "used gears")


def many_jobs(place: Path, count: int = 20_000, seed: int = 6) -> Archive:
    """Make an archive of `count` jobs, one in `count` of them about a zebra."""
    chance = random.Random(seed)
    archive = Archive.open(place)
    database = Database(archive.location)
    made = [_job(number, chance, count) for number in range(1, count + 1)]
    with database.writing() as connection:
        connection.execute(insert(jobs), [job for job, _, _ in made])
        connection.execute(insert(job_tags), [row for _, rows, _ in made for row in rows])
        connection.execute(insert(entries), [row for _, _, rows in made for row in rows])
    database.close()
    return archive


def _job(number: int, chance: random.Random, count: int) -> tuple[dict, list[dict], list[dict]]:  # type: ignore[type-arg]
    ring, pinion = chance.choice(COUNTS)
    axle = Axle(ring, pinion, chance.choice(DIAMETERS), depth_shim="pinion_head")
    customer = f"{chance.choice(NAMES)} & {chance.choice(NAMES)} {number}"
    vehicle = f"{chance.choice(MAKES)} {chance.randrange(1960, 2026)}"
    notes = "carries a zebra" if number == count // 3 else "howls on a light throttle"
    tags = sorted(chance.sample(TAGS, 2))
    done = chance.random() < 0.8
    at = f"20{10 + number * 16 // count}-{1 + number % 12:02d}-{1 + number % 28:02d}T08:00:00.000Z"
    status = "done" if done else "open"
    row = {
        "number": number, "uid": uuid.UUID(int=chance.getrandbits(128)).hex, "opened_at": at,
        "changed_at": at, "imported_from": "", "status": status, "customer": customer,
        "vehicle": vehicle, "ring_teeth": ring, "pinion_teeth": pinion,
        "ring_diameter_in": axle.ring_diameter_in, "ratio_hundredths": round(axle.ratio * 100),
        "roll_count": 3, "tag_list": ", ".join(tags), "depth_shim": "pinion_head",
        "words": searchable((customer, vehicle, notes, *tags)), "pinion_mark": "+1",
        "ended_depth_shim_in": 0.030 + chance.randrange(10) / 1000 if done else None,
        "ended_left_shim_in": None, "ended_right_shim_in": None,
    }  # fmt: skip
    sheets = {"status": status, "customer": customer, "vehicle": vehicle, "axle": axle,
              "notes": notes, "tags": tags}  # fmt: skip
    lines = [
        {"job_number": number, "roll_id": None, "section": name, "value": codec.to_json(value),
         "at": at, "by": ""}
        for name, value in sheets.items()
    ]  # fmt: skip
    return row, [{"job_number": number, "tag": tag} for tag in tags], lines
