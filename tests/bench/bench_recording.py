"""What it costs to understand and keep a reading, beside the driver writing the same rows and nothing else.

A message is a pack of three readings. Every commit is on the disk, on both databases (SQLite: synchronous FULL).
"""

from __future__ import annotations

from collections.abc import AsyncGenerator, Awaitable, Callable
from functools import partial
from pathlib import Path
from typing import Final

import pytest

from rules.model import SECOND_MS, Instant, Quantity
from service.messages import Incoming
from service.storage.database import Database
from service.watch.record import record
from service.wire.decode import decode
from tests.support import farmyard
from tests.support.databases import BOTH, postgres_database, sqlite_database
from tests.support.figures import quickest_of, show
from tests.support.packs import pack
from tests.support.raw_writer import RawRow, Write, raw_writer
from tests.support.written import tally

MESSAGES: Final = {1: 150, 50: 1500, 500: 4000}
"""How many messages are written per round, by the size of the batches."""
ROUNDS: Final = 2
PROBES: Final = tuple(probe for probe, _, _ in farmyard.PROBES)
QUANTITIES: Final = (Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.CO2)


class Messages:
    """New messages without end: the farm's probes in turn, a second apart."""

    def __init__(self) -> None:
        self.number = 0

    def _next(self) -> tuple[int, Instant, dict[Quantity, float]]:
        self.number += 1
        values = (15.0 + self.number % 10 / 10, 90.0 + self.number % 7, 800.0 + self.number % 100)
        return self.number, farmyard.NOW_MS + self.number * SECOND_MS, dict(zip(QUANTITIES, values, strict=True))

    def incoming(self) -> Incoming:
        number, at_ms, values = self._next()
        topic = f"houseband/tansy/{PROBES[number % len(PROBES)]}"
        return Incoming(topic=topic, payload=pack(at_ms, values), received_ms=at_ms + 400)

    def rows(self) -> list[RawRow]:
        number, at_ms, values = self._next()
        first = number % len(PROBES) * len(QUANTITIES)
        return [(first + n, at_ms, value, 400) for n, value in enumerate(values.values())]


@pytest.fixture(params=BOTH)
async def database(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncGenerator[Database]:
    if request.param == "sqlite":
        async with sqlite_database(tmp_path) as made:
            yield made
        return
    async with postgres_database(request.getfixturevalue("durable_postgres_server")) as made:
        yield made


async def test_recording(database: Database) -> None:
    await farmyard.settle(database)
    messages = Messages()
    name = "SQLite" if database.is_sqlite else "PostgreSQL"
    async with raw_writer(database) as write:
        for size, number in MESSAGES.items():
            batches = [size] * (number // size)
            works: list[tuple[str, int, Callable[[], Awaitable[object]]]] = [
                ("driver writes the rows", 3 * number, partial(_write, write, messages, batches)),
                ("decode and record", 3 * number, partial(_record, database, messages, batches)),
            ]
            figures = await quickest_of(works, rounds=ROUNDS)
            show(f"Recording, {name}, {size} to a batch", figures, against=figures[0], each="readings")

    assert await tally(database, "readings") == 3 * ROUNDS * sum(MESSAGES.values())
    assert await tally(database, "messages") == ROUNDS * sum(MESSAGES.values())


async def _write(write: Write, messages: Messages, batches: list[int]) -> None:
    for size in batches:
        await write([row for _ in range(size) for row in messages.rows()])


async def _record(database: Database, messages: Messages, batches: list[int]) -> None:
    for size in batches:
        came = [messages.incoming() for _ in range(size)]
        await record(database, 1, [(one, decode(one, prefix="houseband", farm="tansy")) for one in came])
