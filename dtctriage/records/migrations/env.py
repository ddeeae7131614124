"""Run by Alembic for every upgrade, on the connection and in the transaction the caller gives."""

from __future__ import annotations

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    version_table=context.config.attributes["version_table"],
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
