from __future__ import annotations

import json
from dataclasses import replace

import httpx

from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted
from service.notifications.carriers.text import TextGateway
from service.notifications.carriers.voice import VoiceCarrier
from tests.support.text_gateway import Answer, pretend_gateway

MESSAGE = Message(
    to="+12025550143",
    text="House 4F: air 46F for 50 min.",
    key="k-1",
    at_ms=1_795_590_000_000,
    facts={"room": "House 4F", "person": None},
)


async def test_a_call_says_the_text_for_the_ear_and_twice() -> None:
    with pretend_gateway() as server:
        server.answer = Answer(status=201, body=b'{"call": "c-1"}')
        gateway = TextGateway(
            url=server.url, fields={"to": "{to}", "say": "{text}"}, id_pointer="/call", name="voice gateway"
        )
        async with httpx.AsyncClient(trust_env=False) as client:
            carrier = VoiceCarrier(gateway, client)
            outcome = await carrier.carry(MESSAGE)
            await carrier.carry(replace(MESSAGE, kind="danger", language="es", facts=None))
    said = [json.loads(asked.body)["say"] for asked in server.asked]
    assert isinstance(outcome, Accepted)
    assert outcome.ref == "c-1"
    assert said[0].count("House 4F: air 46 degrees Fahrenheit for 50 minutes.") == 2
    assert said[0].count("Do not go in alone.") == 2
    assert said[1].count("mida con un medidor en la puerta") == 2
