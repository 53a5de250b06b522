"""Inserting what may be there already, in the words of either database."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Table
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection


def insert_into(connection: AsyncConnection, table: Table) -> Any:
    """An INSERT that knows ON CONFLICT, for the database behind ``connection``."""
    if connection.dialect.name == "postgresql":
        return postgresql.insert(table)
    return sqlite.insert(table)
