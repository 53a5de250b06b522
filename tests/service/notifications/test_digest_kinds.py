"""The Friday page and the morning's two lines: to whom, once, also beside a second process and after a crash."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest

from rules.model import DAY_MS, HOUR_MS, MINUTE_MS
from service.localtime import at_local
from service.notifications.carriers.mail import MailCarrier, MailServer
from service.notifications.digest import Digest
from service.notifications.render import render
from service.storage import digests, people
from service.storage.database import Database
from service.watch.catalogue import Catalogue
from service.wording.reader import Reader
from tests.support import farmyard, told_week
from tests.support.clock import HandClock
from tests.support.mail_server import Letterbox, mail_server
from tests.support.written import written

MORNING = farmyard.NIGHT_TO_MS
FRIDAY = at_local(told_week.FRIDAY, 13 * 60, farmyard.ZONE)


class MovingHouse(HandClock):
    """A clock that moves the farm to the other side of the world as soon as somebody asks the time."""

    def __init__(self, at_ms: int, farm: dict[str, Any]) -> None:
        super().__init__(at_ms)
        self._farm = farm

    def now_ms(self) -> int:
        self._farm.update(zone="Pacific/Auckland", morning_round_minute=300)
        return super().now_ms()


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
    return Digest(database=database, farm=farm, clock=clock, carrier=carrier, catalogue=Catalogue(farm["farm_id"]))


def received(box: Letterbox) -> list[str]:
    return sorted(to for receivers in box.receivers for to in receivers)


async def change(database: Database, farm: dict[str, Any], person_id: str, **values: Any) -> None:
    async with database.write() as connection:
        row = dict(await people.person(connection, farm["farm_id"], person_id))
        row.pop("farm_id")
        await people.save_person(connection, farm["farm_id"], {**row, **values})


async def add(database: Database, farm: dict[str, Any], person_id: str, *, at_ms: int, **values: Any) -> None:
    known = {"person_id": person_id, "name": "Nell", "phone": "+12025550149", "email": "nell@example.org"}
    noted = {"units": "us", "language": "en", "active": 1, "recorded_ms": at_ms, "who": "Ines"}
    async with database.write() as connection:
        await people.save_person(connection, farm["farm_id"], {**known, **noted, **values})


# --- the mails ------------------------------------------------------------------------------------------------


async def test_the_friday_page_goes_to_managers_once(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    await told_week.live(database, farm)
    await change(database, farm, "ben", manager=1)
    clock = HandClock(FRIDAY - MINUTE_MS)
    sender = digest(database, farm, clock, box)

    assert await sender.all_due() == 0
    for _ in range(4):
        clock.forward(20 * MINUTE_MS)
        await sender.all_due()

    assert received(box) == ["ben@example.org"]
    assert box.letters[0]["Subject"].startswith(
        "Invented data: Friday page Fri 27 Nov: This week 5 texts at night"
    )


async def test_a_farm_without_managers_sends_it_to_everyone_with_mail(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    await digest(database, farm, HandClock(FRIDAY), box).all_due()

    assert received(box) == ["ben@example.org", "maria@example.org"]


async def test_a_service_that_was_down_on_friday_catches_up_until_sunday(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    clock = HandClock(FRIDAY + 3 * DAY_MS)
    await digest(database, farm, clock, box).all_due()
    assert received(box) == []

    clock.set(FRIDAY + 2 * DAY_MS - HOUR_MS)
    await digest(database, farm, clock, box).all_due()
    assert received(box) == ["ben@example.org", "maria@example.org"]


async def test_a_new_farm_has_no_week_to_look_back_on(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    young = {**farm, "created_ms": FRIDAY + HOUR_MS}

    assert await digest(database, young, HandClock(FRIDAY + 2 * HOUR_MS), box).all_due() == 0


async def test_two_processes_send_one_mail_to_each(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    clock = HandClock(MORNING)
    both = [digest(database, farm, clock, box) for _ in range(2)]

    await asyncio.gather(*(one.all_due() for one in both))

    assert received(box) == ["ben@example.org", "maria@example.org"]


async def test_a_person_added_at_nine_does_not_get_this_mornings_sheet(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    clock = HandClock(MORNING)
    sender = digest(database, farm, clock, box)
    await sender.all_due()

    clock.forward(3 * HOUR_MS)
    await add(database, farm, "nell", at_ms=clock.now_ms(), morning_text=1)
    await sender.all_due()
    assert "nell@example.org" not in received(box)
    assert await written(database, "deliveries", person_id="nell") == []

    clock.set(MORNING + DAY_MS)
    await sender.all_due()
    assert "nell@example.org" in received(box)
    assert len(await written(database, "deliveries", person_id="nell")) == 1


async def test_a_change_of_a_person_loses_them_no_mail(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    """A busy server, and Maria's units are changed meanwhile: her row is older than the change."""
    clock = HandClock(MORNING)
    sender = digest(database, farm, clock, box)
    box.answer = "451 4.3.0 try again later"
    await sender.all_due()

    clock.forward(10 * MINUTE_MS)
    await change(database, farm, "maria", units="metric", recorded_ms=clock.now_ms())
    box.answer = "250 2.0.0 kept"
    await sender.all_due()

    assert received(box) == ["ben@example.org", "maria@example.org"]


async def test_the_farms_row_may_change_while_mails_go_out(
    database: Database, farm: dict[str, Any], box: Letterbox
) -> None:
    """The row is changed in place: a look that has begun goes on with what it began with."""
    await digest(database, farm, MovingHouse(MORNING, farm), box).all_due()

    rows = await written(database, "sent_digests", kind="morning", state="sent")
    assert {row["local_date"] for row in rows} == {farmyard.TODAY.isoformat()}


# --- the text -------------------------------------------------------------------------------------------------


async def test_two_lines_go_to_whoever_asked_for_them(database: Database, farm: dict[str, Any]) -> None:
    await farmyard.dry_night(database, farm, to_ms=MORNING)
    await change(database, farm, "maria", morning_text=1)
    await change(database, farm, "ben", morning_text=1, opted_out_ms=1)

    assert await digest(database, farm, HandClock(MORNING), None).all_due() == 1

    (telling,) = [row for row in await written(database, "deliveries") if row["notice_key"].startswith("morning/")]
    assert (telling["person_id"], telling["way"], telling["state"]) == ("maria", "text", "waiting")


async def test_the_two_lines_say_how_the_night_was_in_both_languages(
    database: Database, farm: dict[str, Any]
) -> None:
    await farmyard.dry_night(database, farm, to_ms=MORNING)
    await change(database, farm, "maria", morning_text=1)
    await digest(database, farm, HandClock(MORNING), None).all_due()
    (notice,) = await written(database, "notices", kind="morning")
    kept = {**notice, "facts": json.loads(notice["facts"])}

    english, spanish = (
        render(kept, Reader(units="us", language=language), now_ms=MORNING) for language in ("en", "es")
    )

    assert english == (
        "Last night: House 7 worst: humidity under 85% for 38 min from 02:13, lowest 78%. 2 houses quiet.\n"
        "Nothing open. Tonight: Maria. Invented data."
    )
    assert spanish.startswith("Anoche: House 7 la peor: humedad bajo 85% por 38 min desde 02:13, minimo 78%.")
    assert notice["use_by_ms"] == at_local(farmyard.TODAY, 12 * 60, farmyard.ZONE)


async def test_the_two_lines_are_carried_like_any_other_text(database: Database, farm: dict[str, Any]) -> None:
    await change(database, farm, "maria", morning_text=1, language="es")
    clock = HandClock(MORNING)
    await digest(database, farm, clock, None).all_due()

    (message,) = await farmyard.tell(database, farm, clock)

    assert message.to == "+12025550141"
    assert message.text.startswith("Anoche: ")
    assert message.text.count("\n") == 1


async def test_two_lines_that_could_not_be_sent_by_noon_are_not_sent_at_all(
    database: Database, farm: dict[str, Any]
) -> None:
    await change(database, farm, "maria", morning_text=1)
    await digest(database, farm, HandClock(MORNING), None).all_due()

    assert await farmyard.tell(database, farm, HandClock(MORNING + 7 * HOUR_MS)) == []

    assert [row["state"] for row in await written(database, "deliveries")] == ["missed"]


async def test_two_processes_and_later_ticks_hand_over_one_text(database: Database, farm: dict[str, Any]) -> None:
    await change(database, farm, "maria", morning_text=1)
    clock = HandClock(MORNING)
    await asyncio.gather(*(digest(database, farm, clock, None).all_due() for _ in range(2)))

    for minutes in (1, 60, -30, 200):
        clock.forward(minutes * MINUTE_MS)
        await digest(database, farm, clock, None).all_due()

    assert len(await written(database, "notices", kind="morning")) == 1
    assert len(await written(database, "deliveries")) == 1


@pytest.mark.parametrize("day", [date(2026, 11, 1), date(2026, 3, 8)])
async def test_on_a_morning_on_which_clocks_change_there_is_one_text(
    database: Database, farm: dict[str, Any], day: date
) -> None:
    farm["morning_round_minute"] = 150
    await change(database, farm, "maria", morning_text=1)
    clock = HandClock(at_local(day, 0, farmyard.ZONE))
    sender = digest(database, farm, clock, None)

    for _ in range(44):
        await sender.all_due()
        clock.forward(HOUR_MS // 2)

    assert [row["local_date"] for row in await written(database, "sent_digests", person_id="maria")] == [
        day.isoformat()
    ]


async def test_a_farm_without_rooms_sends_no_text(database: Database) -> None:
    farm = await farmyard.add_farm(database)
    await farmyard.add_people(database, farm["farm_id"], MORNING - DAY_MS)
    await change(database, farm, "maria", morning_text=1)

    await digest(database, farm, HandClock(MORNING), None).all_due()

    assert await written(database, "deliveries") == []
    async with database.read() as connection:
        assert digests.ROUND in await digests.digest_rows(
            connection, farm["farm_id"], "morning text", farmyard.TODAY.isoformat()
        )
