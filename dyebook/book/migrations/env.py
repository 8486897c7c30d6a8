"""Runs one migration on the connection that `dyebook.book.versions` hands over, inside its transaction."""

from alembic import context

from dyebook.book.schema import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
