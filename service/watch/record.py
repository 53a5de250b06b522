"""The first transaction: keep what came, and say which rooms it concerns.

Nothing is judged here. When ``record`` returns, every message of the batch is on the disk, as readings or as
rejected bytes, and may be acknowledged. When it raises :class:`PassingError`, nothing was written and the same
batch can be recorded again. Any other trouble with a batch is narrowed down to the message that causes it: that
one is rejected with its bytes, its neighbours are kept.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from rules.model import MINUTE_MS, Instant, ProbeId, Reading
from service.errors import PassingError
from service.log import log
from service.messages import Decoded, Incoming, Reason, Rejected, Understood
from service.storage import judgements, readings
from service.storage.database import Connection, Database

Batch: TypeAlias = Sequence[tuple[Incoming, Decoded]]

MOST_WAITING_PROBES = 500
REPEAT_WITHIN_MS = 10 * MINUTE_MS


@dataclass(slots=True, kw_only=True)
class Recorded:
    """What became of a batch."""

    stored: int = 0
    repeated: int = 0
    rejected: int = 0
    rooms: set[str] = field(default_factory=set)


async def record(database: Database, farm_id: int, batch: Batch) -> Recorded:
    """Keep a batch of decoded messages.

    Raises:
        PassingError: the database cannot take it just now; nothing was written.
    """
    try:
        async with database.write() as connection:
            return await _Recording(connection, farm_id).take(batch)
    except PassingError:
        raise
    except Exception as error:  # noqa: BLE001 - whatever it is, it must not block the batch
        if len(batch) == 1:
            return await _set_aside(database, farm_id, batch[0][0], error)
        log.warning("batch recorded one by one", cause=repr(error))
    total = Recorded()
    for one in batch:
        part = await record(database, farm_id, [one])
        total.stored += part.stored
        total.repeated += part.repeated
        total.rejected += part.rejected
        total.rooms |= part.rooms
    return total


async def _set_aside(database: Database, farm_id: int, incoming: Incoming, error: Exception) -> Recorded:
    why = Rejected(reason=Reason.NOT_STORED, detail=f"{type(error).__name__}: {error}"[:500])
    async with database.write() as connection:
        await readings.keep_rejected(connection, farm_id, [(incoming, why)])
        await readings.tally(connection, farm_id, {f"rejected: {why.reason}": 1})
    return Recorded(rejected=1)


class _Recording:
    """One recording transaction."""

    def __init__(self, connection: Connection, farm_id: int) -> None:
        self.connection = connection
        self.farm_id = farm_id
        self.rejected: list[tuple[Incoming, Rejected]] = []
        self.counts: Counter[str] = Counter()
        self.rows: dict[tuple[int, Instant], tuple[Incoming, Understood, float]] = {}
        self.result = Recorded()

    async def take(self, batch: Batch) -> Recorded:
        welcome = await self._welcome(batch)
        for incoming, decoded in batch:
            self.rejected += [(incoming, why) for why in decoded.rejected]
            self.counts.update(f"accepted: {oddity}" for oddity in decoded.oddities)
        await self._settle_identities([(i, u) for i, u in self._welcomed(batch, welcome)])
        await self._insert()
        await self._remember_heard(batch, welcome)
        await readings.keep_rejected(self.connection, self.farm_id, self.rejected)
        self.counts.update(f"rejected: {why.reason}" for _, why in self.rejected)
        await readings.tally(self.connection, self.farm_id, self.counts)
        self.result.rejected = len(self.rejected)
        return self.result

    async def _welcome(self, batch: Batch) -> set[ProbeId]:
        """Probes whose readings are taken: all, unless too many are waiting to be placed already."""
        heard = {probe for _, decoded in batch for probe in decoded.heard}
        unknown = await readings.unknown_probes(self.connection, self.farm_id, heard)
        if not unknown:
            return heard
        free = MOST_WAITING_PROBES - await readings.waiting_probes(self.connection, self.farm_id)
        return heard - set(sorted(unknown)[max(free, 0) :])

    def _welcomed(self, batch: Batch, welcome: set[ProbeId]) -> list[tuple[Incoming, Understood]]:
        taken: list[tuple[Incoming, Understood]] = []
        for incoming, decoded in batch:
            turned_away = {u.reading.probe for u in decoded.understood} - welcome
            detail = f"{MOST_WAITING_PROBES} probes are waiting already"
            self.rejected += [
                (incoming, Rejected(reason=Reason.TOO_MANY_WAITING, detail=detail, probe=probe))
                for probe in sorted(turned_away)
            ]
            taken += [(incoming, u) for u in decoded.understood if u.reading.probe in welcome]
        return taken

    async def _settle_identities(self, taken: Sequence[tuple[Incoming, Understood]]) -> None:
        """Give every reading its (series, time); find repeats and contradictions within the batch."""
        ids = await readings.series_ids(
            self.connection, self.farm_id, {(u.reading.probe, u.reading.quantity) for _, u in taken}
        )
        for incoming, understood in taken:
            reading = understood.reading
            series_id = ids[reading.probe, reading.quantity]
            at_ms: Instant | None = reading.at_ms
            if not understood.timed:
                at_ms = await self._time_of_untimed(incoming, series_id, reading)
            if at_ms is None:
                self.result.repeated += 1
                continue
            present = self.rows.setdefault((series_id, at_ms), (incoming, understood, reading.value))
            if present[0] is not incoming or present[1] is not understood:
                self._again(incoming, understood, stored=present[2])

    async def _time_of_untimed(self, incoming: Incoming, series_id: int, reading: Reading) -> Instant | None:
        """The time taken by our clock, made unique; ``None`` for a repeat. Such a reading has no identity."""
        here = [(at, row[2]) for (s, at), row in self.rows.items() if s == series_id]
        newest = max(here) if here else await readings.newest(self.connection, self.farm_id, series_id)
        if newest is not None and incoming.duplicate and newest[1] == reading.value:
            recent = 0 <= incoming.received_ms - newest[0] <= REPEAT_WITHIN_MS
            if recent:
                return None
        at_ms = reading.at_ms + 1 if newest is not None and newest[0] == reading.at_ms else reading.at_ms
        while (series_id, at_ms) in self.rows:
            at_ms += 1
        return at_ms

    async def _insert(self) -> None:
        rows = [
            readings.Row(series_id=s, at_ms=at, value=value, late_ms=incoming.received_ms - at)
            for (s, at), (incoming, _, value) in self.rows.items()
        ]
        new = await readings.insert_new(self.connection, self.farm_id, rows)
        self.result.stored = len(new)
        old = [identity for identity in self.rows if identity not in new]
        stored = await readings.stored_values(self.connection, self.farm_id, old)
        for identity in old:
            incoming, understood, _ = self.rows[identity]
            self._again(incoming, understood, stored=stored[identity])
        earliest: dict[ProbeId, list[Instant]] = {}
        for identity in new:
            earliest.setdefault(self.rows[identity][1].reading.probe, []).append(identity[1])
        self.result.rooms = await judgements.note_new_readings(self.connection, self.farm_id, earliest)

    def _again(self, incoming: Incoming, understood: Understood, *, stored: float) -> None:
        """A reading whose identity is taken: a repeat, or a contradiction that is shown."""
        reading = understood.reading
        if reading.value == stored:
            self.result.repeated += 1
            return
        detail = f"{reading.quantity} {reading.value} came after {stored} for the same moment; the first stays"
        why = Rejected(reason=Reason.DIFFERS, detail=detail, probe=reading.probe)
        self.rejected.append((incoming, why))

    async def _remember_heard(self, batch: Batch, welcome: set[ProbeId]) -> None:
        heard: dict[ProbeId, readings.Heard] = {}
        for incoming, decoded in batch:
            # What the broker kept proves that a probe exists, not that it is alive.
            alive_ms = 0 if incoming.retained else incoming.received_ms
            for probe in decoded.heard & welcome:
                before = heard.get(probe, readings.Heard(first_ms=incoming.received_ms, last_ms=0))
                heard[probe] = readings.Heard(first_ms=before.first_ms, last_ms=max(before.last_ms, alive_ms))
        await readings.heard(self.connection, self.farm_id, heard)
        self.counts["messages"] += len(batch)
        self.counts["readings"] += self.result.stored
        self.counts["repeats"] += self.result.repeated
