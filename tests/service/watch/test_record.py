"""Recording: every message ends up on the disk, once, as readings or as rejected bytes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest

from rules.model import DAY_MS, MINUTE_MS, ProbeId, Quantity, Reading
from service.app.jobs import KEEP_REJECTED_MS
from service.messages import Decoded, Incoming, Reason, Rejected, Understood
from service.storage import judgements
from service.storage.database import Database
from service.storage.readings import MOST_BYTES_KEPT, MOST_OF_A_MESSAGE, forget_rejected
from service.watch.record import MOST_WAITING_PROBES, Recorded, record
from tests.support.farmyard import NOW_MS, add_farm, add_rooms
from tests.support.mail_bag import AT_MS, FARM_ID, message, timed, untimed
from tests.support.written import tally, written


@pytest.fixture(autouse=True)
async def farm(database: Database) -> dict[str, Any]:
    return await add_farm(database)


def poison(probe: str = "p1") -> tuple[Incoming, Decoded]:
    """A reading that neither database can hold: a moment beyond 64 bits, past the check that forbids it."""
    reading = Reading(probe=ProbeId(probe), quantity=Quantity.HUMIDITY, at_ms=0, value=90.0)
    object.__setattr__(reading, "at_ms", 2**63)
    incoming = Incoming(topic=f"houseband/tansy/{probe}", payload=b"poison \x00\xff", received_ms=NOW_MS)
    decoded = Decoded(understood=(Understood(reading=reading, timed=True),), heard=frozenset({ProbeId(probe)}))
    return incoming, decoded


async def values(database: Database) -> list[float]:
    return [row["value"] for row in await written(database, "readings")]


async def taken(database: Database, *batches: Sequence[tuple[Incoming, Decoded]]) -> Recorded:
    total = Recorded()
    for batch in batches:
        total.add(await record(database, FARM_ID, batch))
    return total


@pytest.mark.parametrize("together", [True, False], ids=["in one batch", "in two batches"])
async def test_the_same_reading_twice_is_there_once(database: Database, *, together: bool) -> None:
    batches = [[timed(91.4), timed(91.4)]] if together else [[timed(91.4)], [timed(91.4)]]
    outcome = await taken(database, *batches)
    assert (outcome.stored, outcome.repeated, outcome.rejected) == (1, 1, 0)
    assert await values(database) == [91.4]
    assert await tally(database, "repeats") == 1


@pytest.mark.parametrize("together", [True, False], ids=["in one batch", "in two batches"])
async def test_another_value_for_the_same_moment_is_rejected_with_its_bytes(
    database: Database, *, together: bool
) -> None:
    second = timed(55.5)
    batches = [[timed(91.4), second]] if together else [[timed(91.4)], [second]]
    outcome = await taken(database, *batches)
    assert (outcome.stored, outcome.rejected) == (1, 1)
    assert await values(database) == [91.4]
    [kept] = await written(database, "rejected")
    assert (kept["reason"], kept["probe_id"], kept["payload"]) == (Reason.DIFFERS, "p1", second[0].payload)
    assert "55.5" in kept["detail"]
    assert "91.4" in kept["detail"]


async def test_how_late_a_reading_came_is_kept_beside_it(database: Database) -> None:
    await taken(database, [timed(91.4, at_ms=NOW_MS - 40 * MINUTE_MS)])
    [row] = await written(database, "readings")
    assert (row["at_ms"], row["late_ms"]) == (NOW_MS - 40 * MINUTE_MS, 40 * MINUTE_MS)


async def test_a_bare_number_that_the_sender_repeats_is_there_once(database: Database) -> None:
    again = untimed(91.4, received_ms=NOW_MS + 9 * MINUTE_MS, duplicate=True)
    outcome = await taken(database, [untimed(91.4)], [again])
    assert (outcome.stored, outcome.repeated) == (1, 1)


@pytest.mark.parametrize(
    ("value", "later_ms", "marks"),
    [
        (91.4, 9 * MINUTE_MS, {"duplicate": False}),
        (91.5, 9 * MINUTE_MS, {"duplicate": True}),
        (91.4, 11 * MINUTE_MS, {"duplicate": True}),
    ],
    ids=["not marked as a repeat", "another value", "more than ten minutes later"],
)
async def test_a_bare_number_that_may_be_news_is_kept(
    database: Database, value: float, later_ms: int, marks: dict[str, bool]
) -> None:
    outcome = await taken(database, [untimed(91.4)], [untimed(value, received_ms=NOW_MS + later_ms, **marks)])
    assert (outcome.stored, outcome.repeated) == (2, 0)


@pytest.mark.parametrize("size", [1, 2, 4])
async def test_bare_numbers_of_one_millisecond_are_all_kept(database: Database, size: int) -> None:
    numbers = [untimed(value) for value in (91.0, 91.0, 92.0, 91.0)]
    outcome = await taken(database, *[numbers[n : n + size] for n in range(0, 4, size)])
    assert (outcome.stored, outcome.repeated, outcome.rejected) == (4, 0, 0)
    assert [row["at_ms"] - NOW_MS for row in await written(database, "readings")] == [0, 1, 2, 3]
    assert await values(database) == [91.0, 91.0, 92.0, 91.0]


async def test_bare_numbers_make_way_for_timed_readings_of_the_same_series(database: Database) -> None:
    ahead = timed(88.0, at_ms=NOW_MS + 1)
    await taken(database, [untimed(91.0), ahead], [untimed(92.0)], [untimed(93.0)])
    found = {row["at_ms"] - NOW_MS: row["value"] for row in await written(database, "readings")}
    assert found == {0: 91.0, 1: 88.0, 2: 92.0, 3: 93.0}


async def test_good_and_bad_values_of_one_pack_part_company(database: Database) -> None:
    pack = (
        f'[{{"bt": {AT_MS / 1000}, "n": "temperature", "u": "Cel", "v": 16.5}},'
        ' {"n": "humidity", "u": "%RH", "v": 127.9}, {"n": "smell", "v": 3}, {"n": "co2", "u": "ppm", "v": 900}]'
    )
    outcome = await taken(database, [message("p1", pack)])
    assert (outcome.stored, outcome.rejected) == (2, 2)
    kept = await written(database, "rejected")
    assert {row["reason"] for row in kept} == {Reason.SENTINEL, Reason.QUANTITY}
    assert {row["payload"] for row in kept} == {pack.encode()}
    assert await tally(database, f"rejected: {Reason.SENTINEL}") == 1


async def test_the_probe_after_the_last_free_place_is_turned_away_and_shown(database: Database) -> None:
    many = [timed(90.0, probe=f"p{n:03}") for n in range(MOST_WAITING_PROBES)]
    outcome = await taken(
        database, many, [timed(91.0, probe="one-more"), timed(92.0, probe="p007", at_ms=AT_MS + 1)]
    )
    assert (outcome.stored, outcome.rejected) == (MOST_WAITING_PROBES + 1, 1)
    [kept] = await written(database, "rejected")
    assert (kept["reason"], kept["probe_id"]) == (Reason.TOO_MANY_WAITING, "one-more")
    assert await written(database, "probes", probe_id="one-more") == []


async def test_placing_a_waiting_probe_frees_its_place(database: Database) -> None:
    await add_rooms(database, FARM_ID, NOW_MS - 10 * DAY_MS)
    many = [timed(90.0, probe=f"p{n:03}") for n in range(MOST_WAITING_PROBES)]
    outcome = await taken(database, many, [timed(91.0, probe="h7-door")])
    assert (outcome.stored, outcome.rejected) == (MOST_WAITING_PROBES + 1, 0)


async def test_what_the_broker_kept_proves_only_that_the_probe_exists(database: Database) -> None:
    await taken(database, [untimed(91.4, retained=True)])
    [probe] = await written(database, "probes")
    assert (probe["probe_id"], probe["first_heard_ms"], probe["last_heard_ms"]) == ("p1", NOW_MS, 0)
    assert await values(database) == []
    await taken(database, [untimed(91.4, received_ms=NOW_MS + 1)], [untimed(91.4, retained=True)])
    [probe] = await written(database, "probes")
    assert probe["last_heard_ms"] == NOW_MS + 1


async def test_a_probe_keeps_the_gateway_it_was_last_heard_through(database: Database) -> None:
    incoming, decoded = untimed(91.4)
    await taken(database, [(incoming, replace(decoded, gateway="north"))])
    await taken(database, [untimed(91.5, received_ms=NOW_MS + 1)])
    [probe] = await written(database, "probes")
    assert (probe["gateway"], probe["last_heard_ms"]) == ("north", NOW_MS + 1)
    later, said = untimed(91.6, received_ms=NOW_MS + 2)
    await taken(database, [(later, replace(said, gateway="south"))])
    [probe] = await written(database, "probes")
    assert probe["gateway"] == "south"


async def test_last_heard_is_when_it_was_received_whatever_time_it_carries(database: Database) -> None:
    await taken(database, [timed(91.4, at_ms=NOW_MS - DAY_MS)])
    [probe] = await written(database, "probes")
    assert probe["last_heard_ms"] == NOW_MS


async def test_a_room_is_judged_again_only_from_readings_behind_its_judgement(database: Database) -> None:
    await add_rooms(database, FARM_ID, NOW_MS - 10 * DAY_MS)
    judged_ms = NOW_MS - MINUTE_MS
    async with database.write() as connection:
        for room_id in ("house-3", "house-7"):
            present = await judgements.lock(connection, FARM_ID, room_id)
            assert present is not None
            await judgements.save(connection, FARM_ID, present, judged_ms=judged_ms, state={})
    outcome = await taken(database, [timed(91.0, probe="h7-door", at_ms=judged_ms + 1)])
    assert outcome.rooms == {"house-7"}
    assert await again_from(database, "house-7") is None
    late = [timed(91.0, probe="h7-back", at_ms=judged_ms - n * MINUTE_MS) for n in (3, 0, 5, 4)]
    await taken(database, late[:2], late[2:3], late[3:])
    assert await again_from(database, "house-7") == judged_ms - 5 * MINUTE_MS
    assert await again_from(database, "house-3") is None


async def again_from(database: Database, room_id: str) -> int | None:
    async with database.write() as connection:
        present = await judgements.lock(connection, FARM_ID, room_id)
    assert present is not None
    return present.again_from_ms


async def test_a_reading_heard_while_its_probe_waited_concerns_no_room(database: Database) -> None:
    await add_rooms(database, FARM_ID, NOW_MS)
    outcome = await taken(database, [timed(91.0, probe="h7-door", at_ms=NOW_MS - 1)])
    assert (outcome.stored, outcome.rooms) == (1, set())


async def test_a_message_that_cannot_be_stored_does_not_hold_up_its_neighbours(database: Database) -> None:
    batch = [timed(90.0, probe="before"), poison(), untimed(93.0), timed(91.0, probe="after")]
    outcome = await taken(database, batch)
    assert (outcome.stored, outcome.rejected) == (3, 1)
    assert sorted(await values(database)) == [90.0, 91.0, 93.0]
    [kept] = await written(database, "rejected")
    assert (kept["reason"], kept["payload"]) == (Reason.NOT_STORED, b"poison \x00\xff")
    assert "INSERT" not in kept["detail"]
    assert await tally(database, "messages") == 4


async def test_a_poisoned_batch_comes_again_without_being_there_twice(database: Database) -> None:
    batch = [timed(90.0, probe="before"), poison()]
    outcome = await taken(database, batch, batch)
    assert (outcome.stored, outcome.repeated, outcome.rejected) == (1, 1, 2)


async def test_more_probes_in_a_batch_than_one_statement_can_name_do_not_block_it(database: Database) -> None:
    """SQLite takes 32,766 parameters to a statement, PostgreSQL's protocol 32,767."""
    heard = [frozenset(ProbeId(f"n{n}-{part}") for n in range(8200)) for part in range(4)]
    batch = [(untimed(90.0)[0], Decoded(heard=names)) for names in heard]
    outcome = await taken(database, [*batch, timed(91.0)])
    assert outcome.stored + outcome.rejected == 1


async def test_text_that_one_database_cannot_hold_is_kept_legibly(database: Database) -> None:
    incoming = Incoming(topic="houseband/tansy/p\x00\udce9", payload=b"\x00", received_ms=NOW_MS)
    why = Rejected(reason=Reason.TOPIC, detail="a \x00 in it", probe=ProbeId("p\x00"))
    await record(database, FARM_ID, [(incoming, Decoded(rejected=(why,)))])
    [kept] = await written(database, "rejected")
    assert (kept["topic"], kept["payload"]) == ("houseband/tansy/p\N{SYMBOL FOR NULL}?", b"\x00")


async def test_an_empty_batch_writes_nothing(database: Database) -> None:
    await record(database, FARM_ID, [])
    assert await written(database, "tallies") == []


async def test_a_pack_of_nothing_but_bad_values_is_not_kept_once_for_each(database: Database) -> None:
    incoming = Incoming(topic="houseband/tansy/p1", payload=b"bad", received_ms=NOW_MS)
    whys = tuple(Rejected(reason=Reason.UNIT, detail=f"value {n}") for n in range(1000))
    outcome = await record(database, FARM_ID, [(incoming, Decoded(rejected=whys))])
    assert outcome.rejected == 1000
    assert await tally(database, f"rejected: {Reason.UNIT}") == 1000
    kept = sorted((row["detail"] for row in await written(database, "rejected")), key=len)
    assert len(kept) == MOST_OF_A_MESSAGE
    assert kept[-1] == f"value {MOST_OF_A_MESSAGE - 1}; and {1000 - MOST_OF_A_MESSAGE} more in this message"


async def test_of_a_message_that_is_far_too_large_the_beginning_is_kept(database: Database) -> None:
    incoming = Incoming(topic="x", payload=b"x" * (MOST_BYTES_KEPT + 1), received_ms=NOW_MS)
    why = Rejected(reason=Reason.TOO_LARGE, detail="too large")
    await record(database, FARM_ID, [(incoming, Decoded(rejected=(why,)))])
    [kept] = await written(database, "rejected")
    assert len(kept["payload"]) == MOST_BYTES_KEPT


async def test_rejected_messages_are_dropped_when_they_have_been_kept_long_enough(database: Database) -> None:
    why = Rejected(reason=Reason.EMPTY, detail="")
    for days in (31, 29):
        incoming = Incoming(topic=f"{days} days", payload=b"", received_ms=NOW_MS - days * DAY_MS)
        await record(database, FARM_ID, [(incoming, Decoded(rejected=(why,)))])
    async with database.write() as connection:
        await forget_rejected(connection, FARM_ID, NOW_MS - KEEP_REJECTED_MS)
    assert [row["topic"] for row in await written(database, "rejected")] == ["29 days"]
