"""The weekly test goes out once a week, in daylight, to everyone who can be told; and who did not answer is named.

Clock changes are those of the tz database for America/New_York: 1 November and 8 March 2026 at 2:00.
"""

from __future__ import annotations

import json
from datetime import date
from typing import Any

from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, Instant
from service.localtime import at_local
from service.notifications.trials import Trials
from service.storage import inbound, people, trials
from service.storage.database import Database
from service.storage.figures import set_figure
from service.watch.trials import TrialSender, is_unanswered, unanswered_sentence
from tests.support.clock import HandClock
from tests.support.rotas import FARM_ID, ZONE, farm_row, person
from tests.support.written import written

TUESDAY = date(2026, 11, 24)
TEN = at_local(TUESDAY, 600, ZONE)


def sender(database: Database, clock: HandClock, *, answers: bool = True, **farm: Any) -> Trials:
    row = farm_row(name="Test Farm", invented=1, **farm)
    tester = TrialSender(farm=row, set_up={"text", "voice", "mail"}, answers_by_text=answers)
    return Trials(database=database, farm=row, clock=clock, sender=tester)


async def sent(database: Database) -> list[tuple[str, str]]:
    return sorted((row["person_id"], row["way"]) for row in await written(database, "deliveries"))


async def test_everyone_who_can_be_told_gets_one_on_its_day(database: Database) -> None:
    await person(database, "ann", "ben")
    await person(database, "cal", phone=None, email="cal@example.org")
    await person(database, "vic", way="voice")
    await person(database, "mute", phone=None)
    await person(database, "left", active=0)
    clock = HandClock(TEN - 1)
    weekly = sender(database, clock)
    assert await weekly.all_due() == 0
    clock.set(TEN)
    assert await weekly.all_due() == 4
    assert await sent(database) == [("ann", "text"), ("ben", "text"), ("cal", "mail"), ("vic", "voice")]
    facts = json.loads((await written(database, "notices"))[0]["facts"])
    assert (facts["kind"], facts["farm"], facts["invented"]) == ("weekly", "Test Farm", True)
    # Only what can be answered is waited for.
    assert [row["person_id"] for row in await written(database, "trials")] == ["ann", "ben"]


async def test_it_goes_out_once_whatever_the_clock_or_a_restart_does(database: Database) -> None:
    await person(database, "ann")
    clock = HandClock(TEN + 5 * MINUTE_MS)
    assert await sender(database, clock).all_due() == 1
    for minutes in (1, -5, 60):
        clock.forward(minutes * MINUTE_MS)
        assert await sender(database, clock).all_due() == 0
    clock.set(TEN + 7 * DAY_MS)
    assert await sender(database, clock).all_due() == 1


async def test_a_service_that_was_down_catches_up_for_two_hours_and_not_at_night(database: Database) -> None:
    await person(database, "ann")
    clock = HandClock(TEN + 2 * HOUR_MS)
    assert await sender(database, clock).all_due() == 0
    clock.set(TEN + 2 * HOUR_MS - 1)
    assert await sender(database, clock).all_due() == 1


async def test_an_hour_that_comes_twice_sends_nothing_twice_and_one_that_is_left_out_still_sends(
    database: Database,
) -> None:
    await person(database, "ann")
    async with database.write() as connection:
        for name, value in (("trial_weekday", 6.0), ("trial_minute", 90.0)):
            await set_figure(connection, FARM_ID, name, value, who="Ines", now_ms=1)
    counts = []
    for day in (date(2026, 11, 1), date(2026, 3, 8)):
        clock = HandClock(at_local(day, 0, ZONE))
        weekly = sender(database, clock)
        count = 0
        for _ in range(24):
            count += await weekly.all_due()
            clock.forward(30 * MINUTE_MS)
        counts.append(count)
    assert counts == [1, 1]


async def answer(database: Database, at_ms: Instant) -> None:
    async with database.write() as connection:
        await inbound.heard_from(connection, FARM_ID, "ann", at_ms)


async def newest(database: Database) -> dict[str, Any]:
    async with database.read() as connection:
        return dict((await trials.trials_since(connection, FARM_ID, 0))[0])


async def test_who_did_not_answer_within_a_day_is_named(database: Database) -> None:
    await person(database, "ann")
    await sender(database, HandClock(TEN)).all_due()
    row = await newest(database)
    assert row["state"] == "waiting"
    assert not is_unanswered(row, TEN + DAY_MS - 1)
    assert is_unanswered(row, TEN + DAY_MS)
    assert unanswered_sentence(row, ZONE) == "Ann has not answered the test text of Tue 24 Nov"
    await answer(database, TEN + DAY_MS)
    assert not is_unanswered(await newest(database), TEN + 2 * DAY_MS)


async def test_without_a_way_back_nobody_is_said_not_to_have_answered(database: Database) -> None:
    await person(database, "ann")
    assert await sender(database, HandClock(TEN), answers=False).all_due() == 1
    assert await written(database, "trials") == []
    assert json.loads((await written(database, "notices"))[0]["facts"])["asks"] is False


async def night_test(database: Database) -> None:
    row = farm_row(name="Test Farm", invented=1)
    tester = TrialSender(farm=row, set_up={"text"}, answers_by_text=True)
    async with database.write() as connection:
        ann = await people.person(connection, FARM_ID, "ann")
        await tester.send(connection, ann, "night ring", key="trial/night", way="text", now_ms=TEN)


async def rang(database: Database, at_ms: Instant) -> tuple[bool, Instant | None]:
    async with database.write() as connection:
        said = await trials.heard_it_ring(connection, FARM_ID, "ann", at_ms)
        return said, (await people.person(connection, FARM_ID, "ann"))["rang_ms"]


async def test_the_answer_to_the_night_test_proves_that_the_phone_rang(database: Database) -> None:
    await person(database, "ann")
    await night_test(database)
    await answer(database, TEN + MINUTE_MS)
    assert (await newest(database))["answered_ms"] is None
    assert await rang(database, TEN + 2 * MINUTE_MS) == (True, TEN + 2 * MINUTE_MS)
    assert (await newest(database))["answered_ms"] == TEN + 2 * MINUTE_MS


async def test_an_answer_hours_later_proves_no_ringing(database: Database) -> None:
    await person(database, "ann")
    assert await rang(database, TEN) == (False, None)
    await night_test(database)
    assert await rang(database, TEN + HOUR_MS + 1) == (False, None)


async def test_somebody_who_wants_no_texts_is_tested_by_another_way_or_not(database: Database) -> None:
    await person(database, "ann", opted_out_ms=1)
    await person(database, "ben", opted_out_ms=1, email="ben@example.org", way="mail")
    assert await sender(database, HandClock(TEN)).all_due() == 2
    assert await sent(database) == [("ann", "voice"), ("ben", "mail")]
