"""Messages that were not understood can be looked at, byte by byte."""

from __future__ import annotations

import base64

import pytest

from service.messages import Decoded, Incoming, Reason, Rejected
from service.watch.record import record
from tests.support import farmyard
from tests.support.api import Api


async def reject(api: Api, payload: bytes, *, probe: str | None = None) -> None:
    why = Rejected(reason=Reason.NOT_A_NUMBER, detail="what is it?", probe=probe)  # type: ignore[arg-type]
    incoming = Incoming(topic="houseband/tansy/x", payload=payload, received_ms=api.clock.now_ms())
    await record(api.desk.database, api.desk.farm_id, [(incoming, Decoded(rejected=(why,)))])


async def test_a_message_is_shown_with_its_reason_and_bytes(api: Api) -> None:
    await reject(api, b"warm\n", probe="h7-door")
    (row,) = (await api.get("/api/rejected", probe="h7-door"))["rows"]
    assert row["reason"] == "not a number"
    assert row["topic"] == "houseband/tansy/x"
    assert base64.b64decode(row["message_base64"]) == b"warm\n"
    assert (row["message_text"], row["size"], row["whole"]) == ("warm\n", 5, True)
    assert (await api.get("/api/rejected", probe="other"))["rows"] == []


async def test_a_long_message_is_cut_in_the_list_and_whole_on_its_own(api: Api) -> None:
    payload = "é".encode() * 5000
    await reject(api, b"x" + payload)
    (row,) = (await api.get("/api/rejected"))["rows"]
    assert (row["size"], row["whole"]) == (10_001, False)
    assert row["message_text"] == "x" + "é" * 2047
    whole = await api.get(f"/api/rejected/{row['rejected_id']}")
    assert base64.b64decode(whole["message_base64"]) == b"x" + payload
    assert whole["whole"] is True


@pytest.mark.parametrize("payload", [b"\xff\xfe", b"a\x00b", b"\x1b[31m", "\u202e".encode()])
async def test_bytes_that_are_no_text_are_not_shown_as_text(one_api: Api, payload: bytes) -> None:
    await reject(one_api, payload)
    (row,) = (await one_api.get("/api/rejected"))["rows"]
    assert row["message_text"] is None
    assert base64.b64decode(row["message_base64"]) == payload


async def test_a_message_that_is_not_kept_is_refused(one_api: Api) -> None:
    await one_api.refused("/api/rejected/abc123", expect=404)
    await one_api.refused("/api/rejected/nope", expect=422)


async def test_more_than_the_limit_says_so(one_api: Api) -> None:
    for n in range(3):
        one_api.clock.set(farmyard.NOW_MS + n)
        await reject(one_api, f"{n}?".encode())
    shown = await one_api.get("/api/rejected", limit=2)
    assert [row["message_text"] for row in shown["rows"]] == ["2?", "1?"]
    assert shown["more"] is True
