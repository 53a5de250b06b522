"""What was told to whom is shown with its tries, and a telling that was given up is not hidden."""

from __future__ import annotations

from service.api.moments import show_moment
from service.notifications.address import Address
from service.storage import outbox
from tests.support.api import Api, go_dry


async def test_notices_and_tellings_are_shown_with_tries_and_what_was_given_up(api: Api) -> None:
    await go_dry(api, 45)
    database, farm, now_ms = api.desk.database, api.desk.farm, api.clock.now_ms()
    await Address(database=database, farm=farm, clock=api.clock).all_notices()
    async with database.write() as connection:
        due = await outbox.claim_due(connection, api.desk.farm_id, now_ms=now_ms, until_ms=now_ms + 1, limit=1)
        telling = {"state": outbox.GAVE_UP, "attempts": 1, "ended_ms": now_ms, "detail": "refused"}
        tried = {"attempt": 1, "at_ms": now_ms, "outcome": "refused", "detail": "no such number"}
        delivery = due[0]["delivery_id"]
        await outbox.end_attempt(connection, api.desk.farm_id, delivery, attempt=tried, telling=telling)
    notices = (await api.get("/api/notices"))["rows"]
    woke = [n for n in notices if n["telling"] == "wake"]
    assert woke[-1]["kind"] == "trouble"
    assert woke[-1]["facts"]["room"] == "House 7"
    (given_up,) = (await api.get("/api/deliveries", state="gave up"))["rows"]
    assert given_up["tries"] == [
        {"number": 1, "at": show_moment(now_ms), "outcome": "refused", "detail": "no such number"}
    ]
    waiting = (await api.get("/api/deliveries", state="waiting"))["rows"]
    assert waiting
    assert all(t["tries"] == [] and t["next_try"] for t in waiting)


async def test_a_span_without_tellings_is_empty(one_api: Api) -> None:
    assert await one_api.get("/api/notices") == {"rows": [], "more": False}
    assert await one_api.get("/api/deliveries") == {"rows": [], "more": False}
    await one_api.refused("/api/deliveries", expect=422, state="lost")
    await one_api.refused("/api/notices", expect=422, limit=0)
