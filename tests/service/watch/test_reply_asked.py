"""What people ask by text: why they were told, and what is open."""

from __future__ import annotations

from typing import Any

import pytest

from service.storage.database import Database
from tests.support.replying import Phones, begin, dry_house, phones, tell
from tests.support.watched import watched_farm

# Minute 0 is 07:10 on the farm's clock.


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    return await watched_farm(database)


@pytest.fixture
async def dry(database: Database, farm: dict[str, Any]) -> Phones:
    return await dry_house(database, farm)


@pytest.fixture
async def two_open(database: Database, dry: Phones) -> Phones:
    """House 3 has trouble as well."""
    await begin(database, "house-3@1", "house-3", at=10)
    return dry


async def test_why_gives_the_five_facts(dry: Phones) -> None:
    said = await dry.said("why", at=16)
    assert said.startswith("House 7 humidity: limit 85%, set by Ines ")
    assert "Read 80%" in said
    assert "Told after 8 min. Probe door end." in said


async def test_why_asks_which_when_several_are_open(two_open: Phones) -> None:
    assert (await two_open.said("por qué", at=16)).startswith("Which house? Text 7 why or 3 why.")
    assert (await two_open.send("why 7", at=16)).result == "why"


async def test_status_lists_what_is_open_and_how_lately_probes_were_heard(
    database: Database, two_open: Phones
) -> None:
    said = await two_open.said("status", at=16)
    assert "House 7 humidity low" in said
    assert "House 3" in said
    assert "never heard" in said or "last heard" in said


async def test_status_with_nothing_open_does_not_say_that_all_is_well(
    database: Database, farm: dict[str, Any]
) -> None:
    said = await phones(database, farm).said("estado", at=1)
    assert said.startswith("Nothing open at 07:11.")


async def test_why_behind_a_limit_for_people_names_the_average(database: Database, farm: dict[str, Any]) -> None:
    maria = phones(database, farm)
    await begin(database, "house-7@1/people", "house-7", at=1)
    facts = {"quantity": "co2", "side": "people", "level": "15 minutes", "limit": 30000.0, "value": 31000.0}
    await tell(database, "maria", "house-7@1/people", at=2, kind="danger", facts=facts)
    said = await maria.said("why", at=16)
    assert said.startswith("House 7 CO2: people limit 30000 ppm, the usual figure. ")
    assert "Average of 15 min." in said
    farm["people_15min_ppm"] = 30000.0
    assert (await maria.said("why", at=17)).startswith("House 7 CO2: people limit 30000 ppm, set by Ines. ")


async def test_why_without_a_limit_behind_it_says_what_is_open(database: Database, farm: dict[str, Any]) -> None:
    maria = phones(database, farm)
    await begin(database, "site@1", None, at=1)
    await tell(database, "maria", "site@1", at=2, kind="site", facts={"what": "power"})
    assert (await maria.said("why", at=16)).startswith("Open: Whole farm 15 min.")
