"""A text that the gateway took and that never arrived: its receipt says so, and others are told at once."""

from __future__ import annotations

import pytest

from service.notifications.routing import Way
from service.storage import outbox
from service.storage.database import Database
from tests.support.night_call import NightCall, Says, first, give_mail, night_call
from tests.support.pretend_post import PretendPost
from tests.support.telling import set_call_list
from tests.support.written import notices, written


async def lost_at(night: NightCall, person: str, at: int) -> None:
    """The gateway says at a minute that the last text to somebody did not arrive; the service looks twice."""
    await night.receipt(person, "lost")
    await night.tick(at)
    await night.tick(at + 1)


async def test_the_next_person_is_told_at_once_when_a_text_is_lost(database: Database) -> None:
    async with night_call(database, {}) as night:
        await night.through(15)
        assert night.kinds() == [(14, "maria")]
        await lost_at(night, "maria", 16)
        assert night.kinds() == [(14, "maria"), (16, "ben")], "not at minute 24"
        lines = await night.page()
        assert lines[0].endswith(
            "text to Maria, trouble: not delivered (the gateway says that it did not arrive)."
        )


async def test_a_text_that_arrived_wakes_nobody_further(database: Database) -> None:
    async with night_call(database, {}) as night:
        await night.through(15)
        await night.receipt("maria", "arrived")
        await lost_at(night, "maria", 16)
        assert night.kinds() == [(14, "maria")]


async def test_the_last_text_on_the_list_that_is_lost_is_followed_by_another_way(database: Database) -> None:
    """Everybody had been told, so that nothing more was to be done; now there is."""
    post = PretendPost()
    async with night_call(database, {}, proven=(), carriers={Way.MAIL: post}) as night:
        await set_call_list(database, ("maria", 0), ("ben", 10))
        await give_mail(database, "ben")
        await night.through(17)
        [notice] = await notices(database)
        assert (notice["addressed"], sorted(night.kinds())) == (1, [(14, "ben"), (14, "maria")])
        await lost_at(night, "ben", 18)
        assert post.to() == ["ben@example.org"]


@pytest.mark.parametrize("mended_at", [None, 30])
async def test_what_is_answered_or_over_is_not_told_again_for_a_lost_text(
    database: Database, mended_at: int | None
) -> None:
    post = PretendPost()
    phones = {} if mended_at else {"ben": first(Says(text="7 going", after=2))}
    async with night_call(database, phones, proven=("ben",), carriers={Way.MAIL: post}) as night:
        await set_call_list(database, ("maria", 0), ("ben", 10))
        await give_mail(database, "maria", "ben")
        await night.through(40, mended_at=mended_at)
        before = len(await written(database, "deliveries"))
        await lost_at(night, "maria", 41)
        assert len(await written(database, "deliveries")) == before
        assert post.carried == []


async def test_a_call_of_the_same_name_as_a_lost_text_is_not_lost(database: Database) -> None:
    """Two gateways may count from 1 both."""
    async with night_call(database, {}) as night:
        await night.through(14)
        [text] = await written(database, "deliveries")
        call = {**text, "delivery_id": "call", "way": "voice", "step": 100}
        async with database.write() as connection:
            await outbox.add_tellings(connection, 1, [call])
        await night.receipt("maria", "lost")
        rows = await written(database, "deliveries")
        assert {row["way"]: row["state"] for row in rows} == {"text": "gave up", "voice": "sent"}
