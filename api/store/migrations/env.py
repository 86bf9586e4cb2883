"""Run by alembic: migrates on the connection that it was given."""

from __future__ import annotations

from alembic import context

from api.store.tables import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata, render_as_batch=False)
with context.begin_transaction():
    context.run_migrations()
