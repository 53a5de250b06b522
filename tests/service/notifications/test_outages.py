"""Hours without a text gateway, a mail server that refuses, a web hook that hangs: over real servers.

Nothing is lost, other ways are used, tries are counted and shown, and nothing is sent late as if it were new.
"""

from __future__ import annotations

import json
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack
from pathlib import Path
from typing import Any, Final

import httpx
import pytest

from service.notifications.carriers.either import Either
from service.notifications.carriers.mail import MailCarrier, MailServer
from service.notifications.carriers.message import Carrier
from service.notifications.carriers.modem import Modem, ModemLine
from service.notifications.carriers.text import TextCarrier, TextGateway
from service.notifications.carriers.voice import VoiceCarrier
from service.notifications.carriers.webhook import Receiver, WebhookCarrier
from service.notifications.routing import Way
from service.storage import outbox
from service.storage.database import Database
from service.storage.tables import people
from tests.support.api import open_api
from tests.support.mail_server import Letterbox, mail_server
from tests.support.night_call import NUMBERS, NightCall, give_mail, night_call
from tests.support.ports import LOOPBACK
from tests.support.pretend_modem import pretend_modem
from tests.support.silent_server import SilentServer, silent_server
from tests.support.telling import FIELDS, set_call_list
from tests.support.text_gateway import Answer, PretendGateway, pretend_gateway
from tests.support.waiting import until
from tests.support.watched import minute
from tests.support.written import written

SIX_HOURS: Final = 6 * 60
MOST_TRIES: Final = 30
"""5, 15 and 45 s, 2 min, and then every 5 min for the two hours that a text about a dry house is of use."""


@pytest.fixture
async def client() -> AsyncIterator[httpx.AsyncClient]:
    async with httpx.AsyncClient() as opened:
        yield opened


def texts(gateway: PretendGateway, client: httpx.AsyncClient) -> TextCarrier:
    return TextCarrier(TextGateway(url=gateway.url, fields=FIELDS, timeout_s=2), client)


def post(box: Letterbox) -> MailCarrier:
    sender = "farm@example.org"
    return MailCarrier(MailServer(host=LOOPBACK, port=box.port, sender=sender, security="none", timeout_s=5))


async def six_hours(night: NightCall) -> None:
    """503 for three hours from before the first text on, then every connection is hung up, and then it works."""
    night.gateway.answer = Answer(status=503)
    await night.through(16)
    for at in range(17, 14 + SIX_HOURS, 3):
        if at > 14 + SIX_HOURS // 2:
            night.gateway.answer = Answer(hang_up=True)
        await night.tick(at)
    night.gateway.answer = Answer()
    for at in range(14 + SIX_HOURS, 14 + SIX_HOURS + 60, 5):
        await night.tick(at)


async def mail_only(database: Database, person: str) -> None:
    await give_mail(database, person)
    async with database.write() as connection:
        await connection.execute(people.update().where(people.c.person_id == person).values(phone=None))


async def shown(night: NightCall) -> list[dict[str, Any]]:
    """What the API shows of tellings."""
    async with open_api(night.database, night.farm, night.clock) as api:
        rows: list[dict[str, Any]] = (await api.get("/api/deliveries", limit=200))["rows"]
    return rows


async def test_six_hours_without_a_gateway_for_texts(database: Database, client: httpx.AsyncClient) -> None:
    """Who has a phone is called, who has only mail is mailed, and what did not arrive is seen."""
    with pretend_gateway() as voice, mail_server() as box:
        calls = TextGateway(url=voice.url, fields=FIELDS, timeout_s=2)
        carriers: dict[Way, Carrier] = {Way.MAIL: post(box), Way.VOICE: VoiceCarrier(calls, client)}
        async with night_call(database, {}, carriers=carriers) as night:
            await mail_only(database, "cal")
            await six_hours(night)
            assert night.told == [], "what is hours old is not sent as if it were new"
            assert len({json.loads(call.body)["to"] for call in voice.asked}) == len(NUMBERS) - 1
            assert {letter["To"] for letter in box.letters} == {"cal@example.org"}
            rows = await written(database, "deliveries")
            assert {row["state"] for row in rows if row["way"] == "text"} == {"gave up"}
            assert all("not delivered after" in row["detail"] for row in rows if row["state"] == "gave up")
            assert {row["state"] for row in rows if row["way"] != "text"} == {"sent"}
            tries = [len(row["tries"]) for row in await shown(night) if row["way"] == "text"]
            assert 1 < max(tries) <= MOST_TRIES
            page = "\n".join(await night.page())
            assert "call to Maria again, trouble: sent" in page
            assert "text to Maria, trouble: not delivered" in page


async def test_six_hours_without_a_gateway_where_there_is_a_modem(
    database: Database, client: httpx.AsyncClient, tmp_path: Path
) -> None:
    with pretend_modem(tmp_path) as modem:
        async with night_call(database, {}) as night:
            either = Either(texts(night.gateway, client), Modem(ModemLine(device=modem.device)))
            night.deliver.carriers = {Way.TEXT: either}
            await six_hours(night)
            said = [phone for phone, _ in modem.texts]
            assert {phone: said.count(phone) for phone in said} == dict.fromkeys(NUMBERS.values(), 3)
            assert all(row["state"] == "sent" for row in await written(database, "deliveries"))
            assert all(len(row["tries"]) == 1 for row in await shown(night)), "the same try, by the other way"


@pytest.mark.parametrize(("answer", "next_at"), [("554 5.7.1 no", 15), ("451 4.3.0 later", 24)])
async def test_a_mail_server_that_refuses(database: Database, answer: str, next_at: int) -> None:
    """Maria reads mail only. Refused for good, Ben is told at once; refused for now, when it is his time."""
    with mail_server() as box:
        box.answer = answer
        async with night_call(database, {}, carriers={Way.MAIL: post(box)}) as night:
            await mail_only(database, "maria")
            await set_call_list(database, ("maria", 0), ("ben", 10), ("cal", 30))
            await night.through(60)
            assert night.kinds()[0] == (next_at, "ben")
            assert box.letters == []
            for at in range(61, 150, 2):
                await night.tick(at)
            [row] = await written(database, "deliveries", person_id="maria")
            assert row["state"] == "gave up"
            assert answer[:3] in row["detail"]
            assert row["attempts"] <= MOST_TRIES


def hook(silent: SilentServer, client: httpx.AsyncClient) -> WebhookCarrier:
    receiver = Receiver(url=silent.url, secret="s3cret-of-sixteen", sender="tansy", timeout_s=30)
    return WebhookCarrier(receiver, client)


async def test_a_web_hook_that_hangs_holds_up_no_text(database: Database, client: httpx.AsyncClient) -> None:
    """The text is at the gateway while the hook still hangs; and so is the next one, a tick later."""
    async with AsyncExitStack() as stack:
        silent = await stack.enter_async_context(silent_server())
        night = await stack.enter_async_context(
            night_call(database, {}, carriers={Way.WEBHOOK: hook(silent, client)})
        )
        stack.push_async_callback(night.deliver.stop)
        await night.through(15)
        assert (silent.hanging, night.kinds()) == (1, [(14, "maria")])
        await night.tick(24)
        assert sorted(night.kinds()) == [(14, "maria"), (24, "ben"), (24, "maria")]
        [row] = await written(database, "deliveries", way="webhook")
        assert (row["state"], row["attempts"]) == ("waiting", 0), "its first try is still under way"
        silent.let_go.set()
        await until(lambda: tried(database), within_s=5, what="the hook's first try at its end")
        [row] = await written(database, "deliveries", way="webhook")
        assert (row["state"], row["attempts"]) == ("waiting", 1), "another follows"


async def tried(database: Database) -> bool:
    [row] = await written(database, "deliveries", way="webhook")
    return bool(row["attempts"])


async def test_many_hanging_web_hooks_hold_up_no_text(database: Database, client: httpx.AsyncClient) -> None:
    """A storm of notices, each with its hook: the texts of the next minute go out all the same."""
    async with AsyncExitStack() as stack:
        silent = await stack.enter_async_context(silent_server())
        night = await stack.enter_async_context(
            night_call(database, {}, carriers={Way.WEBHOOK: hook(silent, client)})
        )
        stack.push_async_callback(night.deliver.stop)
        await direct(database, 25, way="webhook", at=0)
        await night.tick(1)
        assert silent.hanging == 20
        await direct(database, 3, way="text", at=1)
        await night.tick(2)
        assert len(night.told) == 3
        assert silent.hanging == 20, "no more than these hang"


async def direct(database: Database, count: int, *, way: str, at: int) -> None:
    """So many notices that are each to be told by one way."""
    person = "@farm" if way == "webhook" else "maria"
    async with database.write() as connection:
        for n in range(count):
            notice = {
                "notice_key": f"storm/{way}/{n}",
                "kind": "trial",
                "room_id": None,
                "happening_id": None,
                "at_ms": minute(at),
                "decided_ms": minute(at),
                "use_by_ms": minute(at + 60),
                "facts": {"kind": "weekly", "farm": "Tansy", "at_ms": minute(at), "zone": "UTC", "invented": True},
            }
            await outbox.add_direct(connection, 1, notice, person_id=person, way=way)


async def test_one_telling_that_cannot_be_prepared_holds_up_no_other(database: Database) -> None:
    async with night_call(database, {}) as night:
        async with database.write() as connection:
            notice: dict[str, Any] = {
                "notice_key": "to/nobody",
                "kind": "trial",
                "room_id": None,
                "happening_id": None,
                "at_ms": minute(13),
                "decided_ms": minute(13),
                "use_by_ms": minute(90),
                "facts": {},
            }
            await outbox.add_direct(connection, 1, notice, person_id="ghost", way="text")
        await night.through(15)
        assert night.kinds() == [(14, "maria")]
        [row] = await written(database, "deliveries", person_id="ghost")
        assert (row["state"], row["detail"]) == ("gave up", "our own fault: NotFound")
