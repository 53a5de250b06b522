"""What is not heard, for programs; and what is known of hearing each probe."""

from __future__ import annotations

from typing import Any

from rules.model import MINUTE_MS, Quantity
from service.api.moments import show_moment
from service.storage.silences import SilenceRow, save_silence
from tests.support import farmyard
from tests.support.api import Api

NOW_MS = farmyard.NOW_MS


async def keep(api: Api, scope: str, name: str, **more: Any) -> None:
    row = SilenceRow(scope=scope, name=name, since_ms=NOW_MS - 60 * MINUTE_MS, noticed_ms=NOW_MS, **more)
    async with api.desk.database.write() as connection:
        await save_silence(connection, api.desk.farm_id, row)


async def probe(api: Api, name: str) -> Any:
    return next(p for p in await api.get("/api/probes") if p["probe_id"] == name)


async def test_what_is_not_heard_now(api: Api) -> None:
    await keep(api, "probe", "h7-back", facts={"room_id": "house-7", "probes": ["h7-back"]})
    await keep(api, "houseband", "houseband", ended_ms=NOW_MS - 30 * MINUTE_MS)
    (silent,) = await api.get("/api/silences")
    assert silent == {
        "scope": "probe", "name": "h7-back", "room_id": "house-7", "since": show_moment(NOW_MS - 60 * MINUTE_MS),
        "noticed": show_moment(NOW_MS), "told": None, "ended": None, "happening_id": None,
    }  # fmt: skip
    assert (await probe(api, "h7-back"))["silent_since"] == show_moment(NOW_MS - 60 * MINUTE_MS)
    assert (await probe(api, "h7-door"))["silent_since"] is None


async def test_what_was_not_heard_in_a_span(one_api: Api) -> None:
    await keep(one_api, "houseband", "houseband", ended_ms=NOW_MS - 30 * MINUTE_MS)
    at = {minutes: show_moment(NOW_MS - minutes * MINUTE_MS) for minutes in (90, 60, 45, 30, 10)}
    assert len(await one_api.get("/api/silences", from_=at[45], to=at[10])) == 1
    assert len(await one_api.get("/api/silences", from_=at[90])) == 1
    assert await one_api.get("/api/silences", from_=at[30]) == []
    assert await one_api.get("/api/silences", to=at[60]) == []


async def test_how_often_a_probe_is_usually_heard(one_api: Api) -> None:
    assert (await probe(one_api, "h7-back"))["usual_interval_s"] is None
    points = [(NOW_MS - n * 5 * MINUTE_MS, 90.0) for n in range(1, 6)]
    await farmyard.send(one_api.desk.database, 1, "h7-back", Quantity.HUMIDITY, points)
    assert (await probe(one_api, "h7-back"))["usual_interval_s"] == 300.0


async def test_a_probe_is_said_to_be_behind_a_gateway(one_api: Api) -> None:
    assert (await probe(one_api, "h7-back"))["gateway"] is None
    said = await one_api.put("/api/probes/h7-back/gateway", {"gateway": "north", "who": "Ines"})
    assert said["gateway"] == "north"
    assert (await probe(one_api, "h7-back"))["gateway"] == "north"
    await one_api.put("/api/probes/h7-back/gateway", {"gateway": None, "who": "Ines"})
    assert (await probe(one_api, "h7-back"))["gateway"] is None
    await one_api.put("/api/probes/nobody/gateway", {"gateway": "north", "who": "Ines"}, expect=404)
