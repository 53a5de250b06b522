"""A farm's own profiles: added as files, version by version. The rules are our own; there is no outside source."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.api.moments import show_moment
from service.storage.tables import profiles
from service.watch.catalogue import copy_shipped
from service.watch.own_profiles import copy_of_shipped
from tests.support import farmyard
from tests.support.api import Api, problem_in
from tests.support.steady import STEADY

COPY = copy_of_shipped("nameko", "nameko_cold", strain="cold strain")
ADDED = "/api/profiles/nameko_cold"


def next_version(text: str, number: int, *changes: tuple[str, str]) -> str:
    for old, new in (("version = 1\n", f"version = {number}\n"), *changes):
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


async def add(api: Api, text: str, *, who: str = "Ines", expect: int = 201) -> Any:
    answer = await api.client.post(
        "/api/profiles",
        params={"who": who},
        content=text.encode(),
        headers={"content-type": "application/toml; charset=utf-8"},
    )
    assert answer.status_code == expect, answer.text
    return problem_in(answer) if expect >= 400 else answer.json()


async def file_of(api: Api, name: str, **query: int) -> str:
    answer = await api.client.get(f"/api/profiles/{name}/toml", params=query)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("application/toml")
    return answer.text


async def test_a_copy_is_added_under_its_name_and_comes_back_word_for_word(api: Api) -> None:
    said = await add(api, COPY)

    assert said["new"] is True
    assert said["profile"]["versions"] == [
        {
            "version": 1,
            "who": "Ines",
            "added": show_moment(farmyard.NOW_MS),
            "copied_from": "nameko version 1",
        }
    ]
    assert await file_of(api, "nameko_cold") == COPY
    assert "nameko_cold" in {line["profile"] for line in await api.get("/api/profiles")}
    assert (await api.get(ADDED))["label"] == "Nameko, cold strain"


async def test_the_same_text_again_is_nothing_new(api: Api) -> None:
    await add(api, COPY)
    again = await add(api, COPY, who="Ben", expect=200)
    assert again["new"] is False
    assert [version["who"] for version in again["profile"]["versions"]] == ["Ines"]


async def test_a_version_never_changes(api: Api) -> None:
    await add(api, COPY)
    said = await add(api, COPY + "\n# One word more.\n", expect=409)
    assert "version 1 is there already" in said["detail"]
    assert "the next is 2" in said["detail"]
    assert await file_of(api, "nameko_cold", version=1) == COPY


@pytest.mark.parametrize(("number", "there"), [(2, False), (3, True)])
async def test_versions_follow_each_other(one_api: Api, number: int, *, there: bool) -> None:
    if there:
        await add(one_api, COPY)
    said = await add(one_api, next_version(COPY, number), expect=409)
    assert f"is {number - 1}, not {number}" in said["detail"]


async def test_names_that_ship_are_taken(one_api: Api) -> None:
    shipped = await file_of(one_api, "shiitake")
    assert (await add(one_api, shipped, expect=200))["new"] is False
    said = await add(one_api, next_version(shipped, 2), expect=409)
    assert "ships with Houseband" in said["detail"]


async def test_adding_is_not_standing_for_the_figures(one_api: Api) -> None:
    said = await add(one_api, COPY)
    unread = [stage["stage"] for stage in said["profile"]["stages"] if not stage["all_read"]]
    assert unread
    assert said["to_confirm"] == unread
    await one_api.post(f"{ADDED}/confirmations", {"stage": None, "who": "Maria"})
    assert (await add(one_api, COPY, expect=200))["to_confirm"] == []


async def test_a_stage_that_says_the_same_keeps_who_stood_for_it_and_a_changed_one_does_not(api: Api) -> None:
    await add(api, COPY)
    await api.post(f"{ADDED}/confirmations", {"stage": None, "who": "Maria"})
    second = next_version(
        COPY, 2, ("[stages.fruiting.humidity.text_low]", "[stages.fruiting.humidity.text_low]  # mine")
    )
    changed = second.replace("wait_minutes = ", "wait_minutes = 1", 1)
    api.clock.forward(60_000)

    said = await add(api, changed, who="Ben")

    first_with_wait = next(s["stage"] for s in said["profile"]["stages"] if s["text_limits"])
    stood = {stage["stage"]: stage["confirmed_by"] for stage in said["profile"]["stages"]}
    assert stood.pop(first_with_wait) is None
    assert set(stood.values()) == {"Maria"}
    assert {stage["confirmed"] for stage in said["profile"]["stages"]} == {None, show_moment(farmyard.NOW_MS)}
    assert said["to_confirm"] == [first_with_wait]
    assert [version["who"] for version in said["profile"]["versions"]] == ["Ines", "Ben"]


async def test_batches_keep_the_version_they_were_written_down_with(api: Api) -> None:
    await add(api, COPY)
    await api.post("/api/rooms", {"room_id": "house-9", "name": "House 9", "kind": "fruiting", "who": "Ines"})
    room = {"profile": "nameko_cold", "stage": "fruiting", "strain": "cold", "count": 3, "container": "block"}
    await api.post("/api/rooms/house-9/assign", {**room, "batch_id": "NC-1", "who": "Ines"})
    await api.post("/api/rooms/house-9/assign", {**room, "batch_id": "NC-2", "who": "Ines"})
    await api.post("/api/batches/NC-2/stays", {"room_id": None, "stage": "fruiting", "who": "Ines"})

    said = await add(api, next_version(COPY, 2))

    assert said["still_on_older"] == ["NC-1"]
    assert said["profile"]["batches"] == [
        {"batch_id": "NC-1", "version": 1, "room_id": "house-9", "stage": "fruiting"}
    ]
    assert (await api.get("/api/batches/NC-1"))["version"] == 1


async def test_a_batch_grows_on_by_another_version_or_profile_from_the_moment_it_is_told_to(api: Api) -> None:
    await add(api, COPY)
    await add(api, next_version(COPY, 2))
    await api.post("/api/rooms", {"room_id": "house-9", "name": "House 9", "kind": "fruiting", "who": "Ines"})
    first = {"profile": "nameko_cold", "version": 1, "stage": "fruiting", "strain": "cold", "count": 3}
    place = {"room_id": "house-9", "stage": "fruiting", "who": "Ines"}
    await api.post("/api/batches", {**first, **place, "batch_id": "NC-1", "container": "block"})

    stays = (await api.post("/api/batches/NC-1/stays", {**place, "version": 2}))["stays"]
    assert [(s["profile"], s["version"]) for s in stays] == [("nameko_cold", 1), ("nameko_cold", 2)]
    [there] = (await api.get("/api/profiles/nameko_cold"))["batches"]
    assert (there["batch_id"], there["version"]) == ("NC-1", 2)

    stays = (await api.post("/api/batches/NC-1/stays", {**place, "room_id": None}))["stays"]
    assert (stays[-1]["profile"], stays[-1]["version"]) == ("nameko_cold", 2), "it goes on as it was"
    stays = (await api.post("/api/batches/NC-1/stays", {**place, "profile": "nameko"}))["stays"]
    assert (stays[-1]["profile"], stays[-1]["version"]) == ("nameko", 1)
    assert (await api.get("/api/profiles/nameko_cold"))["batches"] == []
    await api.post("/api/batches/NC-1/stays", {**place, "version": 7}, expect=404)


async def test_an_edited_figure_that_names_the_old_source_is_refused(one_api: Api) -> None:
    copy = copy_of_shipped("shiitake", "brown", label="Brown")
    old = 'low = { value = 21, basis = "read", source = "S08"'
    assert old in copy
    said = await add(one_api, copy.replace(old, old.replace("21", "19"), 1), expect=422)
    assert "stage incubation: temperature.low: S08 says" in said["detail"]
    assert 'basis = "judgement"' in said["detail"]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (
            COPY.replace("[stages.fruiting.humidity]", "[stages.fruiting.wetness]"),
            "stage fruiting: wetness: unknown",
        ),
        ("name = ", "is not TOML"),
        ("", "name: is missing"),
        (
            COPY.replace('profile = "nameko", version = 1', 'profile = "nameko", version = 9'),
            "no profile 'nameko' version 9",
        ),
    ],
    ids=["stage and key", "not TOML", "nothing", "a copy of what is not there"],
)
async def test_what_cannot_be_used_is_refused_with_its_place(one_api: Api, text: str, why: str) -> None:
    assert why in (await add(one_api, text, expect=422))["detail"]


async def test_bytes_that_are_no_text_and_other_kinds_of_body_are_refused(one_api: Api) -> None:
    toml = {"content-type": "application/toml"}
    answer = await one_api.client.post("/api/profiles", params={"who": "I"}, content=b"\xff", headers=toml)
    assert "not UTF-8" in problem_in(answer)["detail"]
    answer = await one_api.client.post("/api/profiles", params={"who": "I"}, json={})
    assert answer.status_code == 415
    answer = await one_api.client.post("/api/profiles", content=COPY.encode(), headers=toml)
    assert answer.status_code == 422, "somebody must do it"
    await one_api.refused("/api/profiles/truffle/toml", expect=404)
    await one_api.refused("/api/profiles/nameko/toml", expect=404, version=9)


async def test_a_profile_that_the_farm_had_before_one_shipped_stays_the_farms(api: Api) -> None:
    """A shipped name is taken back as if it had come with a later Houseband."""
    async with api.desk.database.write() as connection:
        await connection.execute(profiles.delete().where(profiles.c.profile == "nameko"))
    body = COPY.replace('name = "nameko_cold"', 'name = "nameko"').replace(
        'profile = "nameko"', 'profile = "pioppino"'
    )
    async with api.desk.database.write() as connection:
        row = {
            "profile": "nameko",
            "version": 1,
            "body": body,
            "body_sha256": "-",
            "recorded_ms": 1,
            "who": "Ines",
        }
        await connection.execute(profiles.insert().values({**row, "farm_id": api.desk.farm_id}))
        await copy_shipped(connection, api.desk.farm_id, 2)
    assert await file_of(api, "nameko") == body
    await add(api, next_version(body, 2))


@st.composite
def odd_files(draw: st.DrawFn) -> bytes:
    """Any bytes, or a good file of which a piece was replaced by another."""
    body = COPY.encode()
    start = draw(st.integers(0, len(body)))
    end = draw(st.integers(start, min(len(body), start + 60)))
    piece = draw(
        st.sampled_from([b"", b"\x00", b"\\u0000", b"inf", b"-0.0", b"9" * 400, b'"', b"[", b"\xf0"]) | st.binary()
    )
    return draw(st.just(body[:start] + piece + body[end:]) | st.binary())


@settings(
    STEADY, max_examples=150, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
)
@given(odd_files())
async def test_no_file_makes_an_accident(one_api: Api, body: bytes) -> None:
    answer = await one_api.client.post(
        "/api/profiles", params={"who": "Ines"}, content=body, headers={"content-type": "application/toml"}
    )
    assert answer.status_code in {200, 201, 409, 422}, answer.text
    if answer.status_code >= 400:
        problem_in(answer)
