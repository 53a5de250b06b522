"""A week of happenings on the invented farm, written down as if it had been lived: for the Friday page."""

from __future__ import annotations

from datetime import date
from typing import Any, Final

from rules.model import MINUTE_MS, Instant
from service.localtime import at_local
from service.storage import ledger, outbox
from service.storage.database import Database
from service.storage.truths import Harm, What, add_truth
from tests.support import farmyard

FRIDAY: Final = date(2026, 11, 27)
WEEK: Final = (
    # day, minute of the day, room, quantity, side, minutes to an answer (by whom), how often told, what, harm
    (date(2026, 11, 21), 130, "house-3", "humidity", "low", 4, "maria", 1, What.DOOR, Harm.NONE),
    (date(2026, 11, 22), 180, "house-3", "humidity", "low", None, "", 3, What.DOOR, Harm.NONE),
    (date(2026, 11, 24), 200, "house-7", "humidity", "low", 6, "maria", 1, What.GEAR, Harm.SOME),
    (date(2026, 11, 25), 140, "house-7", "temperature", "high", 11, "ben", 2, What.GEAR, None),
    (date(2026, 11, 25), 700, "cooler", "temperature", "high", 0, "ben", 1, What.PROBE, Harm.MUCH),
    (date(2026, 11, 26), 1300, "house-7", "humidity", "low", 2, "maria", 1, None, None),
)


async def live(database: Database, farm: dict[str, Any]) -> None:
    """Write the week down: each row a happening, its notice, whom it was sent to, the answer, what it was."""
    for day, minute, room_id, quantity, side, answered, by, times, what, harm in WEEK:
        at_ms = at_local(day, minute, farm["zone"])
        happening_id = await happen(database, farm, room_id, quantity, side, at_ms=at_ms, times=times)
        async with database.write() as connection:
            if answered is not None:
                said = {"happening_id": happening_id, "person_id": by, "word": "going", "way": "text"}
                await ledger.add_answer(
                    connection, farm["farm_id"], {**said, "at_ms": at_ms + answered * MINUTE_MS}
                )
            if what is not None:
                await add_truth(
                    connection, farm["farm_id"], happening_id, what=what, harm=harm, who="Ines", now_ms=at_ms + 1
                )


async def happen(
    database: Database,
    farm: dict[str, Any],
    room_id: str,
    quantity: str,
    side: str,
    *,
    at_ms: Instant,
    times: int,
    kind: str = "trouble",
) -> str:
    """One happening that was told: to Maria first, then to Ben as well."""
    farm_id, happening_id = farm["farm_id"], f"{room_id}@{at_ms}"
    facts = {"quantity": quantity, "side": side, "room": room_id, "first_check": None}
    times_of = {"at_ms": at_ms, "decided_ms": at_ms, "use_by_ms": at_ms + 60 * MINUTE_MS}
    key = f"{happening_id}/{kind}"
    row = {"notice_key": key, "kind": kind, "telling": "wake", "room_id": room_id, "happening_id": happening_id}
    happened = {"happening_id": happening_id, "room_id": room_id, "began_ms": at_ms, "woke": 1}
    async with database.write() as connection:
        over = {"ended_ms": at_ms + 30 * MINUTE_MS, "closed_ms": None}
        await ledger.save_happening(connection, farm_id, {**happened, **over})
        await ledger.add_notices(connection, farm_id, [{**row, **times_of, "facts": facts}])
        for step in range(times):
            person_id = ("maria", "ben")[step % 2]
            told_ms = at_ms + step * 10 * MINUTE_MS
            delivery = outbox.new_telling(
                delivery_id=f"{key}/{step}",
                notice_key=key,
                step=step,
                person_id=person_id,
                way="text",
                now_ms=told_ms,
            )
            sent = {"state": "sent", "attempts": 1, "first_try_ms": told_ms, "ended_ms": told_ms}
            text = f"{room_id} {quantity} {side}"
            await outbox.add_tellings(connection, farm_id, [{**delivery, **sent, "text": text}])
    return happening_id


async def settle_and_live(database: Database) -> dict[str, Any]:
    """The farm, and its week."""
    farm = await farmyard.settle(database)
    await live(database, farm)
    return farm
