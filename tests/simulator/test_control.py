"""The control page: break, mend and look."""

from __future__ import annotations

import httpx
import pytest

from simulator.clock import FarmClock
from simulator.control import control_app
from simulator.faults import FaultBook, FaultKind
from simulator.live import Progress
from simulator.publish import Publisher

pytestmark = pytest.mark.pure

NOW_MS = 1_794_970_200_000


def control(faults: FaultBook) -> httpx.AsyncClient:
    clock = FarmClock(anchor_wall_ms=0, anchor_farm_ms=NOW_MS, read_wall_ms=lambda: 0)
    progress = Progress(stepped_to_ms=NOW_MS, truths={"house-1": {"humidity": 96.5}})
    app = control_app(clock, faults, progress, Publisher("127.0.0.1", 1, "unused"))
    return httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url="http://farm")


async def test_a_fault_is_started_listed_and_ended() -> None:
    faults = FaultBook()
    async with control(faults) as client:
        made = await client.post("/faults", json={"fault": "humidifier:house-1@now"})
        assert made.status_code == 201
        assert made.json() == {
            "kind": "humidifier",
            "target": "house-1",
            "start_ms": NOW_MS,
            "end_ms": None,
        }
        assert faults.going_at(NOW_MS) == {(FaultKind.HUMIDIFIER, "house-1")}
        ended = await client.post("/faults/end", json={"kind": "humidifier", "target": "house-1"})
        assert ended.json() == {"ended": 1, "at_ms": NOW_MS}
        assert (await client.get("/faults")).json() == [made.json() | {"end_ms": NOW_MS}]


async def test_a_fault_that_cannot_be_is_refused_in_words() -> None:
    async with control(FaultBook()) as client:
        refused = await client.post("/faults", json={"fault": "humidifier:house-9@now"})
    assert refused.status_code == 422
    assert "no house-9 on the farm" in refused.json()["detail"]


async def test_the_state_tells_the_true_air_and_that_it_is_invented() -> None:
    async with control(FaultBook()) as client:
        state = (await client.get("/state")).json()
    assert state["note"] == "invented data"
    assert state["rooms"] == {"house-1": {"humidity": 96.5}}
    assert (state["live"], state["broker_connected"], state["packs_sent"]) == (False, False, 0)
