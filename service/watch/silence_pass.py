"""One look at what is silent: what was silent before is followed, what is new is written down, people are told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from rules.model import MINUTE_MS, Instant
from rules.silence import (
    RARELY_MS,
    Again,
    HeardProbe,
    Look,
    Scope,
    Silent,
    find_silent,
    heard_again,
    layer_limit_ms,
    listened_ms,
    probe_limit_ms,
    silent_gateway,
    silent_probe,
    silent_site,
)
from service.storage import holds
from service.storage.rows import Record
from service.storage.silences import SilenceRow
from service.watch.blind import Lost, Watched, is_held, last_of_alarms, lost_in, watched_in
from service.watch.catalogue import Catalogue
from service.watch.silence_story import Story

WIDE: Final = (Scope.SITE, Scope.GATEWAY)
NAME_OF_SITE: Final = "site"
ASK_AGAIN_MS: Final = MINUTE_MS
"""Who may be woken is looked up so often, as long as nobody may."""


@dataclass(slots=True)
class Remembered:
    """What one look leaves to the next; nothing that a restart may not forget."""

    afresh_ms: dict[str, Instant] = field(default_factory=dict)
    """From when on a probe's silence counts again, after a wider silence that ended."""
    asked_ms: dict[tuple[str, str], Instant] = field(default_factory=dict)


@dataclass(slots=True, kw_only=True)
class Pass:
    """One look, within one transaction."""

    story: Story
    look: Look
    blind_ms: int
    catalogue: Catalogue
    remembered: Remembered
    rooms: Mapping[str, Record]
    probes: Mapping[str, tuple[HeardProbe, Record]]
    measured: Mapping[str, Mapping[str, int]]
    open: dict[tuple[str, str], SilenceRow]
    back_ms: dict[str, Instant] = field(default_factory=dict)
    """Probes whose silence ended in this look, and since when they are heard."""

    async def go(self, *, deaf_since_ms: Instant | None) -> None:
        """Look; while we are deaf to the broker only that is judged."""
        if deaf_since_ms is not None:
            await self._deaf(deaf_since_ms)
            return
        for row in list(self.open.values()):
            if row.scope != Scope.ROOM:
                await self._follow(row)
        for silent in find_silent([heard for heard, _ in self.probes.values()], self.look):
            await self._notice(silent)
        await self._tell_wide()
        await self._rooms()

    # --- our own line ---------------------------------------------------------------------------------------

    async def _deaf(self, since_ms: Instant) -> None:
        """We do not hear the broker: told at the limit of the site, and while it lasts nothing else is."""
        row = self.open.get((Scope.BROKER, Scope.BROKER))
        now_ms = self.look.now_ms
        if row is None:
            if now_ms - since_ms < self.look.limits.site_ms:
                return
            otherwise = any(heard.heard_ms > since_ms + MINUTE_MS for heard, _ in self.probes.values())
            row = SilenceRow(
                scope=Scope.BROKER,
                name=Scope.BROKER,
                since_ms=since_ms,
                noticed_ms=now_ms,
                facts={"by_http": otherwise, "limit_ms": self.look.limits.site_ms},
            )
            await self._begin(row)
        elif row.facts.get("heard_from_ms") is not None:
            await self._mark(row, heard_from_ms=None)
        await self._tell_wide()

    # --- what was silent before -------------------------------------------------------------------------------

    async def _follow(self, row: SilenceRow) -> None:
        members = self._members(row)
        if row.scope != Scope.BROKER and not members:
            self.open.pop((row.scope, row.name))
            await self.story.drop(row)
            return
        again = self._again(row, members)
        if not again.is_over or again.heard_from_ms is None:
            if again.heard_from_ms != row.facts.get("heard_from_ms"):
                await self._mark(row, heard_from_ms=again.heard_from_ms)
            return
        self.open.pop((row.scope, row.name))
        self.back_ms |= dict.fromkeys((m.probe for m in members), again.heard_from_ms)
        still = [m for m in members if silent_probe(m, self.look) is not None]
        if row.scope in WIDE:
            self.remembered.afresh_ms |= dict.fromkeys((m.probe for m in members), again.heard_from_ms)
        whole = self._room_names(members)
        heard = set(self._room_names(m for m in members if m not in still))
        await self.story.end(
            row, at_ms=again.heard_from_ms, rooms=whole, still=[name for name in whole if name not in heard]
        )

    def _again(self, row: SilenceRow, members: list[HeardProbe]) -> Again:
        """Whether it is heard again; the broker is, since the present stretch of listening began."""
        if row.scope == Scope.BROKER:
            newest_ms, still_silent = self.look.spans[-1][0], False
        else:
            newest_ms, still_silent = max(m.heard_ms for m in members), self._is_silent(row, members)
        return heard_again(
            row.facts.get("heard_from_ms"),
            newest_ms=newest_ms,
            since_ms=row.since_ms,
            still_silent=still_silent,
            limit_ms=self._limit_ms(row, members),
            now_ms=self.look.now_ms,
        )

    def _members(self, row: SilenceRow) -> list[HeardProbe]:
        """The probes that a silence is about, as far as they still hang somewhere."""
        if row.scope == Scope.SITE:
            return [heard for heard, _ in self.probes.values() if heard.reports_often]
        names = row.facts.get("probes", [])
        return [self.probes[name][0] for name in names if name in self.probes]

    def _is_silent(self, row: SilenceRow, members: list[HeardProbe]) -> bool:
        match row.scope:
            case Scope.SITE:
                return silent_site(members, self.look) is not None
            case Scope.GATEWAY:
                return silent_gateway(row.name, members, self.look) is not None
            case _:
                return silent_probe(members[0], self.look) is not None

    def _limit_ms(self, row: SilenceRow, members: list[HeardProbe]) -> int:
        known = [m for m in members if m.usual_ms is not None]
        if row.scope == Scope.PROBE and known and known[0].usual_ms is not None:
            return probe_limit_ms(known[0].usual_ms, self.look.limits)
        if row.scope in WIDE and known:
            return layer_limit_ms(Scope(row.scope), known, self.look.limits)
        limit_ms: int = row.facts["limit_ms"]
        return limit_ms

    # --- what is new ------------------------------------------------------------------------------------------

    async def _notice(self, silent: Silent) -> None:
        """Write it down, unless it is known, or something wider that is known already holds it."""
        name = silent.name or NAME_OF_SITE
        if (silent.scope, name) in self.open or self._is_swallowed(silent):
            return
        facts: dict[str, object] = {
            "probes": list(silent.probes),
            "counts_from_ms": silent.counts_from_ms,
            "limit_ms": silent.limit_ms,
        }
        if silent.scope is Scope.PROBE:
            placed = self.probes[silent.name][1]
            facts |= {"room_id": placed["room_id"], "place": placed["place"]}
        row = SilenceRow(
            scope=silent.scope,
            name=name,
            since_ms=silent.since_ms,
            noticed_ms=self.look.now_ms,
            facts=facts,
        )
        await self._begin(row)

    def _is_swallowed(self, silent: Silent) -> bool:
        if silent.scope is Scope.SITE:
            return False
        if (Scope.SITE, NAME_OF_SITE) in self.open:
            return True
        wide = [row for row in self.open.values() if row.scope == Scope.GATEWAY]
        return silent.scope is Scope.PROBE and any(silent.name in row.facts["probes"] for row in wide)

    async def _begin(self, row: SilenceRow) -> None:
        rooms = self._room_names(self._members(row))
        self.open[row.scope, row.name] = await self.story.note(row, rooms=rooms)

    async def _mark(self, row: SilenceRow, *, heard_from_ms: Instant | None) -> None:
        marked = replace(row, facts={**row.facts, "heard_from_ms": heard_from_ms})
        self.open[row.scope, row.name] = await self.story.mark(marked)

    # --- who is told ------------------------------------------------------------------------------------------

    async def _tell_wide(self) -> None:
        """The broker, the site or a gateway: people are told at once, if any of the rooms may wake anybody."""
        for key, row in list(self.open.items()):
            scope = Scope(row.scope)
            is_wide = scope in {*WIDE, Scope.BROKER}
            if not is_wide or row.told_ms is not None or row.facts.get("heard_from_ms") is not None:
                continue
            if scope is Scope.GATEWAY and (Scope.SITE, NAME_OF_SITE) in self.open:
                continue
            members = self._members(row) if scope in WIDE else [heard for heard, _ in self.probes.values()]
            if (
                self._ask_now(key)
                and await self._any_may_wake(members)
                and await self.story.may_tell(*_names(key))
            ):
                rooms = self._room_names(members)
                self.open[key] = await self.story.wake(row, rooms=rooms)

    async def _any_may_wake(self, members: Iterable[HeardProbe]) -> bool:
        for room_id in self._rooms_of(members):
            if (await self._watched(room_id)).may_wake():
                return True
        return False

    async def _rooms(self) -> None:
        """Rooms that have lost what a text limit stands on."""
        silent = self._silent_since()
        held = None
        for room_id, room in self.rooms.items():
            here = [h for h, row in self.probes.values() if row["room_id"] == room_id and self._is_source(h)]
            lost = lost_in(room, probes=here, measured=self.measured, counts_from_ms=silent)
            key = (Scope.ROOM, room_id)
            row = self.open.get(key)
            if row is not None:
                await self._follow_room(row, lost, here, silent)
            elif lost is not None and not self._is_in_wide(lost) and self._is_blind(lost) and self._ask_now(key):
                held = await self._holds() if held is None else held
                await self._tell_room(lost, held)

    def _is_source(self, probe: HeardProbe) -> bool:
        """Whether a room is seen by this probe: it reports often, or is so new that nobody knows yet."""
        is_new = probe.usual_ms is None and self.look.now_ms - probe.heard_ms < RARELY_MS
        return probe.reports_often or is_new

    async def _holds(self) -> list[holds.HoldRow]:
        farm_id = self.story.farm["farm_id"]
        return await holds.all_holds(self.story.connection, farm_id, from_ms=self.look.now_ms)

    def _silent_since(self) -> dict[str, Instant]:
        """Probes that are written down as silent by themselves, and from when on that counts."""
        rows = [row for row in self.open.values() if row.scope == Scope.PROBE]
        return {
            row.name: max(row.facts["counts_from_ms"], self.remembered.afresh_ms.get(row.name, 0)) for row in rows
        }

    def _is_blind(self, lost: Lost) -> bool:
        """Whether we listened in vain for long enough. After a start that begins anew."""
        waited_ms = listened_ms(self.look.spans, lost.counts_from_ms, self.look.now_ms)
        return waited_ms >= self.blind_ms

    def _is_in_wide(self, lost: Lost) -> bool:
        wide = [row for row in self.open.values() if row.scope in WIDE]
        return any(row.scope == Scope.SITE or set(lost.probes) & set(row.facts["probes"]) for row in wide)

    async def _tell_room(self, lost: Lost, held: list[holds.HoldRow]) -> None:
        watched = await self._watched(lost.room["room_id"])
        needed = tuple(q for q in lost.quantities if watched.may_wake({q}))
        lost = replace(lost, quantities=needed)
        room_id = lost.room["room_id"]
        if not needed or is_held(lost, held, self.look.now_ms):
            return
        if not await self.story.may_tell(Scope.ROOM, room_id):
            return
        farm_id = self.story.farm["farm_id"]
        facts = {
            "probes": list(lost.probes),
            "quantities": [q.value for q in needed],
            "room_id": room_id,
            "called": lost.room["text_name"],
            "last": await last_of_alarms(self.story.connection, farm_id, lost, watched),
        }
        row = SilenceRow(
            scope=Scope.ROOM,
            name=room_id,
            since_ms=lost.since_ms,
            noticed_ms=self.look.now_ms,
            facts=facts,
        )
        self.open[Scope.ROOM, room_id] = await self.story.wake(row, rooms=[lost.room["text_name"]])

    async def _follow_room(
        self, row: SilenceRow, lost: Lost | None, here: list[HeardProbe], silent: Mapping[str, Instant]
    ) -> None:
        """It is over when something is heard again of all that was lost: its probes, or others in their place."""
        wanted = set(row.facts["quantities"])
        if lost is not None and wanted & {q.value for q in lost.quantities}:
            return
        self.open.pop((row.scope, row.name))
        back = [h for h in here if h.probe not in silent and wanted & set(self.measured.get(h.probe, {}))]
        if not back:
            await self.story.drop(row)
            return
        at_ms = max(self.back_ms.get(h.probe, row.since_ms) for h in back)
        at_ms = self.look.now_ms if at_ms == row.since_ms else at_ms
        await self.story.end(row, at_ms=at_ms, rooms=[row.facts["called"]])

    async def _watched(self, room_id: str) -> Watched:
        return await watched_in(
            self.story.connection,
            self.story.farm["farm_id"],
            self.rooms[room_id],
            catalogue=self.catalogue,
            now_ms=self.look.now_ms,
        )

    def _ask_now(self, key: tuple[str, str]) -> bool:
        asked_ms = self.remembered.asked_ms.get(key)
        if asked_ms is not None and 0 <= self.look.now_ms - asked_ms < ASK_AGAIN_MS:
            return False
        self.remembered.asked_ms[key] = self.look.now_ms
        return True

    def _rooms_of(self, members: Iterable[HeardProbe]) -> list[str]:
        mine = {self.probes[m.probe][1]["room_id"] for m in members}
        return [room_id for room_id in self.rooms if room_id in mine]

    def _room_names(self, members: Iterable[HeardProbe]) -> list[str]:
        """Text names, in the farm's own order."""
        return [self.rooms[room_id]["text_name"] for room_id in self._rooms_of(members)]


def _names(key: tuple[str, str]) -> tuple[Scope, str]:
    return Scope(key[0]), key[1]
