"""Answering links: what is signed, what is refused, and that each works once.

HMAC-SHA256 is checked against RFC 4231, and its first 80 bits are what RFC 2104 section 5 allows at the least. The
alphabet is that of RFC 4648 section 5.
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import re
import string
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import update

from service.errors import NotAllowed, NotFound
from service.storage import links as rows
from service.storage.database import Database
from service.storage.tables import links, people
from service.watch.links import (
    Answered,
    answer_by_link,
    answer_url,
    link_secret,
    read_link,
    signed_id,
    token_for_out,
    token_of,
)
from service.wire.word import Word
from tests.support.link_farm import LINK_MINUTES, OPEN_AT, LinkFarm, dry_house
from tests.support.watched import minute
from tests.support.written import written

SECRET: Final = "5e" * 32
ALPHABET: Final = string.ascii_letters + string.digits + "-_"
TOKENS = st.binary(min_size=8, max_size=8).map(lambda raw: token_of(SECRET, 1, raw.hex()))

pure = pytest.mark.pure


@pytest.fixture
async def house(database: Database) -> LinkFarm:
    return await dry_house(database)


async def answer(house: LinkFarm, token: str, word: Word, *, at: float) -> Answered | None:
    link_id = signed_id(house.secret, 1, token)
    assert link_id is not None
    async with house.database.write() as connection:
        return await answer_by_link(
            connection, 1, secret=house.secret, link_id=link_id, word=word, now_ms=minute(at)
        )


# --- the token ------------------------------------------------------------------------------------------------


@pure
def test_the_signature_is_hmac_sha256() -> None:
    """RFC 4231, test case 2, by the library that signs."""
    said = hmac.new(b"Jefe", b"what do ya want for nothing?", hashlib.sha256).hexdigest()
    assert said == "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"


@pure
@given(TOKENS)
def test_a_token_is_24_url_safe_letters_and_known_again(token: str) -> None:
    assert re.fullmatch(r"[A-Za-z0-9_-]{24}", token)
    assert signed_id(SECRET, 1, token) is not None


@pure
@given(TOKENS, st.integers(0, 23), st.sampled_from(ALPHABET + "+/=%. é"))
def test_a_token_with_any_other_letter_anywhere_is_refused(token: str, place: int, letter: str) -> None:
    changed = token[:place] + letter + token[place + 1 :]
    assert (signed_id(SECRET, 1, changed) is None) is (changed != token)


@pure
def test_every_single_change_of_one_token_is_refused() -> None:
    """All 24 places, all 63 other letters."""
    token = token_of(SECRET, 1, "0123456789abcdef")
    changed = {token[:n] + letter + token[n + 1 :] for n in range(24) for letter in ALPHABET} - {token}
    assert len(changed) == 24 * 63
    assert [other for other in changed if signed_id(SECRET, 1, other) is not None] == []


@pure
@given(st.text(max_size=40))
def test_whatever_else_is_no_token(text: str) -> None:
    assert signed_id(SECRET, 1, text) is None


@pure
@pytest.mark.parametrize(
    "change", [lambda t: t[:-1], lambda t: t + "A", lambda t: t + "=", lambda t: t * 2, str.swapcase]
)
def test_a_token_cut_or_lengthened_is_refused(change: object) -> None:
    assert callable(change)
    assert signed_id(SECRET, 1, change(token_of(SECRET, 1, "0123456789abcdef"))) is None


@pure
def test_another_farm_or_another_secret_knows_no_token_of_ours() -> None:
    token = token_of(SECRET, 1, "0123456789abcdef")
    assert signed_id(SECRET, 2, token) is None
    assert signed_id("5f" * 32, 1, token) is None


@pure
@pytest.mark.parametrize("public", ["https://farm.example", "https://farm.example/"])
def test_the_address_is_short_enough_for_a_text(public: str) -> None:
    assert answer_url(public, "A" * 24) == "https://farm.example/a/" + "A" * 24


async def test_the_secret_is_made_once_and_kept(database: Database) -> None:
    async with database.write() as connection:
        first, again = await link_secret(connection, 1), await link_secret(connection, 1)
    assert first == again
    assert len(bytes.fromhex(first)) == 32


# --- what a link is good for ----------------------------------------------------------------------------------


async def test_the_same_telling_has_one_link_and_each_person_their_own(house: LinkFarm) -> None:
    first, again = await house.link(), await house.link()
    others = [await house.link("ben"), await house.link(delivery_id="telling-2")]
    assert first == again
    assert len({first, *others}) == 3
    assert len(await written(house.database, "links")) == 3


async def test_going_by_link_is_an_answer_and_ends_the_link(house: LinkFarm) -> None:
    token = await house.link()
    answered = await answer(house, token, Word.GOING, at=17)
    assert answered is not None
    assert answered.taken is not None
    assert answered.taken.ended_ms is None
    assert await house.words() == [("maria", "going", "link")]
    [row] = await written(house.database, "links", delivery_id="telling-1")
    assert (row["used_ms"], row["used_for"]) == (minute(17), "going")
    assert [a["state"] for a in await written(house.database, "alarms")] == ["acknowledged"]


@pytest.mark.parametrize("second", [Word.GOING, Word.CANNOT, Word.OUT])
async def test_a_used_link_does_nothing_more(house: LinkFarm, second: Word) -> None:
    token = await house.link()
    await answer(house, token, Word.GOING, at=17)
    again = await answer(house, token, second, at=18)
    assert again is not None
    assert again.taken is None
    assert (again.link.used_ms, again.link.used_for) == (minute(17), "going")
    assert await house.words() == [("maria", "going", "link")]


async def test_a_link_works_until_its_time_and_not_at_it(house: LinkFarm) -> None:
    first, second = await house.link(), await house.link("ben")
    early = await answer(house, first, Word.CANNOT, at=OPEN_AT + LINK_MINUTES - 0.001)
    late = await answer(house, second, Word.CANNOT, at=OPEN_AT + LINK_MINUTES)
    assert early is not None
    assert early.taken is not None
    assert late is not None
    assert late.taken is None
    assert await house.words() == [("maria", "cannot", "link")]


async def test_two_at_once_are_one_answer(house: LinkFarm) -> None:
    token = await house.link()
    both = await asyncio.gather(*(answer(house, token, Word.GOING, at=17) for _ in range(2)))
    assert sorted(one is not None and one.taken is not None for one in both) == [False, True]
    assert await house.words() == [("maria", "going", "link")]
    assert len(await written(house.database, "links")) == 2


async def test_going_leaves_a_link_that_is_good_for_out_only(house: LinkFarm) -> None:
    answered = await answer(house, await house.link(), Word.GOING, at=17)
    assert answered is not None
    async with house.database.read() as connection:
        token = await token_for_out(connection, 1, secret=house.secret, link=answered.link)
    assert token is not None
    with pytest.raises(NotAllowed):
        await answer(house, token, Word.GOING, at=40)
    out = await answer(house, token, Word.OUT, at=41)
    assert out is not None
    assert out.taken is not None
    assert await house.words() == [("maria", "going", "link"), ("maria", "out", "link")]
    async with house.database.read() as connection:
        assert await token_for_out(connection, 1, secret=house.secret, link=answered.link) is None


async def test_cannot_leaves_no_further_link(house: LinkFarm) -> None:
    await answer(house, await house.link(), Word.CANNOT, at=17)
    assert len(await written(house.database, "links")) == 1


@pytest.mark.parametrize("word", [Word.WORKING, Word.FIXED, Word.STATUS])
async def test_other_words_are_not_for_links(house: LinkFarm, word: Word) -> None:
    token = await house.link()
    with pytest.raises(NotAllowed):
        await answer(house, token, word, at=17)
    assert await house.words() == []
    assert (await written(house.database, "links"))[0]["used_ms"] is None


async def test_an_answer_after_the_end_says_when_that_was(house: LinkFarm) -> None:
    token = await house.link()
    await house.come_back()
    answered = await answer(house, token, Word.GOING, at=45)
    assert answered is not None
    assert answered.taken is not None
    assert answered.taken.ended_ms == minute(30)


async def test_who_went_before_is_said(house: LinkFarm) -> None:
    first, second = await house.link(), await house.link("ben")
    await answer(house, first, Word.GOING, at=17)
    answered = await answer(house, second, Word.GOING, at=18)
    assert answered is not None
    assert answered.taken is not None
    assert answered.taken.going_before == ("Maria",)


# --- what a link is not good for ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "change",
    [
        {"person_id": "ben"},
        {"happening_id": "house-3@1"},
        {"expires_ms": minute(10**6)},
        {"delivery_id": "after/nothing"},
    ],
)
async def test_a_row_that_was_changed_answers_for_nobody(house: LinkFarm, change: dict[str, object]) -> None:
    """Whoever can write into the table, and not read the secret, still signs nothing."""
    token = await house.link()
    async with house.database.write() as connection:
        await connection.execute(update(links).values(**change))
    assert await answer(house, token, Word.GOING, at=17) is None
    assert await house.words() == []


async def test_a_signed_token_without_a_row_opens_nothing(house: LinkFarm) -> None:
    assert await answer(house, token_of(house.secret, 1, "00" * 8), Word.GOING, at=17) is None


async def test_somebody_who_left_the_farm_answers_no_more(house: LinkFarm) -> None:
    token = await house.link()
    async with house.database.write() as connection:
        await connection.execute(update(people).where(people.c.person_id == "maria").values(active=0))
    assert await answer(house, token, Word.GOING, at=17) is None
    nobody = await house.link("nobody")
    assert await answer(house, nobody, Word.GOING, at=17) is None


async def test_a_link_to_nothing_that_happened_changes_nothing(house: LinkFarm) -> None:
    token = await house.link(happening_id="house-7@1")
    with pytest.raises(NotFound):
        await answer(house, token, Word.GOING, at=17)
    assert (await written(house.database, "links"))[0]["used_ms"] is None


async def test_reading_a_link_leaves_it_as_it_is(house: LinkFarm) -> None:
    token = await house.link()
    link_id = signed_id(house.secret, 1, token)
    assert link_id is not None
    before = await written(house.database, "links")
    async with house.database.read() as connection:
        link = await read_link(connection, 1, secret=house.secret, link_id=link_id)
        assert await rows.link_row(connection, 1, link_id) == before[0]
    assert link is not None
    assert (link.person_id, link.happening_id, link.used_ms) == ("maria", house.happening_id, None)
    assert await written(house.database, "links") == before
