"""Whole nights with pretend phones on a test clock: who was told when, what came of it, what the page shows.

The steps are those of the grower's proposal (10 min and again, the next; both; the manager after 30, the owner
after 40); minute 14 is when House 7 has been dry for long enough. 07:10 on the farm's clock is minute 0.
"""

from __future__ import annotations

import json
import re
from itertools import pairwise

import pytest

from service.storage.database import Database
from tests.support.night_call import (
    NUMBERS,
    Says,
    first,
    night_call,
    off,
    refusing,
)
from tests.support.telling import set_call_list
from tests.support.text_gateway import Answer
from tests.support.written import written

STRANGER = "+12025550199"
on_sqlite = pytest.mark.parametrize("database", ["sqlite"], indirect=True)
"""What asks nothing special of a database is lived through on one of them."""


@on_sqlite
async def test_nobody_answers_and_everybody_is_told_three_times_and_then_left_in_peace(database: Database) -> None:
    async with night_call(database, {}) as night:
        await night.through(110)
        assert sorted(night.kinds()) == [
            (14, "maria"),
            (24, "ben"),
            (24, "maria"),
            (34, "ben"),
            (34, "maria"),
            (44, "ben"),
            (44, "cal"),
            (54, "cal"),
            (54, "dee"),
            (64, "cal"),
            (64, "dee"),
            (74, "dee"),
        ]
        [notice] = await written(database, "notices")
        assert notice["addressed"] == 1, "everybody was told: nothing more is tried"


async def test_the_first_answers_and_nobody_else_is_woken(database: Database) -> None:
    async with night_call(
        database, {"maria": first(Says(text="7 going", after=3), Says(text="out", after=25))}
    ) as n:
        await n.through(50, mended_at=30)
        assert n.kinds() == [(14, "maria"), (36, "maria")]
        assert await n.page() == [
            "07:24: text to Maria, trouble: sent.",
            "Maria is going, said at 07:27.",
            "07:46: text to Maria, back: sent.",
            "Maria is out again, said at 07:49.",
        ]


@on_sqlite
async def test_a_phone_that_is_off_has_the_next_person_woken_who_goes(database: Database) -> None:
    phones = {"maria": off, "ben": first(Says(text="Ya voy 7", after=3))}
    async with night_call(database, phones) as night:
        await night.through(60, mended_at=45)
        told = sorted(night.kinds())
        assert told[:3] == [(14, "maria"), (24, "ben"), (24, "maria")]
        assert (27, "maria") in told, "Ben is going: Maria, who was woken as well, hears it"
        assert {who for _, who in told} == {"maria", "ben"}, "neither manager nor owner"
        assert "Ben is going to House 7. Nothing for you to do now. Invented data." in [
            t for _, _, t in night.told
        ]
        assert [at for at, who in told if who == "ben"] == [24, 51], "and then only that it is back"


@on_sqlite
async def test_a_late_answer_still_stops_whoever_comes_after(database: Database) -> None:
    async with night_call(database, {"maria": first(Says(text="7 going", after=25))}) as night:
        await night.through(60, mended_at=55)
        assert (39, NUMBERS["maria"], "going") in night.came_to
        told = night.kinds()
        assert {who for _, who in told} == {"maria", "ben"}
        assert max(at for at, who in told if who == "ben") == 39, "told that Maria is going, and nothing since"


@on_sqlite
async def test_whoever_is_told_later_reads_the_value_of_then(database: Database) -> None:
    async with night_call(database, {}) as night:
        await night.through(25, falls=0.5)
        bens = next(text for _, who, text in night.told if who == "ben")
        marias = [text for _, who, text in night.told if who == "maria"]
        assert "humidity 78% at door end, under limit 85% for 7 min, falling" in marias[0]
        assert "under limit 85% for 17 min, falling" in bens
        assert "humidity 73% at door end" in bens
        [notice] = await written(database, "notices")
        assert json.loads(notice["facts"])["value"] > 77, "what was known at first stays written down"


@on_sqlite
async def test_whoever_was_told_that_it_is_worse_is_not_told_again_of_how_it_was(database: Database) -> None:
    """House 7 falls past its far limit while people are being told: nobody gets two texts for one house."""
    async with night_call(database, {}) as night:
        await night.through(60, falls=1.5)
        for person in ("maria", "ben"):
            at = [minute for minute, who, _ in night.told if who == person]
            worse = next(
                n for n, text in enumerate(t for _, who, t in night.told if who == person) if "worse" in text
            )
            gaps = [later - earlier for earlier, later in pairwise(at[worse:])]
            assert all(gap >= 10 for gap in gaps), (person, at)
        assert {who for _, who, text in night.told if "worse" in text} >= {"maria", "ben", "cal"}


@on_sqlite
async def test_what_has_stopped_falling_is_not_told_as_falling(database: Database) -> None:
    async with night_call(database, {}) as night:
        await night.through(25, falls=0.5, falls_until=10)
        marias, bens = ([text for _, who, text in night.told if who == name] for name in ("maria", "ben"))
        assert "under limit 85% for 7 min, falling" in marias[0]
        assert "under limit 85% for 17 min, steady" in bens[0]


@on_sqlite
async def test_an_answer_that_comes_twice_is_one_answer(database: Database) -> None:
    twice = (Says(text="7 going", after=2, same_as="m-1"), Says(text="7 going", after=4, same_as="m-1"))
    async with night_call(database, {"maria": first(*twice)}) as night:
        await night.through(30, mended_at=28)
        assert len(await written(database, "answers")) == 1
        confirmations = [text for _, who, text in night.told if who == "maria" and "you are going" in text]
        assert len(confirmations) == 1


@on_sqlite
async def test_a_text_that_the_gateway_sends_twice_carries_one_key(database: Database) -> None:
    """The gateway hangs up after taking it: it is handed over again, and whoever knows keys drops the second."""
    async with night_call(database, {}) as night:
        night.gateway.answer = Answer(hang_up=True)
        await night.through(15)
        night.gateway.answer = Answer()
        await night.tick(16)
        keys = [key for _, _, key in [(0, 0, one) for one in {asked.body for asked in night.gateway.asked}]]
        assert len(keys) == 1, "the very same request every time"
        assert len(night.gateway.asked) > 1


@on_sqlite
async def test_an_answer_from_a_wrong_number_moves_nothing_and_is_not_answered(database: Database) -> None:
    wrong = first(
        Says(text="7 going", after=2, phone=STRANGER), Says(text="who is this?", after=3, phone=STRANGER)
    )
    async with night_call(database, {"maria": wrong}) as night:
        await night.through(26)
        assert sorted(night.kinds())[:2] == [(14, "maria"), (24, "ben")]
        assert await written(database, "answers") == []
        assert {row["person_id"] for row in await written(database, "inbound")} == {None}
        assert STRANGER not in {row["person_id"] for row in await written(database, "deliveries")}


async def test_two_answer_at_once_and_the_second_hears_who_was_first(database: Database) -> None:
    phones = {"maria": first(Says(text="going", after=2)), "ben": first(Says(text="7 voy", after=2))}
    async with night_call(database, phones, proven=("ben",)) as night:
        await night.through(60, mended_at=30)
        assert sorted(night.kinds())[:2] == [(14, "ben"), (14, "maria")], (
            "nobody waits for Maria, who never answered"
        )
        assert sorted(result for _, _, result in night.came_to) == ["going", "going too"]
        said = [text for at, _, text in night.told if at == 16 and "first" in text]
        assert len(said) == 1
        assert "is going. You are noted too" in said[0]
        taken = [text for _, _, text in night.told if "Nothing for you to do" in text]
        assert len(taken) <= 1, "the first is not news to the second after the confirmation"


@on_sqlite
async def test_an_answer_after_the_end_is_noted_and_says_so(database: Database) -> None:
    async with night_call(database, {"maria": first(Says(text="7 going", after=20))}) as night:
        await night.through(40, mended_at=18)
        assert night.came_to[0][2] == "back in band"
        assert any("was back in band" in text or "back in band since" in text for _, _, text in night.told)
        [happening] = await night.happenings()
        assert happening["ended_ms"] is not None
        assert {who for _, who in night.kinds()} == {"maria"}


async def test_cannot_after_going_wakes_the_next_at_once(database: Database) -> None:
    phones = {"maria": first(Says(text="7 going", after=2), Says(text="7 cannot", after=8))}
    async with night_call(database, phones) as night:
        await night.through(24)
        assert night.kinds() == [(14, "maria"), (22, "ben")]


@on_sqlite
@pytest.mark.parametrize("word", ["fixed", "probe"])
async def test_whoever_takes_back_what_had_ended_the_telling_has_the_next_woken(
    database: Database, word: str
) -> None:
    phones = {"maria": first(Says(text=f"7 {word}", after=2), Says(text="7 cannot", after=8))}
    async with night_call(database, phones) as night:
        await night.through(24)
        assert night.kinds() == [(14, "maria"), (22, "ben")]


async def test_going_and_no_better_tells_the_next_person(database: Database) -> None:
    phones = {"maria": first(Says(text="7 going", after=3)), "ben": first(Says(text="7 going", after=2))}
    async with night_call(database, phones) as night:
        await night.through(85)
        told = [(at, who, text) for at, who, text in night.told if "no better since" in text]
        assert [(at, who) for at, who, _ in told] == [(67, "ben")], "50 min after Maria said that she goes"
        assert "Maria went at 07:27" in told[0][2]


@on_sqlite
async def test_whoever_went_and_says_nothing_is_looked_after(database: Database) -> None:
    """45 min to be out and 30 more to say so; the alarm itself is over by then."""
    async with night_call(database, {"maria": first(Says(text="7 going", after=3))}) as night:
        await night.through(95, mended_at=40)
        asked = [(at, who, text) for at, who, text in night.told if "out again?" in text]
        assert [(at, who) for at, who, _ in asked] == [(62, "maria")], "most have only forgotten to say so"
        assert asked[0][2].startswith("House 7: are you out again? Text 7 out. At 08:42 somebody is told to look")
        told = [(at, who, text) for at, who, text in night.told if "no word since" in text]
        assert [(at, who) for at, who, _ in told] == [(92, "ben")]
        assert told[0][2].startswith("Maria went to House 7 at 07:27, no word since. Call +12025550141")
        assert "Do not go in alone" in told[0][2]


@on_sqlite
async def test_whoever_is_alone_on_the_list_and_says_nothing_is_looked_after_by_anybody_else(
    database: Database,
) -> None:
    async with night_call(database, {"maria": first(Says(text="7 going", after=3))}) as night:
        await set_call_list(database, ("maria", 0))
        await night.through(93, mended_at=40)
        told = {who for _, who, text in night.told if "no word since" in text}
        assert told
        assert told <= {"ben", "cal", "dee"}


async def test_whoever_said_out_is_not_looked_after(database: Database) -> None:
    phones = {"maria": first(Says(text="7 going", after=3), Says(text="out", after=60))}
    async with night_call(database, phones) as night:
        await night.through(95, mended_at=40)
        assert not [text for _, _, text in night.told if "no word since" in text]


async def test_out_after_all_is_told_to_whoever_was_sent_to_look(database: Database) -> None:
    phones = {"maria": first(Says(text="7 going", after=3), Says(text="out", after=80))}
    async with night_call(database, phones) as night:
        await night.through(97, mended_at=40)
        bens = [text for _, who, text in night.told if who == "ben"]
        assert "no word since" in bens[0]
        assert "Maria is out" in bens[1]


@on_sqlite
async def test_until_a_first_answer_has_come_back_texts_ask_for_none_and_two_are_told_at_once(
    database: Database,
) -> None:
    async with night_call(database, {}, proven=()) as night:
        await night.through(60)
        assert sorted(night.kinds()) == [(14, "ben"), (14, "maria"), (44, "cal"), (54, "dee")]
        assert not any("Reply" in text for _, _, text in night.told)


@on_sqlite
async def test_a_gateway_that_is_down_for_six_hours_loses_nothing_and_sends_nothing_stale(
    database: Database,
) -> None:
    """Every two hours the telling begins anew; when the gateway is back, what goes out is of then."""
    async with night_call(database, {}) as night:
        refusing(night.gateway)
        await night.through(16)
        for at in range(17, 14 + 6 * 60, 3):
            await night.tick(at)
        lost = await written(database, "deliveries")
        assert {row["person_id"] for row in lost} == set(NUMBERS)
        assert all(row["detail"] and row["attempts"] <= 40 for row in lost), "bounded, and it says why"
        night.gateway.answer = Answer()
        for at in range(14 + 6 * 60, 14 + 7 * 60, 3):
            await night.tick(at)
        assert night.told, "the house is dry, and nobody knew"
        assert all("limit 85% for" in text for _, _, text in night.told)
        hours = {re.search(r"for (\d+) h", text).group(1) for _, _, text in night.told}  # type: ignore[union-attr]
        assert hours <= {"5", "6"}, "what is hours old is not sent as if it were new"
        sent = [row for row in await written(database, "deliveries") if row["state"] == "sent"]
        assert {row["notice_key"].split("/")[2] for row in sent} == {"anew"}
        assert any("not delivered" in line for line in await night.page())


@on_sqlite
@pytest.mark.parametrize("words", ["7 going", "STATUS", "why"])
async def test_whatever_is_answered_is_said_back_in_one_text(database: Database, words: str) -> None:
    async with night_call(database, {"maria": first(Says(text=words, after=2))}) as night:
        await night.through(17)
        assert len([text for at, who, text in night.told if (at, who) == (16, "maria")]) == 1


@on_sqlite
@pytest.mark.parametrize("proven", [("ben",), ("maria", "ben")])
async def test_who_heard_that_somebody_goes_is_told_at_once_when_that_is_taken_back(
    database: Database, proven: tuple[str, ...]
) -> None:
    """Maria read "Nothing for you to do now" and lay down again: nobody else is on the list."""
    phones = {"ben": first(Says(text="7 going", after=1), Says(text="7 cannot", after=20))}
    async with night_call(database, phones, proven=proven) as night:
        await set_call_list(database, ("maria", 0), ("ben", 0))
        await night.through(60)
        to_maria = [(at, text) for at, who, text in night.told if who == "maria" and at <= 34]
    assert [at for at, _ in to_maria if at >= 15] == [15, 34]
    assert to_maria[-1][1].startswith("House 7 shiitake, pins day 3: humidity 80%")
