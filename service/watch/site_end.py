"""The end of a failure of the whole farm: told once when all rooms are back, or which ones are left."""

from __future__ import annotations

from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

from rules.model import Instant, Quantity
from rules.together import Over, over
from service.storage import ledger, outbox, rooms, sites
from service.storage.database import Connection
from service.storage.rows import Record
from service.watch.open_things import SITE_MARK
from service.watch.respond import STOPS
from service.watch.site_facts import CONTACT_HOLDS_MS, common_facts, in_order, notice

BACK = "site back"
POWER = "power"


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteEnd:
    """Tells the ends of one farm."""

    farm: Record

    async def all_due(self, connection: Connection, now_ms: Instant) -> int:
        """See to every failure that goes on; return how many notices that made."""
        told = [
            await self._one(connection, told, now_ms)
            for told in await sites.open_sites(connection, self.farm["farm_id"], SITE_MARK)
        ]
        return sum(told)

    async def _one(self, connection: Connection, told: Record, now_ms: Instant) -> int:
        farm_id, happening_id = self.farm["farm_id"], told["happening_id"]
        by_room = _by_room(await ledger.parts_of(connection, farm_id, happening_id))
        most_told = await sites.noticed_ms(connection, farm_id, happening_id, BACK) is not None
        ended = [_ended_ms(parts) for parts in by_room.values()]
        what = over(ended, most_told=most_told, now_ms=now_ms)
        if what is Over.NOT_YET:
            return 0
        back_ms = max(at_ms for at_ms in ended if at_ms is not None)
        at_ms = back_ms if what is Over.ALL else now_ms
        facts = {**await self._facts(connection, {**told, "now_ms": now_ms}, by_room), "until_ms": back_ms}
        row = notice(happening_id, BACK, {**facts, **common_facts(self.farm, at_ms)}, at_ms=at_ms, now_ms=now_ms)
        # Where no room is back, nobody hears that one is; the telling ends all the same.
        sayable = facts["rooms"] or facts["still"]
        await ledger.add_notices(connection, farm_id, [{**row, "telling": "wake" if sayable else "round"}])
        if what is Over.ALL:
            await self._end(connection, told, back_ms)
        return 1

    async def _facts(
        self, connection: Connection, told: Record, by_room: dict[str, list[Record]]
    ) -> dict[str, object]:
        known = await rooms.all_rooms(connection, self.farm["farm_id"])
        newest = {room: max(parts, key=lambda part: int(part["began_ms"])) for room, parts in by_room.items()}
        held = await sites.ended_by_hold(
            connection, self.farm["farm_id"], [part["happening_id"] for part in newest.values()]
        )
        out = {room for room, parts in by_room.items() if _ended_ms(parts) is None}
        still = [newest[room]["happening_id"] for room in out]
        left_alone = {room for room, part in newest.items() if part["happening_id"] in held}
        anew = await self._out_anew(connection, by_room.keys() - out)
        same = ("what", "side", "since_ms")
        return {
            "room": None,
            "rooms": in_order(known, by_room.keys() - out - left_alone - anew),
            "not_all": bool(anew),
            "still": in_order(known, out),
            "still_since_ms": await sites.beyond_since(connection, self.farm["farm_id"], still) if still else None,
            "left_alone": in_order(known, left_alone - out),
            **{name: told["facts"][name] for name in same},
            **(await self._what_is_left(connection, told, still) if still else {}),
        }

    async def _what_is_left(self, connection: Connection, told: Record, still: Sequence[str]) -> dict[str, object]:
        """With the mains on again, what is still wrong is no power cut any more, but what it left behind."""
        if told["facts"]["what"] != POWER:
            return {}
        farm_id, now_ms = self.farm["farm_id"], told["now_ms"]
        from_ms = now_ms - CONTACT_HOLDS_MS
        said = await sites.newest_values(connection, farm_id, (Quantity.MAINS,), from_ms=from_ms, to_ms=now_ms)
        mains = said.get(Quantity.MAINS, [])
        trouble = await outbox.newest_notice(connection, farm_id, still[0])
        if not mains or not all(value > 0 for value in mains) or trouble is None:
            return {}
        return {"what": trouble["facts"]["quantity"], "side": trouble["facts"]["side"]}

    async def _out_anew(self, connection: Connection, room_ids: AbstractSet[str]) -> set[str]:
        """Rooms that were back, and are in a trouble of their own by now."""
        found = {room: await ledger.open_happening(connection, self.farm["farm_id"], room) for room in room_ids}
        return {room for room, happening in found.items() if happening is not None and happening["woke"]}

    async def _end(self, connection: Connection, told: Record, at_ms: Instant) -> None:
        """Closed as well if somebody answered; otherwise the morning sheet closes it."""
        farm_id, happening_id = self.farm["farm_id"], told["happening_id"]
        answers = await outbox.answers_of(connection, farm_id, happening_id)
        answered = any(said["word"] in STOPS for said in answers)
        ended = {"ended_ms": at_ms, "closed_ms": at_ms if answered else None, "woke": 1}
        known = {"happening_id": happening_id, "room_id": None, "began_ms": told["began_ms"]}
        await ledger.save_happening(connection, farm_id, {**known, **ended})


def _by_room(parts: Sequence[Record]) -> dict[str, list[Record]]:
    """A room may have come back and failed again meanwhile: it then has several."""
    found: dict[str, list[Record]] = {}
    for part in parts:
        found.setdefault(str(part["room_id"]), []).append(part)
    return found


def _ended_ms(parts: Sequence[Record]) -> Instant | None:
    """When a room was back for good, as far as is known."""
    ended = [part["ended_ms"] for part in parts]
    return None if None in ended else max(ended)


def back_by(parts: Sequence[Record], at_ms: Instant) -> frozenset[str]:
    """The rooms that were back at a moment, among those that had been out by then."""
    out_by_then = [part for part in parts if part["began_ms"] <= at_ms]
    ended = {room: _ended_ms(mine) for room, mine in _by_room(out_by_then).items()}
    return frozenset(room for room, ended_ms in ended.items() if ended_ms is not None and ended_ms <= at_ms)
