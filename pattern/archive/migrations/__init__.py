"""Alembic's folder: `env.py` and one file a schema version."""
