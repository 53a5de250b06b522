"""The pretend phones over real HTTP: a stand-in for the service writes down how it is called, and by whom."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final

import httpx
import pytest
from starlette.datastructures import Headers

from service.api.inbound_proof import Signature
from service.wire.text_hook import Places, read_receipts, read_texts
from simulator.clock import FarmClock
from simulator.inbox import Inbox
from simulator.phone import phone_app
from simulator.way_back import DELIVERED, SIGNATURE_HEADER, TAKEN, TIME_HEADER, WayBack
from simulator.web_door import WebDoor
from tests.support.ports import LOOPBACK, free_port
from tests.support.text_gateway import Answer, Asked, PretendGateway, pretend_gateway
from tests.support.waiting import until_sync

WALL_MS: Final = 1_795_000_000_000
FARM_MS: Final = 1_794_970_200_000
CLOCK: Final = FarmClock(anchor_wall_ms=WALL_MS, anchor_farm_ms=FARM_MS, factor=20.0, read_wall_ms=lambda: WALL_MS)
KEY: Final = "made at random"
PROOF: Final = Signature(secret=KEY.encode(), header=SIGNATURE_HEADER, time_header=TIME_HEADER)
PLACES: Final = Places(time="/at", time_form="milliseconds", receipts={DELIVERED: "delivered"})
IDA: Final = "+15185550117"
TEXT: Final = {"to": IDA, "text": "Reply 1 going or 1 cannot."}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rig:
    """Phones that listen, and what stands in for the service."""

    http: httpx.Client
    service: PretendGateway

    def asked(self, path: str) -> list[Asked]:
        return [asked for asked in self.service.asked if asked.path == path]

    def receipts(self, count: int) -> list[dict[str, Any]]:
        """The texts, once so many receipts were answered."""

        def noted() -> bool:
            return sum(text["receipt"] is not None for text in self.http.get("/texts").json()) == count

        until_sync(noted, within_s=5, what="receipts")
        found: list[dict[str, Any]] = self.http.get("/texts").json()
        return found


@contextmanager
def phones(service_url: str) -> Iterator[httpx.Client]:
    way_back = WayBack(service_url=service_url, secret=KEY, clock=CLOCK, receipt_after_s=0.0)
    with (
        WebDoor(phone_app(Inbox(CLOCK), CLOCK, way_back)) as door,
        httpx.Client(base_url=door.url, trust_env=False) as http,
    ):
        yield http


@pytest.fixture
def rig() -> Iterator[Rig]:
    with pretend_gateway() as service, phones(service.url) as http:
        yield Rig(http=http, service=service)


def is_proven(asked: Asked, now_ms: int = FARM_MS) -> bool:
    return PROOF.why_not(Headers(dict(asked.headers)), asked.body, now_ms) is None


def test_an_answer_is_signed_and_read_by_the_service_as_it_was_written(rig: Rig) -> None:
    answered = rig.http.post("/phones/ida/answers", data={"text": " 1 going\n"})
    assert (answered.status_code, answered.json()["came_back"]) == (200, TAKEN)
    asked = rig.asked("/api/inbound/texts")[0]
    assert is_proven(asked)
    assert not is_proven(asked, now_ms=FARM_MS + 600_000)
    text = read_texts(asked.body, PLACES, received_ms=0).texts[0]
    assert (text.phone, text.text, text.sent_ms) == (IDA, "1 going", FARM_MS)
    page = rig.http.get("/").text
    assert "1 going" in page
    assert TAKEN in page


def test_the_same_words_written_twice_are_two_answers(rig: Rig) -> None:
    for _ in range(2):
        rig.http.post("/phones/ida/answers", data={"text": "1 going"})
    ids = [json.loads(asked.body)["id"] for asked in rig.asked("/api/inbound/texts")]
    assert len(set(ids)) == 2


def test_a_browser_goes_back_to_the_phone_it_wrote_on(rig: Rig) -> None:
    sent = rig.http.post("/phones/ida/answers", data={"text": "out"}, headers={"Accept": "text/html,*/*"})
    assert (sent.status_code, sent.headers["location"]) == (303, "/#ida")


@pytest.mark.parametrize("status", [401, 404, 503])
def test_an_answer_that_is_refused_is_shown_as_not_taken(rig: Rig, status: int) -> None:
    rig.service.answer = Answer(status=status)
    rig.http.post("/phones/ida/answers", data={"text": "1 going"})
    assert f'<span class="bad">not taken ({status})</span>' in rig.http.get("/").text


def test_a_service_that_is_not_there_is_shown_as_not_reached() -> None:
    with phones(f"http://{LOOPBACK}:{free_port()}") as http:
        came_back = http.post("/phones/ida/answers", data={"text": "1 going"}).json()["came_back"]
    assert came_back == "not taken: the service was not reached (ConnectError)"


def test_a_text_that_arrived_is_told_once_by_the_number_that_the_gateway_gave_it(rig: Rig) -> None:
    for _ in range(2):
        sent = rig.http.post("/send", json=TEXT, headers={"Idempotency-Key": "notice-1"})
    texts = rig.receipts(1)
    assert texts[0]["receipt"] == TAKEN
    asked = rig.asked("/api/inbound/receipts")
    assert len(asked) == 1
    assert is_proven(asked[0])
    receipt = read_receipts(asked[0].body, PLACES).receipts[0]
    assert (receipt.gateway_ref, receipt.receipt) == (str(sent.json()["number"]), "delivered")


def test_a_phone_that_is_off_gives_no_receipt_until_it_is_on(rig: Rig) -> None:
    rig.http.post("/phones/ida/switch", data={"to": "off"})
    rig.http.post("/send", json=TEXT)
    rig.http.post("/send", json=TEXT | {"to": "+15185550163"})
    assert [text["receipt"] for text in rig.receipts(1)] == [None, TAKEN]
    rig.http.post("/phones/ida/switch", data={"to": "on"})
    assert [text["receipt"] for text in rig.receipts(2)] == [TAKEN, TAKEN]


def test_the_secret_is_not_shown() -> None:
    assert KEY not in repr(WayBack(service_url="http://service", secret=KEY, clock=CLOCK))
