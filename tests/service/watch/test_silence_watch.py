"""What is not heard, over a real database: the round sheet, who is woken, and when it is over."""

from __future__ import annotations

import pytest
from sqlalchemy import text

from rules.model import HOUR_MS, MINUTE_MS, Quantity, Side
from service.storage import rooms
from service.storage.database import Database
from service.storage.holds import LEAVE, WORKING, HoldRow, add_hold
from service.storage.silences import set_gateway
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.listened_line import PROBES, Line
from tests.support.watched import minute, restart_first_days


@pytest.fixture
async def line(database: Database) -> Line:
    farm = await farmyard.settle(database)
    made = Line(database=database, farm=farm, clock=HandClock(minute(0)))
    await made.watch.begin()
    await made.live(10)
    assert await made.silences() == []
    return made


async def hold(line: Line, kind: str, *, quantity: Quantity | None = None, minutes: float = 60) -> None:
    now_ms = line.clock.at_ms
    row = HoldRow(
        hold_id=f"{kind}-{now_ms}",
        kind=kind,
        room_id="house-7",
        quantity=quantity,
        side=None if quantity is None else Side.LOW,
        person_id="maria",
        from_ms=now_ms,
        until_ms=now_ms + round(minutes * MINUTE_MS),
        ended_ms=None,
        ended_by=None,
        why="",
        recorded_ms=now_ms,
        who="Maria",
    )
    async with line.database.write() as connection:
        await add_hold(connection, 1, row)


async def test_a_silent_twin_is_for_the_round_sheet_only(line: Line) -> None:
    line.silent = {"h7-back"}
    await line.live(2.5)
    assert await line.silences() == []
    await line.live(0.5)
    assert await line.silences() == [("probe", "h7-back", False, False)]
    await line.live(20)
    assert await line.woken() == []
    line.silent = set()
    await line.live(5)
    assert await line.silences() == [("probe", "h7-back", False, True)]
    assert await line.woken() == []


async def test_a_room_that_lost_its_last_probe_wakes_once_for_all_it_lost(line: Line) -> None:
    line.silent = {"h7-back", "h7-door"}
    await line.live(9)
    await line.live(0.5)
    assert await line.woken() == []
    await line.live(0.5)
    ((kind, facts),) = await line.woken()
    assert (kind, facts["scope"], facts["room"], facts["rooms"]) == ("silence", "room", "House 7", ["House 7"])
    assert set(facts["quantities"]) <= {"temperature", "humidity", "co2"}
    assert "humidity" in facts["quantities"]
    assert facts["since_ms"] == minute(10)
    assert facts["last"] is None
    await line.live(30)
    assert len(await line.woken()) == 1
    ((room_id, happening, woke),) = await line.rows("SELECT room_id, happening_id, woke FROM happenings")
    assert (room_id, happening, woke) == (None, f"silence/room/house-7@{minute(10)}", 1)


async def test_heard_again_is_said_once_and_only_after_the_limit(line: Line) -> None:
    line.silent = {"h7-back", "h7-door"}
    await line.live(11)
    line.silent = set()
    await line.live(3.5)
    assert len(await line.woken()) == 1
    await line.live(1)
    _, (kind, facts) = await line.woken()
    assert (kind, facts["scope"], facts["since_ms"], facts["until_ms"]) == (
        "heard",
        "room",
        minute(10),
        minute(22),
    )
    ((ended_ms, closed_ms),) = await line.rows("SELECT ended_ms, closed_ms FROM happenings")
    assert (ended_ms, closed_ms) == (minute(22), None)
    await line.live(20)
    assert len(await line.woken()) == 2


async def test_a_probe_that_comes_and_goes_makes_one_text_in_six_hours(line: Line) -> None:
    for _ in range(4):
        line.silent = {"h7-back", "h7-door"}
        await line.live(15)
        line.silent = set()
        await line.live(6)
    assert [kind for kind, _ in await line.woken()] == ["silence", "heard"]
    assert len([s for s in await line.silences() if s[0] == "probe"]) == 8


async def test_one_that_flickers_is_still_silent(line: Line) -> None:
    line.silent = {"h7-back", "h7-door"}
    await line.live(11)
    for _ in range(5):
        await line.report(["h7-door", "h7-back"])
        await line.live(4)
    assert [kind for kind, _ in await line.woken()] == ["silence"]
    assert len(await line.silences()) == 3


@pytest.mark.parametrize("kind", [WORKING, LEAVE])
async def test_work_and_leave_until_hold_the_text_and_it_comes_when_they_end(line: Line, kind: str) -> None:
    await hold(line, kind, minutes=30)
    line.silent = {"h7-back", "h7-door"}
    await line.live(29)
    assert await line.woken() == []
    await line.live(3)
    assert [kind for kind, _ in await line.woken()] == ["silence"]


async def test_leaving_one_of_several_that_were_lost_holds_nothing(line: Line) -> None:
    await hold(line, LEAVE, quantity=Quantity.HUMIDITY)
    line.silent = {"h7-back", "h7-door"}
    await line.live(12)
    assert [kind for kind, _ in await line.woken()] == ["silence"]


async def test_first_days_and_empty_rooms_wake_nobody(line: Line) -> None:
    await restart_first_days(line.database)
    line.silent = {"h7-back", "h7-door"}
    await line.live(20)
    assert await line.woken() == []
    assert {s[:2] for s in await line.silences()} == {("probe", "h7-back"), ("probe", "h7-door")}


async def test_a_probe_taken_out_of_its_room_is_over_without_a_word(line: Line) -> None:
    line.silent = {"h7-back", "h7-door"}
    await line.live(11)
    for probe in ("h7-back", "h7-door"):
        values = {"probe_id": probe, "room_id": None, "place": "", "valid_from_ms": line.clock.at_ms}
        async with line.database.write() as connection:
            noted = {"recorded_ms": line.clock.at_ms, "who": "Ines"}
            await rooms.place_probe(connection, 1, {**values, **noted})
    await line.live(10)
    assert [kind for kind, _ in await line.woken()] == ["silence"]
    assert all(ended for _, _, _, ended in await line.silences())


async def test_a_new_probe_in_the_place_of_a_dead_one_is_seen_by_at_once(line: Line) -> None:
    line.silent = {"h7-back", "h7-door"}
    await line.live(8)
    values = {"probe_id": "new", "room_id": "house-7", "place": "middle", "valid_from_ms": line.clock.at_ms}
    async with line.database.write() as connection:
        await rooms.place_probe(connection, 1, {**values, "recorded_ms": line.clock.at_ms, "who": "Ines"})
    await line.report(["new"])
    await line.live(6)
    assert await line.woken() == []


async def test_heard_only_as_rejected_is_heard(line: Line) -> None:
    line.only_rejected = {"h7-back", "h7-door"}
    await line.live(20)
    assert await line.silences() == []


async def test_the_whole_site_is_one_text_and_work_does_not_hold_it(line: Line) -> None:
    await hold(line, WORKING)
    line.silent = set(PROBES)
    await line.live(2.75)
    assert await line.woken() == []
    await line.live(0.5)
    ((kind, facts),) = await line.woken()
    assert (kind, facts["scope"], facts["name"], facts["room"]) == ("silence", "site", "site", None)
    assert facts["rooms"] == ["House 7", "House 3", "Cooler"]
    assert facts["first_check"] == "power or network"
    await line.live(20)
    assert [s[:3] for s in await line.silences()] == [("site", "site", True)]
    line.silent = set()
    await line.live(6)
    _, (kind, facts) = await line.woken()
    assert (kind, facts["still"], facts["since_ms"], facts["until_ms"]) == ("heard", [], minute(10), minute(34))


async def test_a_site_that_comes_and_goes_is_told_again_after_twenty_minutes(line: Line) -> None:
    for _ in range(2):
        line.silent = set(PROBES)
        await line.live(5)
        line.silent = set()
        await line.live(5)
    assert [kind for kind, _ in await line.woken()] == ["silence", "heard"]
    line.silent = set(PROBES)
    await line.live(10)
    assert [kind for kind, _ in await line.woken()] == ["silence", "heard", "silence"]


async def test_rooms_still_not_heard_when_the_site_is_are_named_and_told_later(line: Line) -> None:
    line.silent = set(PROBES)
    await line.live(20)
    line.silent = {"h7-back", "h7-door"}
    await line.live(5)
    (_, site), (kind, facts) = await line.woken()
    assert (site["scope"], kind, facts["scope"], facts["still"]) == ("site", "heard", "site", ["House 7"])
    await line.live(12)
    assert [(k, f["scope"]) for k, f in await line.woken()][2:] == [("silence", "room")]


async def test_a_gateway_is_told_with_its_rooms_and_swallows_its_probes(line: Line) -> None:
    async with line.database.write() as connection:
        for probe in ("h7-door", "h7-back", "h3-middle"):
            await set_gateway(connection, 1, probe, "north")
    line.silent = {"h7-door", "h7-back", "h3-middle"}
    await line.live(4.75)
    assert await line.silences() == []
    await line.live(0.5)
    ((_, facts),) = await line.woken()
    assert (facts["scope"], facts["name"], facts["rooms"]) == ("gateway", "north", ["House 7", "House 3"])
    await line.live(20)
    assert [s[:2] for s in await line.silences()] == [("gateway", "north")]


async def test_our_own_line_has_words_of_its_own_and_nothing_else_is_judged(line: Line) -> None:
    line.horizon.lost(line.clock.at_ms)
    line.silent = set(PROBES)
    await line.live(2.75)
    assert await line.woken() == []
    await line.live(0.5)
    ((_, facts),) = await line.woken()
    assert (facts["scope"], facts["by_http"], facts["since_ms"]) == ("broker", False, minute(10))
    await line.live(20)
    line.silent = set()
    line.horizon.caught_up()
    await line.live(2)
    assert len(await line.woken()) == 1
    await line.live(2)
    assert [(k, f["scope"]) for k, f in await line.woken()] == [("silence", "broker"), ("heard", "broker")]
    assert [s[0] for s in await line.silences()] == ["broker"]


async def test_a_farm_that_is_heard_by_http_too_is_not_told_that_nothing_is_heard(line: Line) -> None:
    line.horizon.lost(line.clock.at_ms)
    await line.live(4)
    ((_, facts),) = await line.woken()
    assert facts["by_http"] is True


async def test_after_six_hours_of_our_own_nobody_is_woken_for_silence_that_was_ours(line: Line) -> None:
    await line.live(10, watching=False)
    line.clock.forward(6 * HOUR_MS - 10 * MINUTE_MS)
    line.restart()
    await line.watch.begin()
    line.horizon.start_deaf(0)
    await line.live(1)
    line.horizon.caught_up()
    await line.live(30)
    assert await line.woken() == []
    assert await line.silences() == [("houseband", "houseband", False, True)]
    ((since_ms, ended_ms),) = await line.rows("SELECT since_ms, ended_ms FROM silences")
    assert since_ms == minute(10)
    assert 6 * HOUR_MS < ended_ms - minute(10) <= 6 * HOUR_MS + 2 * MINUTE_MS


async def test_what_queued_up_while_we_were_down_makes_no_probe_quick(line: Line) -> None:
    """Probes that report every five minutes; six hours of them are delivered at once, then life goes on."""
    from_ms = line.clock.at_ms
    line.restart()
    line.clock.forward(6 * HOUR_MS)
    now_ms = line.clock.at_ms
    await line.watch.begin()
    for probe in PROBES:
        points = [(at_ms, 92.0) for at_ms in range(from_ms, now_ms, 5 * MINUTE_MS)]
        for n, (at_ms, value) in enumerate(points):
            late_ms = now_ms + n - at_ms
            await farmyard.send(line.database, 1, probe, Quantity.HUMIDITY, [(at_ms, value)], late_ms=late_ms)
    line.silent, line.values = set(PROBES), {Quantity.HUMIDITY: 92.0}
    for _ in range(4):
        await line.live(5)
        await line.report(PROBES)
    assert [s for s in await line.silences() if s[0] != "houseband"] == []


async def test_a_machine_that_slept_did_not_listen(line: Line) -> None:
    line.clock.forward(6 * HOUR_MS)
    await line.live(30)
    assert await line.woken() == []
    assert await line.silences() == [("houseband", "houseband", False, True)]


async def test_probes_that_died_while_we_were_down_are_told_at_their_limit_afterwards(line: Line) -> None:
    line.silent = set(PROBES)
    line.restart()
    line.clock.forward(6 * HOUR_MS)
    await line.watch.begin()
    await line.live(2.75)
    assert await line.woken() == []
    await line.live(0.75)
    ((_, facts),) = await line.woken()
    assert (facts["scope"], facts["since_ms"]) == ("site", minute(10))


async def test_an_open_alarm_is_said_as_it_was_when_last_heard(line: Line) -> None:
    line.silent = {"h7-back", "h7-door"}
    values = {"farm_id": 1, "room_id": "house-7", "quantity": "humidity", "side": "low"}
    async with line.database.write() as connection:
        statement = "INSERT INTO alarms (farm_id, room_id, quantity, side, state, since_ms) VALUES"
        stands = f"(:farm_id, :room_id, :quantity, :side, 'unacknowledged', {minute(5)})"
        await connection.execute(text(f"{statement} {stands}"), values)
    await line.live(11)
    ((_, facts),) = await line.woken()
    assert facts["last"]["quantity"] == "humidity"
    assert (facts["last"]["side"], facts["last"]["value"], facts["last"]["at_ms"]) == ("low", 92.0, minute(10))
