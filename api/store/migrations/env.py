"""How Alembic meets the store: on the connection it is given, within its transaction."""

from alembic import context

from api.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    transactional_ddl=False,  # the transaction is that of the caller, who holds the lock
)
context.run_migrations()
