"""Who is looked after, and who is not, by what people said: each case at the moment at which it is due.

45 min after "going" somebody should be out, and 30 more are waited. The figures are the project's own judgement.
"""

from __future__ import annotations

from typing import Any

import pytest

from rules.model import HOUR_MS
from service.errors import NotAllowed
from service.storage import ledger, outbox
from service.storage.database import Database
from service.storage.figures import figures_of
from service.watch.holds import Holding
from service.watch.out_clock import look_after_all
from service.watch.respond import Word, answer, take
from tests.support import farmyard
from tests.support.watched import minute
from tests.support.written import written

SEVEN, THREE = "house-7@1", "house-3@1"


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    row = await farmyard.settle(database)
    for happening_id in (SEVEN, THREE):
        await begin(database, happening_id, happening_id.partition("@")[0])
    return row


async def begin(database: Database, happening_id: str, room_id: str | None, part_of: str | None = None) -> None:
    begun = {
        "happening_id": happening_id,
        "room_id": room_id,
        "began_ms": minute(0),
        "woke": 1,
        "part_of": part_of,
    }
    async with database.write() as connection:
        await ledger.save_happening(connection, 1, {**begun, "ended_ms": None, "closed_ms": None})


async def say(database: Database, word: Word, *, at: float, of: str = SEVEN, who: str = "maria") -> None:
    async with database.write() as connection:
        await take(connection, 1, happening_id=of, person_id=who, word=word, way="page", now_ms=minute(at))


async def look(database: Database, farm: dict[str, Any], at: float) -> None:
    async with database.write() as connection:
        await look_after_all(connection, farm, await figures_of(connection, 1), minute(at))


async def looked_for(database: Database) -> list[tuple[str, str | None]]:
    rows = sorted(await written(database, "notices", kind="look after"), key=lambda row: int(row["at_ms"]))
    return [(str(row["happening_id"]).partition("@")[0], row["room_id"]) for row in rows]


async def open_watches(database: Database) -> list[str]:
    rows = await written(database, "happenings", ended_ms=None)
    return [row["happening_id"] for row in rows if row["happening_id"].startswith("out/")]


async def test_who_cannot_go_elsewhere_is_still_where_they_went(database: Database, farm: dict[str, Any]) -> None:
    await say(database, Word.GOING, at=1)
    await say(database, Word.CANNOT, at=10, of=THREE)
    await look(database, farm, 77)
    assert await looked_for(database) == [("out/maria", "house-7")]


async def test_who_works_and_cannot_go_elsewhere_is_still_at_work(
    database: Database, farm: dict[str, Any]
) -> None:
    async with database.write() as connection:
        await Holding(connection=connection, farm_id=1, now_ms=minute(0)).working("house-3", "maria", minute(60))
    await say(database, Word.CANNOT, at=10)
    await look(database, farm, 91)
    assert await looked_for(database) == [("out/maria", "house-3")]


async def test_who_takes_it_back_is_not_looked_for(database: Database, farm: dict[str, Any]) -> None:
    await say(database, Word.GOING, at=1)
    await say(database, Word.CANNOT, at=5)
    await look(database, farm, 77)
    assert await looked_for(database) == []


async def test_who_says_going_after_it_was_known_to_be_over_is_not_looked_for(
    database: Database, farm: dict[str, Any]
) -> None:
    """They read that it is back, and lie down again."""
    await end(database, decided=20)
    await say(database, Word.GOING, at=21)
    await look(database, farm, 97)
    assert await looked_for(database) == []


async def test_who_says_going_before_it_is_known_to_be_over_is_on_the_way(
    database: Database, farm: dict[str, Any]
) -> None:
    await say(database, Word.GOING, at=18)
    await end(database, decided=20)
    await look(database, farm, 94)
    assert await looked_for(database) == [("out/maria", "house-7")]


async def end(database: Database, *, decided: float) -> None:
    """It is back since minute 15."""
    over = {"happening_id": SEVEN, "room_id": "house-7", "began_ms": minute(0), "woke": 1, "closed_ms": None}
    notice = {"notice_key": "back", "kind": "back", "telling": "wake", "room_id": "house-7", "happening_id": SEVEN}
    moments = {"at_ms": minute(15), "decided_ms": minute(decided), "use_by_ms": minute(140)}
    async with database.write() as connection:
        await ledger.save_happening(connection, 1, {**over, "ended_ms": minute(15)})
        await ledger.add_notices(connection, 1, [{**notice, **moments, "facts": {}}])


async def test_who_goes_to_look_for_somebody_is_looked_after_too_until_that_one_is_found(
    database: Database, farm: dict[str, Any]
) -> None:
    await say(database, Word.GOING, at=1)
    await look(database, farm, 77)
    (watch,) = await open_watches(database)
    await say(database, Word.GOING, at=80, of=watch, who="ben")
    await look(database, farm, 156)
    assert await looked_for(database) == [("out/maria", "house-7"), ("out/ben", None)]


async def test_once_somebody_is_found_nobody_looks_for_who_went_to_look(
    database: Database, farm: dict[str, Any]
) -> None:
    await say(database, Word.GOING, at=1)
    await look(database, farm, 77)
    (watch,) = await open_watches(database)
    await say(database, Word.GOING, at=80, of=watch, who="ben")
    await say(database, Word.OUT, at=85)
    await look(database, farm, 156)
    assert await looked_for(database) == [("out/maria", "house-7")]


async def test_who_goes_to_the_whole_farm_is_at_no_one_house(database: Database, farm: dict[str, Any]) -> None:
    await begin(database, "site@1", None)
    for room in ("house-3", "house-7"):
        await begin(database, f"{room}@2", room, part_of="site@1")
    await say(database, Word.GOING, at=1, of="site@1")
    await look(database, farm, 77)
    assert await looked_for(database) == [("out/maria", None)]


async def test_who_goes_to_another_house_later_is_out_of_the_first(
    database: Database, farm: dict[str, Any]
) -> None:
    await say(database, Word.GOING, at=1)
    await look(database, farm, 77)
    await say(database, Word.GOING, at=90, of=THREE)
    await look(database, farm, 91)
    assert await open_watches(database) == []
    (ended,) = await written(database, "notices", kind="came out")
    assert ended["telling"] == "wake"


async def test_no_watch_goes_on_for_ever(database: Database, farm: dict[str, Any]) -> None:
    await say(database, Word.GOING, at=1)
    await look(database, farm, 77)
    await look(database, farm, 77 + 24 * 60 - 1)
    assert len(await open_watches(database)) == 1
    await look(database, farm, 77 + 24 * 60)
    assert await open_watches(database) == []
    async with database.read() as connection:
        (unfinished,) = [n for n in await outbox.unaddressed(connection, 1) if n["kind"] == "came out"]
    assert unfinished["telling"] == "round", "nobody is told that they are out: nobody knows"
    assert unfinished["use_by_ms"] > minute(77) + 24 * HOUR_MS


async def page_says(database: Database, word: Word, *, at: float, who: str) -> None:
    await answer(database, 1, room_id="house-7", person_id=who, word=word, way="page", now_ms=minute(at))


@pytest.mark.parametrize(
    ("who", "word"),
    [("maria", Word.GOING), ("maria", Word.PROBE), ("ben", Word.PROBE), ("ben", Word.FIXED)],
)
async def test_what_is_said_of_the_air_in_a_house_ends_no_search_for_who_is_in_there(
    database: Database, farm: dict[str, Any], who: str, word: Word
) -> None:
    await say(database, Word.GOING, at=1)
    await look(database, farm, 77)
    await page_says(database, word, at=78, who=who)
    assert len(await open_watches(database)) == 1
    async with database.read() as connection:
        assert "look after" in [n["kind"] for n in await outbox.unaddressed(connection, 1)]


async def test_who_goes_to_the_house_goes_to_look_for_who_is_in_there(
    database: Database, farm: dict[str, Any]
) -> None:
    await say(database, Word.GOING, at=1)
    await look(database, farm, 77)
    await page_says(database, Word.GOING, at=78, who="ben")
    async with database.read() as connection:
        assert "look after" not in [n["kind"] for n in await outbox.unaddressed(connection, 1)]


async def test_out_said_at_a_page_ends_the_watch_before_it_begins(
    database: Database, farm: dict[str, Any]
) -> None:
    """Where nobody answers by text, the page is where people say that they are out."""
    async with database.write() as connection:
        went = {"happening_id": SEVEN, "person_id": "maria", "at_ms": minute(5), "word": "going", "way": "page"}
        await ledger.add_answer(connection, 1, went)
        assert await Holding(connection=connection, farm_id=1, now_ms=minute(30)).out("maria") == []
        figures = await figures_of(connection, 1)
        assert await look_after_all(connection, farm, figures, minute(120)) == 0
        with pytest.raises(NotAllowed, match="not written down as going or working anywhere"):
            await Holding(connection=connection, farm_id=1, now_ms=minute(121)).out("maria")
