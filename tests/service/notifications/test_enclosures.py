"""What goes with messages, from the judged room to a real mail server and a machine that speaks CAP."""

from __future__ import annotations

import struct
from collections.abc import AsyncGenerator, AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
from cap_tools import AlertState
from cap_tools.models import Alert
from xsdata.formats.dataclass.parsers import XmlParser

from service.notifications.carriers.mail import MailCarrier, MailServer
from service.notifications.carriers.message import Carrier
from service.notifications.carriers.webhook import Receiver, WebhookCarrier
from service.notifications.routing import Way
from service.storage import people
from service.storage.database import Database
from tests.support.databases import sqlite_database
from tests.support.mail_server import Letterbox, mail_server
from tests.support.telling import Teller, set_call_list, teller
from tests.support.text_gateway import PretendGateway, pretend_gateway
from tests.support.watched import DRY_HALF_HOUR, hear, judge_at, minute, watched_farm


@pytest.fixture
async def database(tmp_path: Path) -> AsyncIterator[Database]:
    async with sqlite_database(tmp_path) as opened:
        yield opened


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    """House 7 is dry, decided on at minute 14; Rosa reads mail, in Spanish."""
    made = await watched_farm(database)
    async with database.write() as connection:
        rosa = {"person_id": "rosa", "name": "Rosa", "phone": None, "email": "rosa@example.org", "units": "metric"}
        noted = {"language": "es", "active": 1, "recorded_ms": minute(0), "who": "Ines"}
        await people.save_person(connection, 1, {**rosa, **noted})
    await set_call_list(database, ("rosa", 0))
    await hear(database, DRY_HALF_HOUR)
    await judge_at(database, made, 14)
    return made


@pytest.fixture
def box() -> Iterator[Letterbox]:
    with mail_server() as letterbox:
        yield letterbox


@pytest.fixture
def machine() -> Iterator[PretendGateway]:
    with pretend_gateway() as server:
        yield server


@asynccontextmanager
async def telling(
    database: Database, farm: dict[str, Any], box: Letterbox, machine: PretendGateway
) -> AsyncGenerator[Teller]:
    server = MailServer(host="127.0.0.1", port=box.port, sender="f@example.org", security="none")
    receiver = Receiver(url=machine.url, secret="a long secret, for tests", sender="tansy", body="cap")
    async with httpx.AsyncClient() as client:
        carriers: dict[Way, Carrier] = {
            Way.MAIL: MailCarrier(server),
            Way.WEBHOOK: WebhookCarrier(receiver, client),
        }
        async with teller(database, farm, carriers=carriers) as made:
            yield made


async def test_a_mail_shows_the_rooms_last_hours_and_says_what_they_show(
    database: Database, farm: dict[str, Any], box: Letterbox, machine: PretendGateway
) -> None:
    async with telling(database, farm, box, machine) as tell:
        await tell.at(14)
    (letter,) = box.letters
    picture = next(part for part in letter.walk() if part.get_content_type() == "image/png")
    rich = letter.get_body(["html"])
    assert rich is not None
    assert struct.unpack(">I", picture.get_content()[16:20])[0] == 2 * 358
    assert 'alt="Humedad:' in rich.get_content()
    assert "80%" in rich.get_content()


async def test_a_machine_can_put_the_end_in_the_place_of_the_trouble(
    database: Database, farm: dict[str, Any], box: Letterbox, machine: PretendGateway
) -> None:
    """In the books of cap-tools, which fails where a reference is not exactly what was sent."""
    async with telling(database, farm, box, machine) as tell:
        await tell.at(14, 15)
        await judge_at(database, farm, 40)
        await tell.at(40, 41)
    alerts = [XmlParser().from_bytes(asked.body, Alert) for asked in machine.asked]
    assert [(one.status.value, one.msg_type.value) for one in alerts] == [
        ("Exercise", "Alert"),
        ("Exercise", "Cancel"),
    ]
    books = AlertState()
    for one in alerts:
        books.ingest(one)
    assert [one.identifier for one in books.alerts] == [alerts[1].identifier]


async def test_a_picture_that_cannot_be_drawn_keeps_no_mail_back(
    database: Database, farm: dict[str, Any], box: Letterbox, machine: PretendGateway
) -> None:
    broken = {**farm, "zone": "Nowhere/Nothing"}
    async with telling(database, farm, box, machine) as tell:
        tell.deliver.writing = type(tell.deliver.writing)(farm=broken)
        await tell.at(14)
    (letter,) = box.letters
    assert "image/png" not in [part.get_content_type() for part in letter.walk()]
