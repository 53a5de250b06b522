"""The watch over whoever went, when something else goes wrong."""

from __future__ import annotations

import pytest

from service.storage import ledger
from service.storage.database import Database
from service.watch.catalogue import Catalogue
from service.watch.facts_now import FactsNow
from service.watch.going_watch import GoingWatch, is_better
from service.watch.judge import Judge
from service.watch.respond import Word, answer
from tests.support.clock import HandClock
from tests.support.watched import DRY_HALF_HOUR, ROOM, hear, judge_at, minute, watched_farm
from tests.support.written import written


async def test_one_happening_that_cannot_be_looked_at_leaves_nobody_inside_unasked_after(
    database: Database,
) -> None:
    """Maria goes, and says nothing for longer than she may; another happening has facts that nobody can read."""
    farm = await watched_farm(database)
    await hear(database, DRY_HALF_HOUR[:20])
    await judge_at(database, farm, 14)
    await answer(database, 1, room_id=ROOM, person_id="maria", word=Word.GOING, way="page", now_ms=minute(15))
    odd = {"happening_id": "house-7@odd", "room_id": ROOM, "began_ms": minute(10), "woke": 1}
    notice = {"notice_key": "odd", "kind": "trouble", "telling": "wake", "room_id": ROOM, "facts": {}}
    moments = {"at_ms": minute(10), "decided_ms": minute(10), "use_by_ms": minute(200)}
    said = {"person_id": "ben", "at_ms": minute(11), "word": "going", "way": "page"}
    async with database.write() as connection:
        await ledger.save_happening(connection, 1, {**odd, "ended_ms": None, "closed_ms": None})
        await ledger.add_notices(connection, 1, [{**notice, **moments, "happening_id": odd["happening_id"]}])
        await ledger.add_answer(connection, 1, {**said, "happening_id": odd["happening_id"]})
    now, clock = FactsNow(farm=farm, judge=Judge(database, farm, Catalogue(1))), HandClock(minute(95))
    await GoingWatch(database=database, farm=farm, clock=clock, now=now).all_due()
    kinds = {row["kind"] for row in await written(database, "notices")}
    assert {"no improvement", "look after"} <= kinds


@pytest.mark.parametrize(
    ("before", "now", "better"),
    [
        (["House 5", "House 7", "House 9"], ["House 7"], True),
        (["House 5", "House 7"], ["House 5", "House 7"], False),
        (["House 5"], ["House 5", "House 7"], False),
    ],
)
def test_of_rooms_that_went_wrong_together_it_is_better_when_some_are_back(
    before: list[str], now: list[str], *, better: bool
) -> None:
    assert is_better({"what": "power", "rooms": before}, {"what": "power", "rooms": now}) is better
