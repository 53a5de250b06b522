"""What `houseband check-setup` says of how answers come in."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import SecretStr

from service.app.check_answers import check_answers
from service.app.texts_in import hosts, polled_gateway, text_hook, texts_come_in
from service.errors import SetupError
from service.settings import Settings, TextInboundSettings, TextPollingSettings

pytestmark = pytest.mark.pure

SECRET = SecretStr("a quiet word between two machines")
POLLED = "https://texts.example/received{?since}"


def found(**given: Any) -> list[tuple[str, bool]]:
    return [(f"{one.subject}: {one.says}", one.would_lose) for one in check_answers(Settings(**given))]


def lines(**given: Any) -> str:
    return "\n".join(line for line, _ in found(**given))


def losing(**given: Any) -> list[str]:
    return [line for line, would_lose in found(**given) if would_lose]


def test_with_nothing_set_up_it_says_what_is_missing() -> None:
    assert "no public_url is set" in lines()
    assert "nothing brings them in" in lines()
    assert losing() == []


@pytest.mark.parametrize(
    ("public", "bad"),
    [
        ("https://farm.example", False),
        ("http://127.0.0.1:8000", False),
        ("http://farm.example", True),
        ("farm.example", True),
        ("ftp://farm.example", True),
    ],
)
def test_links_want_https(public: str, *, bad: bool) -> None:
    assert bool(losing(public_url=public)) is bad


@pytest.mark.parametrize(
    ("hook", "words"),
    [
        ({}, "has no secret"),
        ({"secret": SecretStr("")}, "has no secret"),
        ({"secret": SecretStr("short")}, "has 5 letters"),
        ({"secret": SECRET, "header": "X Signature"}, "no header can be called"),
        ({"secret": SECRET, "sender": "from"}, "is no JSON Pointer"),
    ],
)
def test_a_hook_that_would_take_nothing_or_anything_is_named(hook: dict[str, Any], words: str) -> None:
    [line] = losing(text_inbound=TextInboundSettings(**hook))
    assert words in line
    assert "quiet" not in line


@pytest.mark.parametrize(
    ("hook", "words"),
    [
        ({"time_header": "X-Time"}, "proven by signature"),
        ({}, "no time is signed"),
        ({"proof": "password"}, "a signature would be better"),
        ({"body": "form", "sender": "From"}, "proven by signature"),
    ],
)
def test_a_hook_says_how_it_is_proven(hook: dict[str, Any], words: str) -> None:
    given = TextInboundSettings(secret=SECRET, **hook)
    assert losing(text_inbound=given) == []
    assert words in lines(text_inbound=given, public_url="https://farm.example/")
    assert "https://farm.example/api/inbound/texts" in lines(
        text_inbound=given, public_url="https://farm.example/"
    )


@pytest.mark.parametrize(
    "polled",
    [
        {"url": "texts.example"},
        {"url": "https://{since}.example"},
        {"url": POLLED, "receipts_url": "ftp://x"},
        {"url": "https://texts.example/{farm}"},
        {"url": POLLED, "text": "text"},
    ],
)
def test_polling_that_would_fetch_nothing_is_named(polled: dict[str, Any]) -> None:
    given = TextPollingSettings(**polled)
    [line] = losing(text_polling=given)
    assert line.startswith("fetching answers: text_polling")
    with pytest.raises(SetupError):
        polled_gateway(given)


def test_polling_says_where_and_how_often() -> None:
    assert "from texts.example every 5 s" in lines(text_polling=TextPollingSettings(url=POLLED, time="/at"))
    assert "say where a text's time is" in lines(text_polling=TextPollingSettings(url=POLLED))


def test_the_public_name_is_one_of_ours() -> None:
    assert hosts(Settings(known_as=["farm.lan"], public_url="https://farm.example:8443/x")) == [
        "farm.lan",
        "farm.example",
    ]
    assert hosts(Settings()) == []


def test_answers_by_text_count_as_set_up_only_where_they_can_come_in() -> None:
    assert not texts_come_in(Settings())
    assert not texts_come_in(Settings(text_inbound=TextInboundSettings()))
    assert texts_come_in(Settings(text_inbound=TextInboundSettings(secret=SECRET)))
    assert texts_come_in(Settings(text_polling=TextPollingSettings(url=POLLED)))
    assert text_hook(None) is None
