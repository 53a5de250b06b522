"""What SQLite cannot guess about our tables: the first column of every key is the farm, and tells nothing apart.

Left to itself it takes any first column of a key for telling, and reads a whole table through its primary key
although an index would find the few rows that are asked for. So it is told, in the way it foresees
(https://www.sqlite.org/fileformat2.html#stat1tab), by figures that hold for any farm and make it choose the same
plan on its first day and after ten years. PostgreSQL counts by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from sqlalchemy import text
from sqlalchemy.ext.asyncio import AsyncConnection

ROWS: Final = 1_000_000
ALIKE: Final = (ROWS, 100, 10, 5, 2)
"""So many rows are alike in the first column of an index, in its first two, and so on."""
_TABLES: Final = text(
    "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite!_%' ESCAPE '!'"
)
_INDEXES: Final = text('SELECT name, "unique", origin FROM pragma_index_list(:name)')
_COLUMNS: Final = text("SELECT name FROM pragma_index_info(:name) ORDER BY seqno")


async def tell_what_is_alike(connection: AsyncConnection) -> None:
    """Tell SQLite what telling the farms apart is worth. Connections that are opened later know it as well."""
    if connection.dialect.name != "sqlite":
        return
    await connection.execute(text("ANALYZE farms"))  # makes the table of figures
    await connection.execute(text("DELETE FROM sqlite_stat1"))
    add = text("INSERT INTO sqlite_stat1 (tbl, idx, stat) VALUES (:tbl, :idx, :stat)")
    figures = [row for name in await connection.scalars(_TABLES) for row in await _figures_of(connection, name)]
    await connection.execute(add, figures)
    await connection.execute(text("ANALYZE sqlite_schema"))  # reads the figures, and counts nothing


async def _figures_of(connection: AsyncConnection, table: str) -> list[dict[str, str]]:
    found = []
    for name, is_unique, origin in (await connection.execute(_INDEXES, {"name": table})).all():
        columns = list(await connection.scalars(_COLUMNS, {"name": name}))
        if columns[0] == "farm_id":
            index = table if origin == "pk" else name
            found.append({"tbl": table, "idx": index, "stat": _alike(columns, is_unique=bool(is_unique))})
    return found


def _alike(columns: Sequence[str], *, is_unique: bool) -> str:
    alike = [ALIKE[min(n, len(ALIKE) - 1)] for n in range(len(columns))]
    return " ".join(str(count) for count in (ROWS, *alike[:-1], 1 if is_unique else alike[-1]))
