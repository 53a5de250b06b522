"""From notices to tellings: who is told, in what order, by what way. Applied again and again until all is told.

A (notice, step, person, way) exists once, so addressing twice, or in two processes, tells nobody twice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from rules.model import Instant
from service.clock import Clock
from service.errors import PassingError
from service.localtime import local
from service.log import log
from service.notifications.routing import Line, Tell, Way, is_night, next_step
from service.storage import outbox, people
from service.storage.database import Connection, Database
from service.storage.rows import Record
from service.watch.respond import Word

ENDS = {"back": "back before it went out", "held": "held back before it went out"}
"""Notices that end a happening, and why whatever had not gone out by then is called off."""
MAY_REACH = frozenset({outbox.WAITING, outbox.SENT, outbox.UNSURE})

DANGER = "danger"
"""The kind of notice that is told before all others, and to whoever is inside as well."""


@dataclass(slots=True, kw_only=True)
class Address:
    """Addresses the notices of one farm."""

    database: Database
    farm: Record
    clock: Clock
    ways: frozenset[Way] = frozenset(Way)
    """The ways that are set up."""

    async def all_notices(self) -> int:
        """Bring every unfinished notice as far as it can be brought now; return how many tellings that made."""
        async with self.database.read() as connection:
            unfinished = await outbox.unaddressed(connection, self.farm["farm_id"])
        made = 0
        for notice in sorted(unfinished, key=_in_turn):
            try:
                made += await self._one(notice["notice_key"])
            except PassingError:
                raise
            except Exception:  # noqa: BLE001 - one notice's trouble must not silence the others
                log.exception("notice could not be addressed", notice=notice["notice_key"])
        return made

    async def _one(self, notice_key: str) -> int:
        async with self.database.write() as connection:
            notice = await outbox.open_notice(connection, self.farm["farm_id"], notice_key)
            return 0 if notice is None else await self._notice(connection, notice)

    async def _notice(self, connection: Connection, notice: Record) -> int:
        farm_id, now_ms = self.farm["farm_id"], self.clock.now_ms()
        if notice["kind"] in ENDS and notice["happening_id"] is not None:
            return await self._back(connection, notice, now_ms)
        if notice["telling"] == "round":
            await outbox.finish_addressing(connection, farm_id, notice["notice_key"])
            return 0
        return await self._wake(connection, notice, now_ms)

    async def _wake(self, connection: Connection, notice: Record, now_ms: Instant) -> int:
        """Go down the call list as far as time and answers ask."""
        if now_ms < notice["facts"].get("tell_from_ms", 0):
            return 0
        farm_id = self.farm["farm_id"]
        told = await outbox.tellings_of(connection, farm_id, notice["happening_id"])
        mine = [t for t in told if t["notice_key"] == notice["notice_key"]]
        answers = await outbox.answers_of(connection, farm_id, notice["happening_id"])
        said = {(a["word"], a["person_id"]) for a in answers if a["at_ms"] >= notice["decided_ms"]}
        somebody_is_going = any(word == Word.GOING for word, _ in said)
        call_list = await self._call_list(connection, notice["decided_ms"])
        if notice["kind"] == DANGER:
            call_list = await self._with_those_inside(connection, call_list, notice["facts"]["inside"])
            # Whoever goes must not keep the others from hearing of it.
            somebody_is_going = somebody_is_going and bool(mine)
        step = next_step(
            call_list,
            {t["person_id"]: t["state"] in MAY_REACH and (Word.CANNOT, t["person_id"]) not in said for t in mine},
            somebody_is_going=somebody_is_going,
            began_ms=notice["decided_ms"],
            now_ms=now_ms,
        )
        await self._add(connection, notice, step.tell, now_ms)
        if step.finished and not _may_need_more(mine, step.tell):
            if not mine:
                log.error("nobody can be told: nobody on the call list has a number or address", **_name(notice))
            await outbox.finish_addressing(connection, farm_id, notice["notice_key"])
        return len(step.tell)

    async def _with_those_inside(
        self, connection: Connection, call_list: list[Line], inside: list[str]
    ) -> list[Line]:
        """Whoever is inside or on the way is told at once, on the call list or not."""
        known = {
            p["person_id"]: p for p in await people.all_people(connection, self.farm["farm_id"]) if p["active"]
        }
        listed = {line.person_id for line in call_list}
        at_once = [
            Line(person_id=p, after_ms=0, ways=ways(known[p], self.ways))
            for p in inside
            if p in known and p not in listed
        ]
        return [replace(line, after_ms=0) if line.person_id in inside else line for line in call_list] + at_once

    async def _back(self, connection: Connection, notice: Record, now_ms: Instant) -> int:
        """Tell those who were woken, and nobody else; what had not gone out yet is called off.

        An end that no text can tell (the limit itself is gone, or nobody was woken) still calls off the rest.
        """
        farm_id, happening = self.farm["farm_id"], notice["happening_id"]
        why = ENDS[notice["kind"]]
        await outbox.cancel_waiting(connection, farm_id, happening, at_ms=now_ms, why=why)
        told = await outbox.tellings_of(connection, farm_id, happening)
        first = [t for t in told if t["kind"] != "back"]
        woken = {(t["person_id"], Way(t["way"])) for t in first if t["state"] in {outbox.SENT, outbox.UNSURE}}
        if notice["telling"] == "round":
            woken = set()
        tell = tuple(Tell(step=0, person_id=person, way=way) for person, way in sorted(woken))
        await self._add(connection, notice, tell, now_ms)
        if not any(t["state"] == outbox.WAITING for t in first):
            await outbox.finish_addressing(connection, farm_id, notice["notice_key"])
        return len(tell)

    async def _call_list(self, connection: Connection, at_ms: Instant) -> list[Line]:
        both = ("night", "day") if is_night_at(self.farm, at_ms) else ("day", "night")
        # A farm that set only one of the lists meant it for always.
        rows = await people.calls(connection, self.farm["farm_id"], both[0])
        if not rows:
            rows = await people.calls(connection, self.farm["farm_id"], both[1])
        return [Line(person_id=r["person_id"], after_ms=r["after_ms"], ways=ways(r, self.ways)) for r in rows]

    async def _add(self, connection: Connection, notice: Record, tell: tuple[Tell, ...], now_ms: Instant) -> None:
        rows = [
            {
                "delivery_id": _key(self.farm["farm_id"], notice["notice_key"], t),
                "notice_key": notice["notice_key"],
                "step": t.step,
                "person_id": t.person_id,
                "way": t.way.value,
                "state": outbox.WAITING,
                "attempts": 0,
                "next_ms": now_ms,
                "claimed_until_ms": 0,
                "first_try_ms": None,
                "ended_ms": None,
                "detail": "",
                "text": "",
            }
            for t in tell
        ]
        await outbox.add_tellings(connection, self.farm["farm_id"], rows)


def _in_turn(notice: Record) -> int:
    """Danger first; then what is over or held back, which need not be told as trouble any more."""
    if notice["kind"] == DANGER:
        return 0
    return 1 if notice["kind"] in ENDS else 2


def is_night_at(farm: Record, at_ms: Instant) -> bool:
    """Whether the farm's call list of the night holds at a moment."""
    here = local(at_ms, farm["zone"])
    evening, morning = farm["evening_round_minute"], farm["morning_round_minute"]
    return is_night(here.hour * 60 + here.minute, evening_minute=evening, morning_minute=morning)


def ways(person: Record, set_up: frozenset[Way]) -> tuple[Way, ...]:
    """How this person can be told: by text, else by mail.

    Where none of a person's ways is set up, the first is taken all the same: it is given up at once, and seen.
    """
    has = [way for way, to in ((Way.TEXT, person["phone"]), (Way.MAIL, person["email"])) if to]
    return tuple(([way for way in has if way in set_up] or has)[:1])


def _may_need_more(mine: list[Record], new: tuple[Tell, ...]) -> bool:
    """While a telling is under way, somebody else may still have to be told instead."""
    return bool(new) or any(t["state"] == outbox.WAITING for t in mine)


def _name(notice: Record) -> dict[str, Any]:
    return {"notice": notice["notice_key"], "room": notice["room_id"]}


def _key(farm_id: int, notice_key: str, tell: Tell) -> str:
    """The idempotency key of a telling: the same whenever and wherever it is worked out."""
    return uuid5(NAMESPACE_URL, f"houseband:{farm_id}/{notice_key}/{tell.step}/{tell.person_id}/{tell.way}").hex
