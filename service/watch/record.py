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
from service.storage.database import Connection, Database, is_passing

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
    refused: list[Rejected] = field(default_factory=list)
    """What was not taken, and why: as many as ``rejected`` counts."""

    def add(self, other: Recorded) -> None:
        """Count what became of another part of the batch."""
        self.stored += other.stored
        self.repeated += other.repeated
        self.rejected += other.rejected
        self.rooms |= other.rooms
        self.refused += other.refused


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
        log.warning("batch recorded one by one", messages=len(batch), cause=type(error).__name__)
    total = Recorded()
    async with database.write() as connection:
        for one in batch:
            total.add(await _alone(connection, farm_id, one))
    return total


async def _alone(connection: Connection, farm_id: int, one: tuple[Incoming, Decoded]) -> Recorded:
    """Record one message of a batch, or set it aside; the batch stays one transaction."""
    try:
        async with connection.begin_nested():
            return await _Recording(connection, farm_id).take([one])
    except Exception as error:
        if is_passing(error):
            raise
        log.warning("message set aside", topic=one[0].topic, cause=repr(error)[:500])
        return await _set_aside(connection, farm_id, one[0], error)


async def _set_aside(connection: Connection, farm_id: int, incoming: Incoming, error: Exception) -> Recorded:
    said = str(error).partition("\n")[0]  # the statement and its values follow; they are nothing for a page
    why = Rejected(reason=Reason.NOT_STORED, detail=f"{type(error).__name__}: {said}"[:500])
    await readings.keep_rejected(connection, farm_id, [(incoming, why)])
    await readings.tally(connection, farm_id, {"messages": 1, f"rejected: {why.reason}": 1})
    return Recorded(rejected=1, refused=[why])


class _Recording:
    """One recording transaction."""

    def __init__(self, connection: Connection, farm_id: int) -> None:
        self.connection = connection
        self.farm_id = farm_id
        self.rejected: list[tuple[Incoming, Rejected]] = []
        self.counts: Counter[str] = Counter()
        self.rows: dict[tuple[int, Instant], tuple[Incoming, Understood, float]] = {}
        self.new: dict[ProbeId, list[Instant]] = {}
        self.newest: dict[int, tuple[Instant, float]] = {}
        self.known: set[int] = set()
        """Series whose newest stored reading was looked up."""
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
        self.result.refused = [why for _, why in self.rejected]
        self.result.rooms = await judgements.note_new_readings(self.connection, self.farm_id, self.new)
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
            elif (newest := self.newest.get(series_id)) is None or newest[0] <= at_ms:
                self.newest[series_id] = (at_ms, reading.value)

    async def _time_of_untimed(self, incoming: Incoming, series_id: int, reading: Reading) -> Instant | None:
        """The time taken by our clock, made unique; ``None`` for a repeat. Such a reading has no identity."""
        newest = await self._newest(series_id)
        if newest is not None and incoming.duplicate and newest[1] == reading.value:
            recent = 0 <= incoming.received_ms - newest[0] <= REPEAT_WITHIN_MS
            if recent:
                return None
        return await self._free_moment(series_id, reading.at_ms, newest_ms=None if newest is None else newest[0])

    async def _newest(self, series_id: int) -> tuple[Instant, float] | None:
        """The newest reading of the series, stored or of this batch."""
        if series_id not in self.known:
            self.known.add(series_id)
            found = [await readings.newest(self.connection, self.farm_id, series_id), self.newest.get(series_id)]
            if any(found):
                self.newest[series_id] = max(one for one in found if one)
        return self.newest.get(series_id)

    async def _free_moment(self, series_id: int, at_ms: Instant, *, newest_ms: Instant | None) -> Instant:
        """The first millisecond from ``at_ms`` on that no reading of the series has."""
        if newest_ms is None or newest_ms < at_ms:
            return at_ms
        taken = await readings.moments_from(self.connection, self.farm_id, series_id, at_ms)
        while (series_id, at_ms) in self.rows or at_ms in taken:
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
        for identity in new:
            self.new.setdefault(self.rows[identity][1].reading.probe, []).append(identity[1])

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
                heard[probe] = readings.Heard(
                    first_ms=before.first_ms,
                    last_ms=max(before.last_ms, alive_ms),
                    gateway=decoded.gateway or before.gateway,
                )
        await readings.heard(self.connection, self.farm_id, heard)
        self.counts["messages"] += len(batch)
        self.counts["readings"] += self.result.stored
        self.counts["repeats"] += self.result.repeated
