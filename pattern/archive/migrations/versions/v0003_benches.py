"""Several benches at once: a version on every job, and the readings of later readers."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

REFUSAL = "recorded rows of later_readings are never changed"
MOMENTS = {
    "jobs": ("opened_at", "changed_at"),
    "rolls": ("filed_at",),
    "photos": ("stored_at",),
    "entries": ("at",),
    "incoming": ("at",),
    "drafts": ("at",),
}


def upgrade() -> None:
    """Add them; on PostgreSQL also the word index, and moments that sort as they do on SQLite."""
    op.add_column("jobs", sa.Column("version", sa.Integer, nullable=False, server_default="0"))
    op.add_column(
        "entries", sa.Column("job_version", sa.Integer, nullable=False, server_default="0")
    )
    op.create_table(
        "later_readings",
        sa.Column("roll_id", sa.Integer, primary_key=True),
        sa.Column("position", sa.Integer, primary_key=True),
        sa.Column("reader", sa.String(64), primary_key=True),
        sa.Column("read_at", sa.String(32), nullable=False),
        sa.Column("reading", sa.Text, nullable=False),
        sa.ForeignKeyConstraint(
            ["roll_id", "position"], ["roll_photos.roll_id", "roll_photos.position"]
        ),
    )
    if op.get_bind().dialect.name == "sqlite":
        for verb in ("update", "delete"):
            op.execute(
                f"CREATE TRIGGER later_readings_no_{verb} BEFORE {verb.upper()} ON later_readings "
                f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
            )
    elif op.get_bind().dialect.name == "postgresql":
        _postgresql()


def _postgresql() -> None:
    op.execute(
        "CREATE FUNCTION later_readings_stay() RETURNS trigger LANGUAGE plpgsql "
        f"AS $$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$"
    )
    op.execute(
        "CREATE TRIGGER later_readings_no_change BEFORE UPDATE OR DELETE ON later_readings "
        "FOR EACH ROW EXECUTE FUNCTION later_readings_stay()"
    )
    for table, columns in (MOMENTS | {"later_readings": ("read_at",)}).items():
        for column in columns:
            op.execute(f'ALTER TABLE {table} ALTER COLUMN "{column}" TYPE varchar(32) COLLATE "C"')
    op.execute("CREATE INDEX jobs_by_words ON jobs USING gin (to_tsvector('simple', words))")
