"""The morning mail goes out once a morning: over a real SMTP server, on a clock moved by hand.

Clock changes are those of the tz database for America/New_York: 1 November and 8 March 2026 at 2:00.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest

from rules.model import HOUR_MS, MINUTE_MS, Instant
from service.localtime import at_local
from service.notifications.carriers.mail import MailCarrier, MailServer
from service.notifications.digest import Digest
from service.storage import digests, ledger, people
from service.storage.database import Database
from service.watch.catalogue import Catalogue
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.mail_server import Letterbox, mail_server

MORNING = farmyard.NIGHT_TO_MS
RECEIVERS = ["ben@example.org", "maria@example.org"]


@pytest.fixture
def box() -> Iterator[Letterbox]:
    with mail_server() as running:
        yield running


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    return await farmyard.settle(database)


def digest(database: Database, farm: dict[str, Any], clock: HandClock, box: Letterbox | None) -> Digest:
    carrier = None
    if box is not None:
        server = MailServer(host="127.0.0.1", port=box.port, sender="Farm <farm@example.org>", security="none")
        carrier = MailCarrier(server)
    catalogue = Catalogue(farm["farm_id"])
    return Digest(database=database, farm=farm, clock=clock, carrier=carrier, catalogue=catalogue)


def at(day: date, hour: int, minute: int = 0) -> Instant:
    return at_local(day, 60 * hour + minute, farmyard.ZONE)


def received(box: Letterbox) -> list[str]:
    return sorted(to for receivers in box.receivers for to in receivers)


async def row(database: Database, farm: dict[str, Any], person_id: str) -> Any:
    async with database.read() as connection:
        day = farmyard.TODAY.isoformat()
        return (await digests.digest_rows(connection, farm["farm_id"], "morning", day))[person_id]


async def test_everyone_with_an_address_gets_the_sheet_at_the_morning_round(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    clock = HandClock(MORNING - MINUTE_MS)
    sender = digest(database, farm, clock, box)

    assert await sender.all_due() == 0
    clock.set(MORNING)
    assert await sender.all_due() == 2

    assert received(box) == RECEIVERS
    letter = box.letters[0]
    assert letter["Subject"].startswith("Invented data: Round sheet Wed 25 Nov")
    assert {part.get_content_type() for part in letter.iter_parts()} == {"text/plain", "text/html"}


async def test_nothing_goes_out_twice_not_even_after_a_restart_or_a_clock_set_back(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    clock = HandClock(MORNING)
    await digest(database, farm, clock, box).all_due()

    for minutes in (1, 60, -50, 200):
        clock.forward(minutes * MINUTE_MS)
        await digest(database, farm, clock, box).all_due()

    assert received(box) == RECEIVERS


async def test_a_service_that_was_down_catches_up_until_noon(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    clock = HandClock(at(farmyard.TODAY, 11, 59))

    assert await digest(database, farm, clock, box).all_due() == 2


async def test_after_noon_it_waits_for_the_next_morning(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    clock = HandClock(at(farmyard.TODAY, 12))
    sender = digest(database, farm, clock, box)

    assert await sender.all_due() == 0
    clock.set(at(farmyard.TODAY.replace(day=26), 6))
    assert await sender.all_due() == 2


@pytest.mark.parametrize("day", [date(2026, 11, 1), date(2026, 3, 8)])
async def test_a_morning_on_which_clocks_changed_has_one_mail(
    database: Database, farm: dict[str, Any], box: Letterbox, day: date
) -> None:
    clock = HandClock(at(day, 0))
    sender = digest(database, farm, clock, box)

    for _ in range(48):
        await sender.all_due()
        clock.forward(HOUR_MS // 2)

    assert received(box) == RECEIVERS


async def test_a_morning_round_within_the_hour_that_comes_twice_is_told_once(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    farm["morning_round_minute"] = 90
    clock = HandClock(at(date(2026, 11, 1), 1))
    sender = digest(database, farm, clock, box)

    for _ in range(12):
        await sender.all_due()
        clock.forward(15 * MINUTE_MS)

    assert received(box) == RECEIVERS


async def test_a_server_that_is_busy_is_tried_again_later(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    clock = HandClock(MORNING)
    sender = digest(database, farm, clock, box)
    box.answer = "451 4.3.0 try again later"
    await sender.all_due()
    assert (await row(database, farm, "maria"))["state"] == "waiting"

    box.answer = "250 2.0.0 kept"
    assert await sender.all_due() == 0
    clock.forward(10 * MINUTE_MS)
    assert await sender.all_due() == 2

    assert received(box) == RECEIVERS
    assert (await row(database, farm, "maria"))["attempts"] == 2


async def test_an_address_that_is_refused_for_good_is_given_up_and_said_so(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    box.refused["maria@example.org"] = "550 5.1.1 nobody of that name"

    await digest(database, farm, HandClock(MORNING), box).all_due()

    gone = await row(database, farm, "maria")
    assert (gone["state"], "nobody of that name" in gone["detail"]) == ("gave up", True)
    assert received(box) == ["ben@example.org"]


async def test_both_tries_of_one_mail_are_the_same_mail(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    """Killed between sending and writing it down: the second mail has the first one's Message-ID."""
    clock = HandClock(MORNING)
    await digest(database, farm, clock, box).all_due()
    sent = await row(database, farm, "maria")
    async with database.write() as connection:
        values = {name: value for name, value in sent.items() if name != "farm_id"}
        await digests.save_digest(connection, farm["farm_id"], {**values, "state": "waiting", "next_ms": MORNING})

    clock.forward(MINUTE_MS)
    await digest(database, farm, clock, box).all_due()

    mine = [letter for letter in box.letters if letter["To"] == "maria@example.org"]
    assert len(mine) == 2
    assert mine[0]["Message-ID"] == mine[1]["Message-ID"]


async def test_who_left_gets_no_mail(database: Database, farm: dict[str, Any], box: Letterbox) -> None:
    async with database.write() as connection:
        maria = dict(await people.person(connection, farm["farm_id"], "maria"))
        maria.pop("farm_id")
        await people.save_person(connection, farm["farm_id"], {**maria, "active": 0})

    await digest(database, farm, HandClock(MORNING), box).all_due()

    assert received(box) == ["ben@example.org"]


@pytest.mark.parametrize("with_mail", [True, False])
async def test_the_sheet_closes_what_came_back_and_nobody_answered(
    database: Database, farm: dict[str, Any], box: Letterbox, *, with_mail: bool
) -> None:
    await farmyard.dry_night(database, farm, to_ms=MORNING)
    async with database.read() as connection:
        assert await ledger.alarms_of(connection, farm["farm_id"], "house-7")

    await digest(database, farm, HandClock(MORNING), box if with_mail else None).all_due()

    async with database.read() as connection:
        assert not await ledger.alarms_of(connection, farm["farm_id"], "house-7")


async def test_while_a_mail_is_still_tried_nothing_is_closed(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    await farmyard.dry_night(database, farm, to_ms=MORNING)
    box.answer = "451 4.3.0 try again later"

    await digest(database, farm, HandClock(MORNING), box).all_due()

    async with database.read() as connection:
        assert await ledger.alarms_of(connection, farm["farm_id"], "house-7")
