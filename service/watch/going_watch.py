"""Somebody went, and it is no better after so long: the next person is told. And who went must come out again.

Looked at every few seconds, from what is stored: a restart forgets nobody, and nobody is told twice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from rules.model import HOUR_MS, Quantity, Side
from service.clock import Clock
from service.errors import PassingError
from service.log import log
from service.storage import judgements, ledger, outbox, people
from service.storage.database import Connection, Database
from service.storage.figures import Figures, figures_of
from service.storage.rows import Record
from service.watch.facts import TREND_STEP
from service.watch.facts_now import FactsNow
from service.watch.open_things import OUT_MARK, kind_of
from service.watch.out_clock import look_after_all
from service.watch.respond import STOPS, who_is_going
from service.wire.word import Word

NO_BETTER: Final = "no improvement"
USE_BY_MS: Final = 2 * HOUR_MS


@dataclass(slots=True, kw_only=True)
class GoingWatch:
    """Watches what became of "going" on one farm."""

    database: Database
    farm: Record
    clock: Clock
    now: FactsNow

    async def all_due(self) -> int:
        """Tell what is due; return how many notices that made."""
        async with self.database.read() as connection:
            rows = await ledger.unanswered_happenings(connection, self.farm["farm_id"])
        going_on = [row for row in rows if row["ended_ms"] is None and row["part_of"] is None]
        made = 0
        for row in going_on:
            if not str(row["happening_id"]).startswith(OUT_MARK):
                made += await self._look_at_one(str(row["happening_id"]))
        async with self.database.write() as connection:
            figures = await figures_of(connection, self.farm["farm_id"])
            made += await look_after_all(connection, self.farm, figures, self.clock.now_ms())
        return made

    async def _look_at_one(self, happening_id: str) -> int:
        try:
            return await self._look_at(happening_id)
        except PassingError:
            raise
        except Exception:  # noqa: BLE001 - trouble with one must not leave somebody inside another unasked after
            log.exception("what became of going could not be looked at", happening=happening_id)
            return 0

    async def _look_at(self, happening_id: str) -> int:
        async with self.database.write() as connection:
            farm_id = self.farm["farm_id"]
            answers = await outbox.answers_of(connection, farm_id, happening_id)
            going = [a for a in answers if a["word"] in {Word.GOING, Word.FIXED}]
            if not going or not who_is_going(answers, STOPS):
                return 0 if going else await self._if_nobody_was_reached(connection, happening_id)
            happening = await ledger.happening(connection, farm_id, happening_id)
            if happening["room_id"] is not None:  # its end is then either seen here, or comes after
                await judgements.lock(connection, farm_id, str(happening["room_id"]))
                happening = await ledger.happening(connection, farm_id, happening_id)
            figures = await figures_of(connection, farm_id)
            if happening["ended_ms"] is not None:
                return 0
            return await self._if_no_better(connection, happening, going[-1], figures)

    async def _if_nobody_was_reached(self, connection: Connection, happening_id: str) -> int:
        """Every way was down for as long as the text was of use: the telling begins anew, with what is so now."""
        farm_id, now_ms = self.farm["farm_id"], self.clock.now_ms()
        before = await outbox.newest_notice(connection, farm_id, happening_id)
        if before is None or not before["addressed"] or now_ms < before["decided_ms"] + USE_BY_MS:
            return 0
        happening = await ledger.happening(connection, farm_id, happening_id)
        if happening["ended_ms"] is not None or not await outbox.reached_nobody(connection, farm_id, happening_id):
            return 0
        kind = str(before["kind"])
        notice = {
            "notice_key": f"{happening_id}/{kind}/anew/{now_ms}",
            "kind": kind,
            "telling": before["telling"],
            "room_id": before["room_id"],
            "happening_id": happening_id,
            "at_ms": now_ms,
            "decided_ms": now_ms,
            "use_by_ms": max(before["use_by_ms"], now_ms + USE_BY_MS),
            "facts": {**await self._facts_now(connection, happening, before), "at_ms": now_ms},
        }
        await ledger.add_notices(connection, farm_id, [notice])
        log.warning("nobody was reached, so it is told anew", happening=happening_id)
        return 1

    async def _if_no_better(
        self, connection: Connection, happening: Record, went: Record, figures: Figures
    ) -> int:
        farm_id, now_ms = self.farm["farm_id"], self.clock.now_ms()
        happening_id, since_ms = str(happening["happening_id"]), now_ms - went["at_ms"]
        before = await outbox.newest_notice(connection, farm_id, happening_id)
        if before is None or since_ms < figures.ms("going_minutes") or before["decided_ms"] > went["at_ms"]:
            return 0  # too soon, or told again since
        facts = await self._facts_now(connection, happening, before)
        if is_better(before["facts"], facts) and since_ms < 2 * figures.ms("going_minutes"):
            return 0
        person = await people.person(connection, farm_id, went["person_id"])
        said = {
            "person": person["name"],
            "person_id": went["person_id"],
            "went_ms": went["at_ms"],
            "at_ms": now_ms,
        }
        notice = {
            "notice_key": f"{happening_id}/{NO_BETTER}/{went['at_ms']}",
            "kind": NO_BETTER,
            "telling": "wake",
            "room_id": happening["room_id"],
            "happening_id": happening_id,
            "at_ms": now_ms,
            "decided_ms": now_ms,
            "use_by_ms": now_ms + USE_BY_MS,
            "facts": {**facts, **said},
        }
        await ledger.add_notices(connection, farm_id, [notice])
        log.info("no better since somebody went", happening=happening_id, person=went["person_id"])
        return 1

    async def _facts_now(self, connection: Connection, happening: Record, before: Record) -> dict[str, Any]:
        """The facts of what is open as of now; those that were told before where there are no newer ones."""
        told: dict[str, Any] = {name: v for name, v in before["facts"].items() if name != "tell_from_ms"}
        room_id = happening["room_id"]
        if room_id is None:
            return {**told, **await self._still_out(connection, str(happening["happening_id"]), told)}
        if kind_of(str(happening["happening_id"])) == "people":
            return {**told, **await self.now.for_people(connection, str(room_id))}
        open_now = await self.now.judge.standing_facts(connection, str(room_id))
        same = [f for f in open_now if (f["quantity"], f["side"]) == (told["quantity"], told["side"])]
        return {**told, **next(iter(same or open_now), {})}

    async def _still_out(
        self, connection: Connection, happening_id: str, told: Mapping[str, Any]
    ) -> dict[str, Any]:
        """Of the rooms that went wrong together, those that are not back; nothing where it is about none."""
        parts = await ledger.parts_of(connection, self.farm["farm_id"], happening_id)
        out = {str(part["room_id"]) for part in parts if part["ended_ms"] is None}
        left = [both for both in zip(told.get("room_ids", ()), told["rooms"], strict=False) if both[0] in out]
        return {"room_ids": [room for room, _ in left], "rooms": [name for _, name in left]} if left else {}


def is_better(before: Mapping[str, Any], now: Mapping[str, Any]) -> bool:
    """Whether a value has come back towards its limit by more than a probe wavers."""
    if set(now.get("rooms", ())) < set(before.get("rooms", ())):
        return True  # some of them are back
    same = all(before.get(name) == now.get(name) for name in ("quantity", "side"))
    if not same or before.get("value") is None or now.get("value") is None:
        return False
    quantity = Quantity(now["quantity"])
    step = TREND_STEP.get(quantity, 0.0)
    change = float(now["value"]) - float(before["value"])
    return change >= step if now["side"] == Side.LOW else -change >= step
