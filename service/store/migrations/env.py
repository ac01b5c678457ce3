"""Runs the numbered steps on the connection that ``service.store.migrate`` hands over."""

from alembic import context

from service.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    # SQLite cannot alter most of a table in place
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
