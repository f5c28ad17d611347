"""Run by Alembic. The connection, inside its one transaction, is handed in by `archive.upgrade`."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], render_as_batch=True)
context.run_migrations()
