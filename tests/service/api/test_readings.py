"""Readings go in as SenML (RFC 8428) and come back exactly as they were sent."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator
from typing import Any

import cbor2
import pytest

from rules.model import HOUR_MS, MINUTE_MS, UNIT
from service.api.moments import show_moment
from tests.support import farmyard, real_room
from tests.support.api import Api, problem_in

SENML_JSON = "application/senml+json"
NOW_S = farmyard.NOW_MS / 1000


def pack(*values: float, probe: str = "h7-door", start_s: float = NOW_S - 600) -> list[dict[str, Any]]:
    """Humidity, one reading a minute."""
    return [{"n": f"{probe}/humidity", "u": "%RH", "t": start_s + 60 * i, "v": v} for i, v in enumerate(values)]


async def send(api: Api, body: bytes, content_type: str | None = SENML_JSON) -> Any:
    headers = {} if content_type is None else {"content-type": content_type}
    return await api.client.post("/api/readings", content=body, headers=headers)


async def test_what_is_sent_is_stored_once_and_the_rooms_are_judged(api: Api) -> None:
    body = json.dumps(pack(90.123456789, 91.0)).encode()
    answer = await send(api, body)
    assert answer.status_code == 202
    assert answer.json() == {"stored": 2, "repeated": 0, "rejected": []}
    again = await send(api, body)
    assert again.status_code == 200
    assert again.json() == {"stored": 0, "repeated": 2, "rejected": []}
    assert api.concerned == [{"house-7"}]
    rows = (await api.get("/api/readings", probe="h7-door"))["rows"]
    assert rows[0] == {
        "probe": "h7-door", "quantity": "humidity", "at": show_moment(farmyard.NOW_MS - 600_000),
        "value": 90.123456789, "unit": "%RH", "late_ms": 600_000,
    }  # fmt: skip


async def test_cbor_says_the_same_as_json(one_api: Api) -> None:
    answer = await send(one_api, cbor2.dumps(pack(90.5)), "application/senml+cbor; charset=binary")
    assert answer.json()["stored"] == 1
    assert [r["value"] for r in (await one_api.get("/api/readings", probe="h7-door"))["rows"]] == [90.5]


async def test_what_cannot_be_used_is_named_and_the_rest_is_stored(one_api: Api) -> None:
    bad = [{"n": "h7-door/humidity", "u": "%RH", "t": NOW_S, "v": 140}, {"n": "h7-door/mood", "t": NOW_S, "v": 1}]
    answer = await send(one_api, json.dumps([*pack(90.0), *bad]).encode())
    assert answer.status_code == 202
    assert answer.json()["stored"] == 1
    reasons = {why["reason"]: why["count"] for why in answer.json()["rejected"]}
    assert reasons == {"value not possible": 1, "quantity not known": 1}
    assert len((await one_api.get("/api/rejected"))["rows"]) == 2


async def test_another_value_for_the_same_moment_is_named(one_api: Api) -> None:
    await send(one_api, json.dumps(pack(90.0)).encode())
    answer = await send(one_api, json.dumps(pack(80.0)).encode())
    assert answer.status_code == 200
    assert [why["reason"] for why in answer.json()["rejected"]] == ["differs from stored"]


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b"\xff\x00", b"[1]", b'[{"n":"a"}]', b"[" * 5000])
async def test_what_is_no_pack_is_kept_with_a_reason(one_api: Api, body: bytes) -> None:
    answer = await send(one_api, body)
    assert answer.status_code == 200
    assert answer.json()["stored"] == 0
    assert len(answer.json()["rejected"]) == 1


@pytest.mark.parametrize("content_type", [None, "text/plain", "multipart/form-data", "application/senml+xml"])
async def test_other_kinds_of_message_are_refused(one_api: Api, content_type: str | None) -> None:
    answer = await send(one_api, b"[]", content_type)
    assert answer.status_code == 415
    assert SENML_JSON in problem_in(answer)["detail"]


async def test_too_large_a_message_is_refused_by_what_it_declares_and_by_what_comes(one_api: Api) -> None:
    async def drip() -> AsyncIterator[bytes]:
        for _ in range(20):
            yield b" " * 65_536

    for content in (b" " * 1_048_577, drip()):
        answer = await one_api.client.post("/api/readings", content=content, headers={"content-type": SENML_JSON})
        assert answer.status_code == 413
        assert "1048576" in problem_in(answer)["detail"]


async def test_pages_follow_each_other_without_gap_or_repeat(api: Api) -> None:
    for probe in ("h7-door", "h7-back", "h3-middle"):
        await send(api, json.dumps(pack(*range(10, 20), probe=probe)).encode())
    asked = {"room": "house-7", "limit": 3}
    rows: list[Any] = []
    after: dict[str, str] = {}
    for _ in range(7):
        page = await api.get("/api/readings", **asked, **after)
        rows += page["rows"]
        after = {"after": page["next"]}
    assert page["next"] is None
    whole = await api.get("/api/readings", room="house-7")
    assert rows == whole["rows"]
    keys = [(r["at"], r["probe"], r["quantity"]) for r in rows]
    assert keys == sorted(set(keys))
    assert len(keys) == 20


async def test_a_room_shows_each_probe_only_while_it_hung_there(one_api: Api) -> None:
    moved = {"room_id": "house-3", "place": "x", "who": "I", "from": show_moment(farmyard.NOW_MS - 5 * MINUTE_MS)}
    await send(one_api, json.dumps(pack(*range(50, 60))).encode())
    await one_api.post("/api/probes/h7-door/placements", moved)
    before = await one_api.get("/api/readings", room="house-7")
    after = await one_api.get("/api/readings", room="house-3")
    assert [r["value"] for r in before["rows"]] == [50, 51, 52, 53, 54]
    assert [r["value"] for r in after["rows"]] == [55, 56, 57, 58, 59]


async def test_a_span_takes_its_beginning_and_not_its_end(one_api: Api) -> None:
    await send(one_api, json.dumps(pack(1, 2, 3)).encode())
    begin, end = "2026-11-25T07:01:00.000-05:00", "2026-11-25T12:02:00Z"
    span = {"from": begin, "to": end, "quantity": "humidity", "probe": "h7-door"}
    assert [r["value"] for r in (await one_api.get("/api/readings", **span))["rows"]] == [2]
    assert (await one_api.get("/api/readings", **{**span, "quantity": "co2"}))["rows"] == []


async def test_a_plus_that_became_a_space_on_its_way_is_understood(one_api: Api) -> None:
    answer = await one_api.client.get("/api/readings?probe=x&from=2026-11-25T06:00:00+01:00")
    assert answer.status_code == 200


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ({}, 422),
        ({"probe": "a", "room": "house-7"}, 422),
        ({"room": "nowhere"}, 404),
        ({"probe": "a\x00b"}, 422),
        ({"probe": "a", "quantity": "mood"}, 422),
        ({"probe": "a", "from": "2026-11-25T06:00:00"}, 422),
        ({"probe": "a", "from": "1795586400"}, 422),
        ({"probe": "a", "from": "2026-11-25T06:00:00Z", "to": "2026-11-25T06:00:00Z"}, 422),
        ({"probe": "a", "to": "1970-01-01T00:00:00Z"}, 422),
        ({"probe": "a", "limit": 0}, 422),
        ({"probe": "a", "limit": 10_001}, 422),
        ({"probe": "a", "after": "x"}, 422),
        ({"probe": "a", "after": "WzEsMiwzXQ=="}, 422),
        ({"probe": "a", "after": "bnVsbA=="}, 422),
    ],
)
async def test_a_question_that_cannot_be_answered_is_refused(
    one_api: Api, query: dict[str, object], status: int
) -> None:
    await one_api.refused("/api/readings", expect=status, **query)


async def test_a_probe_nobody_heard_has_no_readings(one_api: Api) -> None:
    assert await one_api.get("/api/readings", probe="nobody") == {"rows": [], "next": None}


@real_room.with_the_week
async def test_a_week_of_a_real_room_comes_back_identical(api: Api) -> None:
    sent = [(at_ms, q, value) for at_ms, values in real_room.measured() for q, value in values.items()]
    assert len(sent) == 3 * real_room.ROWS
    since = show_moment(sent[0][0])
    await api.post("/api/probes/office/placements", {"room_id": "house-7", "who": "Ines", "from": since})
    for start in range(0, len(sent), 9000):
        records = [
            {"bver": 26, "n": f"office/{q}", "u": UNIT[q], "v": value, "t": at_ms / 1000}
            for at_ms, q, value in sent[start : start + 9000]
        ]
        answer = await send(api, json.dumps(records).encode())
        assert answer.json() == {"stored": len(records), "repeated": 0, "rejected": []}
    for asked in ({"probe": "office"}, {"room": "house-7"}):
        found = await fetch(api, **asked)
        assert sorted(found) == sorted((show_moment(at_ms), q.value, value) for at_ms, q, value in sent)


async def fetch(api: Api, **asked: str) -> list[tuple[str, str, float]]:
    span = {"from": "2015-02-01T00:00:00Z", "to": "2015-03-01T00:00:00Z", "limit": 10_000}
    rows: list[tuple[str, str, float]] = []
    after: dict[str, str] = {}
    while True:
        page = await api.get("/api/readings", **asked, **span, **after)
        rows += [(r["at"], r["quantity"], r["value"]) for r in page["rows"]]
        if page["next"] is None:
            return rows
        after = {"after": page["next"]}


async def test_readings_older_than_the_first_answer_are_not_asked_for_by_default(one_api: Api) -> None:
    old_s = (farmyard.NOW_MS - 25 * HOUR_MS) / 1000
    await send(one_api, json.dumps(pack(7, start_s=old_s)).encode())
    assert (await one_api.get("/api/readings", probe="h7-door"))["rows"] == []
