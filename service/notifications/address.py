"""From notices to tellings: who is told, in what order, by what way. Applied again and again until all is told.

A (notice, step, person, way) exists once, so addressing twice, or in two processes, tells nobody twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from rules.model import MINUTE_MS, Instant
from service.clock import Clock
from service.errors import PassingError
from service.log import log
from service.notifications.lines import DANGER, Lines
from service.notifications.routing import (
    AT_THE_FARM,
    FARM_WAYS,
    Chain,
    Line,
    Pace,
    Tell,
    Told,
    Way,
    next_step,
)
from service.storage import ledger, outbox, rooms
from service.storage.database import Connection, Database
from service.storage.figures import Figures, figures_of
from service.storage.outbox import TO_THOSE_WOKEN
from service.storage.rooms import COOLER
from service.storage.rows import Record
from service.storage.silences import WHOLE_FARM
from service.watch.respond import STOPS, Word, taken_back_ms, who_is_going

ENDS: Final = {
    "back": "back before it went out",
    "held": "held back before it went out",
    "heard": "heard again before it went out",
    "site back": "back before it went out",
    "came out": "they came out before it went out",
}
"""Notices that end a happening, and why whatever had not gone out by then is called off."""
HAS_GONE_OUT: Final = frozenset({outbox.SENT, outbox.UNSURE})
WORSE: Final = "deeper"
STARTS_WITH_TWO: Final = frozenset({DANGER, "site"})
ONE_TELLING: Final = frozenset({"trouble", "deeper", "no improvement"})
"""Of what happens in one room, whoever was told of a newer one of these hears no more of an older one."""
LONGEST_WAIT_MS: Final = 10 * MINUTE_MS
"""No first text waits longer for others: a later moment was set by a clock that was wrong."""
TRIES_IN_VAIN: Final = 2
"""After so many the same person is told by another way as well."""


@dataclass(slots=True, kw_only=True)
class Address:
    """Addresses the notices of one farm."""

    database: Database
    farm: Record
    clock: Clock
    ways: frozenset[Way] = frozenset({Way.TEXT, Way.MAIL})
    """The ways that are set up."""
    answers_by_text: bool = False
    """Whether answers by text can reach us."""

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
        if notice["kind"] in TO_THOSE_WOKEN and notice["happening_id"] is not None:
            return await self._to_those_woken(connection, notice, now_ms)
        if notice["telling"] == "round":
            await outbox.finish_addressing(connection, farm_id, notice["notice_key"])
            return 0
        return await self._down_the_list(connection, notice, now_ms)

    async def _down_the_list(self, connection: Connection, notice: Record, now_ms: Instant) -> int:
        """Go down the call list as far as time and answers ask."""
        if now_ms < notice["facts"].get("tell_from_ms", 0) <= notice["decided_ms"] + LONGEST_WAIT_MS:
            return 0
        farm_id = self.farm["farm_id"]
        if notice["kind"] == WORSE and await self._is_told_with_others(connection, notice):
            await outbox.finish_addressing(connection, farm_id, notice["notice_key"])
            return 0
        happening = await outbox.tellings_of(connection, farm_id, notice["happening_id"])
        mine = [t for t in happening if t["notice_key"] == notice["notice_key"]]
        told = [t for t in mine if t["person_id"] != AT_THE_FARM]
        answers = await outbox.answers_of(connection, farm_id, notice["happening_id"])
        since = [a for a in answers if a["at_ms"] >= notice["decided_ms"]]
        figures = await figures_of(connection, farm_id)
        lines = Lines(farm=self.farm, ways=self.ways, answers_by_text=self.answers_by_text, figures=figures)
        before = [t for t in happening if t["notice_key"] != notice["notice_key"]]
        call_list = await lines.of(connection, notice, before, answers)
        newer = _told_newer(before, notice)
        chain = Chain(
            call_list=[_but_once(line, told) if line.person_id in newer else line for line in call_list],
            told=_counted(told, taken_back_ms(answers)),
            cannot=set(who_is_going(since, {Word.CANNOT})),
            pace=await self._pace(connection, notice, call_list, figures),
            began_ms=notice["decided_ms"],
        )
        step = next_step(chain, somebody_is_going=self._ends_with(since, notice, told), now_ms=now_ms)
        people = tuple(t for t in step.tell if t.person_id not in newer)
        tell = (*people, *self._at_the_farm(mine))
        await self._add(connection, notice, tell, now_ms)
        if step.finished and not _may_need_more(told, people):
            if not told:
                log.error("nobody can be told: nobody on the call list has a number or address", **_name(notice))
            await outbox.finish_addressing(connection, farm_id, notice["notice_key"])
        return len(tell)

    async def _is_told_with_others(self, connection: Connection, notice: Record) -> bool:
        """With the power off every room goes from bad to worse, and everybody was told of all of them."""
        happening = await ledger.happening(connection, self.farm["farm_id"], notice["happening_id"])
        return happening["part_of"] is not None

    @staticmethod
    def _ends_with(since: Sequence[Record], notice: Record, told: Sequence[Record]) -> bool:
        """Whether an answer ends the telling: of danger only once it was told at all, and never "the probe"."""
        if notice["kind"] != DANGER:
            return bool(who_is_going(since, STOPS))
        return bool(told) and bool(who_is_going(since, {Word.GOING, Word.FIXED}))

    async def _pace(
        self, connection: Connection, notice: Record, call_list: Sequence[Line], figures: Figures
    ) -> Pace:
        first = next((line for line in call_list if line.ways), None)
        two = first is None or not first.answers or await self._cannot_wait(connection, notice)
        return Pace(
            at_once=2 if two else 1,
            again_ms=figures.ms("again_minutes"),
            most_tellings=round(figures.most_tellings),
            call_after_ms=figures.ms("call_after_minutes"),
        )

    async def _cannot_wait(self, connection: Connection, notice: Record) -> bool:
        """What begins with two people: it cannot wait for one of them to wake."""
        if notice["kind"] in STARTS_WITH_TWO or notice["facts"].get("scope") in WHOLE_FARM:
            return True
        if notice["room_id"] is None:
            return False
        room = await rooms.room(connection, self.farm["farm_id"], notice["room_id"])
        return bool(room["kind"] == COOLER)

    def _at_the_farm(self, mine: Sequence[Record]) -> tuple[Tell, ...]:
        """Machines and lamps hear of every notice at once."""
        done = {t["way"] for t in mine if t["person_id"] == AT_THE_FARM}
        ways = [way for way in FARM_WAYS if way in self.ways and way.value not in done]
        return tuple(Tell(step=0, person_id=AT_THE_FARM, way=way) for way in ways)

    async def _to_those_woken(self, connection: Connection, notice: Record, now_ms: Instant) -> int:
        """Tell those who were woken, and nobody else; of what is over, what had not gone out yet is called off.

        An end that no text can tell (the limit itself is gone, or nobody was woken) still calls off the rest.
        """
        farm_id, happening = self.farm["farm_id"], notice["happening_id"]
        ends = None if notice["facts"].get("still") else ENDS.get(notice["kind"])  # some rooms are not back
        if ends is not None:
            await outbox.cancel_waiting(connection, farm_id, happening, at_ms=now_ms, why=ends, spare=tuple(ENDS))
        told = await outbox.tellings_of(connection, farm_id, happening)
        first = [t for t in told if t["kind"] not in TO_THOSE_WOKEN]
        woken_by_parts = await self._told_of_parts(connection, happening)
        alone = (await ledger.happening(connection, farm_id, happening))["part_of"] is None
        woken = _those_woken([*first, *woken_by_parts], notice) if alone and notice["telling"] != "round" else ()
        hears = {t["person_id"] for t in told if t["notice_key"] == notice["notice_key"]} - {AT_THE_FARM}
        tell = tuple(t for t in woken if t.person_id not in hears)  # reached later by a second way: once is enough
        some_are_not_back = bool(notice["facts"].get("still"))
        if some_are_not_back or (ends is not None and await self._something_else_is_open(connection, happening)):
            tell = tuple(t for t in tell if t.way is not Way.LAMP)
        await self._add(connection, notice, tell, now_ms)
        if ends is None or not any(t["state"] == outbox.WAITING for t in first):
            await outbox.finish_addressing(connection, farm_id, notice["notice_key"])
        return len(tell)

    async def _told_of_parts(self, connection: Connection, happening_id: str) -> list[Record]:
        """Who was told of one room, before or after it was told with the others, hears with those as well."""
        found: list[Record] = []
        for part in await ledger.parts_of(connection, self.farm["farm_id"], happening_id):
            told = await outbox.tellings_of(connection, self.farm["farm_id"], part["happening_id"])
            found += [t for t in told if t["kind"] not in TO_THOSE_WOKEN]
        return found

    async def _something_else_is_open(self, connection: Connection, happening_id: str) -> bool:
        """A lamp burns for as long as anything that woke somebody is open."""
        rows = await ledger.unanswered_happenings(connection, self.farm["farm_id"])
        return any(r["ended_ms"] is None and r["woke"] and r["happening_id"] != happening_id for r in rows)

    async def _add(self, connection: Connection, notice: Record, tell: Sequence[Tell], now_ms: Instant) -> None:
        farm_id, key = self.farm["farm_id"], notice["notice_key"]
        rows = [
            outbox.new_telling(
                delivery_id=outbox.telling_key(farm_id, key, step=t.step, person_id=t.person_id, way=t.way.value),
                notice_key=key,
                step=t.step,
                person_id=t.person_id,
                way=t.way.value,
                now_ms=now_ms,
            )
            for t in tell
        ]
        await outbox.add_tellings(connection, farm_id, rows)


def _counted(told: Sequence[Record], taken_back_ms: Instant | None) -> list[Told]:
    """In order. Who heard that somebody goes has lain down again: when that is taken back, it counts no more."""
    in_order = [_told(t) for t in sorted(told, key=lambda t: (t["added_ms"], t["step"]))]
    return [replace(t, called_off=t.called_off or t.added_ms < (taken_back_ms or 0)) for t in in_order]


def _told_newer(others: Sequence[Record], notice: Record) -> set[str]:
    """Whom something newer of the same happening has reached, or may yet."""
    newer = [t for t in others if t["kind"] in ONE_TELLING and t["at_ms"] > notice["at_ms"]]
    return {t["person_id"] for t in newer if outbox.may_reach(t)}


def _but_once(line: Line, told: Sequence[Record]) -> Line:
    """A line of somebody who knows already of what is newer: told of this before or not, it is enough."""
    used = {t["way"] for t in told if t["person_id"] == line.person_id}
    ways = tuple(way for n, way in enumerate(line.ways) if n == 0 or way.value in used)
    return replace(line, answers=False, ways=ways)


def _told(row: Record) -> Told:
    summed = row["detail"] == outbox.IN_THE_SUMMARY
    return Told(
        person_id=row["person_id"],
        way=Way(row["way"]),
        added_ms=row["added_ms"],
        may_reach=outbox.may_reach(row),
        failing=row["state"] == outbox.WAITING and row["attempts"] >= TRIES_IN_VAIN,
        called_off=row["state"] == outbox.CANCELLED and not summed,
    )


def _those_woken(first: Sequence[Record], notice: Record) -> tuple[Tell, ...]:
    """One telling to each person who was told, by the quietest way that reached them; and to the farm's machines.

    Whoever is the news ("Maria is going") need not hear it.
    """
    reached = [t for t in first if t["state"] in HAS_GONE_OUT or t["detail"] == outbox.IN_THE_SUMMARY]
    ways: dict[str, list[Way]] = {}
    for t in reached:
        ways.setdefault(t["person_id"], []).append(Way(t["way"]))
    about = notice["facts"].get("person_id")
    at_farm = {way for way in ways.pop(AT_THE_FARM, []) if notice["kind"] in ENDS or way is not Way.LAMP}
    people = [
        Tell(step=0, person_id=person, way=min(used, key=list(Way).index))
        for person, used in sorted(ways.items())
        if person != about
    ]
    return (*people, *(Tell(step=0, person_id=AT_THE_FARM, way=way) for way in sorted(at_farm)))


def _in_turn(notice: Record) -> int:
    """Danger first; then what is over or held back, which need not be told as trouble any more."""
    if notice["kind"] == DANGER:
        return 0
    return 1 if notice["kind"] in ENDS else 2


def _may_need_more(told: Sequence[Record], new: Sequence[Tell]) -> bool:
    """While a telling is under way, somebody else may still have to be told instead."""
    return bool(new) or any(t["state"] == outbox.WAITING for t in told)


def _name(notice: Record) -> dict[str, Any]:
    return {"notice": notice["notice_key"], "room": notice["room_id"]}
