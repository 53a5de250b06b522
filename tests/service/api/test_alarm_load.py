"""How much alarms ask of people, from what was raised and told. Targets are held to their rows with the rules.

Counts are worked out by hand from the moves written down here, or from the dry night of the invented farm.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from rules.alarm import State
from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, Instant
from service.api.moments import show_moment
from service.reports.alarm_load import LONGEST_DAYS
from service.storage import ledger, outbox
from tests.support import farmyard
from tests.support.api import Api, go_dry

NOW_MS = farmyard.NOW_MS
FROM_MS = NOW_MS - DAY_MS
H7 = ("house-7", "humidity", "low")
H3 = ("house-3", "temperature", "high")
OPENS = (State.NORMAL, State.UNACKNOWLEDGED)
CLEARS = (State.UNACKNOWLEDGED, State.NORMAL)


async def write_moves(api: Api, *moves: tuple[tuple[str, str, str], Instant, tuple[State, State]]) -> None:
    """What happened to alarms, as judging would have written it down."""
    rows = [
        {
            "room_id": key[0],
            "quantity": key[1],
            "side": key[2],
            "at_ms": at_ms,
            "happens": f"{before} to {after}",
            "from_state": before.value,
            "to_state": after.value,
            "decided_ms": at_ms,
            "who": "Houseband",
            "happening_id": None,
            "facts": "{}",
        }
        for key, at_ms, (before, after) in moves
    ]
    async with api.desk.database.write() as connection:
        await ledger.add_transitions(connection, api.desk.farm_id, rows)


async def write_text(
    api: Api,
    person: str,
    at_ms: Instant,
    told_ms: Instant,
    *,
    kind: str = "trouble",
    state: str = outbox.SENT,
    **facts: str,
) -> None:
    """A text about House 7 that went out."""
    key = f"house-7/{kind}/{at_ms}/{person}/{state}"
    notice = {"notice_key": key, "kind": kind, "telling": "wake", "room_id": "house-7", "happening_id": None}
    times = {"at_ms": at_ms, "decided_ms": at_ms, "use_by_ms": at_ms + HOUR_MS}
    telling = {
        "delivery_id": key,
        "notice_key": key,
        "step": 0,
        "person_id": person,
        "way": "text",
        "state": state,
    }
    sent = {"attempts": 1, "next_ms": told_ms, "claimed_until_ms": 0, "first_try_ms": told_ms, "ended_ms": told_ms}
    async with api.desk.database.write() as connection:
        await ledger.add_notices(connection, api.desk.farm_id, [{**notice, **times, "facts": facts}])
        await outbox.add_tellings(
            connection, api.desk.farm_id, [{**telling, **sent, "detail": "", "text": json.dumps(facts)}]
        )


def part(found: dict[str, Any], room_or_person: str) -> Any:
    """The part of one room or person."""
    return next(
        one
        for one in [*found["rooms"], *found["people"]]
        if room_or_person in {one.get("room_id"), one.get("person_id")}
    )


def values(load: dict[str, Any]) -> dict[str, Any]:
    return {line["figure"]: line["value"] for line in load["figures"]}


async def test_a_dry_night_is_one_alarm_for_its_room_and_one_text_for_its_person(api: Api) -> None:
    await go_dry(api, 45)
    await farmyard.tell(api.desk.database, api.desk.farm, api.clock)

    found = await api.get("/api/alarm-load")

    assert found["until"] == show_moment(api.clock.now_ms() + 1)
    assert (found["farm"]["alarms"], found["farm"]["open_at_the_end"]) == (1, 1)
    assert [(room["room_id"], room["alarms"]) for room in found["rooms"]] == [
        ("house-7", 1), ("house-3", 0), ("cooler", 0),
    ]  # fmt: skip
    assert part(found, "house-7")["most_frequent"] == [{"alarm": "house-7/humidity/low", "times": 1}]
    assert (part(found, "maria")["alarms"], part(found, "maria")["texts"]) == (1, 1)
    assert part(found, "old-hand")["texts"] == 0
    assert found["farm"]["rate"] == "very likely acceptable"


async def test_every_figure_says_its_target_and_whose_it_is(one_api: Api) -> None:
    found = await one_api.get("/api/alarm-load")

    lines = {line["figure"]: line for line in found["farm"]["figures"]}
    assert lines["alarms a day"] == {
        "figure": "alarms a day",
        "term": "alarm rate",
        "value": 0.0,
        "unit": "alarms/day",
        "target": "at most 144",
        "on_target": True,
        "manageable": 288.0,
        "whose": "ISA-18.2 / IEC 62682",
    }
    assert lines["share of time in bursts"]["target"] == "below 1"
    assert lines["alarms that were over within a minute"]["target"] == "none"
    top = lines["share of the ten most frequent alarms"]
    assert (top["value"], top["on_target"], top["target"]) == (None, None, "1 to 5")


async def test_alarms_are_counted_by_what_opens_and_closes_them(api: Api) -> None:
    """House 7 opens, is answered, clears, is back; and House 3 was open since two days before, then left alone."""
    minute = MINUTE_MS
    await write_moves(
        api,
        (H7, FROM_MS, OPENS),
        (H7, FROM_MS + 2 * minute, (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)),
        (H7, FROM_MS + 30 * minute, (State.ACKNOWLEDGED, State.NORMAL)),
        (H7, FROM_MS + 90 * minute, OPENS),
        (H7, FROM_MS + 95 * minute, (State.UNACKNOWLEDGED, State.RETURNED_UNACKNOWLEDGED)),
        (H7, FROM_MS + 99 * minute, (State.RETURNED_UNACKNOWLEDGED, State.NORMAL)),
        (H3, FROM_MS - 50 * HOUR_MS, OPENS),
        (H3, FROM_MS - 49 * HOUR_MS, CLEARS),
        (H3, FROM_MS - 48 * HOUR_MS, OPENS),
        (H3, FROM_MS + 20 * HOUR_MS, (State.UNACKNOWLEDGED, State.SHELVED)),
        (H3, FROM_MS + 22 * HOUR_MS, (State.SHELVED, State.UNACKNOWLEDGED)),
    )

    found = await api.get("/api/alarm-load", from_=show_moment(FROM_MS))

    assert [part(found, room)["alarms"] for room in ("house-7", "house-3", "cooler")] == [2, 1, 0]
    assert values(part(found, "house-7"))["most alarms in any 10 minutes"] == 1
    stale = "most alarms on one day that had lasted more than 24 hours"
    assert [values(part(found, room))[stale] for room in ("house-7", "house-3")] == [0, 1]
    assert part(found, "house-3")["open_for_more_than_a_day"] == 0, "it was let go of for two hours"
    assert (found["farm"]["alarms"], found["farm"]["most_open_at_once"]) == (3, 2)


async def test_an_alarm_that_ended_before_the_span_is_not_in_it(api: Api) -> None:
    await write_moves(
        api,
        (H7, FROM_MS - 2 * HOUR_MS, OPENS),
        (H7, FROM_MS - HOUR_MS, CLEARS),
        (H3, FROM_MS - HOUR_MS, (State.NORMAL, State.SHELVED)),
    )
    found = await api.get("/api/alarm-load", from_=show_moment(FROM_MS))
    assert (found["farm"]["alarms"], found["farm"]["most_open_at_once"]) == (0, 0)


async def test_a_burst_is_shown_with_its_grade(one_api: Api) -> None:
    """Twelve alarms in the second 10 minutes, four in the third: a burst of one period."""
    keys = [("house-7", quantity, side) for quantity in "abcdefgh" for side in ("low", "high")]
    begin_ms = FROM_MS + 10 * MINUTE_MS
    moves = [(key, begin_ms + n * 1000 + (n >= 12) * 10 * MINUTE_MS, OPENS) for n, key in enumerate(keys)]
    await write_moves(one_api, *moves)

    found = await one_api.get("/api/alarm-load", from_=show_moment(FROM_MS))

    assert found["farm"]["bursts"] == [
        {
            "began": show_moment(begin_ms),
            "ended": show_moment(begin_ms + 10 * MINUTE_MS),
            "alarms": 12,
            "first_10_minutes": 12,
            "grade": "between manageable and hard",
        }
    ]
    assert found["rooms"][0]["bursts"] == found["farm"]["bursts"]
    assert found["farm"]["most_open_at_once"] == 16


async def test_a_person_s_load_is_what_reached_them_about_trouble(api: Api) -> None:
    """Two texts about one alarm and one about its end; what went unsent counts for nobody."""
    await write_moves(api, (H7, FROM_MS + HOUR_MS, OPENS), (H7, FROM_MS + 3 * HOUR_MS, CLEARS))
    about = {"quantity": "humidity", "side": "low"}
    first_ms = FROM_MS + HOUR_MS
    await write_text(api, "maria", first_ms, first_ms + 5000, **about)
    await write_text(api, "maria", first_ms + HOUR_MS, first_ms + HOUR_MS + 5000, kind="deeper", **about)
    await write_text(api, "maria", FROM_MS + 3 * HOUR_MS, FROM_MS + 3 * HOUR_MS + 5000, kind="back", **about)
    await write_text(api, "ben", first_ms, first_ms + 5000, state=outbox.GAVE_UP, **about)
    await write_text(api, "ben", first_ms, FROM_MS + 4 * HOUR_MS, state=outbox.UNSURE, **about)
    await write_text(api, "ben", first_ms, FROM_MS + 5 * HOUR_MS, kind="probe silent")

    found = await api.get("/api/alarm-load", from_=show_moment(FROM_MS))

    maria, ben = part(found, "maria"), part(found, "ben")
    assert (maria["texts"], maria["alarms"], maria["most_open_at_once"]) == (3, 2, 1)
    assert maria["most_frequent"] == [{"alarm": "house-7/humidity/low", "times": 2}]
    assert (ben["texts"], ben["alarms"]) == (2, 2)
    assert ben["were_over_within_a_minute"] == ["house-7/humidity/low"], "it was over when the text came"


async def test_what_a_person_was_told_before_the_span_still_stands_for_them(api: Api) -> None:
    await write_moves(api, (H7, FROM_MS - 30 * HOUR_MS, OPENS))
    told_ms = FROM_MS - 30 * HOUR_MS + 5000
    await write_text(api, "maria", FROM_MS - 30 * HOUR_MS, told_ms, quantity="humidity", side="low")

    maria = part(await api.get("/api/alarm-load", from_=show_moment(FROM_MS)), "maria")

    assert (maria["texts"], maria["alarms"]) == (0, 0)
    assert (maria["open_at_the_end"], maria["open_for_more_than_a_day"]) == (1, 1)


@pytest.mark.parametrize(
    ("from_ms", "to_ms", "why"),
    [
        (NOW_MS + HOUR_MS, NOW_MS + 2 * HOUR_MS, "not begun yet"),
        (NOW_MS - (LONGEST_DAYS + 1) * DAY_MS, NOW_MS, "at most 366 days"),
        (NOW_MS, NOW_MS - 1, "ends before it begins"),
    ],
)
async def test_a_span_that_says_nothing_is_refused(
    one_api: Api, from_ms: Instant, to_ms: Instant, why: str
) -> None:
    asked = {"from_": show_moment(from_ms), "to": show_moment(to_ms)}
    said = await one_api.refused("/api/alarm-load", expect=422, **asked)
    assert why in said["detail"]
