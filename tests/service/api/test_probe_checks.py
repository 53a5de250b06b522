"""Checks of probes over the API, and what the sheet makes of them."""

from __future__ import annotations

from datetime import datetime

from rules.model import DAY_MS
from tests.support.api import Api

ADDRESS = "/api/probes/h7-door"


async def test_a_check_is_kept_and_the_next_one_is_due_so_many_days_later(api: Api) -> None:
    asked = await api.put(f"{ADDRESS}/check-every", {"days": 30})
    assert (asked["every_days"], asked["checked"], asked["is_due"]) == (30, None, False)

    done = await api.post(f"{ADDRESS}/checks", {"who": "Ines"})

    assert (done["checked_by"], done["is_due"]) == ("Ines", False)
    days = datetime.fromisoformat(done["due"]) - datetime.fromisoformat(done["checked"])
    assert days.days == 30
    api.clock.forward(30 * DAY_MS)
    assert (await api.put(f"{ADDRESS}/check-every", {"days": 30}))["is_due"]


async def test_an_older_check_written_down_later_does_not_replace_a_newer_one(one_api: Api) -> None:
    first = await one_api.post(f"{ADDRESS}/checks", {"who": "Ines", "at": "2026-11-20T08:00:00Z"})

    later = await one_api.post(f"{ADDRESS}/checks", {"who": "Ben", "at": "2026-11-01T08:00:00Z"})

    assert (later["checked"], later["checked_by"]) == (first["checked"], "Ines")


async def test_nobody_asks_for_checks_any_more(one_api: Api) -> None:
    await one_api.put(f"{ADDRESS}/check-every", {"days": 1})

    assert (await one_api.put(f"{ADDRESS}/check-every", {"days": None}))["due"] is None


async def test_what_cannot_be(one_api: Api) -> None:
    await one_api.post("/api/probes/nowhere/checks", {"who": "Ines"}, expect=404)
    await one_api.put("/api/probes/nowhere/check-every", {"days": 3}, expect=404)
    await one_api.put(f"{ADDRESS}/check-every", {"days": 0}, expect=422)
    await one_api.post(f"{ADDRESS}/checks", {}, expect=422)
    ahead = {"who": "Ines", "at": "2027-01-01T00:00:00Z"}
    assert "lies ahead" in (await one_api.post(f"{ADDRESS}/checks", ahead, expect=422))["detail"]
