"""The tables as they stand now. Their history is in `migrations/versions`; a test compares the two.

Nothing that was recorded is ever changed: `rolls`, `roll_photos`, `photos`, `entries` and
`later_readings` refuse updates and deletes by trigger. `jobs.version` counts a job's changes, and each
entry says at which version it came in. The columns of `jobs` between `imported_from` and `version`, and
`job_tags`, hold what lists are searched by, derived by `listing` in the same transaction; on SQLite a
full-text table `job_words` follows `jobs.words` by trigger. `later_readings` holds what a later reader
made of a filed photo, beside the reading it was filed with. `incoming` names photos that are being filed or are held for
a draft, so that a photo no roll names yet is never mistaken for a stray.
"""

from __future__ import annotations

from sqlalchemy import (
    Column,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()

MOMENT = String(32).with_variant(String(32, collation="C"), "postgresql")
"""ISO 8601 in UTC; byte order is time order, whatever language a server was set up in."""

facts = Table(
    "facts",
    metadata,
    Column("key", String(40), primary_key=True),
    Column("value", Text, nullable=False),
)

jobs = Table(
    "jobs",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("uid", String(32), nullable=False, unique=True),
    Column("opened_at", MOMENT, nullable=False),
    Column("changed_at", MOMENT, nullable=False),
    Column("imported_from", Text, nullable=False, server_default=""),
    Column("status", String(16), nullable=False),
    Column("customer", Text, nullable=False, server_default=""),
    Column("vehicle", Text, nullable=False, server_default=""),
    Column("ring_teeth", Integer),
    Column("pinion_teeth", Integer),
    Column("ring_diameter_in", Float),
    Column("ratio_hundredths", Integer),
    Column("roll_count", Integer, nullable=False, server_default="0"),
    Column("tag_list", Text, nullable=False, server_default=""),
    Column("words", Text, nullable=False, server_default=""),
    Column("depth_shim", String(20), nullable=False, server_default="unknown"),
    Column("pinion_mark", Text, nullable=False, server_default=""),
    Column("ended_depth_shim_in", Float),
    Column("ended_left_shim_in", Float),
    Column("ended_right_shim_in", Float),
    Column("version", Integer, nullable=False, server_default="0"),
    Index("jobs_by_teeth", "ring_teeth", "pinion_teeth", "number"),
    Index("jobs_by_ratio", "ratio_hundredths", "number"),
    Index("jobs_by_diameter", "ring_diameter_in", "number"),
    Index("jobs_by_status", "status", "number"),
    Index("jobs_by_day", "opened_at"),
    sqlite_autoincrement=True,
)

job_tags = Table(
    "job_tags",
    metadata,
    Column("job_number", Integer, ForeignKey("jobs.number"), primary_key=True),
    Column("tag", String(60), primary_key=True),
    Index("tagged_jobs", "tag", "job_number"),
)

rolls = Table(
    "rolls",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("uid", String(32), nullable=False, unique=True),
    Column("job_number", Integer, ForeignKey("jobs.number"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("kind", String(16), nullable=False),
    Column("filed_at", MOMENT, nullable=False),
    Column("by", Text, nullable=False, server_default=""),
    Column("version", String(40), nullable=False),
    Column("roll", Text, nullable=False),
    Column("backlash_readings", Text, nullable=False, server_default="[]"),
    Column("advice", Text),
    Column("note", Text, nullable=False, server_default=""),
    UniqueConstraint("job_number", "number", name="roll_numbers"),
)

photos = Table(
    "photos",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("size_bytes", Integer, nullable=False),
    Column("stored_at", MOMENT, nullable=False),
)

roll_photos = Table(
    "roll_photos",
    metadata,
    Column("roll_id", Integer, ForeignKey("rolls.id"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("sha256", String(64), ForeignKey("photos.sha256"), nullable=False),
    Column("name", Text, nullable=False),
    Column("side", String(8), nullable=False),
    Column("reading", Text, nullable=False),
    Index("photo_uses", "sha256"),
)

entries = Table(
    "entries",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("job_number", Integer, ForeignKey("jobs.number"), nullable=False),
    Column("roll_id", Integer, ForeignKey("rolls.id")),
    Column("section", String(40), nullable=False),
    Column("value", Text, nullable=False),
    Column("at", MOMENT, nullable=False),
    Column("by", Text, nullable=False, server_default=""),
    Column("job_version", Integer, nullable=False, server_default="0"),
    Index("entries_of_job", "job_number", "id"),
    sqlite_autoincrement=True,
)

later_readings = Table(
    "later_readings",
    metadata,
    Column("roll_id", Integer, primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("reader", String(64), primary_key=True),
    Column("read_at", MOMENT, nullable=False),
    Column("reading", Text, nullable=False),
    ForeignKeyConstraint(["roll_id", "position"], ["roll_photos.roll_id", "roll_photos.position"]),
)

incoming = Table(
    "incoming",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("at", MOMENT, nullable=False),
)

drafts = Table(
    "drafts",
    metadata,
    Column("job_id", String(20), primary_key=True),
    Column("key", String(80), primary_key=True),
    Column("value", Text, nullable=False),
    Column("at", MOMENT, nullable=False),
)
