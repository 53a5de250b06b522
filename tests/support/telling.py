"""The telling half of the line on the invented farm: address and deliver to a real HTTP gateway, tick by tick."""

from __future__ import annotations

import json
from collections.abc import AsyncGenerator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any

import httpx

from rules.model import Instant
from service.notifications.address import Address
from service.notifications.carriers.message import Carrier
from service.notifications.carriers.text import TextCarrier, TextGateway
from service.notifications.deliver import Deliver
from service.notifications.routing import Way
from service.notifications.writing import Writing
from service.storage import people
from service.storage.database import Database
from tests.support.clock import HandClock
from tests.support.text_gateway import PretendGateway, pretend_gateway
from tests.support.watched import minute
from tests.support.written import written

FIELDS = {"to": "{to}", "text": "{text}", "key": "{key}"}
PHONES = {"+12025550141": "maria", "+12025550142": "ben"}


@dataclass(slots=True, kw_only=True)
class Teller:
    """Addresses and delivers as the service's tick does."""

    database: Database
    farm: dict[str, Any]
    gateway: PretendGateway
    clock: HandClock
    address: Address
    deliver: Deliver

    async def at(self, *minutes: float) -> None:
        """One tick at each of these minutes."""
        for count in minutes:
            await self.at_ms(minute(count))

    async def at_ms(self, now_ms: Instant) -> None:
        self.clock.set(now_ms)
        await self.address.all_notices()
        await self.deliver.all_due()

    def heard(self) -> list[tuple[str, str]]:
        """(person, text) of everything the gateway was asked to send, in order."""
        return [(PHONES[one["to"]], one["text"]) for one in self.asked()]

    def people(self) -> list[str]:
        return [person for person, _ in self.heard()]

    def asked(self) -> list[dict[str, str]]:
        return [json.loads(one.body) for one in self.gateway.asked]

    async def deliveries(self, **wanted: Any) -> list[dict[str, Any]]:
        rows = await written(self.database, "deliveries", **wanted)
        return sorted(rows, key=lambda row: (row["notice_key"], row["step"], row["person_id"]))

    async def states(self) -> dict[str, str]:
        return {row["person_id"]: row["state"] for row in await self.deliveries()}


@asynccontextmanager
async def teller(
    database: Database, farm: dict[str, Any], *, carriers: Mapping[Way, Carrier] | None = None
) -> AsyncGenerator[Teller]:
    with pretend_gateway() as gateway:
        async with httpx.AsyncClient() as client:
            settings = TextGateway(url=f"{gateway.url}/send", fields=FIELDS, timeout_s=2)
            clock = HandClock(minute(0))
            given = {Way.TEXT: TextCarrier(settings, client)} if carriers is None else carriers
            yield Teller(
                database=database,
                farm=farm,
                gateway=gateway,
                clock=clock,
                address=Address(database=database, farm=farm, clock=clock, ways=frozenset(given)),
                deliver=Deliver(
                    database=database, farm=farm, clock=clock, carriers=given, writing=Writing(farm=farm)
                ),
            )


async def add_person(database: Database, person_id: str, phone: str | None, *, units: str = "metric") -> None:
    async with database.write() as connection:
        known = {"person_id": person_id, "name": person_id.title(), "phone": phone, "email": None, "units": units}
        noted = {"language": "en", "active": 1, "recorded_ms": minute(0), "who": "Ines"}
        await people.save_person(connection, 1, {**known, **noted})


async def set_call_list(database: Database, *lines: tuple[str, int]) -> None:
    """The same by day and by night: (person, minutes after the first)."""
    async with database.write() as connection:
        for daypart in ("day", "night"):
            rows = [(who, after * 60_000) for who, after in lines]
            await people.set_call_list(connection, 1, daypart, rows, who="Ines", recorded_ms=0)
