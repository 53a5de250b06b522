"""Whole nights in which everything fails at once: how many texts that is for each person, and what they say.

Farms, nights and figures are invented. That thirty texts help nobody is the reason for merging; how many are too
many is the project's own judgement (``texts_per_hour``).
"""

from __future__ import annotations

import json
from collections.abc import AsyncGenerator, Callable
from pathlib import Path
from random import Random

import pytest

from rules.model import Quantity
from service.storage.database import Database
from tests.support.databases import sqlite_database
from tests.support.many_houses import DRY, GOOD, VERY_DRY, ManyHouses, many_houses
from tests.support.written import written

pytestmark = pytest.mark.slow


@pytest.fixture
async def database(tmp_path: Path) -> AsyncGenerator[Database]:
    """One kind is enough here: what is merged is tested on both elsewhere."""
    async with sqlite_database(tmp_path) as made:
        yield made


async def power_cut(database: Database) -> tuple[ManyHouses, dict[int, int]]:
    """Twelve houses lose their mist at minute 5; ten get it back one after the other, in any order."""
    farm = await many_houses(database, 12)
    await farm.contact(Quantity.MAINS, on=False)
    order = list(range(1, 13))
    Random(4).shuffle(order)
    back = {house: 24 + 2 * place for place, house in enumerate(order[:10])}

    def weather(house: int, at: int) -> float:
        return DRY if 5 <= at < back.get(house, 10_000) else GOOD

    await farm.until(20, weather, step=2)
    assert farm.counts() == {"maria": 1, "ben": 1}, "one text to each of two people, not twelve and not thirty"
    await farm.until(78, weather, step=3)
    return farm, back


async def test_after_a_power_cut_ten_of_twelve_houses_come_back(database: Database) -> None:
    farm, back = await power_cut(database)
    left = sorted(set(range(1, 13)) - set(back))
    cut, ended = farm.texts()
    assert cut.startswith("12 houses at once: mains off since 07:15. House 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12.")
    there = ", ".join(str(house) for house in sorted(back))
    missing = ", ".join(str(house) for house in left)
    assert ended == f"Back: House {there}. Still mains off since 07:15: House {missing}."
    assert farm.counts() == {"maria": 2, "ben": 2}
    await the_last_two_come_back(farm)


async def the_last_two_come_back(farm: ManyHouses) -> None:
    """Then the end is told once more, of all."""
    await farm.until(93, lambda _house, _at: GOOD, step=5)
    assert farm.texts()[2:] == [
        "All 12 houses inside their limits since 08:33: House 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12."
    ]
    assert farm.counts() == {"maria": 3, "ben": 3}
    happenings = await written(farm.database, "happenings")
    assert len(happenings) == 13
    assert None not in {row["ended_ms"] for row in happenings}
    assert all(row["addressed"] for row in await written(farm.database, "notices"))


async def test_the_worst_night_leaves_every_phone_in_use(
    database: Database, record_property: Callable[[str, object], None]
) -> None:
    """Thirty houses without power: values that jump about the limit, far limits, and probes that fall silent."""
    farm = await many_houses(database, 30)
    chance = Random(7)
    jumps = {house: [chance.choice((DRY, GOOD, VERY_DRY)) for _ in range(12)] for house in range(1, 31)}

    def weather(house: int, at: int) -> float | None:
        if at < 5:
            return GOOD
        if house % 5 == 0 and at > 40:
            return None
        return DRY if house % 2 or at < 20 else jumps[house][at // 15 % 12]

    await farm.until(20, weather, step=2)
    await farm.until(125, weather, step=7)
    texts = {person: len(farm.texts(person)) for person in ("maria", "ben")}
    hours = {person: farm.most_in_an_hour(person) for person in texts}
    told = [row for row in await written(database, "notices") if row["telling"] == "wake"]
    record_property("notices that would have been texts", len(told))
    record_property("texts in two hours, by person", json.dumps(texts))
    record_property("most texts in one hour, by person", json.dumps(hours))
    assert max(hours.values()) <= 6 + 1, "six, and one summary"
    assert farm.texts()[0].startswith("30 houses at once")
    assert not any("worse" in text for text in farm.texts()), "each was told with all the others"
