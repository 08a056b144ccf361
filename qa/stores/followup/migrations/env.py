"""What alembic runs: it uses the connection and transaction of whoever opens the store."""

from alembic import context

from qa.stores.followup.tables import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    transactional_ddl=True,
    transaction_per_migration=False,
)
context.run_migrations()
