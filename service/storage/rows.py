"""Rows as plain mappings, so that nobody above needs to know the database library."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeAlias

from sqlalchemy import Select
from sqlalchemy.ext.asyncio import AsyncConnection

Record: TypeAlias = Mapping[str, Any]


async def one(connection: AsyncConnection, statement: Select[Any]) -> Record | None:
    """The first row, if there is one."""
    row = (await connection.execute(statement)).mappings().first()
    return None if row is None else {str(name): value for name, value in row.items()}


async def many(connection: AsyncConnection, statement: Select[Any]) -> list[Record]:
    """All rows."""
    found = (await connection.execute(statement)).mappings()
    return [{str(name): value for name, value in row.items()} for row in found]
