"""What a text gateway says, read as the settings say it looks.

JSON Pointers are RFC 6901, forms are the URL standard's urlencoded serialisation. The shapes are made up: common
practice among gateways, and no one gateway's.
"""

from __future__ import annotations

import json
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.messages import Reason
from service.wire.text_hook import (
    MOST_LETTERS,
    Came,
    Places,
    ReceiptCame,
    TextCame,
    TimeForm,
    natural_id,
    read_receipts,
    read_texts,
)

pytestmark = pytest.mark.pure

NOW_MS: Final = 1_795_608_660_000
ONE: Final = {"from": "+12025550141", "text": "7 going", "id": "m-1"}
NESTED: Final = Places(
    each="/data/messages",
    sender="/party/number",
    text="/content/0/body",
    id="/key",
    time="/at",
    time_form="seconds",
)
STATES: Final = Places(receipts={"DELIVRD": "delivered", "undeliv": "failed", "ENROUTE": "on its way"})


def texts(body: Any, places: Places = Places()) -> Came:  # noqa: B008 - frozen
    raw = body if isinstance(body, bytes) else json.dumps(body).encode()
    return read_texts(raw, places, received_ms=NOW_MS)


def one(body: Any, places: Places = Places()) -> TextCame:  # noqa: B008 - frozen
    came = texts(body, places)
    assert came.rejected == ()
    [text] = came.texts
    return text


def test_a_message_is_read_by_its_pointers() -> None:
    assert one(ONE) == TextCame(inbound_id="m-1", phone="+12025550141", text="7 going", sent_ms=None)


def test_messages_may_lie_deep_and_come_together() -> None:
    message = {"party": {"number": 12025550141}, "content": [{"body": "voy"}], "key": 7, "at": NOW_MS // 1000}
    came = texts({"data": {"messages": [message, {**message, "key": 8}]}}, NESTED)
    assert [(t.inbound_id, t.phone, t.text, t.sent_ms) for t in came.texts] == [
        ("7", "12025550141", "voy", NOW_MS),
        ("8", "12025550141", "voy", NOW_MS),
    ]


def test_a_list_needs_no_pointer() -> None:
    assert [t.inbound_id for t in texts([ONE, {**ONE, "id": "m-2"}]).texts] == ["m-1", "m-2"]
    assert texts([]) == Came()


def test_a_form_is_read_by_the_names_of_its_fields() -> None:
    form = Places(form=True, sender="From", text="Body", id="Sid")
    assert one(b"From=%2B12025550141&Body=7+ya+voy%20%C3%B1&Sid=a1&Other=", form).text == "7 ya voy ñ"
    assert one(b"From=1&Body=&Sid=a1", form).text == ""


@pytest.mark.parametrize(
    ("body", "reason"),
    [
        (b"", Reason.EMPTY),
        (b"   ", Reason.EMPTY),
        (b"\xff\xfe", Reason.NOT_TEXT),
        (b"{", Reason.NOT_JSON),
        (b"[" * 5000, Reason.NOT_JSON),
        (b'{"from": "1", "from": "2"}', None),
        (b"5", Reason.MISSING),
        (b"null", Reason.MISSING),
        (b'{"text": "going", "id": "1"}', Reason.MISSING),
        (b'{"from": "", "text": "going", "id": "1"}', Reason.MISSING),
        (b'{"from": true, "text": "going", "id": "1"}', Reason.MISSING),
        (b'{"from": "1", "text": null, "id": "1"}', Reason.MISSING),
        (b'{"from": "1", "text": {"a": 1}, "id": "1"}', Reason.MISSING),
        (json.dumps({**ONE, "from": "1" * 41}).encode(), Reason.TOO_LARGE),
        (json.dumps([ONE] * 501).encode(), Reason.TOO_LARGE),
    ],
)
def test_what_cannot_be_used_says_why(body: bytes, reason: Reason | None) -> None:
    came = texts(body)
    assert came.texts == ()
    assert len(came.rejected) == 1
    assert reason is None or came.rejected[0].reason is reason


@pytest.mark.parametrize("body", [b"\xff=1", b"From=%FF&Body=x", b"&".join(b"a=1" for _ in range(300)), b"From=1"])
def test_a_form_that_cannot_be_used_says_why(body: bytes) -> None:
    came = texts(body, Places(form=True, sender="From", text="Body", id="Sid"))
    assert came.texts == ()
    assert len(came.rejected) == 1


def test_a_field_that_stands_there_twice_is_believed_neither_time() -> None:
    form = Places(form=True, sender="From", text="Body", id="Sid")
    assert texts(b"From=1&From=2&Body=going&Sid=1", form).rejected[0].reason is Reason.MISSING


def test_one_bad_message_does_not_spoil_its_neighbours() -> None:
    came = texts([ONE, {"id": "m-2"}, 5, {**ONE, "id": "m-3"}])
    assert [t.inbound_id for t in came.texts] == ["m-1", "m-3"]
    assert [why.reason for why in came.rejected] == [Reason.MISSING, Reason.MISSING]


def test_words_are_such_as_a_database_can_hold() -> None:
    text = one(json.dumps({**ONE, "text": "7\0 going \ud800!" + "x" * 5000}).encode()).text
    assert text.startswith("7 going ?!")
    assert len(text) == MOST_LETTERS
    text.encode()


def test_a_message_without_an_id_is_named_by_its_words_number_and_minute() -> None:
    bare = {"from": "1", "text": "going"}
    first = one(bare).inbound_id
    assert first == natural_id("1", "going", NOW_MS)
    assert (
        first != read_texts(json.dumps(bare).encode(), Places(), received_ms=NOW_MS + 60_000).texts[0].inbound_id
    )
    timed = Places(time="/at", time_form="milliseconds")
    same = {
        read_texts(json.dumps({**bare, "at": 5}).encode(), timed, received_ms=n).texts[0].inbound_id
        for n in (0, 10**9)
    }
    assert len(same) == 1


def test_a_very_long_id_is_still_one_of_its_own() -> None:
    long, other = one({**ONE, "id": "x" * 5000}).inbound_id, one({**ONE, "id": "x" * 5001}).inbound_id
    assert long != other
    assert max(len(long), len(other)) < 100


@pytest.mark.parametrize(
    ("form", "said", "sent_ms"),
    [
        ("iso 8601", "2026-11-25T12:11:00Z", 1_795_608_660_000),
        ("iso 8601", "2026-11-25T07:11:00-05:00", 1_795_608_660_000),
        ("iso 8601", "2026-11-25T12:11:00", None),
        ("iso 8601", "yesterday", None),
        ("iso 8601", 5, None),
        ("seconds", 1_795_608_660, 1_795_608_660_000),
        ("seconds", "1795608660.5", 1_795_608_660_500),
        ("milliseconds", 1_795_608_660_000, 1_795_608_660_000),
        ("seconds", "soon", None),
        ("seconds", float("inf"), None),
        ("seconds", -5, None),
        ("seconds", None, None),
        ("milliseconds", 10**400, None),
    ],
)
def test_when_it_was_sent(form: TimeForm, said: object, sent_ms: int | None) -> None:
    """A time that cannot be understood is no reason to lose an answer. The moment is that of `date -u -d`."""
    assert one({**ONE, "at": said}, Places(time="/at", time_form=form)).sent_ms == sent_ms


# --- receipts -------------------------------------------------------------------------------------------------


def receipts(body: Any, places: Places = STATES) -> Came:
    return read_receipts(body if isinstance(body, bytes) else json.dumps(body).encode(), places)


@pytest.mark.parametrize(
    ("state", "meaning"),
    [
        ("DELIVRD", "delivered"),
        ("delivrd", "delivered"),
        ("UNDELIV", "failed"),
        ("Enroute", "on its way"),
        ("?", None),
    ],
)
def test_a_receipt_is_read_by_the_table_of_meanings(state: str, meaning: Any) -> None:
    came = receipts({"id": "g-1", "status": state})
    assert came == Came(receipts=(ReceiptCame(gateway_ref="g-1", receipt=meaning),))


@pytest.mark.parametrize("body", [b"", b"x", {"status": "DELIVRD"}, {"id": "", "status": "DELIVRD"}, {"id": "1"}])
def test_a_receipt_without_name_or_state_says_why(body: Any) -> None:
    came = receipts(body)
    assert came.receipts == ()
    assert len(came.rejected) == 1


# --- anything at all ------------------------------------------------------------------------------------------

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(["from", "text", "id", "at", "status"]) | st.text(max_size=3), inner, max_size=5
        )
    ),
    max_leaves=12,
)


@given(JSON)
def test_no_json_is_too_odd(body: Any) -> None:
    raw = json.dumps(body).encode()
    for places in (Places(time="/at", time_form="seconds"), Places(each="/id"), NESTED):
        for text in read_texts(raw, places, received_ms=NOW_MS).texts:
            text.text.encode()
            assert text.phone
            assert text.inbound_id
        read_receipts(raw, places)


@given(st.binary(max_size=200))
def test_no_bytes_are_too_odd(body: bytes) -> None:
    for form in (True, False):
        read_texts(body, Places(form=form), received_ms=NOW_MS)
        read_receipts(body, Places(form=form))
