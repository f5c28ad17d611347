"""The tables as they stand now. Their history is in `migrations/versions`; a test compares the two.

Nothing that was recorded is ever changed: `rolls`, `roll_photos`, `photos` and `entries` refuse
updates and deletes by trigger. The columns of `jobs` after `imported_from`, and `job_tags`, hold what
lists are searched by, derived by `listing` in the same transaction; on SQLite a full-text table
`job_words` follows `jobs.words` by trigger. `incoming` names photos that are being filed or are held for
a draft, so that a photo no roll names yet is never mistaken for a stray.
"""

from __future__ import annotations

from sqlalchemy import (
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()

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
    Column("opened_at", String(32), nullable=False),
    Column("changed_at", String(32), nullable=False),
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
    Column("filed_at", String(32), nullable=False),
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
    Column("stored_at", String(32), nullable=False),
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
    Column("at", String(32), nullable=False),
    Column("by", Text, nullable=False, server_default=""),
    Index("entries_of_job", "job_number", "id"),
    sqlite_autoincrement=True,
)

incoming = Table(
    "incoming",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("at", String(32), nullable=False),
)

drafts = Table(
    "drafts",
    metadata,
    Column("job_id", String(20), primary_key=True),
    Column("key", String(80), primary_key=True),
    Column("value", Text, nullable=False),
    Column("at", String(32), nullable=False),
)
