"""The Friday page: three sentences, and lists that add up to the rows they come from."""

from __future__ import annotations

from typing import Any

import pytest

from rules.model import MINUTE_MS
from service.localtime import at_local
from service.reports.friday import FridayWeek, friday_week, was_true
from service.reports.friday_mail import friday_mail
from service.reports.friday_words import FridayWords
from service.reports.week import week_of
from service.reports.words import Words
from service.storage.database import Database
from tests.support import farmyard, told_week
from tests.support.written import written

ONE = 13 * 60
NOW_MS = at_local(told_week.FRIDAY, ONE, farmyard.ZONE)


@pytest.fixture
async def lived(database: Database) -> dict[str, Any]:
    return await told_week.settle_and_live(database)


async def week(database: Database, farm: dict[str, Any], now_ms: int = NOW_MS) -> FridayWeek:
    async with database.read() as connection:
        return await friday_week(connection, farm, week_of(farm, now_ms, minute=ONE))


def words(farm: dict[str, Any]) -> Words:
    return Words(farm=farm, units="us", now_ms=NOW_MS)


async def test_the_week_in_three_sentences(database: Database, lived: dict[str, Any]) -> None:
    told = await week(database, lived)

    assert FridayWords(words=words(lived)).sentences(told) == [
        "This week 5 texts at night and 1 by day, 3 of them true, 1 not said yet.",
        "Longest to an answer: 11 min (House 7, Wed). 1 was not answered (House 3, Sun).",
        "Most for nothing: House 3 humidity, 2 texts, door.",
    ]


async def test_every_total_ties_to_the_raw_rows(database: Database, lived: dict[str, Any]) -> None:
    """Counted again from the tables, by nothing but their rows."""
    told = await week(database, lived)
    notices = await written(database, "notices")
    sent = await written(database, "deliveries", state="sent")

    assert len(told.texts) == len({row["notice_key"] for row in sent}) == len(notices) == len(told_week.WEEK)
    assert sum(group.texts for group in told.groups) == len(told.texts)
    assert sum(group.true for group in told.groups) == told.true
    assert sum(group.for_nothing for group in told.groups) == told.for_nothing
    assert sum(group.not_said for group in told.groups) == told.not_said
    assert told.true + told.for_nothing + told.not_said == len(told.texts)
    assert sum(count for _, count in told.told) == len(sent)
    assert dict(told.told) == {
        name: sum(row["person_id"] == person for row in sent)
        for person, name in (("maria", "Maria"), ("ben", "Ben"))
    }
    assert len(told.answered) + len(told.unanswered) == len({row["happening_id"] for row in notices})
    assert [one.minutes for one in told.answered] == [11, 6, 4, 2, 0]
    assert told.median_minutes == 4


async def test_what_there_was_most_for_nothing_says_what_to_look_at(
    database: Database, lived: dict[str, Any]
) -> None:
    told = await week(database, lived)

    assert [FridayWords(words=words(lived)).nuisance(group) for group in told.nuisances] == [
        "House 3, humidity low: 2 texts, door. Look at the wait of this limit: it should outlast a door."
    ]


@pytest.mark.parametrize(
    ("what", "harm", "worth"),
    [
        ("gear", "", True),
        ("gear", "none", True),
        ("door", "none", False),
        ("door", "some", True),
        ("probe", "", False),
        ("nothing found", "none", False),
        ("", "none", None),
        ("", "much", True),
    ],
)
def test_a_text_was_true_where_gear_failed_or_the_crop_shows_harm(
    what: str, harm: str, *, worth: bool | None
) -> None:
    """Our judgement: there is no source to check against."""
    assert was_true({"what": what, "harm": harm}) is worth
    assert was_true(None) is None


async def test_what_went_out_after_the_week_is_not_in_it(database: Database, lived: dict[str, Any]) -> None:
    await told_week.happen(database, lived, "house-7", "humidity", "low", at_ms=NOW_MS, times=1)

    assert len((await week(database, lived, NOW_MS + MINUTE_MS)).texts) == len(told_week.WEEK)


async def test_an_end_and_a_reply_are_no_texts_of_the_week(database: Database, lived: dict[str, Any]) -> None:
    at_ms = NOW_MS - 60 * MINUTE_MS
    await told_week.happen(database, lived, "house-7", "humidity", "low", at_ms=at_ms, times=1, kind="back")

    assert len((await week(database, lived)).texts) == len(told_week.WEEK)


async def test_a_week_without_texts_says_so(database: Database) -> None:
    farm = await farmyard.settle(database)

    told = await week(database, farm)

    assert FridayWords(words=words(farm)).sentences(told) == ["This week nobody was texted."]
    assert "nobody was texted" in friday_mail(told, words(farm)).subject


async def test_the_mail_holds_the_sentences_and_leads_to_its_page(
    database: Database, lived: dict[str, Any]
) -> None:
    mail = friday_mail(await week(database, lived), words(lived), pages="https://farm.example.org/")

    assert mail.subject.startswith("Invented data: Friday page Fri 27 Nov: This week 5 texts at night")
    for text in (mail.text, mail.html):
        assert "Longest to an answer: 11 min (House 7, Wed)." in text
        assert "https://farm.example.org/friday?week=2026-11-27" in text
        assert "Maria: 7 texts" in text
