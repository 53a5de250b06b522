"""A farm of many houses on a real database, all with shiitake pins, driven minute by minute on a test clock.

Every minute is what the service does in it: rooms are judged, the farm is looked over, people are told. Texts go
to a carrier that takes everything. Minutes count from :data:`farmyard.NOW_MS`; names and figures are invented.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from rules.model import DAY_MS, MINUTE_MS, SECOND_MS, Instant, ProbeId, Quantity, Reading
from service.messages import Decoded, Incoming, Understood
from service.notifications.address import Address
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Outcome
from service.notifications.deliver import Deliver
from service.notifications.routing import Way
from service.notifications.writing import Writing
from service.storage import crops, rooms
from service.storage.database import Database
from service.storage.figures import set_figure
from service.watch.catalogue import Catalogue
from service.watch.farm_watch import FarmWatch
from service.watch.judge import SETTLE_MS, Judge
from service.watch.record import record
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.watched import minute
from tests.support.written import written

GOOD: Final = 97.0
DRY: Final = 80.0
VERY_DRY: Final = 60.0
PHONES: Final = {"+12025550141": "maria", "+12025550142": "ben", "+12025550143": "cal"}
MAINS: Final = "mains-1"
AFTER_MS: Final = 20 * SECOND_MS
"""So long after the newest reading it is judged, settling time and all."""

Weather = Callable[[int, int], float | None]
"""Humidity of the n-th house (from 1) at a minute; ``None`` when its probe is silent."""


@dataclass(slots=True)
class Phones:
    """Everybody's phones: whatever is sent arrives."""

    clock: HandClock
    came: list[tuple[float, str, str]] = field(default_factory=list)
    """(minute, person, text)"""

    async def carry(self, message: Message) -> Outcome:
        at = (self.clock.now_ms() - minute(0)) / MINUTE_MS
        self.came.append((round(at, 1), PHONES[message.to], message.text))
        return Accepted(detail="taken")


@dataclass(slots=True, kw_only=True)
class ManyHouses:
    """The whole line on one farm."""

    database: Database
    farm: dict[str, Any]
    houses: int
    clock: HandClock
    phones: Phones
    judge: Judge
    watch: FarmWatch
    address: Address
    deliver: Deliver
    now: int = 0
    """Readings were heard up to this minute."""

    async def until(
        self, end: int, weather: Weather, *, step: int = 1, also: Mapping[Quantity, Weather] | None = None
    ) -> None:
        """Let time pass, with readings every minute; every ``step`` minutes what the service does all the time."""
        series = {Quantity.HUMIDITY: weather, **(also or {})}
        while self.now < end:
            to = min(self.now + step, end)
            await self._hear(range(self.now, to), series)
            self.now = to
            await self.tick(minute(to - 1) + AFTER_MS)

    async def tick(self, now_ms: Instant) -> None:
        """What the service does again and again."""
        self.clock.set(now_ms)
        for room_id in await self.judge.rooms_due(now_ms - SETTLE_MS):
            await self.judge.judge(room_id, until_ms=now_ms - SETTLE_MS, now_ms=now_ms)
        await self.watch.all_due()
        await self.address.all_notices()
        await self.deliver.all_due()

    async def contact(self, quantity: Quantity, *, on: bool, probe: str = MAINS) -> None:
        """What a contact says at this minute."""
        await _record(self.database, [(probe, quantity, minute(self.now), float(on))])

    async def _hear(self, minutes: Iterable[int], series: Mapping[Quantity, Weather]) -> None:
        values = [
            (f"probe-{n}", quantity, minute(at), value)
            for at in minutes
            for n in range(1, self.houses + 1)
            for quantity, weather in series.items()
            if (value := weather(n, at)) is not None
        ]
        await _record(self.database, values)

    def texts(self, person: str = "maria") -> list[str]:
        """What one phone showed, in order."""
        return [text for _, who, text in self.phones.came if who == person]

    def counts(self) -> Counter[str]:
        """How many texts came, by person."""
        return Counter(who for _, who, _ in self.phones.came)

    def most_in_an_hour(self, person: str) -> int:
        """The most texts that one phone had in any hour."""
        at = [when for when, who, _ in self.phones.came if who == person]
        return max(sum(first <= when < first + 60 for when in at) for first in at) if at else 0

    async def parts(self) -> dict[str, str | None]:
        """What each house's happenings are told with, by house."""
        rows = await written(self.database, "happenings")
        return {row["room_id"]: row["part_of"] for row in rows if row["room_id"] is not None}

    async def notices(self, kind: str) -> list[dict[str, Any]]:
        rows = await written(self.database, "notices", kind=kind)
        return sorted(rows, key=lambda row: (row["at_ms"], row["notice_key"]))


async def many_houses(database: Database, houses: int, **figures: float) -> ManyHouses:
    """The farm, with every house judged up to the first minute and good until then."""
    farm = await farmyard.add_farm(database, invented=0)
    since = minute(0) - 10 * DAY_MS
    await _add_houses(database, farm["farm_id"], houses, since)
    await farmyard.add_people(database, farm["farm_id"], since)
    for name, value in figures.items():
        async with database.write() as connection:
            await set_figure(connection, farm["farm_id"], name, value, who="Ines", now_ms=since)
    clock = HandClock(minute(0))
    phones = Phones(clock)
    judge = Judge(database, farm, Catalogue(farm["farm_id"]))
    for room_id in await judge.rooms_due(minute(-1)):
        await judge.judge(room_id, until_ms=minute(-1), now_ms=minute(0))
    return ManyHouses(
        database=database,
        farm=farm,
        houses=houses,
        clock=clock,
        phones=phones,
        judge=judge,
        watch=FarmWatch(database=database, farm=farm, clock=clock),
        address=Address(database=database, farm=farm, clock=clock),
        deliver=Deliver(
            database=database, farm=farm, clock=clock, carriers={Way.TEXT: phones}, writing=Writing(farm=farm)
        ),
    )


async def _add_houses(database: Database, farm_id: int, houses: int, since: Instant) -> None:
    noted = {"recorded_ms": since, "who": "Ines"}
    async with database.write() as connection:
        version = (await crops.profile(connection, farm_id, "shiitake"))["version"]
        stands = {"profile": "shiitake", "version": version, "stage": "pinning", **noted}
        await crops.confirm(connection, farm_id, stands)
        for n in range(1, houses + 1):
            room_id, name = f"house-{n}", f"House {n}"
            room = {"room_id": room_id, "name": name, "text_name": name, "kind": "fruiting"}
            days = {"first_days_end_ms": since, "created_ms": since, "who": "Ines"}
            await rooms.add_room(connection, farm_id, {**room, **days})
            hung = {"probe_id": f"probe-{n}", "room_id": room_id, "place": "middle", "valid_from_ms": since}
            await rooms.place_probe(connection, farm_id, {**hung, **noted})
            batch = {"batch_id": f"SH-{n}", "profile": "shiitake", "version": version, "strain": "", "count": 400}
            await crops.add_batch(connection, farm_id, {**batch, "container": "block", **noted})
            stay = {"batch_id": f"SH-{n}", "valid_from_ms": since, "room_id": room_id, "stage": "pinning"}
            await crops.add_stay(connection, farm_id, {**stay, **noted})


async def _record(database: Database, values: Iterable[tuple[str, Quantity, Instant, float]]) -> None:
    batch = []
    for probe, quantity, at_ms, value in values:
        reading = Reading(probe=ProbeId(probe), quantity=quantity, at_ms=at_ms, value=value)
        incoming = Incoming(topic=f"houseband/tansy/{probe}", payload=b"", received_ms=at_ms + 2 * SECOND_MS)
        decoded = Decoded(understood=(Understood(reading=reading, timed=True),), heard=frozenset({ProbeId(probe)}))
        batch.append((incoming, decoded))
    if batch:
        await record(database, 1, batch)
