"""Stored readings as arrays, for whoever goes through months of them."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select
from sqlalchemy.ext.asyncio import AsyncConnection

from service.storage.spans import Piece
from service.storage.tables import readings

AT_ONCE: Final = 10_000
"""Rows fetched together: few enough that others are served in between, whatever span is asked for."""


async def arrays(
    connection: AsyncConnection, farm_id: int, piece: Piece
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Moments and values of a stretch of one series, oldest first."""
    times = [np.empty(0, dtype=np.int64)]
    values = [np.empty(0, dtype=np.float64)]
    from_ms = piece.from_ms
    r = readings.c
    while True:
        statement = (
            select(r.at_ms, r.value)
            .where(r.farm_id == farm_id, r.series_id == piece.series_id, r.at_ms >= from_ms, r.at_ms < piece.to_ms)
            .order_by(r.at_ms)
            .limit(AT_ONCE)
        )
        rows = (await connection.execute(statement)).all()
        times.append(np.fromiter((row[0] for row in rows), dtype=np.int64, count=len(rows)))
        values.append(np.fromiter((row[1] for row in rows), dtype=np.float64, count=len(rows)))
        if len(rows) < AT_ONCE:
            return np.concatenate(times), np.concatenate(values)
        from_ms = rows[-1][0] + 1
