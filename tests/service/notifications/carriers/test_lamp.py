from __future__ import annotations

import getpass
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from service.errors import SetupError
from service.notifications.carriers.lamp import LampCarrier, LampTopic
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Outcome, Refused, Unreachable
from service.notifications.retry import TryAgain, after_failure
from tests.support.broker import Broker
from tests.support.lamp_listener import LampListener, lamp_listener
from tests.support.ports import free_port

MESSAGE = Message(to="", text="House 7: humidity 78%", key="k-1", at_ms=1_795_590_000_000, kind="trouble")


@pytest.fixture
def listener(broker: Broker) -> Iterator[LampListener]:
    with lamp_listener(broker, "yard/#") as opened:
        yield opened


async def shown(broker: Broker, kind: str = "trouble", side: str = "low", **changes: Any) -> Outcome:
    lamp = LampTopic(host=broker.host, port=broker.port, topic="yard/lamp")
    return await LampCarrier(replace(lamp, **changes)).carry(replace(MESSAGE, kind=kind, facts={"side": side}))


@pytest.mark.parametrize(
    ("kind", "payload"),
    [
        ("trouble", "on"),
        ("deeper", "on"),
        ("no improvement", "on"),
        ("silence", "on"),
        ("site", "on"),
        ("back", "off"),
        ("held", "off"),
        ("heard", "off"),
        ("site back", "off"),
        ("look after", "on"),
        ("came out", "off"),
    ],
)
async def test_a_lamp_goes_on_with_trouble_and_off_with_its_end(
    broker: Broker, listener: LampListener, kind: str, payload: str
) -> None:
    assert await shown(broker, kind) == Accepted(detail=f"{payload} on yard/lamp")
    assert listener.until(1) == [("yard/lamp", payload)]
    assert listener.keys == ["k-1"]


async def test_danger_to_people_has_a_lamp_of_its_own(broker: Broker, listener: LampListener) -> None:
    await shown(broker, "danger", "people", danger_topic="yard/siren")
    await shown(broker, "back", "people", danger_topic="yard/siren")
    await shown(broker, "back", danger_topic="yard/siren")
    assert listener.until(3) == [("yard/siren", "on"), ("yard/siren", "off"), ("yard/lamp", "off")]


async def test_without_one_the_usual_lamp_shows_danger(broker: Broker, listener: LampListener) -> None:
    await shown(broker, "danger", "people", on="1", off="0")
    assert listener.until(1) == [("yard/lamp", "1")]


async def test_nobody_listening_is_no_telling_and_is_tried_again(broker: Broker) -> None:
    outcome = await shown(broker)
    assert outcome == Refused(protocol="mqtt", status=16, detail="broker: nobody listens to the topic")
    again = after_failure(outcome, attempt=7, first_try_ms=0, now_ms=0, use_by_ms=10**7)
    assert isinstance(again, TryAgain)


async def test_a_retained_payload_waits_for_who_comes_later(broker: Broker) -> None:
    assert isinstance(await shown(broker, retained=True), Accepted)
    with lamp_listener(broker, "yard/#") as late:
        assert late.until(1) == [("yard/lamp", "on")]
        assert late.retained == [True]


async def test_a_broker_that_is_gone_is_unreachable(broker: Broker) -> None:
    broker.stop()
    assert isinstance(await shown(broker), Unreachable)


async def test_a_refused_password_is_a_refusal_that_does_not_say_it(tmp_path: Path) -> None:
    config, port = tmp_path / "strict.conf", free_port()
    config.write_text(f"listener {port} 127.0.0.1\nallow_anonymous false\nuser {getpass.getuser()}\n")
    strict = Broker(tmp_path, port=port, config=config)
    strict.start()
    try:
        outcome = await shown(strict, username="farm", password="hunter22")
    finally:
        strict.stop()
    assert isinstance(outcome, Refused)
    assert (outcome.protocol, outcome.status) == ("mqtt", 135)
    assert "hunter22" not in outcome.detail + repr(LampTopic(host="h", port=1, topic="t", password="hunter22"))


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"topic": ""}, "lamp topic"),
        ({"topic": "yard/+"}, "lamp topic"),
        ({"danger_topic": "#"}, "lamp topic"),
        ({"topic": "$SYS/x"}, "lamp topic"),
        ({"timeout_s": 0}, "time-out"),
    ],
)
@pytest.mark.pure
def test_a_setting_that_could_only_fail_at_night_is_refused_by_day(changes: dict[str, Any], named: str) -> None:
    with pytest.raises(SetupError, match=named):
        replace(LampTopic(host="h", port=1883, topic="yard/lamp"), **changes)
