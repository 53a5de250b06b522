"""What befalls many houses at once is told once, on both databases. The rules are the project's own judgement."""

from __future__ import annotations

import json
from typing import Any

import pytest
from sqlalchemy import update

from rules.model import Quantity
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Outcome
from service.notifications.routing import Way
from service.storage.database import Database
from service.storage.tables import people
from service.watch.holds import Holding
from service.watch.open_things import open_things
from service.watch.respond import Word, answer, take
from tests.support.many_houses import DRY, GOOD, VERY_DRY, ManyHouses, many_houses
from tests.support.telling import add_person, set_call_list
from tests.support.watched import minute
from tests.support.written import written

ALL_OF_IT = 10_000
"""A minute that no test reaches."""


def dry_from(*minutes: int, until: int = ALL_OF_IT) -> Any:
    """House 1 is dry from the first of these minutes on, house 2 from the second, and so on."""

    def weather(house: int, at: int) -> float:
        return DRY if minutes[house - 1] <= at < until else GOOD

    return weather


async def facts_of(farm: ManyHouses, kind: str) -> list[dict[str, Any]]:
    return [json.loads(row["facts"]) for row in await farm.notices(kind)]


async def test_a_failure_of_the_whole_farm_is_one_text_to_each(database: Database) -> None:
    farm = await many_houses(database, 4)
    await farm.until(18, dry_from(5, 6, 6, 6), step=1)
    assert farm.counts() == {"maria": 1, "ben": 1}
    assert farm.texts() == ["4 houses at once: humidity low since 07:15. House 1, 2, 3, 4. Likely water supply."]
    (site,) = set((await farm.parts()).values())
    assert site is not None
    assert site.startswith("site@")
    (row,) = await written(database, "happenings", happening_id=site)
    assert (row["room_id"], row["woke"], row["ended_ms"], row["began_ms"]) == (None, 1, None, minute(5))


async def test_a_house_that_gets_far_worse_with_all_the_others_is_no_further_text(database: Database) -> None:
    """The far limit of shiitake at pinning is 66; 40 is far below it."""
    farm = await many_houses(database, 3)
    await farm.until(40, lambda _house, at: GOOD if at < 5 else DRY if at < 20 else 40.0)
    assert [row["room_id"] for row in await farm.notices("deeper")] == ["house-1", "house-2", "house-3"]
    assert all(text.startswith("3 houses at once") for text in farm.texts())


async def test_a_house_that_gets_far_worse_alone_is_one(database: Database) -> None:
    farm = await many_houses(database, 3)
    await farm.until(40, lambda house, at: GOOD if at < 5 or house > 1 else DRY if at < 20 else 40.0)
    assert sum("worse" in text for text in farm.texts("maria")) == 1


async def test_every_house_keeps_its_own_alarm_and_notice(database: Database) -> None:
    farm = await many_houses(database, 3)
    await farm.until(17, dry_from(5, 5, 5), step=15)
    troubles = await farm.notices("trouble")
    assert [row["room_id"] for row in troubles] == ["house-1", "house-2", "house-3"]
    assert [row["addressed"] for row in troubles] == [1, 1, 1]
    assert {row["state"] for row in await written(database, "alarms")} == {"unacknowledged"}


async def test_two_houses_of_many_are_told_one_by_one(database: Database) -> None:
    farm = await many_houses(database, 4)
    await farm.until(18, dry_from(5, 5, ALL_OF_IT, ALL_OF_IT), step=3)
    assert sorted(text.split(" shiitake")[0] for text in farm.texts()) == ["House 1", "House 2"]
    assert set((await farm.parts()).values()) == {None}


async def test_a_farm_of_two_houses_is_all_of_it_when_both_are_dry(database: Database) -> None:
    farm = await many_houses(database, 2)
    await farm.until(17, dry_from(5, 5), step=15)
    assert farm.texts() == ["2 houses at once: humidity low since 07:15. House 1, 2. Likely water supply."]


async def test_how_many_houses_are_the_whole_farm_is_the_farms_own_figure(database: Database) -> None:
    farm = await many_houses(database, 4, merge_rooms=4)
    await farm.until(18, dry_from(5, 5, 5, ALL_OF_IT), step=3)
    assert len(farm.texts()) == 3


async def test_with_the_mains_off_different_troubles_are_one(database: Database) -> None:
    farm = await many_houses(database, 3)
    await farm.contact(Quantity.MAINS, on=False)
    await farm.contact(Quantity.GENERATOR, on=False, probe="generator-1")

    def stale(house: int, at: int) -> float:
        return 3000.0 if house == 3 and at >= 1 else 800.0

    await farm.until(28, dry_from(12, 12, ALL_OF_IT), step=13, also={Quantity.CO2: stale})
    assert farm.texts() == [
        (
            "3 houses at once: mains off since 07:11. House 1, 2, 3. Generator not running. "
            "Wiring: qualified people only."
        )
    ]


async def test_a_contact_that_says_the_water_is_gone_is_believed(database: Database) -> None:
    farm = await many_houses(database, 3)
    await farm.contact(Quantity.WATER_PRESSURE, on=False)
    await farm.until(17, dry_from(5, 5, 5), step=15)
    assert farm.texts() == ["3 houses at once: humidity low since 07:15. House 1, 2, 3. Water pressure gone."]


async def test_houses_that_follow_join_without_a_text(database: Database) -> None:
    farm = await many_houses(database, 5)
    await farm.until(32, dry_from(5, 5, 5, 14, 22), step=1)
    assert farm.counts() == {"maria": 1, "ben": 1}
    assert len(set((await farm.parts()).values())) == 1
    assert len(await farm.parts()) == 5


async def test_a_house_that_is_dry_much_later_is_told(database: Database) -> None:
    farm = await many_houses(database, 4)
    await farm.until(60, dry_from(5, 5, 5, 45), step=3)
    assert [text.split(" shiitake")[0] for text in farm.texts()[1:]] == ["House 4"]


async def test_what_was_told_alone_goes_on_with_the_others(database: Database) -> None:
    """House 1 was told and nobody answered; then it turns out to be everywhere, and House 4 follows."""
    farm = await many_houses(database, 4)
    await farm.until(24, dry_from(1, 8, 9, 10), step=1)
    first, now = farm.texts()
    assert first.startswith("House 1 shiitake")
    assert now == "Now 3 houses: humidity low since 07:11. House 1, 2, 3. Likely water supply."
    assert len(set((await farm.parts()).values())) == 1
    await farm.until(60, dry_from(1, 8, 9, 10, until=25), step=3)
    assert farm.texts()[2:] == ["All 4 houses inside their limits since 07:40: House 1, 2, 3, 4."]


async def test_a_house_that_somebody_goes_to_keeps_its_own_story(database: Database) -> None:
    farm = await many_houses(database, 4)
    await farm.until(13, dry_from(1, 8, 9, 10), step=1)
    await answer(database, 1, room_id="house-1", person_id="ben", word=Word.GOING, way="page", now_ms=minute(13))
    await farm.until(24, dry_from(1, 8, 9, 10), step=1)
    assert farm.texts()[-1].startswith("Now 3 houses")
    parts = await farm.parts()
    assert parts["house-1"] is None
    assert None not in {parts["house-2"], parts["house-3"], parts["house-4"]}


async def test_one_house_that_gets_far_worse_than_the_others_is_on_the_sheet(database: Database) -> None:
    """Everybody who could come was told of it with the others a moment ago."""
    farm = await many_houses(database, 3)

    def weather(house: int, at: int) -> float:
        return GOOD if at < 5 else VERY_DRY if house == 2 and at >= 16 else DRY

    await farm.until(40, weather, step=2)
    assert all(text.startswith("3 houses at once") for text in farm.texts())
    assert [row["room_id"] for row in await farm.notices("deeper")] == ["house-2"]


async def test_an_answer_to_all_of_it_counts_for_every_house(database: Database) -> None:
    farm = await many_houses(database, 3)
    await farm.until(17, dry_from(5, 5, 5), step=15)
    async with database.write() as connection:
        (thing,) = await open_things(connection, 1)
        assert (thing.kind, sorted(thing.room_ids)) == ("site", ["house-1", "house-2", "house-3"])
        await take(
            connection,
            1,
            happening_id=thing.happening_id,
            person_id="ben",
            word=Word.GOING,
            way="text",
            now_ms=minute(17),
        )
    assert {row["state"] for row in await written(database, "alarms")} == {"acknowledged"}
    await farm.until(60, dry_from(5, 5, 5, until=20), step=3)
    assert farm.texts()[-1].startswith("All 3 houses inside their limits")
    (site,) = [row for row in await written(database, "happenings") if row["room_id"] is None]
    assert site["ended_ms"] == site["closed_ms"] == max(minute(25), site["ended_ms"])


async def test_whoever_cannot_go_after_all_does_not_set_every_house_telling(database: Database) -> None:
    farm = await many_houses(database, 3)
    await farm.until(17, dry_from(5, 5, 5), step=15)
    for at, word in ((17, Word.GOING), (18, Word.CANNOT)):
        async with database.write() as connection:
            (thing,) = await open_things(connection, 1)
            await take(
                connection,
                1,
                happening_id=thing.happening_id,
                person_id="ben",
                word=word,
                way="text",
                now_ms=minute(at),
            )
    assert {row["addressed"] for row in await farm.notices("trouble")} == {1}
    before = len(farm.texts())
    await farm.until(40, dry_from(5, 5, 5), step=5)
    assert not any("shiitake" in text for text in farm.texts()[before:])


async def test_the_end_is_told_once_to_those_who_were_woken(database: Database) -> None:
    farm = await many_houses(database, 3)

    def weather(house: int, at: int) -> float:
        return DRY if 5 <= at < 20 + 4 * house else GOOD

    await farm.until(45, weather, step=2)
    assert farm.texts()[1:] == ["All 3 houses inside their limits since 07:47: House 1, 2, 3."]
    assert farm.counts() == {"maria": 2, "ben": 2}
    assert {row["addressed"] for row in await farm.notices("back")} == {1}
    (site,) = [row for row in await written(database, "happenings") if row["room_id"] is None]
    assert (site["ended_ms"], site["closed_ms"]) == (minute(37), None)


async def test_what_is_held_back_is_not_said_to_be_back(database: Database) -> None:
    farm = await many_houses(database, 3)
    weather = dry_from(5, 5, 5)
    await farm.until(17, weather, step=15)
    async with database.write() as connection:
        await Holding(connection=connection, farm_id=1, now_ms=minute(17)).working(None, "ben", minute(100))
    await farm.until(30, weather, step=3)
    assert farm.counts() == {"maria": 1, "ben": 1}
    (facts,) = await facts_of(farm, "site back")
    assert (facts["rooms"], facts["still"], facts["left_alone"]) == ([], [], ["House 1", "House 2", "House 3"])
    assert [row["telling"] for row in await farm.notices("site back")] == ["round"]


async def test_what_is_wrong_in_the_look_itself_leaves_every_house_told(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    farm = await many_houses(database, 3)
    farm.watch.farm = {**farm.farm, "zone": None}  # a farm's row that is damaged
    del farm.watch.farm["zone"]
    await farm.until(18, dry_from(5, 5, 5), step=3)
    assert len(farm.texts()) == 3


async def test_with_the_mains_on_again_a_house_that_is_left_has_no_power_cut(database: Database) -> None:
    farm = await many_houses(database, 4)

    def humidity(house: int, at: int) -> float:
        return DRY if at >= 5 and (house == 4 or at < 25) else GOOD

    await farm.contact(Quantity.MAINS, on=False)
    await farm.until(24, humidity, step=2)
    assert "mains off" in farm.texts()[0]
    await farm.contact(Quantity.MAINS, on=True)
    await farm.until(110, humidity, step=5)
    assert farm.texts()[1] == "Back: House 1, 2, 3. Still humidity low since 07:15: House 4."


class Lamp:
    """Takes whatever it is told, and knows of what kinds that was."""

    def __init__(self) -> None:
        self.kinds: list[str] = []

    async def carry(self, message: Message) -> Outcome:
        self.kinds.append(message.kind)
        return Accepted(detail="")


async def test_a_lamp_burns_until_every_house_is_back(database: Database) -> None:
    farm = await many_houses(database, 4)
    lamp = Lamp()
    farm.address.ways = frozenset({Way.TEXT, Way.LAMP})
    farm.deliver.carriers = {**farm.deliver.carriers, Way.LAMP: lamp}

    def humidity(house: int, at: int) -> float:
        return DRY if at >= 5 and at < (200 if house == 4 else 25) else GOOD

    await farm.until(120, humidity, step=5)
    assert farm.texts()[1].startswith("Back: House 1, 2, 3. Still humidity low")
    assert lamp.kinds == ["site"]
    await farm.until(215, humidity, step=5)
    assert lamp.kinds == ["site", "site back"]


@pytest.mark.parametrize("again", ["dry", "stale"])
async def test_a_house_that_people_heard_is_back_is_told_when_it_is_out_again(
    database: Database, again: str
) -> None:
    """Houses 1, 2 and 3 were back, House 4 is still dry; then House 1 is in trouble of this kind or another."""
    farm = await many_houses(database, 4)

    def humidity(house: int, at: int) -> float:
        first = at >= 5 and (house == 4 or at < 25)
        return DRY if (first and at < 200) or (again == "dry" and house == 1 and at >= 90) else GOOD

    def co2(house: int, at: int) -> float:
        return 3000.0 if again == "stale" and house == 1 and at >= 90 else 800.0

    await farm.until(120, humidity, step=5, also={Quantity.CO2: co2})
    _, back, new = farm.texts()
    assert back == "Back: House 1, 2, 3. Still humidity low since 07:15: House 4."
    assert new.startswith("House 1 shiitake, pins day 11: " + ("humidity 80%" if again == "dry" else "CO2 3000"))
    await farm.until(215, humidity, step=5, also={Quantity.CO2: co2})
    assert farm.texts()[3:] == ["Back: House 2, 3, 4."]


async def test_who_was_told_of_one_house_only_hears_the_end_of_all_of_it(database: Database) -> None:
    """Cal, for House 1 only, heard of it alone; somebody goes before Cal would be told of the whole farm."""
    farm = await many_houses(database, 4)
    await add_person(database, "cal", "+12025550143")
    await set_call_list(database, ("maria", 0), ("ben", 10), ("cal", 30))
    await give_rooms(database, maria=["house-2", "house-3", "house-4"], ben=["house-2", "house-3", "house-4"])
    await farm.until(20, dry_from(1, 8, 9, 10), step=1)
    assert [text.split(":")[0] for text in farm.texts("cal")] == ["House 1 shiitake, pins day 11"]
    assert farm.texts("maria") == ["Now 3 houses: humidity low since 07:11. House 1, 2, 3. Likely water supply."]
    async with database.write() as connection:
        (thing,) = await open_things(connection, 1)
        said: dict[str, Any] = {"person_id": "maria", "word": Word.GOING, "way": "text", "now_ms": minute(20)}
        await take(connection, 1, happening_id=thing.happening_id, **said)
    await farm.until(60, dry_from(1, 8, 9, 10, until=25), step=3)
    assert farm.texts("cal")[1:] == [
        "Maria is going to see to the trouble you were told of. Nothing for you to do now.",
        "All 4 houses inside their limits since 07:40: House 1, 2, 3, 4.",
    ]


async def give_rooms(database: Database, **rooms: list[str]) -> None:
    async with database.write() as connection:
        for person, room_ids in rooms.items():
            only = update(people).where(people.c.person_id == person)
            await connection.execute(only.values(room_ids=json.dumps(room_ids)))


async def test_an_answer_to_what_was_told_alone_counts_for_all_of_it(database: Database) -> None:
    """As by the link in the text about House 1, read after the whole farm was told."""
    farm = await many_houses(database, 4)
    await farm.until(24, dry_from(1, 8, 9, 10), step=1)
    alone = next(row for row in await written(database, "happenings") if row["room_id"] == "house-1")
    assert alone["part_of"] is not None
    async with database.write() as connection:
        said: dict[str, Any] = {"person_id": "ben", "word": Word.GOING, "way": "link", "now_ms": minute(24)}
        taken = await take(connection, 1, happening_id=alone["happening_id"], **said)
    assert taken.happening_id == alone["part_of"]
    assert {row["state"] for row in await written(database, "alarms")} == {"acknowledged"}
    assert [row["addressed"] for row in await farm.notices("site")] == [1]
