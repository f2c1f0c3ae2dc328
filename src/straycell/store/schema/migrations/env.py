"""Alembic's entry: it works on the connection it is handed and leaves the transaction to its owner."""

from alembic import context

from straycell.store.schema.models import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    render_as_batch=True,
    transactional_ddl=False,
)
context.run_migrations()
