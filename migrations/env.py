"""Alembic's way in. ``service.storage.schema`` runs it with a connection of its own, inside one transaction.

On PostgreSQL each migration runs under a short lock timeout and an advisory lock, so that two deployments cannot
migrate at once and a busy table is not blocked for long. SQLite has one writer anyway.
"""

from __future__ import annotations

from alembic import context
from sqlalchemy import Connection, text

from service.storage.schema import is_declared
from service.storage.tables import metadata

ADVISORY_LOCK = 0x486F757365  # "House"


def run() -> None:
    connection = context.config.attributes.get("connection")
    if not isinstance(connection, Connection):
        raise TypeError("run migrations with `houseband migrate`")
    on_sqlite = connection.dialect.name == "sqlite"
    if not on_sqlite:
        connection.execute(text("SET LOCAL lock_timeout = '4s'"))
        connection.execute(text("SET LOCAL statement_timeout = '60s'"))
        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": ADVISORY_LOCK})
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_as_batch=on_sqlite,
        include_object=is_declared,
        transactional_ddl=True,
    )
    context.run_migrations()


run()
