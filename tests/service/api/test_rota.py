"""Rotas over the API: what is written is checked, whose turn it is can be asked, and gaps are named."""

from __future__ import annotations

from typing import Any

import pytest

from rules.model import HOUR_MS
from tests.support.api import Api

TURN: dict[str, Any] = {
    "person_id": "ben", "starts": "2026-11-23T18:00", "minutes": 720, "repeats": "FREQ=DAILY", "who": "Ines",
}  # fmt: skip
SPAN = {"from": "2026-11-25T12:00:00Z", "until": "2026-11-26T12:00:00Z", "who": "Ines"}


async def nights(api: Api) -> None:
    await api.put("/api/rotas/nights", {"name": "Nights", "who": "Ines"})
    await api.put("/api/rotas/nights/turns/ben", TURN)
    lines = [{"rota_id": "nights", "after_minutes": 0}, {"person_id": "maria", "after_minutes": 15}]
    await api.put("/api/call-lists/night", {"lines": lines, "who": "Ines"})


async def on_call(api: Api, at: str) -> list[tuple[str, float, str]]:
    told = (await api.get("/api/on-call", at=at))["told"]
    return [(line["person_id"], line["after_minutes"], line["why"]) for line in told]


async def test_a_rota_on_the_call_list_names_whoever_has_the_turn(api: Api) -> None:
    await nights(api)
    assert await on_call(api, "2026-11-26T02:00:00-05:00") == [("ben", 0.0, "has the turn"), ("maria", 15.0, "")]
    (rota,) = await api.get("/api/rotas")
    assert rota["turns"][0]["repeats"] == "FREQ=DAILY"
    assert rota["gaps"][0]["said"] == "nobody has the turn from Wed 25 Nov 7:10 to 18:00"
    (line, _) = (await api.get("/api/call-lists/night"))["lines"]
    assert (line["rota_id"], line["person_id"], line["name"]) == ("nights", None, "Nights")


async def test_any_moment_can_be_asked_about_but_none_that_nobody_can_know(one_api: Api) -> None:
    await nights(one_api)
    for at in ("1970-01-01T00:00:00Z", "2028-11-24T00:00:00Z"):
        assert (await one_api.get("/api/on-call", at=at))["told"]
    await one_api.refused("/api/on-call", expect=422, at="9999-12-31T23:59:59Z")
    farthest = {**SPAN, "from": "9999-12-30T00:00:00Z", "until": "9999-12-31T23:59:59.999Z", "person_id": "maria"}
    await one_api.post("/api/rotas/nights/swaps", farthest)
    last = {**TURN, "starts": "9000-12-31T23:59", "repeats": "FREQ=YEARLY;INTERVAL=99"}
    await one_api.put("/api/rotas/nights/turns/last", last)
    assert (await one_api.get("/api/rotas"))[0]["gaps"]


async def test_a_swap_holds_until_it_is_ended(api: Api) -> None:
    await nights(api)
    swap = await api.post("/api/rotas/nights/swaps", {**SPAN, "person_id": "maria"})
    assert await on_call(api, "2026-11-26T02:00:00-05:00") == [("maria", 0.0, "took the turn")]
    api.clock.forward(HOUR_MS)
    ended = await api.post(f"/api/swaps/{swap['swap_id']}/end", {"who": "Ines"}, expect=200)
    assert ended["ended"] is not None
    assert (await on_call(api, "2026-11-26T02:00:00-05:00"))[0][0] == "ben"
    await api.post(f"/api/swaps/{swap['swap_id']}/end", {"who": "Ines"}, expect=409)
    await api.post("/api/swaps/0/end", {"who": "Ines"}, expect=404)


async def test_somebody_away_is_stood_in_for_until_they_are_back(api: Api) -> None:
    await nights(api)
    away = await api.post("/api/people/ben/absences", {**SPAN, "instead": "maria", "why": "ill"})
    assert await on_call(api, "2026-11-26T02:00:00-05:00") == [("maria", 0.0, "stands in for Ben")]
    assert [row["why"] for row in await api.get("/api/absences")] == ["ill"]
    api.clock.forward(HOUR_MS)
    await api.post(f"/api/absences/{away['absence_id']}/end", {"who": "Ines"}, expect=200)
    assert await api.get("/api/absences") == []


async def test_a_rota_is_dropped_only_when_no_list_names_it(one_api: Api) -> None:
    await nights(one_api)
    await one_api.send("DELETE", "/api/rotas/nights?who=Ines", None, expect=409)
    rota = await one_api.send("DELETE", "/api/rotas/nights/turns/ben?who=Ines", None, expect=200)
    assert rota["turns"] == []
    await one_api.put(
        "/api/call-lists/night", {"lines": [{"person_id": "ben", "after_minutes": 0}], "who": "Ines"}
    )
    await one_api.send("DELETE", "/api/rotas/nights?who=Ines", None, expect=200)
    await one_api.send("DELETE", "/api/rotas/nights?who=Ines", None, expect=404)


@pytest.mark.parametrize(
    ("change", "status", "says"),
    [
        ({"repeats": "FREQ=HOURLY"}, 422, "FREQ, one of DAILY"),
        ({"repeats": "FREQ=MONTHLY;BYMONTH=2;BYMONTHDAY=31"}, 422, "gives no turn"),
        ({"repeats": "FREQ=DAILY;INTERVAL=0"}, 422, "INTERVAL"),
        ({"starts": "2026-11-23"}, 422, "farm's clock"),
        ({"minutes": 1}, 422, "15"),
        ({"person_id": "nobody"}, 404, "nobody"),
        ({"person_id": "old-hand"}, 409, "no phone"),
    ],
)
async def test_a_turn_that_cannot_be_is_refused_in_words(
    one_api: Api, change: dict[str, Any], status: int, says: str
) -> None:
    await nights(one_api)
    said = await one_api.put("/api/rotas/nights/turns/new", {**TURN, **change}, expect=status)
    assert says in said["detail"]


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"until": "2026-11-25T11:00:00Z"}, 422),
        ({"from": "2026-11-01T00:00:00Z", "until": "2026-11-02T00:00:00Z"}, 409),
        ({"until": "2028-11-25T11:00:00Z"}, 422),
        ({"person_id": "nobody"}, 404),
    ],
)
async def test_a_swap_that_cannot_be_is_refused(one_api: Api, change: dict[str, Any], status: int) -> None:
    await nights(one_api)
    await one_api.post("/api/rotas/nights/swaps", {**SPAN, "person_id": "ben", **change}, expect=status)


async def test_a_line_names_a_person_or_a_rota_and_not_both_and_not_one_that_is_not_there(one_api: Api) -> None:
    for line, status in (
        ({"after_minutes": 0}, 422),
        ({"person_id": "ben", "rota_id": "nights", "after_minutes": 0}, 422),
        ({"rota_id": "nights", "after_minutes": 0}, 404),
    ):
        await one_api.put("/api/call-lists/night", {"lines": [line], "who": "Ines"}, expect=status)


async def test_figures_say_their_bounds_and_who_set_them(api: Api) -> None:
    figures = {one["name"]: one for one in await api.get("/api/figures")}
    assert (figures["going_minutes"]["value"], figures["going_minutes"]["who"]) == (50.0, None)
    said = await api.put("/api/figures/going_minutes", {"value": 45, "who": "Ines"})
    assert (said["value"], said["default"], said["who"]) == (45.0, 50.0, "Ines")
    assert said in await api.get("/api/figures")
    await api.put("/api/figures/going_minutes", {"value": 1, "who": "Ines"}, expect=422)
    await api.put("/api/figures/luck", {"value": 1, "who": "Ines"}, expect=404)
