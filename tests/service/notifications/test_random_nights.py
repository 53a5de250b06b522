"""The chain in the small, with everything real but people: a database, a gateway over HTTP, and bad luck.

The nights are random and invented, and the same at every run. What must hold is this project's own promise.
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from service.notifications.routing import Way
from service.storage import outbox
from service.storage.database import Database
from service.watch.respond import STOPS, Word, who_is_going
from tests.support.databases import sqlite_database
from tests.support.night_call import NUMBERS, give_mail, night_call
from tests.support.random_nights import LAST, Laid, Living, Post, lay_down
from tests.support.watched import minute
from tests.support.written import written

NIGHTS = 12
CHAIN = {"trouble", "deeper", "no improvement", "look after"}
TOLD = {outbox.SENT, outbox.UNSURE}
GIVEN_UP = {outbox.GAVE_UP, outbox.MISSED}


async def lived(database: Database, laid: Laid) -> Living:
    """One night, lived through."""
    post = Post(laid=laid, now=lambda: living.at)
    async with night_call(database, laid.phones, proven=laid.proven, carriers={Way.MAIL: post}) as night:
        living = Living(night=night, laid=laid)
        await give_mail(database, *laid.by_mail)
        await living.through()
    return living


def is_told(tellings: list[dict[str, Any]]) -> bool:
    """Whether a person was told of a notice, by itself or in their summary; or given up by each way, and why."""
    told = [t for t in tellings if t["state"] in TOLD or t["detail"] == outbox.IN_THE_SUMMARY]
    tried = [t for t in tellings if t["state"] != outbox.CANCELLED]
    return bool(told) or (bool(tried) and all(t["state"] in GIVEN_UP and t["detail"] for t in tried))


async def forgotten(database: Database, notice: dict[str, Any]) -> set[str]:
    """Who was neither told of a notice nor visibly given up, though nobody went and it was not over."""
    [happening] = await written(database, "happenings", happening_id=notice["happening_id"])
    answers = sorted(
        await written(database, "answers", happening_id=notice["happening_id"]), key=lambda a: a["at_ms"]
    )
    since = [a for a in answers if a["at_ms"] >= notice["decided_ms"]]
    if happening["ended_ms"] is not None or who_is_going(since, STOPS):
        return set()
    everybody = set(NUMBERS) - set(who_is_going(since, {Word.CANNOT}))
    if notice["kind"] in {"no improvement", "look after"}:
        everybody -= {json.loads(notice["facts"])["person_id"]}
    rows = await written(database, "deliveries", notice_key=notice["notice_key"])
    return {who for who in everybody if not is_told([row for row in rows if row["person_id"] == who])}


async def check(database: Database, living: Living) -> None:
    """All that must hold after any night."""
    notices = {n["notice_key"]: n for n in await written(database, "notices")}
    assert any(n["kind"] == "trouble" for n in notices.values()), "the house was dry"
    old = {key: notice for key, notice in notices.items() if notice["decided_ms"] <= minute(LAST - 90)}
    for notice in old.values():
        assert notice["addressed"] == 1, f"still being told at the end: {notice['notice_key']}"
        if notice["kind"] in CHAIN and notice["telling"] == "wake":
            assert await forgotten(database, notice) == set(), notice["notice_key"]
    rows = {row["delivery_id"]: row for row in await written(database, "deliveries")}
    assert not [row for row in rows.values() if row["state"] == outbox.WAITING and row["notice_key"] in old]
    assert all(row["detail"] for row in rows.values() if row["state"] != outbox.SENT), "it says why"
    for at, key in living.taken:
        assert minute(at) <= notices[rows[key]["notice_key"]]["use_by_ms"], "sent late as if new"
    twice = [key for key, times in Counter(key for _, key in living.taken).items() if times > 1]
    assert twice == []
    went = [row for row in rows.values() if row["state"] in TOLD]
    most = Counter((row["notice_key"], row["person_id"], row["way"]) for row in went)
    taken_back = len(await written(database, "answers", word=Word.CANNOT.value))
    assert max(most.values(), default=0) <= 3 * (1 + taken_back), most.most_common(3)


@pytest.mark.parametrize("seed", range(NIGHTS))
async def test_on_any_night_everybody_is_told_once_or_there_is_a_reason(tmp_path: Path, seed: int) -> None:
    async with sqlite_database(tmp_path) as database:
        await check(database, await lived(database, lay_down(seed)))
