"""How a silence is written down: its row, its happening, and the notices that tell of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from rules.model import HOUR_MS, MINUTE_MS, Instant
from rules.silence import Scope
from service.storage import ledger, outbox, silences
from service.storage.database import Connection
from service.storage.rows import Record
from service.storage.silences import SilenceRow

USE_BY_MS: Final = 2 * HOUR_MS
QUIET_AFTER_MS: Final[Mapping[Scope, int]] = {
    Scope.ROOM: 6 * HOUR_MS,
    Scope.GATEWAY: HOUR_MS,
    Scope.SITE: 20 * MINUTE_MS,
    Scope.BROKER: 20 * MINUTE_MS,
}
"""Told once, the same thing is told again at the soonest after so long, if it is silent then (judgement): what
comes and goes must not make texts all night, and the more is blind, the sooner it is told again."""
FIRST_CHECK: Final[Mapping[Scope, str]] = {
    Scope.ROOM: "probe",
    Scope.GATEWAY: "gateway",
    Scope.SITE: "power or network",
    Scope.BROKER: "computer",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """Writes silences down, in the transaction of one look."""

    connection: Connection
    farm: Record
    now_ms: Instant

    @property
    def _farm_id(self) -> int:
        return int(self.farm["farm_id"])

    async def note(self, row: SilenceRow, *, rooms: Sequence[str]) -> SilenceRow:
        """Write it down for the round sheet: nobody is told now."""
        await silences.save_silence(self.connection, self._farm_id, row)
        notice = {**self._notice(row, "silence", "round", rooms), "happening_id": None}
        await ledger.add_notices(self.connection, self._farm_id, [notice])
        return row

    async def may_tell(self, scope: Scope, name: str) -> bool:
        """Whether this was not told a short while ago already."""
        told_ms = await silences.last_told_ms(self.connection, self._farm_id, scope, name)
        return told_ms is None or self.now_ms - told_ms >= QUIET_AFTER_MS[scope]

    async def wake(self, row: SilenceRow, *, rooms: Sequence[str]) -> SilenceRow:
        """Have people told: a happening of its own, which somebody answers or which ends."""
        happening_id = f"silence/{row.scope}/{row.name}@{row.since_ms}"
        told = replace(row, told_ms=self.now_ms, happening_id=happening_id)
        await silences.save_silence(self.connection, self._farm_id, told)
        happening = {
            "happening_id": happening_id,
            "room_id": None,  # A room's own happening is about its crop; the notice names the room.
            "began_ms": row.since_ms,
            "ended_ms": None,
            "closed_ms": None,
            "woke": 1,
            "part_of": None,
        }
        await ledger.save_happening(self.connection, self._farm_id, happening)
        notice = self._notice(told, "silence", "wake", rooms)
        await ledger.add_notices(self.connection, self._farm_id, [notice])
        return told

    async def mark(self, row: SilenceRow) -> SilenceRow:
        """Write how it stands now."""
        await silences.save_silence(self.connection, self._farm_id, row)
        return row

    async def end(
        self, row: SilenceRow, *, at_ms: Instant, rooms: Sequence[str], still: Sequence[str] = ()
    ) -> None:
        """It is heard again, since a moment: those who were woken hear so."""
        await self._close(row, at_ms)
        if row.happening_id is not None:
            notice = self._notice(row, "heard", "wake", rooms)
            notice["facts"] |= {"until_ms": at_ms, "still": list(still)}
            await ledger.add_notices(self.connection, self._farm_id, [notice])

    async def drop(self, row: SilenceRow) -> None:
        """It no longer means anything: a probe was taken out of its room. Nobody is told that it is heard."""
        await self._close(row, self.now_ms)
        if row.happening_id is not None:
            notice = self._notice(row, "heard", "round", [])
            notice["facts"] |= {"until_ms": self.now_ms, "still": []}
            await ledger.add_notices(self.connection, self._farm_id, [notice])

    async def _close(self, row: SilenceRow, at_ms: Instant) -> None:
        await silences.save_silence(self.connection, self._farm_id, replace(row, ended_ms=at_ms))
        if row.happening_id is None:
            return
        answered = await outbox.answers_of(self.connection, self._farm_id, row.happening_id)
        ends = {"ended_ms": at_ms, "closed_ms": self.now_ms if answered else None, "woke": 1, "part_of": None}
        same = {"happening_id": row.happening_id, "room_id": None, "began_ms": row.since_ms}
        await ledger.save_happening(self.connection, self._farm_id, {**same, **ends})

    def _notice(self, row: SilenceRow, kind: str, telling: str, rooms: Sequence[str]) -> dict[str, Any]:
        said = {name: row.facts[name] for name in ("quantities", "last", "place", "by_http") if name in row.facts}
        facts = {
            **said,
            "room": rooms[0] if row.scope == Scope.ROOM and rooms else None,
            "scope": row.scope,
            "name": row.facts.get("called", row.name),
            "rooms": list(rooms),
            "since_ms": row.since_ms,
            "at_ms": self.now_ms,
            "first_check": FIRST_CHECK.get(Scope(row.scope)),
            "zone": self.farm["zone"],
            "invented": bool(self.farm["invented"]),
        }
        return {
            "notice_key": f"silence/{row.scope}/{row.name}/{row.since_ms}/{kind}/{telling}",
            "kind": kind,
            "telling": telling,
            "room_id": row.facts.get("room_id"),
            "happening_id": row.happening_id,
            "at_ms": self.now_ms,
            "decided_ms": self.now_ms,
            "use_by_ms": self.now_ms + USE_BY_MS,
            "facts": facts,
        }
