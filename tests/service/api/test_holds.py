"""Saying who works where, and what is left until when. The rules are the project's own."""

from __future__ import annotations

from typing import Any

import pytest

from rules.model import HOUR_MS, MINUTE_MS, Quantity
from service.api.moments import show_moment
from tests.support import farmyard
from tests.support.api import Api

NOW = show_moment(farmyard.NOW_MS)


def _in(minutes: float) -> str:
    return show_moment(farmyard.NOW_MS + round(minutes * MINUTE_MS))


WORK: dict[str, Any] = {"person_id": "maria", "until": _in(170)}
LEAVE: dict[str, Any] = {
    "quantity": "humidity",
    "side": "low",
    "until": _in(600),
    "why": "nozzle on order",
    "who": "Ben",
}


# --- working ------------------------------------------------------------------------------------------------


async def test_somebody_works_in_a_room_and_the_room_shows_it(api: Api) -> None:
    said = await api.post("/api/rooms/house-7/working", WORK)
    assert {**said, "hold_id": "", "recorded": ""} == {
        "hold_id": "",
        "kind": "working",
        "room_id": "house-7",
        "quantity": None,
        "side": None,
        "person_id": "maria",
        "from": NOW,
        "until": _in(170),
        "ended": None,
        "ended_by": None,
        "why": "",
        "who": "Maria",
        "recorded": "",
        "said": "working until 10:00 (Maria)",
    }
    room = await api.get("/api/rooms/house-7")
    assert room["held_back"] == [said]
    assert {(limit["held_until"], limit["held_why"]) for limit in room["limits"]} == {(_in(170), "working")}
    assert (await api.get("/api/rooms/house-3"))["held_back"] == []


async def test_whoever_works_everywhere_works_in_every_room(api: Api) -> None:
    said = await api.post("/api/working", WORK)
    assert said["room_id"] is None
    for room in ("house-7", "house-3"):
        assert (await api.get(f"/api/rooms/{room}"))["held_back"] == [said]
        assert await api.get("/api/holds", room=room) == [said]


async def test_out_ends_it_wherever_it_was_and_only_for_whoever_says_it(api: Api) -> None:
    for room in ("house-7", "house-3"):
        await api.post(f"/api/rooms/{room}/working", WORK)
    bens = await api.post("/api/rooms/house-7/working", {**WORK, "person_id": "ben"})
    api.clock.forward(5 * MINUTE_MS)
    ended = await api.post("/api/people/maria/out", {}, expect=200)
    assert {(h["room_id"], h["ended"], h["ended_by"], h["said"]) for h in ended} == {
        (room, _in(5), "Maria", "working until 07:15 (Maria)") for room in ("house-3", "house-7")
    }
    assert await api.get("/api/holds") == [bens]
    refused = await api.post("/api/people/maria/out", {}, expect=409)
    assert "Maria is not written down as going or working anywhere" in refused["detail"]


async def test_working_longer_or_shorter_is_said_again_and_what_was_meant_before_stays(api: Api) -> None:
    await api.post("/api/rooms/house-7/working", WORK)
    api.clock.forward(10 * MINUTE_MS)
    longer = await api.post("/api/rooms/house-7/working", {**WORK, "until": _in(300)})
    assert await api.get("/api/holds") == [longer]
    (before,) = await api.get("/api/holds", at=_in(5))
    assert (before["until"], before["ended"], before["ended_by"]) == (_in(170), _in(10), "Maria")
    assert await api.get("/api/holds", at=_in(10)) == [longer]
    shorter = await api.post("/api/rooms/house-7/working", {**WORK, "until": _in(20)})
    assert await api.get("/api/holds", at=_in(15)) == [shorter]
    assert await api.get("/api/holds", at=_in(20)) == []


async def test_it_ends_by_itself(api: Api) -> None:
    await api.post("/api/rooms/house-7/working", WORK)
    api.clock.forward(170 * MINUTE_MS - 1)
    assert len(await api.get("/api/holds")) == 1
    api.clock.forward(1)
    assert await api.get("/api/holds") == []


async def test_whoever_stayed_longer_still_says_that_they_are_out(api: Api) -> None:
    """Until they do, somebody is sent to look after them in the end."""
    await api.post("/api/rooms/house-7/working", WORK)
    api.clock.forward(180 * MINUTE_MS)
    [ended] = await api.post("/api/people/maria/out", {}, expect=200)
    assert ended["ended_by"] == "Maria"
    await api.post("/api/people/maria/out", {}, expect=409)


# --- leave until --------------------------------------------------------------------------------------------


async def test_one_limit_of_a_room_is_left_until_a_time(api: Api) -> None:
    said = await api.post("/api/rooms/house-7/leave", LEAVE)
    assert (said["kind"], said["quantity"], said["side"], said["person_id"]) == ("leave", "humidity", "low", None)
    assert said["said"] == "humidity low: leave until 17:10 (Ben): nozzle on order"
    room = await api.get("/api/rooms/house-7")
    held = {(limit["quantity"], limit["side"]) for limit in room["limits"] if limit["held_until"] == _in(600)}
    assert held == {("humidity", "low")}
    assert {limit["held_why"] for limit in room["limits"]} == {None, "left until"}


async def test_every_crop_limit_of_a_room_is_left_and_both_stand_beside_each_other(api: Api) -> None:
    one = await api.post("/api/rooms/house-7/leave", LEAVE)
    every = {name: value for name, value in LEAVE.items() if name not in {"quantity", "side"}}
    whole = await api.post("/api/rooms/house-7/leave", {**every, "until": _in(60)})
    assert whole["said"] == "every crop limit: leave until 08:10 (Ben): nozzle on order"
    found = await api.get("/api/holds", room="house-7")
    assert sorted(h["hold_id"] for h in found) == sorted([one["hold_id"], whole["hold_id"]])
    limits = {(m["quantity"], m["side"]): m["held_until"] for m in (await api.get("/api/rooms/house-7"))["limits"]}
    assert limits.pop(("humidity", "low")) == _in(600)
    assert set(limits.values()) == {_in(60)}


async def test_anybody_may_end_what_is_held_back_once(api: Api) -> None:
    said = await api.post("/api/rooms/house-7/leave", LEAVE)
    api.clock.forward(MINUTE_MS)
    ended = await api.post(f"/api/holds/{said['hold_id']}/end", {"who": "Ines"}, expect=200)
    assert (ended["ended"], ended["ended_by"], ended["who"]) == (_in(1), "Ines", "Ben")
    assert await api.get("/api/holds") == []
    again = await api.post(f"/api/holds/{said['hold_id']}/end", {"who": "Ines"}, expect=409)
    assert again["detail"] == "it is over already"
    await api.post("/api/holds/abc/end", {"who": "Ines"}, expect=404)


# --- what is refused ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("quantity", ["co2", None])
async def test_limits_for_people_are_never_left(one_api: Api, quantity: str | None) -> None:
    asked = {**LEAVE, "quantity": quantity, "side": "people"}
    refused = await one_api.post("/api/rooms/house-7/leave", asked, expect=409)
    assert refused["detail"].startswith("limits that hold for people are never held back")
    assert await one_api.get("/api/holds") == []


@pytest.mark.parametrize(
    ("path", "body", "status", "words"),
    [
        ("rooms/nowhere/working", WORK, 404, "there is no room"),
        ("rooms/nowhere/leave", LEAVE, 404, "there is no room"),
        ("rooms/house-7/working", {**WORK, "person_id": "nobody"}, 404, "there is nobody"),
        ("working", {**WORK, "person_id": "nobody"}, 404, "there is nobody"),
        ("people/nobody/out", {}, 404, "there is nobody"),
        ("rooms/house-7/working", {**WORK, "until": _in(-1)}, 422, "that time is past"),
        ("rooms/house-7/working", {**WORK, "until": NOW}, 422, "that time is past"),
        ("rooms/house-7/leave", {**LEAVE, "until": _in(-600)}, 422, "that time is past"),
        ("rooms/house-7/working", {**WORK, "until": _in(12 * 60 + 1)}, 422, "at most 12 hours ahead"),
        ("rooms/house-7/leave", {**LEAVE, "until": _in(24 * 60 + 1)}, 422, "at most 24 hours ahead"),
        ("rooms/house-7/working", {"person_id": "ben"}, 422, "body.until: Field required"),
        ("rooms/house-7/leave", {**LEAVE, "until": None}, 422, "body.until: a moment is text"),
        ("rooms/house-7/leave", {**LEAVE, "side": None}, 422, "name both quantity and side"),
        ("rooms/house-7/leave", {**LEAVE, "quantity": None}, 422, "name both quantity and side"),
        ("rooms/house-7/leave", {**LEAVE, "why": " "}, 422, "body.why"),
        ("rooms/house-7/leave", {**LEAVE, "who": ""}, 422, "body.who"),
        ("rooms/house-7/leave", {**LEAVE, "quantity": "battery"}, 422, "body.quantity"),
    ],
)
async def test_what_cannot_be_held_back_is_refused_in_plain_words(
    one_api: Api, path: str, body: dict[str, Any], status: int, words: str
) -> None:
    refused = await one_api.post(f"/api/{path}", body, expect=status)
    assert words in refused["detail"]
    assert await one_api.get("/api/holds") == []


async def test_the_longest_that_may_be_asked_for_is_taken(one_api: Api) -> None:
    await one_api.post("/api/rooms/house-7/working", {**WORK, "until": _in(12 * 60)})
    await one_api.post("/api/rooms/house-7/leave", {**LEAVE, "until": _in(24 * 60)})


async def test_somebody_who_left_the_farm_does_not_work_there(one_api: Api) -> None:
    known = {"name": "Old Hand", "phone": None, "email": None, "units": "us", "language": "en", "who": "Ines"}
    await one_api.put("/api/people/old-hand", {**known, "active": False})
    refused = await one_api.post("/api/working", {**WORK, "person_id": "old-hand"}, expect=409)
    assert "no longer" in refused["detail"]


async def test_holds_of_a_room_that_is_not_there_are_refused(one_api: Api) -> None:
    await one_api.refused("/api/holds", expect=404, room="nowhere")
    await one_api.refused("/api/holds", expect=422, at="yesterday")


# --- first days ---------------------------------------------------------------------------------------------


async def test_a_new_room_says_how_often_it_would_have_texted(api: Api) -> None:
    await api.post("/api/rooms/house-7/first-days", {"end": _in(3 * 24 * 60), "who": "Ines"}, expect=200)
    calm = await api.get("/api/rooms/house-7/first-days")
    assert (calm["times"], calm["over"], calm["end"]) == (0, False, _in(3 * 24 * 60))
    assert {limit["said"] for limit in calm["limits"]} == {"would not have texted"}
    at_ms = farmyard.NOW_MS
    points = farmyard.every(MINUTE_MS, at_ms, at_ms + 2 * HOUR_MS, _two_dips)
    await farmyard.send(api.desk.database, 1, "h7-door", Quantity.HUMIDITY, points)
    await farmyard.judge_as_it_went(
        api.desk.database, api.desk.farm, from_ms=at_ms, to_ms=at_ms + 2 * HOUR_MS, step_ms=5 * MINUTE_MS
    )
    found = await api.get("/api/rooms/house-7/first-days")
    by_limit = {(limit["quantity"], limit["side"]): limit for limit in found["limits"]}
    humidity = by_limit["humidity", "low"]
    assert (found["times"], humidity["times"], humidity["said"]) == (2, 2, "would have texted 2 times")
    assert len(humidity["moments"]) == 2
    assert {limit["times"] for key, limit in by_limit.items() if key != ("humidity", "low")} == {0}
    await api.refused("/api/rooms/nowhere/first-days", expect=404)


def _two_dips(at_ms: int) -> float:
    into = (at_ms - farmyard.NOW_MS) // MINUTE_MS
    return 80.0 if 10 <= into < 30 or 60 <= into < 80 else 97.0
