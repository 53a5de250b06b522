"""How a request gets at the farm, and the span it asks about."""

from __future__ import annotations

from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Annotated, Final, TypeAlias

from fastapi import Depends, Query, Request

from rules.model import DAY_MS, Instant
from service.api.moments import Moment
from service.errors import NotUnderstood
from service.storage.database import Connection
from service.storage.turn import take_turn
from service.watch.desk import Desk

MOST_ROWS: Final = 1000


def _desk(request: Request) -> Desk:
    desk: Desk = request.app.state.house.state.desk
    return desk


AtDesk: TypeAlias = Annotated[Desk, Depends(_desk)]


@asynccontextmanager
async def changing(desk: Desk) -> AsyncGenerator[Connection]:
    """One transaction that changes what is set up; such changes happen one after the other."""
    async with desk.database.write() as connection:
        await take_turn(connection, desk.farm_id)
        yield connection


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """From a moment (inclusive) to another (exclusive)."""

    from_ms: Instant
    to_ms: Instant


def _span(
    desk: AtDesk,
    from_ms: Annotated[
        Moment | None, Query(alias="from", description="Inclusive; if absent, a day before the end.")
    ] = None,
    to_ms: Annotated[Moment | None, Query(alias="to", description="Exclusive; if absent, now.")] = None,
) -> Span:
    end_ms = desk.clock.now_ms() + 1 if to_ms is None else to_ms
    begin_ms = max(end_ms - DAY_MS, 0) if from_ms is None else from_ms
    if begin_ms >= end_ms:
        raise NotUnderstood("the span ends before it begins")
    return Span(from_ms=begin_ms, to_ms=end_ms)


AskedSpan: TypeAlias = Annotated[Span, Depends(_span)]
AskedLimit: TypeAlias = Annotated[int, Query(ge=1, le=MOST_ROWS, description="At most so many rows, the newest.")]
