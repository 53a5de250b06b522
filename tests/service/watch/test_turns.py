"""Whose turn it is: hand-overs, clock changes, swaps, absences, gaps, and a hand-over in the middle of a chain.

Clock changes are those of the tz database for America/New_York: 8 March and 1 November 2026 at 2:00.
"""

from __future__ import annotations

from datetime import date, datetime
from time import process_time

from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, Instant
from service.localtime import at_local, of_wall
from service.storage.database import Database
from service.watch.on_call import AWAY, NOBODY_ELSE, call_list, places_at
from service.watch.rota_gaps import gap_sentence, rota_gaps
from tests.support.rotas import ZONE, absence, farm_row, lines, person, swap, turn

NIGHT = at_local(date(2026, 11, 24), 2 * 60, ZONE)
"""Tuesday, 2:00."""
EVER = 10**14


def at(text: str) -> Instant:
    return of_wall(datetime.fromisoformat(text), ZONE)


async def told(database: Database, at_ms: Instant = NIGHT) -> list[str]:
    async with database.read() as connection:
        rows = await call_list(connection, farm_row(), at_ms=at_ms, room_id="house-1")
    return [row["person_id"] for row in rows]


async def whys(database: Database, at_ms: Instant = NIGHT) -> list[str]:
    async with database.read() as connection:
        places = await places_at(connection, farm_row(), at_ms=at_ms, room_id="house-1")
    return [place.left_out or place.why for place in places]


async def gaps(database: Database, from_ms: Instant, until_ms: Instant | None = None) -> list[str]:
    async with database.read() as connection:
        found = await rota_gaps(connection, farm_row(), "nights", from_ms=from_ms, until_ms=until_ms)
    return [gap_sentence(gap, ZONE) for gap in found]


async def two_weeks_each(database: Database) -> None:
    """Tom and Uma take turns of a week, Monday 8:00 to Monday 8:00; Otto comes last."""
    await person(database, "tom", "uma", "otto")
    await turn(database, "tom", "2026-10-26T08:00", 7 * 1440, "FREQ=WEEKLY;INTERVAL=2;BYDAY=MO")
    await turn(database, "uma", "2026-11-02T08:00", 7 * 1440, "FREQ=WEEKLY;INTERVAL=2;BYDAY=MO")
    await lines(database, ("rota:nights", 0), ("otto", 20))


async def test_the_one_whose_turn_it_is_is_told_first(database: Database) -> None:
    await two_weeks_each(database)
    assert await told(database) == ["tom", "otto"]
    assert await told(database, NIGHT - 7 * DAY_MS) == ["uma", "otto"]
    assert await whys(database) == ["has the turn", ""]


async def test_a_hand_over_is_to_the_minute_on_the_farms_clock_in_autumn_too(database: Database) -> None:
    await two_weeks_each(database)
    hand_over = at("2026-11-02T08:00")
    assert await told(database, hand_over - 1) == ["tom", "otto"]
    assert await told(database, hand_over) == ["uma", "otto"]
    assert await gaps(database, at("2026-10-26T08:00"), hand_over + 30 * DAY_MS) == []


async def test_nights_that_are_longer_or_shorter_leave_no_gap_and_no_overlap(
    database: Database,
) -> None:
    await person(database, "tom", "uma")
    await turn(database, "tom", "2026-03-01T20:00", 720, "FREQ=DAILY")
    await turn(database, "uma", "2026-03-01T08:00", 720, "FREQ=DAILY")
    await lines(database, ("rota:nights", 0))
    for morning in ("2026-03-08T08:00", "2026-11-01T08:00"):
        assert await told(database, at(morning) - 1) == ["tom"]
        assert await told(database, at(morning)) == ["uma"]
    assert await gaps(database, at("2026-03-02T00:00"), at("2026-11-05T00:00")) == []


async def test_a_turn_that_begins_when_the_wall_skips_an_hour_begins_after_it(database: Database) -> None:
    """RFC 5545, 3.3.5: 2:30 is read with the offset from before, so it is 3:30 that night."""
    await person(database, "tom", "uma")
    await turn(database, "tom", "2026-03-07T00:00", 2 * 1440)
    await turn(database, "uma", "2026-03-08T02:30", 60)
    await lines(database, ("rota:nights", 0))
    assert await told(database, at("2026-03-08T03:30") - 1) == ["tom"]
    assert await told(database, at("2026-03-08T03:30")) == ["uma"]
    assert await told(database, at("2026-03-08T04:30") - 1) == ["uma"]
    assert await told(database, at("2026-03-08T04:30")) == ["tom"]


async def test_a_turn_in_the_hour_that_comes_twice_begins_with_the_first(database: Database) -> None:
    await person(database, "tom", "uma")
    await turn(database, "tom", "2026-10-31T00:00", 3 * 1440)
    await turn(database, "uma", "2026-11-01T01:30", 90)
    await lines(database, ("rota:nights", 0))
    first = at("2026-11-01T01:30")
    assert await told(database, first - 1) == ["tom"]
    assert await told(database, first) == ["uma"]
    assert await told(database, first + HOUR_MS) == ["uma"]
    assert await told(database, at("2026-11-01T03:00")) == ["tom"]


async def test_of_turns_that_overlap_the_one_that_began_last_counts(database: Database) -> None:
    await person(database, "tom", "uma")
    await turn(database, "uma", "2026-11-23T22:00", 240)
    await turn(database, "tom", "2026-11-23T08:00", 1440)
    await lines(database, ("rota:nights", 0))
    assert await told(database, at("2026-11-23T21:59")) == ["tom"]
    assert await told(database, at("2026-11-23T22:00")) == ["uma"]
    assert await told(database, at("2026-11-24T02:00")) == ["tom"]


async def test_where_nobody_has_the_turn_the_next_line_moves_up_and_the_gap_is_named(database: Database) -> None:
    await person(database, "tom", "uma", "otto")
    await turn(database, "tom", "2026-11-01T18:00", 720, "FREQ=DAILY")
    await turn(database, "uma", "2026-11-01T08:00", 600, "FREQ=DAILY")
    await lines(database, ("rota:nights", 0), ("otto", 20))

    seven = at("2026-11-24T07:00")
    async with database.read() as connection:
        rows = await call_list(connection, farm_row(), at_ms=seven, room_id=None)
    assert [(row["person_id"], row["after_ms"]) for row in rows] == [("otto", 0)]
    found = await gaps(database, at("2026-11-24T00:00"))
    assert len(found) == 14
    assert found[0] == "nobody has the turn from Tue 24 Nov 6:00 to 8:00"


async def test_a_swap_outweighs_the_turn_while_it_holds(database: Database) -> None:
    await two_weeks_each(database)
    await swap(database, "uma", NIGHT - HOUR_MS, NIGHT + HOUR_MS)
    assert await told(database, NIGHT - HOUR_MS - 1) == ["tom", "otto"]
    assert await told(database, NIGHT - HOUR_MS) == ["uma", "otto"]
    assert await told(database, NIGHT + HOUR_MS) == ["tom", "otto"]
    assert await whys(database) == ["took the turn", ""]


async def test_a_swap_with_somebody_further_down_tells_them_once(database: Database) -> None:
    await two_weeks_each(database)
    await swap(database, "otto", NIGHT - HOUR_MS, NIGHT + HOUR_MS)
    assert await told(database) == ["otto"]


async def test_somebody_away_is_stood_in_for_wherever_they_stand(database: Database) -> None:
    await two_weeks_each(database)
    await absence(database, "tom", NIGHT - DAY_MS, NIGHT + DAY_MS, instead="uma")
    await absence(database, "otto", NIGHT - DAY_MS, NIGHT + DAY_MS)
    assert await told(database) == ["uma"]
    assert await whys(database) == ["stands in for Tom", f"Otto {AWAY}"]
    await swap(database, "tom", NIGHT - HOUR_MS, NIGHT + HOUR_MS)
    assert await told(database) == ["uma"]


async def test_absences_are_followed_to_somebody_who_is_there_and_never_in_circles(database: Database) -> None:
    await two_weeks_each(database)
    await person(database, "vic")
    await absence(database, "tom", 0, EVER, instead="uma")
    await absence(database, "uma", 0, EVER, instead="vic")
    assert await told(database) == ["vic", "otto"]
    await absence(database, "vic", 0, EVER, instead="tom")
    assert await told(database) == ["otto"]
    assert await gaps(database, NIGHT, NIGHT + DAY_MS) == [
        "Tom is away, and nobody stands in from Tue 24 Nov 2:00 to Wed 25 Nov 2:00"
    ]


async def test_what_is_written_down_in_the_middle_of_a_chain_counts_from_the_next_notice_on(
    database: Database,
) -> None:
    await two_weeks_each(database)
    written_ms = NIGHT + 5 * MINUTE_MS
    await swap(database, "uma", NIGHT - HOUR_MS, NIGHT + HOUR_MS, recorded_ms=written_ms)
    await absence(database, "otto", NIGHT - HOUR_MS, NIGHT + HOUR_MS, recorded_ms=written_ms)
    assert await told(database, NIGHT) == ["tom", "otto"]
    assert await told(database, written_ms) == ["uma"]


async def test_a_list_that_names_nobody_at_this_hour_comes_to_the_managers(database: Database) -> None:
    await person(database, "tom", "uma")
    await person(database, "boss", manager=1)
    await turn(database, "tom", "2026-11-20T18:00", 720)
    await lines(database, ("rota:nights", 0))
    assert await told(database) == ["boss"]
    assert await whys(database) == ["nobody has the turn", NOBODY_ELSE]


async def test_a_holder_of_a_turn_is_told_outside_their_usual_hours(database: Database) -> None:
    await person(database, "tom", hours_from_minute=600, hours_to_minute=660)
    await person(database, "otto")
    await turn(database, "tom", "2026-11-20T18:00", 720, "FREQ=DAILY")
    await lines(database, ("rota:nights", 0), ("otto", 5))
    assert await told(database) == ["tom", "otto"]


async def test_day_and_night_may_have_rotas_of_their_own(database: Database) -> None:
    await person(database, "tom", "uma")
    await turn(database, "tom", "2026-11-20T00:00", 1440, "FREQ=DAILY")
    await turn(database, "uma", "2026-11-20T00:00", 1440, "FREQ=DAILY", rota_id="days")
    await lines(database, ("rota:nights", 0))
    await lines(database, ("rota:days", 0), daypart="day")
    assert await told(database) == ["tom"]
    assert await told(database, NIGHT + 10 * HOUR_MS) == ["uma"]


async def test_asking_is_quick_though_the_turns_began_fifty_years_ago(database: Database) -> None:
    await person(database, "tom", "otto")
    for day in range(1, 29):
        await turn(database, "tom", f"1976-01-{day:02}T20:00", 720, "FREQ=WEEKLY")
    await lines(database, ("rota:nights", 0), ("otto", 5))
    assert await told(database) == ["tom", "otto"]
    began = process_time()
    assert await told(database) == ["tom", "otto"]
    assert process_time() - began < 0.2
