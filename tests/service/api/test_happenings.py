"""Happenings over the API: the trail of who was told, and what it turned out to be."""

from __future__ import annotations

from urllib.parse import quote

import pytest

from tests.support import farmyard
from tests.support.api import Api, go_dry


async def happening_of(api: Api) -> str:
    await go_dry(api, 30)
    await farmyard.tell(api.desk.database, api.desk.farm, api.clock)
    ((row),) = (await api.get("/api/happenings"))["rows"]
    return str(row["happening_id"])


async def test_a_happening_shows_who_was_told_and_what_they_said(api: Api) -> None:
    happening_id = await happening_of(api)
    await api.post("/api/rooms/house-7/answers", {"person_id": "maria", "word": "cannot"})

    ((row),) = (await api.get("/api/happenings"))["rows"]

    assert (row["room_id"], row["ended"], row["woke"], row["truth"]) == ("house-7", None, True, None)
    assert row["tellings"][0]["name"] == "Maria"
    assert row["tellings"][0]["text"].startswith("House 7")
    assert [(a["name"], a["word"]) for a in row["answers"]] == [("Maria", "cannot")]
    assert happening_id.startswith("house-7@")


async def test_what_it_was_is_said_in_two_taps_and_said_anew(api: Api) -> None:
    address = f"/api/happenings/{quote(await happening_of(api))}/truth"

    first = await api.post(address, {"what": "door", "who": "Maria"})
    second = await api.post(address, {"harm": "none", "who": "Maria"})
    third = await api.post(address, {"what": "gear", "who": "Ben"})

    assert (first["newest"]["what"], first["newest"]["harm"], first["worth_it"]) == ("door", None, False)
    assert (second["newest"]["what"], second["newest"]["harm"]) == ("door", "none")
    assert (third["newest"]["what"], third["newest"]["harm"], third["newest"]["who"]) == ("gear", "none", "Ben")
    assert third["worth_it"] is True
    assert await api.get(address) == third
    assert len(third["all"]) == 3


async def test_looking_records_nothing(one_api: Api) -> None:
    address = f"/api/happenings/{quote(await happening_of(one_api))}/truth"

    assert (await one_api.get(address, what="gear", harm="none"))["all"] == []


@pytest.mark.parametrize(
    "body", [{"who": "Maria"}, {"what": "ghosts", "who": "Maria"}, {"what": "gear"}, {"what": "gear", "who": " "}]
)
async def test_what_is_not_understood_is_refused(one_api: Api, body: dict[str, str]) -> None:
    address = f"/api/happenings/{quote(await happening_of(one_api))}/truth"

    await one_api.post(address, body, expect=422)

    assert (await one_api.get(address))["newest"] is None


async def test_a_happening_that_never_was(one_api: Api) -> None:
    await one_api.post("/api/happenings/house-7@1/truth", {"what": "gear", "who": "Ines"}, expect=404)
    await one_api.refused("/api/happenings/silence/probe/x@1/truth", expect=404)
