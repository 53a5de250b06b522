"""The look over all rooms: what befell several of them at once is told as one failure of the whole farm.

Texts about single rooms wait a minute for this. What is merged keeps its own happening and its own lines on pages
and sheets; only the telling is shared, and so are its answers and its end. Danger to people never comes here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from rules.model import SECOND_MS, Instant, Quantity, Side
from rules.together import Contacts, Failure, Measure, Ongoing, Trouble, joins, measure, together
from service.clock import Clock
from service.errors import PassingError
from service.log import log
from service.storage import judgements, ledger, outbox, rooms, sites
from service.storage.database import Connection, Database
from service.storage.figures import figures_of
from service.storage.rows import Record
from service.watch.open_things import SITE_MARK
from service.watch.respond import STOPS
from service.watch.site_end import BACK, SiteEnd, back_by
from service.watch.site_facts import CONTACT_HOLDS_MS, Site, site_notice

BEFORE_TOLD_MS: Final = 3 * SECOND_MS
"""So long before the first of them would be told alone, all are told as one: the others had their time."""
NOT_GROWN_IN: Final = frozenset({rooms.COOLER, "outside", "tank area"})
"""Kinds of rooms that do not count towards how many rooms a small farm has."""
TOLD_WITH: Final = "told with the whole farm"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """What one look sees, with the rooms in question held."""

    fresh: Sequence[Record]
    told: Sequence[Record]
    contacts: Contacts
    by: Measure


@dataclass(slots=True, kw_only=True)
class FarmWatch:
    """Looks over all rooms of one farm, again and again, always before people are told."""

    database: Database
    farm: Record
    clock: Clock

    async def all_due(self) -> int:
        """Merge what belongs together and tell what is over; return how many notices that made.

        Whatever goes wrong here, rooms must still be told one by one.
        """
        try:
            return await self._look_over()
        except PassingError:
            raise
        except Exception:  # noqa: BLE001 - as said above
            log.exception("the farm could not be looked over")
            return 0

    async def _look_over(self) -> int:
        async with self.database.read() as connection:
            if not await self._is_needed(connection):
                return 0
        async with self.database.write() as connection:
            now_ms = self.clock.now_ms()
            sight = await self._look(connection, now_ms)
            made = await self._merge(connection, sight, now_ms)
            await self._quieten(connection, now_ms)
            return made + await SiteEnd(farm=self.farm).all_due(connection, now_ms)

    async def _is_needed(self, connection: Connection) -> bool:
        farm_id = self.farm["farm_id"]
        return bool(
            await sites.fresh_troubles(connection, farm_id)
            or await sites.open_sites(connection, farm_id, SITE_MARK)
            or await sites.told_with_others(connection, farm_id)
        )

    async def _look(self, connection: Connection, now_ms: Instant) -> Sight:
        """Hold every room in question, so that none is judged or answered meanwhile, and then look."""
        farm_id = self.farm["farm_id"]
        figures = await figures_of(connection, farm_id)
        within_ms = figures.ms("merge_within_minutes")
        grown_in = [r for r in await rooms.all_rooms(connection, farm_id) if r["kind"] not in NOT_GROWN_IN]
        by = measure(rooms=round(figures.merge_rooms), within_ms=within_ms, farm_rooms=len(grown_in))
        fresh, told = await self._troubles(connection, within_ms)
        for room_id in sorted({str(row["room_id"]) for row in (*fresh, *told)}):
            await judgements.lock(connection, farm_id, room_id)
        fresh, told = await self._troubles(connection, within_ms)
        return Sight(fresh=fresh, told=told, contacts=await self._contacts(connection, now_ms), by=by)

    async def _troubles(self, connection: Connection, within_ms: int) -> tuple[list[Record], list[Record]]:
        farm_id = self.farm["farm_id"]
        fresh = await sites.fresh_troubles(connection, farm_id)
        if not fresh:
            return [], []
        from_ms = min(row["at_ms"] for row in fresh) - within_ms
        words = [word.value for word in STOPS]
        return fresh, await sites.told_troubles(connection, farm_id, from_ms=from_ms, words=words)

    async def _contacts(self, connection: Connection, now_ms: Instant) -> Contacts:
        asked = (Quantity.MAINS, Quantity.GENERATOR, Quantity.WATER_PRESSURE)
        said = await sites.newest_values(
            connection, self.farm["farm_id"], asked, from_ms=now_ms - CONTACT_HOLDS_MS, to_ms=now_ms
        )
        # Where there are several, one that is off is trouble, and one generator that runs is power.
        on = {quantity: [value > 0 for value in values] for quantity, values in said.items()}
        return Contacts(
            mains=all(on[Quantity.MAINS]) if Quantity.MAINS in on else None,
            generator=any(on[Quantity.GENERATOR]) if Quantity.GENERATOR in on else None,
            water_pressure=all(on[Quantity.WATER_PRESSURE]) if Quantity.WATER_PRESSURE in on else None,
        )

    # --- merging ------------------------------------------------------------------------------------------------

    async def _merge(self, connection: Connection, sight: Sight, now_ms: Instant) -> int:
        if not sight.fresh:
            return 0
        joined = await self._join(connection, sight)
        rows = {
            _trouble(row, told=told): row
            for told, some in ((False, sight.fresh), (True, sight.told))
            for row in some
            if row["notice_key"] not in joined
        }
        failures = together(rows, contacts=sight.contacts, by=sight.by)
        ripe_ms = now_ms + round(BEFORE_TOLD_MS * self.clock.factor)
        ripe = [f for f in failures if any(_tell_from_ms(rows[t]) <= ripe_ms for t in f.troubles if not t.told)]
        return sum([await self._tell(connection, failure, rows, now_ms) for failure in ripe])

    async def _join(self, connection: Connection, sight: Sight) -> set[str]:
        """Rooms that follow in a failure that was told join it without a text of their own."""
        joined: set[str] = set()
        for notice in await sites.open_sites(connection, self.farm["farm_id"], SITE_MARK):
            ongoing = await self._ongoing(connection, notice)
            follow = [
                row
                for row in sight.fresh
                if row["notice_key"] not in joined
                and joins(_trouble(row, told=False), ongoing, contacts=sight.contacts, by=sight.by)
            ]
            taken = await self._take(connection, follow, of=notice["happening_id"])
            if taken:
                await self._name_too(connection, notice, [r for r in follow if r["notice_key"] in taken])
            joined |= taken
        return joined

    async def _name_too(self, connection: Connection, notice: Record, rows: Sequence[Record]) -> None:
        """Whoever is told from now on, or once more, reads of the rooms that followed as well."""
        farm_id, facts = self.farm["farm_id"], notice["facts"]
        room_ids = {*facts["room_ids"], *(str(row["room_id"]) for row in rows)}
        known = [room for room in await rooms.all_rooms(connection, farm_id) if room["room_id"] in room_ids]
        more = {"room_ids": [r["room_id"] for r in known], "rooms": [r["text_name"] for r in known]}
        await outbox.set_facts(connection, farm_id, notice["notice_key"], {**facts, **more})

    async def _ongoing(self, connection: Connection, notice: Record) -> Ongoing:
        farm_id, facts = self.farm["farm_id"], notice["facts"]
        parts = await ledger.parts_of(connection, farm_id, notice["happening_id"])
        told_back_ms = await sites.noticed_ms(connection, farm_id, notice["happening_id"], BACK)
        kind = None if facts["what"] == "power" else (Quantity(facts["what"]), Side(facts["side"]))
        return Ongoing(
            kind=kind,
            last_ms=max([notice["at_ms"], *(part["began_ms"] for part in parts)]),
            rooms=frozenset(str(part["room_id"]) for part in parts) | set(facts["room_ids"]),
            back=frozenset() if told_back_ms is None else back_by(parts, told_back_ms),
        )

    async def _tell(
        self, connection: Connection, failure: Failure, rows: Mapping[Trouble, Record], now_ms: Instant
    ) -> int:
        """One happening and one notice for all of it, unless somebody was quicker with every one of its rooms."""
        farm_id = self.farm["farm_id"]
        mine = [rows[trouble] for trouble in failure.troubles]
        site = await self._site(connection, failure, mine, now_ms)
        fresh = [rows[trouble] for trouble in failure.troubles if not trouble.told]
        if not await self._take(connection, fresh, of=site.happening_id):
            return 0
        for row in (
            rows[trouble] for trouble in failure.troubles if trouble.told and not rows[trouble]["answered"]
        ):
            await self._take_over(connection, row, of=site.happening_id, now_ms=now_ms)
        await ledger.save_happening(connection, farm_id, site.happening)
        await ledger.add_notices(connection, farm_id, [site_notice(site, self.farm)])
        return 1

    async def _site(
        self, connection: Connection, failure: Failure, rows: Sequence[Record], now_ms: Instant
    ) -> Site:
        known = await rooms.all_rooms(connection, self.farm["farm_id"])
        order = {room["room_id"]: room["position"] for room in known}
        at_ms = max(row["at_ms"] for row in rows if not row.get("answered"))
        taken = {n["happening_id"] for n in await sites.open_sites(connection, self.farm["farm_id"], SITE_MARK)}
        while f"{SITE_MARK}{at_ms}" in taken:
            at_ms += 1
        return Site(
            happening_id=f"{SITE_MARK}{at_ms}",
            at_ms=at_ms,
            now_ms=now_ms,
            failure=failure,
            rows=sorted(rows, key=lambda row: order[row["room_id"]]),
        )

    async def _take(self, connection: Connection, rows: Sequence[Record], *, of: str) -> set[str]:
        """These rooms' first texts are not sent any more; the rooms are part of something larger."""
        farm_id = self.farm["farm_id"]
        taken = await sites.take_untold(connection, farm_id, [row["notice_key"] for row in rows])
        happening_ids = [row["happening_id"] for row in rows if row["notice_key"] in taken]
        await sites.make_part(connection, farm_id, happening_ids, of=of)
        return taken

    async def _take_over(self, connection: Connection, row: Record, *, of: str, now_ms: Instant) -> None:
        """A room that was told alone before it was known for what it is: the telling goes on with the others."""
        farm_id = self.farm["farm_id"]
        await outbox.cancel_waiting(connection, farm_id, row["happening_id"], at_ms=now_ms, why=TOLD_WITH)
        await sites.make_part(connection, farm_id, [row["happening_id"]], of=of)

    async def _quieten(self, connection: Connection, now_ms: Instant) -> None:
        """Ends of rooms that are told with the others are not told one by one, nor is one of them told anew."""
        farm_id = self.farm["farm_id"]
        for notice in await sites.told_with_others(connection, farm_id):
            if notice["kind"] == "trouble":
                await outbox.finish_addressing(connection, farm_id, notice["notice_key"])
            else:
                await outbox.cancel_waiting(
                    connection,
                    farm_id,
                    notice["happening_id"],
                    at_ms=now_ms,
                    why="back before it went out",
                    spare=(),
                )


def _tell_from_ms(row: Record) -> Instant:
    """When a room would be told alone."""
    return int(row["facts"].get("tell_from_ms", 0))


def _trouble(row: Record, *, told: bool) -> Trouble:
    facts = row["facts"]
    return Trouble(
        room=str(row["room_id"]),
        quantity=Quantity(facts["quantity"]),
        side=Side(facts["side"]),
        at_ms=row["at_ms"],
        told=told,
    )
