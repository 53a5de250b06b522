"""What a gateway says became of a text, on both databases."""

from __future__ import annotations

from typing import Any

import pytest

from service.storage import outbox
from service.storage.database import Database
from tests.support.written import written

SAID_MS = 1_000


async def sent(database: Database, ref: str, *, state: str = outbox.SENT) -> str:
    notice: dict[str, Any] = {
        "notice_key": f"test/{ref}",
        "kind": "trial",
        "room_id": None,
        "happening_id": None,
        "at_ms": 1,
        "decided_ms": 1,
        "use_by_ms": 9,
        "facts": {},
    }
    async with database.write() as connection:
        delivery_id = await outbox.add_direct(connection, 1, notice, person_id="maria", way="text")
        attempt = {"attempt": 1, "at_ms": 2, "outcome": "accepted", "detail": "taken"}
        done = {"state": state, "gateway_ref": ref, "ended_ms": 2, "detail": "taken"}
        await outbox.end_attempt(connection, 1, delivery_id, attempt=attempt, telling=done)
    return delivery_id


async def say(database: Database, ref: str, *states: str) -> list[bool]:
    found = []
    for number, state in enumerate(states):
        async with database.write() as connection:
            at_ms = SAID_MS + number
            found.append(await outbox.receipt(connection, 1, gateway_ref=ref, receipt=state, at_ms=at_ms))
    return found


@pytest.mark.parametrize(
    ("states", "state", "receipt", "at_ms"),
    [
        (["on its way"], "sent", None, None),
        (["delivered"], "sent", "delivered", SAID_MS),
        (["failed"], "gave up", "failed", SAID_MS),
        (["failed", "failed"], "gave up", "failed", SAID_MS),
        (["failed", "on its way"], "gave up", "failed", SAID_MS),
        (["delivered", "failed", "delivered"], "sent", "delivered", SAID_MS),
        (["on its way", "failed", "delivered"], "sent", "delivered", SAID_MS + 2),
    ],
)
async def test_receipts_in_any_order(
    database: Database, states: list[str], state: str, receipt: str | None, at_ms: int | None
) -> None:
    telling, other = await sent(database, "g-1"), await sent(database, "g-2")
    assert await say(database, "g-1", *states) == [True] * len(states)
    [row] = await written(database, "deliveries", delivery_id=telling)
    assert (row["state"], row["receipt"], row["receipt_ms"]) == (state, receipt, at_ms)
    [row] = await written(database, "deliveries", delivery_id=other)
    assert (row["state"], row["receipt"]) == ("sent", None)


async def test_a_cancelled_telling_stays_cancelled(database: Database) -> None:
    telling = await sent(database, "g-1")
    async with database.write() as connection:
        await outbox.begin_attempt(connection, 1, telling, {"state": outbox.CANCELLED})
    await say(database, "g-1", "failed")
    [row] = await written(database, "deliveries", delivery_id=telling)
    assert (row["state"], row["receipt"]) == ("cancelled", "failed")


async def test_a_name_that_no_text_has_is_known_as_such(database: Database) -> None:
    await sent(database, "g-1")
    assert await say(database, "g-9", "failed") == [False]
