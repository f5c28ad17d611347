"""Jobs, rolls, photos, append-only entries, drafts."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

APPEND_ONLY = ("rolls", "photos", "roll_photos", "entries")


def upgrade() -> None:
    """Make the first schema."""
    _jobs()
    _rolls()
    _history()
    for table in APPEND_ONLY:
        _refuse_changes(table)


def _refuse_changes(table: str) -> None:
    refusal = f"recorded rows of {table} are never changed"
    if op.get_bind().dialect.name == "sqlite":
        for verb in ("update", "delete"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{refusal}'); END"
            )
    elif op.get_bind().dialect.name == "postgresql":
        op.execute(
            f"CREATE FUNCTION {table}_stay() RETURNS trigger LANGUAGE plpgsql "
            f"AS $$ BEGIN RAISE EXCEPTION '{refusal}'; END $$"
        )
        op.execute(
            f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {table}_stay()"
        )


def _jobs() -> None:
    op.create_table(
        "facts",
        sa.Column("key", sa.String(40), primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
    )
    op.create_table(
        "jobs",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("uid", sa.String(32), nullable=False, unique=True),
        sa.Column("opened_at", sa.String(32), nullable=False),
        sa.Column("changed_at", sa.String(32), nullable=False),
        sa.Column("imported_from", sa.Text, nullable=False, server_default=""),
        sa.Column("status", sa.String(16), nullable=False),
        sa.Column("customer", sa.Text, nullable=False, server_default=""),
        sa.Column("vehicle", sa.Text, nullable=False, server_default=""),
        sa.Column("ring_teeth", sa.Integer),
        sa.Column("pinion_teeth", sa.Integer),
        sa.Column("ring_diameter_in", sa.Float),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "job_tags",
        sa.Column("job_number", sa.Integer, sa.ForeignKey("jobs.number"), primary_key=True),
        sa.Column("tag", sa.String(60), primary_key=True),
    )


def _rolls() -> None:
    op.create_table(
        "rolls",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("uid", sa.String(32), nullable=False, unique=True),
        sa.Column("job_number", sa.Integer, sa.ForeignKey("jobs.number"), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("filed_at", sa.String(32), nullable=False),
        sa.Column("by", sa.Text, nullable=False, server_default=""),
        sa.Column("version", sa.String(40), nullable=False),
        sa.Column("roll", sa.Text, nullable=False),
        sa.Column("backlash_readings", sa.Text, nullable=False, server_default="[]"),
        sa.Column("advice", sa.Text),
        sa.Column("note", sa.Text, nullable=False, server_default=""),
        sa.UniqueConstraint("job_number", "number", name="roll_numbers"),
    )
    op.create_table(
        "photos",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("size_bytes", sa.Integer, nullable=False),
        sa.Column("stored_at", sa.String(32), nullable=False),
    )
    op.create_table(
        "roll_photos",
        sa.Column("roll_id", sa.Integer, sa.ForeignKey("rolls.id"), primary_key=True),
        sa.Column("position", sa.Integer, primary_key=True),
        sa.Column("sha256", sa.String(64), sa.ForeignKey("photos.sha256"), nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("side", sa.String(8), nullable=False),
        sa.Column("reading", sa.Text, nullable=False),
    )


def _history() -> None:
    op.create_table(
        "entries",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("job_number", sa.Integer, sa.ForeignKey("jobs.number"), nullable=False),
        sa.Column("roll_id", sa.Integer, sa.ForeignKey("rolls.id")),
        sa.Column("section", sa.String(40), nullable=False),
        sa.Column("value", sa.Text, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("by", sa.Text, nullable=False, server_default=""),
        sqlite_autoincrement=True,
    )
    op.create_index("entries_of_job", "entries", ["job_number", "id"])
    op.create_table(
        "incoming",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("at", sa.String(32), nullable=False),
    )
    op.create_table(
        "drafts",
        sa.Column("job_id", sa.String(20), primary_key=True),
        sa.Column("key", sa.String(80), primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
    )
