"""Answers to the modem's own number, over a pseudo-terminal and into a real database."""

from __future__ import annotations

import sqlite3
from collections.abc import AsyncIterator, Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import pytest

from service.errors import PassingError
from service.notifications.carriers.modem import Modem, ModemLine
from service.notifications.carriers.text_pdu import pack, septets
from service.notifications.modem_inbox import ModemInbox
from service.storage.database import Database
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.databases import FILE, sqlite_database, sqlite_url
from tests.support.link_farm import OPEN_AT, LinkFarm, dry_house
from tests.support.pretend_modem import PretendModem, pretend_modem
from tests.support.watched import minute
from tests.support.written import tally, written

MARIA: Final = "12025550141"


@pytest.fixture
async def database(tmp_path: Path) -> AsyncIterator[Database]:
    async with sqlite_database(tmp_path) as opened:
        yield opened


@pytest.fixture
async def house(database: Database) -> LinkFarm:
    return await dry_house(database)


@pytest.fixture
def modem(tmp_path: Path) -> Iterator[PretendModem]:
    with pretend_modem(tmp_path) as plugged_in:
        yield plugged_in


@pytest.fixture
def inbox(house: LinkFarm, modem: PretendModem) -> ModemInbox:
    desk = farmyard.desk(house.database, house.farm, HandClock(minute(OPEN_AT + 1)))
    return ModemInbox(desk=desk, modem=Modem(ModemLine(device=modem.device, timeout_s=10)))


def swapped(digits: str) -> str:
    padded = digits + "F" * (len(digits) % 2)
    return "".join(padded[place + 1] + padded[place] for place in range(0, len(padded), 2))


def came(words: str, *, phone: str = MARIA, at: float = OPEN_AT + 1) -> str:
    """What the modem keeps of a text that somebody sent."""
    data = pack(septets(words)).hex().upper()
    stamp = swapped(datetime.fromtimestamp(minute(at) / 1000, UTC).strftime("%y%m%d%H%M%S") + "00")
    return f"0004{len(phone):02X}91{swapped(phone)}0000{stamp}{len(words):02X}{data}"


async def test_an_answer_is_taken_and_then_deleted(
    house: LinkFarm, modem: PretendModem, inbox: ModemInbox
) -> None:
    modem.kept = {3: came("7 going")}
    await inbox.fetch()
    assert await house.words() == [("maria", "going", "modem")]
    assert modem.kept == {}


async def test_the_same_text_read_twice_is_one_answer(
    house: LinkFarm, modem: PretendModem, inbox: ModemInbox
) -> None:
    """As after a crash between taking and deleting."""
    for index in (3, 4):
        modem.kept = {index: came("7 going")}
        await inbox.fetch()
    assert await house.words() == [("maria", "going", "modem")]
    assert len(await written(house.database, "inbound")) == 1


async def test_the_same_words_sent_again_are_another_text(
    house: LinkFarm, modem: PretendModem, inbox: ModemInbox
) -> None:
    modem.kept = {3: came("7 going"), 4: came("7 going", at=OPEN_AT + 1.5)}
    await inbox.fetch()
    assert len(await written(house.database, "inbound")) == 2


async def test_what_is_no_text_is_kept_with_its_digits_and_keeps_nothing_else(
    house: LinkFarm, modem: PretendModem, inbox: ModemInbox
) -> None:
    modem.kept = {1: "00" * 20, 2: came("7 going")}
    await inbox.fetch()
    assert modem.kept == {}
    assert await house.words() == [("maria", "going", "modem")]
    [rejected] = await written(house.database, "rejected")
    assert bytes(rejected["payload"]) == b"00" * 20
    assert await tally(house.database, "rejected: not readable as text") == 1


async def test_a_modem_that_is_gone_keeps_nobody_and_is_read_when_it_is_back(
    house: LinkFarm, modem: PretendModem, inbox: ModemInbox
) -> None:
    modem.kept = {3: came("7 going")}
    modem.pull_out()
    await inbox.fetch()
    assert inbox.failed
    modem.plug_in()
    await inbox.fetch()
    assert not inbox.failed
    assert await house.words() == [("maria", "going", "modem")]


async def test_while_the_database_cannot_be_written_the_text_stays_in_the_modem(
    house: LinkFarm, modem: PretendModem, tmp_path: Path
) -> None:
    modem.kept = {3: came("7 going")}
    hasty = Database(sqlite_url(tmp_path), busy_timeout_ms=20)
    desk = farmyard.desk(hasty, house.farm, HandClock(minute(OPEN_AT + 1)))
    inbox = ModemInbox(desk=desk, modem=Modem(ModemLine(device=modem.device, timeout_s=10)))
    with closing(sqlite3.connect(tmp_path / FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(PassingError):
            await inbox.fetch()
        other.execute("ROLLBACK")
    assert set(modem.kept) == {3}
    await inbox.fetch()
    await hasty.close()
    assert await house.words() == [("maria", "going", "modem")]
