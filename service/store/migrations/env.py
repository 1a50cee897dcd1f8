"""How alembic runs migrations: on the connection that ``service.store.migrate`` gives it.

Logging is left alone: whoever runs a migration has set it up.
"""

from __future__ import annotations

from alembic import context

from service.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    compare_type=True,
    compare_server_default=True,
    # SQLite changes a table by making it anew; a drafted migration must do so on both stores.
    render_as_batch=True,
    transaction_per_migration=False,
)
with context.begin_transaction():
    context.run_migrations()
