"""No more texts to one person in an hour than they can read. The rules are the project's own judgement."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.model import HOUR_MS, MINUTE_MS, SECOND_MS
from service.notifications.ceiling import GATHER_MS, may_go, one_more, summary_due_ms, within_ceiling
from service.storage import outbox, people
from service.storage.database import Database
from service.storage.figures import Figures
from service.storage.tables import deliveries
from tests.support.farmyard import NOW_MS, settle
from tests.support.steady import STEADY
from tests.support.written import written

SIX = Figures(texts_per_hour=6)
ROOM = {"room": "House 7"}


@pytest.mark.pure
@pytest.mark.parametrize(
    ("kind", "sent", "goes"),
    [
        ("trouble", 5, True),
        ("trouble", 6, False),
        ("back", 6, False),
        ("site", 999, True),
        ("site back", 999, True),
        ("answer", 11, True),
        ("answer", 12, False),
        ("danger", 999, True),
        ("look after", 999, True),
        ("came out", 999, True),
        ("taken", 999, True),
        ("summary", 999, True),
    ],
)
def test_what_may_go_out(kind: str, sent: int, goes: bool) -> None:  # noqa: FBT001
    assert may_go(kind, sent=sent, most=6) is goes


@pytest.mark.pure
def test_there_are_never_two_summaries_within_an_hour() -> None:
    assert summary_due_ms(None, 50) == 50 + GATHER_MS
    assert summary_due_ms(0, 10 * MINUTE_MS) == HOUR_MS
    assert summary_due_ms(0, 2 * HOUR_MS) == 2 * HOUR_MS + GATHER_MS


@pytest.mark.pure
def test_a_summary_names_each_room_once() -> None:
    facts: dict[str, Any] = {"held": 0, "rooms": []}
    for held in (ROOM, {"room": None, "rooms": ["House 7", "Cooler"]}, ROOM, {}):
        facts = one_more(facts, held, now_ms=9)
    assert facts == {"held": 4, "rooms": ["House 7", "Cooler"], "until_ms": 9}


class Phone:
    """One person's tellings on a real database, asked and sent as ``deliver`` does."""

    def __init__(self, database: Database, person: str = "maria") -> None:
        self.database = database
        self.person = person
        self.count = 0

    async def asks(self, at_ms: int, kind: str = "trouble", *, way: str = "text", **facts: Any) -> str:
        """One more telling is added; return its id."""
        self.count += 1
        notice = {
            "notice_key": f"{kind}/{self.count}",
            "kind": kind,
            "room_id": None,
            "happening_id": None,
            "at_ms": at_ms,
            "decided_ms": at_ms,
            "use_by_ms": at_ms + HOUR_MS,
            "facts": {**ROOM, **facts},
        }
        async with self.database.write() as connection:
            return await outbox.add_direct(connection, 1, notice, person_id=self.person, way=way)

    async def all_due(self, now_ms: int) -> list[str]:
        """Everything that is due is sent or held; return the kinds of what was sent."""
        sent = []
        async with self.database.write() as connection:
            rows = await outbox.claim_due(connection, 1, now_ms=now_ms, until_ms=now_ms + MINUTE_MS, limit=99)
            for row in rows:
                state, detail = outbox.SENT, ""
                if await within_ceiling(connection, 1, row=row, figures=SIX, now_ms=now_ms):
                    sent.append(row["kind"])
                else:
                    state, detail = outbox.CANCELLED, outbox.IN_THE_SUMMARY
                await outbox.end_attempt(
                    connection,
                    1,
                    row["delivery_id"],
                    attempt={"attempt": 1, "at_ms": now_ms, "outcome": state, "detail": detail},
                    telling={"state": state, "ended_ms": now_ms, "detail": detail},
                )
        return sent

    async def gets(self, at_ms: int, kind: str = "trouble", **facts: Any) -> bool:
        await self.asks(at_ms, kind, **facts)
        return kind in await self.all_due(at_ms)


async def facts_of_summaries(database: Database) -> list[dict[str, Any]]:
    rows = await written(database, "notices", kind="summary")
    return [json.loads(row["facts"]) for row in sorted(rows, key=lambda row: row["at_ms"])]


async def test_the_seventh_text_of_an_hour_is_held_and_told_in_a_summary(database: Database) -> None:
    await settle(database)
    phone = Phone(database)
    went = [await phone.gets(NOW_MS + n * MINUTE_MS) for n in range(7)]
    assert went == [True] * 6 + [False]
    held = await written(database, "deliveries", detail=outbox.IN_THE_SUMMARY)
    assert [row["state"] for row in held] == [outbox.CANCELLED]
    assert await phone.all_due(NOW_MS + 6 * MINUTE_MS + GATHER_MS) == ["summary"]
    (facts,) = await facts_of_summaries(database)
    assert (facts["count"], facts["held"], facts["rooms"], facts["invented"]) == (6, 1, ["House 7"], True)


@pytest.mark.parametrize(("own", "told_by"), [("text", "text"), ("mail", "text"), ("voice", "voice")])
async def test_a_held_call_is_told_in_a_text_unless_its_person_is_told_by_calls(
    database: Database, own: str, told_by: str
) -> None:
    """A call about what was held would wake as what was held would have."""
    farm = await settle(database)
    async with database.write() as connection:
        maria = await people.person(connection, farm["farm_id"], "maria")
        same = {k: v for k, v in maria.items() if k != "farm_id"}
        await people.save_person(connection, farm["farm_id"], {**same, "way": own})
    phone = Phone(database)
    went = [await phone.gets(NOW_MS + n * MINUTE_MS, way="voice") for n in range(7)]
    assert went == [True] * 6 + [False]
    [summary] = [row for row in await written(database, "deliveries") if row["notice_key"].startswith("summary/")]
    assert summary["way"] == told_by


async def test_what_is_held_at_the_same_moment_stands_in_one_summary(database: Database) -> None:
    await settle(database)
    phone = Phone(database)
    for n in range(10):
        await phone.asks(NOW_MS, room=f"House {n}")
    assert await phone.all_due(NOW_MS) == ["trouble"] * 6
    assert await phone.all_due(NOW_MS + 2 * SECOND_MS) == ["summary"]
    (facts,) = await facts_of_summaries(database)
    assert (facts["held"], len(facts["rooms"])) == (4, 4)


async def test_what_is_held_later_waits_for_the_next_summary_an_hour_on(database: Database) -> None:
    await settle(database)
    phone = Phone(database)
    for _ in range(7):
        await phone.asks(NOW_MS)
    await phone.all_due(NOW_MS)
    await phone.all_due(NOW_MS + GATHER_MS)
    for minutes in (10, 20, 30):
        assert await phone.gets(NOW_MS + minutes * MINUTE_MS) is False
    assert await phone.all_due(NOW_MS + HOUR_MS) == []
    assert await phone.all_due(NOW_MS + GATHER_MS + HOUR_MS) == ["summary"]
    assert [facts["held"] for facts in await facts_of_summaries(database)] == [1, 3]


async def test_after_an_hour_there_is_room_again(database: Database) -> None:
    await settle(database)
    phone = Phone(database)
    went = [await phone.gets(NOW_MS + n * 12 * MINUTE_MS) for n in range(12)]
    assert all(went), "five an hour are within six"


async def test_danger_and_looking_after_people_are_never_held(database: Database) -> None:
    await settle(database)
    phone = Phone(database)
    for _ in range(8):
        await phone.asks(NOW_MS)
    await phone.all_due(NOW_MS)
    assert await phone.gets(NOW_MS + MINUTE_MS, "danger")
    assert await phone.gets(NOW_MS + MINUTE_MS, "look after")
    assert await phone.gets(NOW_MS + MINUTE_MS, "back", side="people")


async def test_danger_takes_no_room_from_other_texts(database: Database) -> None:
    await settle(database)
    phone = Phone(database)
    for _ in range(9):
        assert await phone.gets(NOW_MS, "danger")
    assert await phone.gets(NOW_MS)


async def test_confirmations_count_apart_and_end_without_a_summary(database: Database) -> None:
    await settle(database)
    phone = Phone(database)
    answers = [await phone.gets(NOW_MS, "answer") for _ in range(14)]
    assert answers == [True] * 12 + [False] * 2
    assert await phone.gets(NOW_MS)
    assert await facts_of_summaries(database) == []


async def test_mail_and_other_people_do_not_count(database: Database) -> None:
    await settle(database)
    phone, other = Phone(database), Phone(database, "ben")
    other.count = 100
    for _ in range(9):
        await phone.asks(NOW_MS, way="mail")
    assert await phone.all_due(NOW_MS) == ["trouble"] * 9
    for _ in range(6):
        assert await phone.gets(NOW_MS)
    assert await other.gets(NOW_MS)


async def test_a_text_that_is_tried_again_is_not_counted_twice(database: Database) -> None:
    await settle(database)
    phone = Phone(database)
    again = await phone.asks(NOW_MS)
    async with database.write() as connection:
        mine = deliveries.c.delivery_id == again
        later = {"first_try_ms": NOW_MS, "next_ms": NOW_MS + MINUTE_MS, "attempts": 1}
        await connection.execute(deliveries.update().where(mine).values(**later))
    went = [await phone.gets(NOW_MS + n) for n in range(6)]
    assert went == [True] * 5 + [False], "what is on its way has its place"
    assert await phone.all_due(NOW_MS + MINUTE_MS) == ["summary", "trouble"]


@pytest.mark.pure
@settings(STEADY, max_examples=100)
@given(st.lists(st.tuples(st.integers(0, 300), st.sampled_from(["trouble", "danger", "answer"])), max_size=60))
def test_no_hour_ever_holds_more_than_the_farm_allows(asked: list[tuple[int, str]]) -> None:
    sent: list[tuple[int, str]] = []
    for at, kind in sorted(asked):
        counted = [
            a for a, k in sent if at - 60 < a <= at and (k == "answer") is (kind == "answer") and k != "danger"
        ]
        if may_go(kind, sent=len(counted), most=6):
            sent.append((at, kind))
    for first, _ in sent:
        inside = [kind for at, kind in sent if first <= at < first + 60]
        assert inside.count("trouble") <= 6
        assert inside.count("answer") <= 12
    assert [kind for _, kind in sent].count("danger") == [kind for _, kind in asked].count("danger")
