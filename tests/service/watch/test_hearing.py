"""When we were listening, and how often probes are usually heard."""

from __future__ import annotations

import pytest

from rules.model import HOUR_MS, MINUTE_MS, Quantity
from rules.silence import listened_ms
from service.storage.database import Database
from service.storage.silences import measured_series
from service.watch.hearing import KEEP_MS, LOOK_AGAIN_MS, Ears, Habits, usual_intervals
from tests.support import farmyard

NOW_MS = farmyard.NOW_MS
LONGEST_MS = MINUTE_MS


def look(ears: Ears, second: int, *, hears: bool = True) -> tuple[int, int] | None:
    return ears.look(second * 1000, hears=hears, longest_ms=LONGEST_MS)


@pytest.mark.pure
def test_looks_close_together_are_one_span() -> None:
    ears = Ears()
    assert [look(ears, second) for second in (10, 15, 20)] == [None, None, None]
    assert ears.spans == [(10_000, 20_000)]


@pytest.mark.pure
def test_while_nothing_is_heard_the_span_does_not_grow_and_the_next_begins_afresh() -> None:
    ears = Ears()
    look(ears, 10)
    look(ears, 20)
    look(ears, 30, hears=False)
    look(ears, 40)
    look(ears, 50)
    assert ears.spans == [(10_000, 20_000), (40_000, 50_000)]
    assert listened_ms(ears.spans, 0, 50_000) == 20_000


@pytest.mark.pure
def test_standing_still_is_not_listening_and_is_said() -> None:
    ears = Ears()
    look(ears, 10)
    assert look(ears, 70) is None
    assert look(ears, 131) == (70_000, 131_000)
    assert ears.spans == [(10_000, 70_000), (131_000, 131_000)]


@pytest.mark.pure
def test_a_clock_that_was_set_back_begins_no_span_that_ends_before_it_begins() -> None:
    ears = Ears()
    look(ears, 100)
    look(ears, 50)
    assert all(begin <= end for begin, end in ears.spans)


@pytest.mark.pure
def test_what_is_long_past_is_forgotten() -> None:
    ears = Ears()
    look(ears, 0)
    look(ears, KEEP_MS // 1000 + 1)
    assert len(ears.spans) == 1


async def test_what_is_usual_is_worked_out_now_and_then(database: Database) -> None:
    await farmyard.settle(database)
    await send(database, every_minutes=5, count=6)
    habits = Habits()

    async def usual(now_ms: int) -> int | None:
        async with database.read() as connection:
            mine = {"h7-back": (await measured_series(connection, 1))["h7-back"]}
            await habits.refresh(connection, 1, mine, now_ms)
        return habits.usual_ms("h7-back")

    assert await usual(NOW_MS) == 5 * MINUTE_MS
    assert habits.usual_ms("h7-door") is None
    await send(database, every_minutes=1, count=40, from_ms=NOW_MS + MINUTE_MS)
    assert await usual(NOW_MS + LOOK_AGAIN_MS - 1) == 5 * MINUTE_MS
    assert await usual(NOW_MS + LOOK_AGAIN_MS) == MINUTE_MS


async def test_the_quickest_of_what_a_probe_measures_counts_and_contacts_do_not(database: Database) -> None:
    await farmyard.settle(database)
    await send(database, every_minutes=60, count=6, quantity=Quantity.BATTERY)
    await send(database, every_minutes=2, count=6, from_ms=NOW_MS - HOUR_MS)
    await send(database, every_minutes=1, count=6, quantity=Quantity.DOOR, value=1.0)
    async with database.read() as connection:
        assert await usual_intervals(connection, 1, ["h7-back", "h7-door"]) == {"h7-back": 2 * MINUTE_MS}


async def test_an_hour_of_readings_in_one_message_is_one_hearing_an_hour(database: Database) -> None:
    await farmyard.settle(database)
    for hour in range(5):
        pack_ms = NOW_MS + hour * HOUR_MS
        for minute in range(60):
            at_ms = pack_ms - minute * MINUTE_MS
            await farmyard.send(
                database, 1, "h7-back", Quantity.HUMIDITY, [(at_ms, 90.0)], late_ms=pack_ms - at_ms
            )
    async with database.read() as connection:
        assert await usual_intervals(connection, 1, ["h7-back"]) == {"h7-back": HOUR_MS}


async def send(
    database: Database,
    *,
    every_minutes: int,
    count: int,
    from_ms: int = NOW_MS - 6 * 60 * MINUTE_MS,
    quantity: Quantity = Quantity.HUMIDITY,
    value: float = 3.0,
) -> None:
    points = [(from_ms + n * every_minutes * MINUTE_MS, value) for n in range(count)]
    await farmyard.send(database, 1, "h7-back", quantity, points)
