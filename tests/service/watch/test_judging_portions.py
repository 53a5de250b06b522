"""However readings are batched, shuffled and swept, the same is told: through the real record and judge.

Nothing outside the project says what must come out; what is checked is that all ways to the same evening agree.
Waits are shortened to a quarter or half of a minute, so that two minutes and a half hold several alarms.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from random import Random
from typing import Any, Final, TypeAlias

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from rules.model import DAY_MS, SECOND_MS, Instant, Quantity
from service.messages import Decoded, Incoming
from service.storage import crops
from service.storage.database import Database
from service.watch.catalogue import Catalogue
from service.watch.judge import SETTLE_MS, Judge
from service.watch.record import record
from tests.support import farmyard
from tests.support.databases import sqlite_database
from tests.support.mail_bag import message, pack
from tests.support.watched import BACK, DOOR, ROOM, minute
from tests.support.written import notices, told

LENGTH_S: Final = 150
SERIES: Final = (
    (DOOR, Quantity.HUMIDITY, "%RH"),
    (BACK, Quantity.HUMIDITY, "%RH"),
    (DOOR, Quantity.TEMPERATURE, "Cel"),
)
VALUES: Final = {
    Quantity.HUMIDITY: (60.0, 65.9, 84.9, 85.0, 87.9, 88.0, 95.0),
    Quantity.TEMPERATURE: (15.0, 22.0, 22.1, 23.1),
}

Told: TypeAlias = tuple[list[tuple[Any, ...]], list[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """One reading on its way."""

    probe: str
    quantity: Quantity
    unit: str
    at_ms: Instant
    value: float
    delay_ms: int

    @property
    def arrives_ms(self) -> Instant:
        return self.at_ms + self.delay_ms


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How the readings are taken."""

    batch: int
    sweep_s: int
    shuffle: int


@st.composite
def evenings(draw: st.DrawFn) -> list[Sent]:
    """Two minutes and a half of a room: each series dwells on values, and is away now and then."""
    sent: list[Sent] = []
    for probe, quantity, unit in SERIES:
        interval_s = draw(st.sampled_from([2, 3, 7]))
        runs = draw(
            st.lists(st.tuples(st.sampled_from(VALUES[quantity]), st.integers(4, 24)), min_size=4, max_size=12)
        )
        away = draw(st.sets(st.integers(0, 40), max_size=8))
        values = [value for value, length in runs for _ in range(length)]
        offset_ms = draw(st.integers(0, 999))
        sent += [
            Sent(probe=probe, quantity=quantity, unit=unit, at_ms=at_ms, value=value, delay_ms=0)
            for number, value in enumerate(values)
            if number not in away
            and (at_ms := minute(0) + offset_ms + number * interval_s * SECOND_MS) <= end_ms()
        ]
    return sorted(sent, key=lambda one: (one.at_ms, one.probe, one.quantity))


def end_ms() -> Instant:
    return minute(0) + LENGTH_S * SECOND_MS


def shuffled(sent: Sequence[Sent], seed: int) -> list[Sent]:
    """Each held up by less than the settling time, in the order of arrival."""
    chance = Random(seed)
    late = [
        Sent(**{**{name: getattr(one, name) for name in one.__slots__}, "delay_ms": chance.randrange(SETTLE_MS)})
        for one in sent
    ]
    return sorted(late, key=lambda one: one.arrives_ms)


async def prepared(database: Database) -> Judge:
    """House 7 with pins with short waits, judged up to the beginning."""
    farm = await farmyard.add_farm(database)
    await farmyard.add_rooms(database, 1, minute(0) - 10 * DAY_MS)
    async with database.write() as connection:
        row = await crops.profile(connection, 1, "shiitake")
        body = re.sub(r"(far_wait|recover)_minutes = \d+", r"\1_minutes = 0.25", row["body"])
        body = re.sub(r"^wait_minutes = \d+", "wait_minutes = 0.5", body, flags=re.MULTILINE)
        body = re.sub(r" wait_minutes = \d+ }", " wait_minutes = 0.25 }", body)
        noted = {"recorded_ms": minute(0) - DAY_MS, "who": "Ines"}
        await crops.add_profiles(connection, 1, [{**row, "profile": "swift", "body": body}])
        batch = {"batch_id": "S", "profile": "swift", "version": row["version"], "strain": "", "count": 1}
        await crops.add_batch(connection, 1, {**batch, "container": "block", **noted})
        stay = {"batch_id": "S", "valid_from_ms": minute(0) - DAY_MS, "room_id": ROOM, "stage": "pinning"}
        await crops.add_stay(connection, 1, {**stay, **noted})
        stands = {"profile": "swift", "version": row["version"], "stage": "pinning", **noted}
        await crops.confirm(connection, 1, stands)
    judge = Judge(database, farm, Catalogue(1))
    await judge.judge(ROOM, until_ms=minute(0) - 1, now_ms=minute(0))
    return judge


async def took(database: Database, sent: Sequence[Sent]) -> None:
    batch: list[tuple[Incoming, Decoded]] = []
    for one in sent:
        body = pack(one.value, at_ms=one.at_ms, probe=one.probe, quantity=one.quantity, unit=one.unit)
        batch.append(message(one.probe, body, received_ms=one.arrives_ms))
    if batch:
        await record(database, 1, batch)


async def tidy(database: Database, sent: Sequence[Sent]) -> Told:
    """All readings first, in order; then judged every half minute."""
    judge = await prepared(database)
    await took(database, sent)
    for now_ms in [*range(minute(0), end_ms(), 30 * SECOND_MS), end_ms()]:
        await judge.judge(ROOM, until_ms=now_ms, now_ms=now_ms)
    return await told(database), [row["notice_key"] for row in await notices(database)]


async def as_it_came(database: Database, sent: Sequence[Sent], way: Way) -> Told:
    """Recorded as it arrives, a batch when it is full or must not wait longer; judged at every sweep."""
    judge = await prepared(database)
    coming = iter(shuffled(sent, way.shuffle))
    waiting: list[Sent] = []
    step_ms = way.sweep_s * SECOND_MS
    following = next(coming, None)
    for now_ms in ticks(step_ms):
        while following is not None and following.arrives_ms <= now_ms:
            waiting.append(following)
            following = next(coming, None)
        urgent = any(one.at_ms <= now_ms - SETTLE_MS for one in waiting)
        while len(waiting) >= way.batch or (urgent and waiting):
            await took(database, waiting[: way.batch])
            del waiting[: way.batch]
        await judge.judge(ROOM, until_ms=min(now_ms - SETTLE_MS, end_ms()), now_ms=now_ms)
    return await told(database), [row["notice_key"] for row in await notices(database)]


def ticks(step_ms: int) -> Iterator[Instant]:
    for number in count(1):
        yield minute(0) + number * step_ms
        if minute(0) + number * step_ms >= end_ms() + SETTLE_MS:
            return


WAYS = st.builds(
    Way, batch=st.sampled_from([1, 7, 500]), sweep_s=st.sampled_from([1, 10]), shuffle=st.integers(0, 9999)
)


@settings(
    max_examples=4,
    phases=[Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(sent=evenings(), way=WAYS)
async def test_what_is_told_does_not_depend_on_batches_sweeps_or_delays_within_settling(
    tmp_path_factory: pytest.TempPathFactory, sent: list[Sent], way: Way
) -> None:
    async with sqlite_database(folder(tmp_path_factory)) as database:
        expected = await tidy(database, sent)
    async with sqlite_database(folder(tmp_path_factory)) as database:
        assert await as_it_came(database, sent, way) == expected


def folder(factory: pytest.TempPathFactory) -> Path:
    return factory.mktemp("evening", numbered=True)


def one_evening() -> list[Sent]:
    """Two alarms, one of them deep, and a warm minute."""
    humidity = [95.0] * 4 + [84.9] * 22 + [60.0] * 14 + [95.0] * 12 + [80.0] * 19 + [95.0] * 12
    sent = [
        Sent(probe=DOOR, quantity=Quantity.HUMIDITY, unit="%RH", at_ms=at_ms, value=value, delay_ms=0)
        for number, value in enumerate(humidity)
        if (at_ms := minute(0) + number * 1800) <= end_ms()
    ]
    warm = [15.0] * 3 + [24.0] * 12 + [15.0] * 15
    sent += [
        Sent(
            probe=BACK, quantity=Quantity.TEMPERATURE, unit="Cel", at_ms=minute(0) + n * 5_000, value=v, delay_ms=0
        )
        for n, v in enumerate(warm)
    ]
    return sorted(sent, key=lambda one: (one.at_ms, one.probe))


@pytest.mark.parametrize(
    "way", [Way(batch=7, sweep_s=1, shuffle=3), Way(batch=500, sweep_s=10, shuffle=4)], ids=str
)
async def test_an_evening_with_a_deep_and_a_second_alarm_is_told_the_same_on_both_databases(
    database: Database, tmp_path_factory: pytest.TempPathFactory, way: Way
) -> None:
    async with sqlite_database(folder(tmp_path_factory)) as neat:
        expected = await tidy(neat, one_evening())
    kinds = [key.split("/")[3] for key in expected[1]]
    assert kinds == ["trouble", "also", "deeper", "back", "trouble", "back"]
    assert await as_it_came(database, one_evening(), way) == expected


async def test_judged_in_one_go_the_same_moves_are_told_though_later(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    async with sqlite_database(folder(tmp_path_factory)) as neat:
        expected, _ = await tidy(neat, one_evening())
    async with sqlite_database(folder(tmp_path_factory)) as database:
        judge = await prepared(database)
        await took(database, one_evening())
        await judge.judge(ROOM, until_ms=end_ms(), now_ms=end_ms() + DAY_MS)
        assert await told(database) == expected
        assert {row["telling"] for row in await notices(database)} == {"round"}
