"""The call list as it holds for one notice: who is on it, in what order, and how each can be told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from service.notifications.routing import Line, Way
from service.storage import people
from service.storage.database import Connection
from service.storage.figures import Figures
from service.storage.rows import Record
from service.watch.on_call import call_list
from service.watch.respond import Word, who_is_going

DANGER: Final = "danger"
"""The kind of notice that is told before all others, and to whoever is inside as well."""
LOOK_AFTER: Final = "look after"
NEXT_PERSON: Final = frozenset({"no improvement", LOOK_AFTER})
"""Kinds of notices about somebody who went: the next people hear of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Makes the lines of a notice."""

    farm: Record
    ways: frozenset[Way]
    answers_by_text: bool
    figures: Figures

    async def of(
        self, connection: Connection, notice: Record, told: Sequence[Record], answers: Sequence[Record]
    ) -> list[Line]:
        """The lines for a notice.

        Args:
            connection: to read with.
            notice: what is told.
            told: every telling of its happening, but for those of this notice.
            answers: every answer to its happening, oldest first.
        """
        danger = notice["kind"] == DANGER
        rows = await call_list(
            connection, self.farm, at_ms=notice["decided_ms"], room_id=notice["room_id"], danger=danger
        )
        lines = [self._line(row, row["after_ms"]) for row in rows]
        if notice["kind"] in NEXT_PERSON:
            who = notice["facts"].get("person_id")
            others = self._next_people(lines, who, told, answers)
            return await self._or_anybody(connection, others, but=who) if notice["kind"] == LOOK_AFTER else others
        if danger:
            lines = await self._or_anybody(connection, lines)
        inside = notice["facts"].get("inside", []) if danger else []
        return await self._with_those_inside(connection, lines, inside)

    def _line(self, person: Record, after_ms: int) -> Line:
        return Line(
            person_id=person["person_id"],
            after_ms=after_ms,
            ways=ways(person, self.ways),
            answers=self.answers_by_text and has_answered(person),
        )

    def _next_people(
        self, lines: Sequence[Line], who: str | None, told: Sequence[Record], answers: Sequence[Record]
    ) -> list[Line]:
        """Everybody but the one who went: first those who do not know of it yet, last those who cannot."""
        knows = {t["person_id"] for t in told}
        cannot = set(who_is_going(answers, {Word.CANNOT}))
        others = [line for line in lines if line.person_id != who]
        in_order = sorted(others, key=lambda line: (line.person_id in cannot, line.person_id in knows))
        return [replace(line, after_ms=n * self.figures.ms("again_minutes")) for n, line in enumerate(in_order)]

    async def _or_anybody(self, connection: Connection, lines: list[Line], but: str | None = None) -> list[Line]:
        """Somebody may be hurt, and nobody on the list can be told: then everybody at the farm who can is."""
        if any(line.ways for line in lines):
            return lines
        everybody = await people.all_people(connection, self.farm["farm_id"])
        others = [person for person in everybody if person["active"] and person["person_id"] != but]
        in_order = sorted(others, key=lambda person: not person["manager"])
        return [self._line(person, n * self.figures.ms("again_minutes")) for n, person in enumerate(in_order)]

    async def _with_those_inside(
        self, connection: Connection, lines: list[Line], inside: Sequence[str]
    ) -> list[Line]:
        """Whoever is inside or on the way is told at once, on the call list or not."""
        if not inside:
            return lines
        everybody = await people.all_people(connection, self.farm["farm_id"])
        known = {p["person_id"]: p for p in everybody if p["active"]}
        listed = {line.person_id for line in lines}
        at_once = [self._line(known[p], 0) for p in inside if p in known and p not in listed]
        return [replace(line, after_ms=0) if line.person_id in inside else line for line in lines] + at_once


def has_answered(person: Record) -> bool:
    """Whether an answer by text has ever come back from this person's phone, and texts still reach it."""
    return person["round_trip_ms"] is not None and person["opted_out_ms"] is None


def ways(person: Record, set_up: frozenset[Way]) -> tuple[Way, ...]:
    """How this person can be told: the way they chose, then the others.

    Where none of a person's ways is set up, the first is taken all the same: it is given up at once, and seen.
    """
    to = {Way.TEXT: person["phone"], Way.VOICE: person["phone"], Way.MAIL: person["email"]}
    if person["opted_out_ms"] is not None:
        del to[Way.TEXT]
    has = sorted((way for way, address in to.items() if address), key=lambda way: way.value != person["way"])
    return tuple([way for way in has if way in set_up] or [way for way in has if way is not Way.VOICE][:1])
