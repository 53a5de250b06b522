"""House 7 of the invented farm gone dry at night, and an answering link about it for somebody."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from rules.model import Instant
from service.storage.database import Database
from service.watch.links import link_secret, make_link
from tests.support.watched import DRY, DRY_HALF_HOUR, hear, judge_at, minute, watched_farm
from tests.support.written import written

OPEN_AT = 16
"""House 7 is raised at minute 13; at this one somebody looks."""
LINK_MINUTES = 12 * 60


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkFarm:
    """The farm with its trouble, and the secret that its links are signed with."""

    database: Database
    farm: dict[str, Any]
    happening_id: str
    secret: str

    async def link(
        self,
        person_id: str = "maria",
        *,
        delivery_id: str = "telling-1",
        made: float = OPEN_AT,
        expires_ms: Instant | None = None,
        happening_id: str | None = None,
    ) -> str:
        """Give somebody a link, as a telling would; it works for twelve hours."""
        async with self.database.write() as connection:
            return await make_link(
                connection,
                self.farm["farm_id"],
                secret=self.secret,
                person_id=person_id,
                happening_id=happening_id or self.happening_id,
                delivery_id=delivery_id,
                now_ms=minute(made),
                expires_ms=minute(made + LINK_MINUTES) if expires_ms is None else expires_ms,
            )

    async def words(self) -> list[tuple[str, str, str]]:
        """Every answer that was written down: who, what, by which way."""
        rows = await written(self.database, "answers")
        return [(row["person_id"], row["word"], row["way"]) for row in rows]

    async def come_back(self) -> None:
        """House 7 is well again from minute 30 on."""
        await hear(self.database, DRY_HALF_HOUR[16:], start=16)
        await judge_at(self.database, self.farm, 40)


async def dry_house(database: Database) -> LinkFarm:
    """House 7, below its limit and told at minute 13."""
    farm = await watched_farm(database)
    await hear(database, [*DRY_HALF_HOUR[:15], DRY])
    await judge_at(database, farm, OPEN_AT)
    [happening] = await written(database, "happenings")
    async with database.write() as connection:
        secret = await link_secret(connection, farm["farm_id"])
    return LinkFarm(database=database, farm=farm, happening_id=happening["happening_id"], secret=secret)
