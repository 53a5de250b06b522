"""Every kind of bad input, all the way to the disk: kept with its reason and bytes, and the next one is stored.

The kinds are the golden messages of tests/contract; its page is made from the same files.
"""

from __future__ import annotations

from collections import Counter

from rules.model import MINUTE_MS
from service.messages import Incoming, Reason
from service.storage.database import Database
from service.watch.record import record
from service.wire.decode import decode
from service.wire.sources import parse_sources
from tests.support.wire_cases import FARM, PREFIX, SOURCES_FILE, WireCase, wire_cases
from tests.support.written import written

CASES = wire_cases()
SOURCES = parse_sources(SOURCES_FILE.read_text(), file=SOURCES_FILE.name)
GOOD = "the-good-one"


async def test_after_every_kind_of_bad_input_its_bytes_are_kept_and_a_good_message_is_stored(
    database: Database,
) -> None:
    """Every case plays on a farm of its own, which needs nothing but a number."""
    wrong = {}
    for farm_id, case in enumerate(CASES, start=1):
        await take(database, farm_id, case)
        await take_good(database, farm_id, case)
        if trouble := [*await kept_wrongly(database, farm_id, case), *await lost(database, farm_id, case)]:
            wrong[case.name] = trouble
    assert wrong == {}
    assert len(CASES) > 100


async def take(database: Database, farm_id: int, case: WireCase) -> None:
    incoming = Incoming(
        topic=case.topic,
        payload=case.payload,
        received_ms=case.received_ms,
        content_type=case.content_type,
        retained=case.retained,
        duplicate=case.duplicate,
    )
    sources = SOURCES if case.mapped else ()
    await record(database, farm_id, [(incoming, decode(incoming, prefix=PREFIX, farm=FARM, sources=sources))])


async def take_good(database: Database, farm_id: int, case: WireCase) -> None:
    later_ms = case.received_ms + MINUTE_MS
    good = Incoming(topic=f"{PREFIX}/{FARM}/{GOOD}/humidity", payload=b"91.4", received_ms=later_ms)
    await record(database, farm_id, [(good, decode(good, prefix=PREFIX, farm=FARM))])


async def kept_wrongly(database: Database, farm_id: int, case: WireCase) -> list[str]:
    """What differs between the rejected messages on the disk and those the case asks for."""
    kept = await written(database, "rejected", farm_id=farm_id)
    found = Counter((row["reason"], row["probe_id"]) for row in kept)
    asked = Counter((Reason[one.reason].value, one.probe) for one in case.rejected)
    trouble = [] if found == asked else [f"rejected {found}, asked {asked}"]
    trouble += ["other bytes than came" for row in kept if row["payload"] != case.payload]
    counted = {row["name"]: row["total"] for row in await written(database, "tallies", farm_id=farm_id)}
    by_reason = Counter(Reason[one.reason].value for one in case.rejected)
    return trouble + [f"counted {r}" for r, n in by_reason.items() if counted.get(f"rejected: {r}") != n]


async def lost(database: Database, farm_id: int, case: WireCase) -> list[str]:
    """Readings of the case, or the good one after it, that are not on the disk as they should be."""
    names = {
        row["series_id"]: (row["probe_id"], row["quantity"])
        for row in await written(database, "series", farm_id=farm_id)
    }
    rows = await written(database, "readings", farm_id=farm_id)
    found = {(*names[row["series_id"]], row["at_ms"]): row["value"] for row in rows}
    asked = {(r.probe, r.quantity, r.at_ms): r.value for r in case.readings}
    asked[GOOD, "humidity", case.received_ms + MINUTE_MS] = 91.4
    heard = {row["probe_id"] for row in await written(database, "probes", farm_id=farm_id)}
    trouble = [] if found == asked else [f"stored {found}, asked {asked}"]
    return trouble + ([] if heard == case.heard | {GOOD} else [f"heard {heard}"])
