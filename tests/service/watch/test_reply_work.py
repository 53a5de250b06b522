"""Answers about work: who works where until when, and stages that have come."""

from __future__ import annotations

from typing import Any

import pytest

from service.storage.database import Database
from tests.support.replying import phones
from tests.support.watched import add_batch, minute, watched_farm
from tests.support.written import written

# Minute 0 is 07:10 on the farm's clock.


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    return await watched_farm(database)


@pytest.mark.parametrize(
    ("text", "until"),
    [("7 working until 10", 170), ("trabajo 7 hasta las 10:30", 200), ("working 7 until 6 pm", 650)],
)
async def test_working_by_text_holds_until_the_next_such_time(
    database: Database, farm: dict[str, Any], text: str, until: float
) -> None:
    said = await phones(database, farm).said(text, at=0)
    assert "danger to people does not" in said
    [hold] = await written(database, "holds")
    assert (hold["kind"], hold["room_id"], hold["person_id"]) == ("working", "house-7", "maria")
    assert hold["until_ms"] == minute(until)


@pytest.mark.parametrize(
    "text", ["trabajo todo hasta 10:30", "farm working until 10:30", "granja trabajo hasta 10:30"]
)
async def test_working_everywhere_is_one_hold_for_all_rooms(
    database: Database, farm: dict[str, Any], text: str
) -> None:
    said = await phones(database, farm).said(text, at=0)
    assert said.startswith("All houses: working until 10:30")
    [hold] = await written(database, "holds")
    assert hold["room_id"] is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("working until 10", "Which house, until when? Text 7 working until 10."),
        ("7 working", "Until when? Text 7 working until 10."),
        ("all working", "Until when? Text working all until 10."),
        ("7 working until 07:00", "Not noted: that is past, or more than 12 h ahead. Text 7 working until 10."),
    ],
)
async def test_working_that_lacks_something_is_asked_for(
    database: Database, farm: dict[str, Any], text: str, said: str
) -> None:
    assert (await phones(database, farm).said(text, at=0)).startswith(said)
    assert await written(database, "holds") == []


async def test_a_later_stage_is_written_down(database: Database, farm: dict[str, Any]) -> None:
    said = await phones(database, farm).said("7 fruiting", at=3)
    assert said == "House 7: fruiting from 07:13 on. Its limits are those of fruiting now. Invented data."
    stay = (await written(database, "stays", batch_id="SH-41"))[-1]
    assert (stay["stage"], stay["room_id"], stay["who"], stay["valid_from_ms"]) == (
        "fruiting",
        "house-7",
        "Maria",
        minute(3),
    )


async def test_after_rest_the_next_flush_may_begin(database: Database, farm: dict[str, Any]) -> None:
    maria = phones(database, farm)
    await maria.send("7 rest", at=1)
    assert (await maria.send("7 pines", at=2)).result == "stage"


@pytest.mark.parametrize(
    ("text", "result"),
    [
        ("7 pins", "stage, not later"),
        ("7 browning", "stage, not later"),
        ("7 antlers", "stage, unknown"),
        ("pins", "stage where"),
    ],
)
async def test_a_stage_that_does_not_follow_is_refused(
    database: Database, farm: dict[str, Any], text: str, result: str
) -> None:
    before = await written(database, "stays")
    assert (await phones(database, farm).send(text, at=1)).result == result
    assert await written(database, "stays") == before


async def test_with_several_batches_the_stage_is_changed_on_the_page(
    database: Database, farm: dict[str, Any]
) -> None:
    await add_batch(database, "SH-42", at=0)
    before = await written(database, "stays")
    assert (await phones(database, farm).send("7 fruiting", at=1)).result == "stage, several"
    assert await written(database, "stays") == before
