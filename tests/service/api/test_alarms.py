"""What is open, what was told, and what people answer: with clear results in every case."""

from __future__ import annotations

import pytest

from service.notifications.address import Address
from tests.support.api import Api, go_dry

GOING = {"person_id": "ben", "word": "going"}


async def test_an_open_alarm_and_its_ledger_are_shown(api: Api) -> None:
    await go_dry(api, 45)
    shown = await api.get("/api/alarms", open="true", room="house-7")
    (alarm,) = shown["alarms"]
    assert (alarm["room_id"], alarm["quantity"], alarm["side"], alarm["open"]) == (
        "house-7",
        "humidity",
        "low",
        True,
    )
    assert shown["told"][-1]["from_state"] == "normal"
    assert shown["told"][-1]["happening_id"] == alarm["happening_id"]
    assert shown["told"][-1]["facts"]["value"] < 90
    assert shown["more"] is False
    assert (await api.get("/api/alarms", open="false"))["alarms"] == []
    assert (await api.get("/api/alarms", room="house-3"))["told"] == []


async def test_going_is_taken_and_stops_further_telling(api: Api) -> None:
    await go_dry(api, 45)
    database, farm, clock = api.desk.database, api.desk.farm, api.desk.clock
    await Address(database=database, farm=farm, clock=clock).all_notices()
    said = await api.post("/api/rooms/house-7/answers", GOING)
    (alarm,) = (await api.get("/api/alarms", room="house-7"))["alarms"]
    assert alarm["state"] == "somebody is going"
    assert said["happening_id"] == alarm["happening_id"]
    tellings = (await api.get("/api/deliveries"))["rows"]
    assert {(t["person_id"], t["state"]) for t in tellings} == {("maria", "cancelled"), ("ben", "cancelled")}


async def test_cannot_is_written_down_and_the_alarm_stays_open(one_api: Api) -> None:
    await go_dry(one_api, 45)
    await one_api.post("/api/rooms/house-7/answers", {**GOING, "word": "cannot"})
    (alarm,) = (await one_api.get("/api/alarms", room="house-7"))["alarms"]
    assert alarm["state"] == "open"


@pytest.mark.parametrize("word", ["fixed", "probe"])
async def test_what_is_seen_to_is_taken_as_such(one_api: Api, word: str) -> None:
    await go_dry(one_api, 45)
    await one_api.post("/api/rooms/house-7/answers", {**GOING, "word": word})
    (alarm,) = (await one_api.get("/api/alarms", room="house-7"))["alarms"]
    assert alarm["state"] == "somebody is going"


async def test_out_ends_what_was_gone_to_and_nothing_else(one_api: Api) -> None:
    await go_dry(one_api, 45)
    out = {**GOING, "word": "out"}
    refused = await one_api.post("/api/rooms/house-7/answers", out, expect=409)
    assert "not written down as going" in refused["detail"]
    went = await one_api.post("/api/rooms/house-7/answers", GOING)
    came = await one_api.post("/api/rooms/house-7/answers", out)
    assert (came["word"], came["happening_id"]) == ("out", went["happening_id"])
    await one_api.post("/api/rooms/house-7/answers", out, expect=409)


async def test_out_ends_working_there(one_api: Api) -> None:
    until = {"person_id": "ben", "until": "2026-11-25T14:00:00Z"}
    await one_api.post("/api/rooms/house-7/working", until)
    came = await one_api.post("/api/rooms/house-7/answers", {**GOING, "word": "out"})
    assert came["happening_id"] is None


async def test_answering_where_nothing_is_open_is_refused_in_words(one_api: Api) -> None:
    said = await one_api.post("/api/rooms/house-3/answers", GOING, expect=409)
    assert "nothing is open" in said["detail"]


@pytest.mark.parametrize(
    ("room", "change", "status"),
    [
        ("nowhere", {}, 404),
        ("house-7", {"person_id": "stranger"}, 404),
        ("house-7", {"word": "stop"}, 422),
        ("house-7", {"word": "working"}, 422),
        ("nowhere", {"word": "out"}, 404),
        ("house-7", {"word": "out", "person_id": "stranger"}, 404),
        ("house-7", {"person_id": "../x"}, 422),
        ("house-7", {"when": "now"}, 422),
    ],
)
async def test_an_answer_that_cannot_be_is_refused(
    one_api: Api, room: str, change: dict[str, str], status: int
) -> None:
    await one_api.post(f"/api/rooms/{room}/answers", {**GOING, **change}, expect=status)


async def test_a_long_ledger_is_cut_and_says_so(one_api: Api) -> None:
    await go_dry(one_api, 70)
    whole = await one_api.get("/api/alarms")
    assert len(whole["told"]) > 1
    cut = await one_api.get("/api/alarms", limit=1)
    assert cut["told"] == whole["told"][:1]
    assert cut["more"] is True


async def test_alarms_of_a_room_that_is_not_there_are_refused(one_api: Api) -> None:
    await one_api.refused("/api/alarms", expect=404, room="nowhere")
    await one_api.refused("/api/alarms", expect=422, open="perhaps")
    await one_api.refused("/api/alarms", expect=422, limit=1001)
