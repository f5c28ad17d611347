"""What jobs are found by: words, tags, ratio, and the shims they ended on, each with its index."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

WORDS = """
CREATE VIRTUAL TABLE job_words USING fts5(
    words, content='jobs', content_rowid='number', tokenize='unicode61 remove_diacritics 2')
"""
FORGET = "INSERT INTO job_words(job_words, rowid, words) VALUES ('delete', old.number, old.words);"
LEARN = "INSERT INTO job_words(rowid, words) VALUES (new.number, new.words);"


def upgrade() -> None:
    """Add the columns; `archive.listing` fills them for every job after the upgrade."""
    for column in (
        sa.Column("ratio_hundredths", sa.Integer),
        sa.Column("roll_count", sa.Integer, nullable=False, server_default="0"),
        sa.Column("tag_list", sa.Text, nullable=False, server_default=""),
        sa.Column("words", sa.Text, nullable=False, server_default=""),
        sa.Column("depth_shim", sa.String(20), nullable=False, server_default="unknown"),
        sa.Column("pinion_mark", sa.Text, nullable=False, server_default=""),
        sa.Column("ended_depth_shim_in", sa.Float),
        sa.Column("ended_left_shim_in", sa.Float),
        sa.Column("ended_right_shim_in", sa.Float),
    ):
        op.add_column("jobs", column)
    op.create_index("jobs_by_teeth", "jobs", ["ring_teeth", "pinion_teeth", "number"])
    op.create_index("jobs_by_ratio", "jobs", ["ratio_hundredths", "number"])
    op.create_index("jobs_by_diameter", "jobs", ["ring_diameter_in", "number"])
    op.create_index("jobs_by_status", "jobs", ["status", "number"])
    op.create_index("jobs_by_day", "jobs", ["opened_at"])
    op.create_index("tagged_jobs", "job_tags", ["tag", "job_number"])
    op.create_index("photo_uses", "roll_photos", ["sha256"])
    if op.get_bind().dialect.name == "sqlite":
        op.execute(WORDS)
        op.execute(f"CREATE TRIGGER job_words_in AFTER INSERT ON jobs BEGIN {LEARN} END")
        op.execute(f"CREATE TRIGGER job_words_out AFTER DELETE ON jobs BEGIN {FORGET} END")
        op.execute(
            f"CREATE TRIGGER job_words_new AFTER UPDATE OF words ON jobs BEGIN {FORGET} {LEARN} END"
        )
        op.execute("INSERT INTO job_words(job_words) VALUES ('rebuild')")
