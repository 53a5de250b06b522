"""Notices that are being told, and each telling of one to one person by one way.

States of a telling: ``waiting``, then ``sent`` | ``gave up`` | ``missed`` (too late to be useful) | ``cancelled``
(answered or over before it went out) | ``unsure`` (cancelled after a try of which we
never heard: it may have arrived).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from uuid import NAMESPACE_URL, uuid5

from sqlalchemy import func, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant
from service.storage.insert import insert_into
from service.storage.rows import Record, many, one
from service.storage.tables import answers, attempts, deliveries, happenings, notices

WAITING, SENT, GAVE_UP, MISSED, CANCELLED = "waiting", "sent", "gave up", "missed", "cancelled"
UNSURE = "unsure"
DELIVERED, FAILED = "delivered", "failed"
"""What a gateway says of a text that it took."""
DIRECT = "direct"
"""The telling of a notice that is for one person and nobody else."""
TO_THOSE_WOKEN = ("back", "held", "taken", "heard", "site back", "came out")
"""Kinds of notices that only those hear who were told of the happening before."""
OF_LIMITS = ("trouble", "deeper", "also", "back", "held")
"""Kinds of notices that come from a room's limits and nothing else."""
IN_THE_SUMMARY = "in the summary"
"""The detail of a telling that did not go out by itself, because its person had too many in that hour."""
BY_PHONE = ("text", "voice")
TRIES_IN_VAIN = 3
"""Of so many tries none was taken: that is no hiccup."""
OF_A_NOTICE = ("kind", "telling", "facts", "use_by_ms", "happening_id", "room_id", "at_ms", "addressed")
"""What whoever delivers needs to know of a telling's notice."""
ON_ITS_WAY = "on its way"
"""The detail of a telling between handing it over and hearing what became of it."""
_TOLD_DOWN_A_LIST = notices.c.telling.in_(("wake", "danger")) & notices.c.kind.not_in(TO_THOSE_WOKEN)


async def unaddressed(connection: AsyncConnection, farm_id: int) -> list[Record]:
    """Notices whose telling is not finished, oldest first."""
    n = notices.c
    statement = select(notices).where(n.farm_id == farm_id, n.addressed == 0).order_by(n.decided_ms, n.notice_key)
    return [_with_facts(row) for row in await many(connection, statement)]


async def open_notice(connection: AsyncConnection, farm_id: int, notice_key: str) -> Record | None:
    """One notice whose telling is not finished, held for this transaction: an answer waits, or is waited for."""
    n = notices.c
    statement = (
        select(notices).where(n.farm_id == farm_id, n.notice_key == notice_key, n.addressed == 0).with_for_update()
    )
    row = await one(connection, statement)
    return None if row is None else _with_facts(row)


async def notices_between(
    connection: AsyncConnection, farm_id: int, *, from_ms: Instant, to_ms: Instant
) -> list[Record]:
    """Notices about moments from ``from_ms`` (inclusive) to ``to_ms`` (exclusive), oldest first."""
    n = notices.c
    statement = (
        select(notices)
        .where(n.farm_id == farm_id, n.at_ms >= from_ms, n.at_ms < to_ms)
        .order_by(n.at_ms, n.notice_key)
    )
    return [_with_facts(row) for row in await many(connection, statement)]


def _with_facts(row: Record) -> Record:
    return {**row, "facts": json.loads(row["facts"])}


async def set_facts(connection: AsyncConnection, farm_id: int, notice_key: str, facts: Record) -> None:
    """Write what those will read who are told of a notice from now on."""
    mine = (notices.c.farm_id == farm_id) & (notices.c.notice_key == notice_key)
    await connection.execute(update(notices).where(mine).values(facts=json.dumps(facts)))


async def finish_addressing(connection: AsyncConnection, farm_id: int, notice_key: str) -> None:
    """Nobody further will be told of this notice."""
    mine = (notices.c.farm_id == farm_id) & (notices.c.notice_key == notice_key)
    await connection.execute(update(notices).where(mine).values(addressed=1))


async def tellings_of(connection: AsyncConnection, farm_id: int, happening_id: str) -> list[Record]:
    """Every telling of every notice of a happening, with the kind of its notice."""
    d, n = deliveries.c, notices.c
    statement = (
        select(deliveries, n.kind, n.at_ms)
        .join(notices, (n.farm_id == d.farm_id) & (n.notice_key == d.notice_key))
        .where(d.farm_id == farm_id, n.happening_id == happening_id)
        .order_by(n.at_ms, d.step, d.person_id)
    )
    return await many(connection, statement)


async def answers_of(connection: AsyncConnection, farm_id: int, happening_id: str) -> list[Record]:
    """What people answered, in order."""
    a = answers.c
    statement = select(answers).where(a.farm_id == farm_id, a.happening_id == happening_id).order_by(a.at_ms)
    return await many(connection, statement)


async def answers_since(connection: AsyncConnection, farm_id: int, from_ms: Instant) -> list[Record]:
    """What people answered since a moment, in order, each with room and end of what it was about."""
    a, h = answers.c, happenings.c
    statement = (
        select(answers, h.room_id, h.ended_ms)
        .join(happenings, (h.farm_id == a.farm_id) & (h.happening_id == a.happening_id))
        .where(a.farm_id == farm_id, a.at_ms >= from_ms)
        .order_by(a.at_ms)
    )
    return await many(connection, statement)


async def add_tellings(connection: AsyncConnection, farm_id: int, rows: Sequence[Record]) -> None:
    """Add tellings; (notice, step, person, way) is there once only."""
    if rows:
        statement = insert_into(connection, deliveries).on_conflict_do_nothing()
        await connection.execute(statement, [{**row, "farm_id": farm_id} for row in rows])


async def add_direct(
    connection: AsyncConnection, farm_id: int, notice: Record, *, person_id: str, way: str
) -> str:
    """A message to one person and nobody else: its notice and its only telling. Said twice, it is there once.

    Args:
        connection: of the transaction that it belongs to.
        farm_id: the farm.
        notice: ``notice_key``, ``kind``, ``room_id``, ``happening_id``, ``at_ms``, ``decided_ms``, ``use_by_ms``
            and ``facts``.
        person_id: who is told.
        way: by which way.

    Returns:
        The telling's id.
    """
    row = {**notice, "telling": DIRECT, "facts": json.dumps(notice["facts"]), "addressed": 1, "farm_id": farm_id}
    await connection.execute(insert_into(connection, notices).values(row).on_conflict_do_nothing())
    delivery_id = telling_key(farm_id, notice["notice_key"], step=0, person_id=person_id, way=way)
    telling = new_telling(
        delivery_id=delivery_id,
        notice_key=notice["notice_key"],
        step=0,
        person_id=person_id,
        way=way,
        now_ms=notice["decided_ms"],
    )
    await add_tellings(connection, farm_id, [telling])
    return delivery_id


def telling_key(farm_id: int, notice_key: str, *, step: int, person_id: str, way: str) -> str:
    """The idempotency key of a telling: the same whenever and wherever it is worked out."""
    return uuid5(NAMESPACE_URL, f"houseband:{farm_id}/{notice_key}/{step}/{person_id}/{way}").hex


def new_telling(
    *, delivery_id: str, notice_key: str, step: int, person_id: str, way: str, now_ms: Instant
) -> Record:
    """A telling that nobody has tried yet."""
    return {
        "delivery_id": delivery_id,
        "notice_key": notice_key,
        "step": step,
        "person_id": person_id,
        "way": way,
        "state": WAITING,
        "attempts": 0,
        "added_ms": now_ms,
        "next_ms": now_ms,
        "claimed_until_ms": 0,
        "first_try_ms": None,
        "ended_ms": None,
        "detail": "",
        "text": "",
    }


async def claim_due(
    connection: AsyncConnection,
    farm_id: int,
    *,
    now_ms: Instant,
    until_ms: Instant,
    limit: int,
    but_ways: Sequence[str] = (),
) -> list[Record]:
    """Take tellings that are due, for this worker, until ``until_ms``; with their notice's kind and facts.

    Those by a way in ``but_ways`` are left for later.
    """
    d, n = deliveries.c, notices.c
    due = (
        select(deliveries, *(n[name] for name in OF_A_NOTICE))
        .join(notices, (n.farm_id == d.farm_id) & (n.notice_key == d.notice_key))
        .where(d.farm_id == farm_id, d.state == WAITING, d.next_ms <= now_ms, d.claimed_until_ms <= now_ms)
        .where(d.way.not_in(but_ways))
        .order_by(d.next_ms, d.delivery_id)
        .limit(limit)
        .with_for_update(skip_locked=True, of=deliveries)
    )
    rows = await many(connection, due)
    if not rows:
        return []
    ids = [row["delivery_id"] for row in rows]
    mine = (d.farm_id == farm_id) & d.delivery_id.in_(ids)
    await connection.execute(update(deliveries).where(mine).values(claimed_until_ms=until_ms))
    return [_with_facts(row) for row in rows]


async def begin_attempt(connection: AsyncConnection, farm_id: int, delivery_id: str, values: Record) -> None:
    """Write the text down before it is sent for the first time: a later try says the same."""
    mine = (deliveries.c.farm_id == farm_id) & (deliveries.c.delivery_id == delivery_id)
    await connection.execute(update(deliveries).where(mine).values(**values))


async def end_attempt(
    connection: AsyncConnection, farm_id: int, delivery_id: str, *, attempt: Record, telling: Record
) -> None:
    """Append what a try came to, and what becomes of the telling.

    A telling that was cancelled while it was on its way stays cancelled, unless it has in fact arrived.
    """
    row = {"farm_id": farm_id, "delivery_id": delivery_id, **attempt}
    await connection.execute(insert_into(connection, attempts).values(row).on_conflict_do_nothing())
    d = deliveries.c
    mine = (d.farm_id == farm_id) & (d.delivery_id == delivery_id)
    if telling["state"] != SENT:
        mine &= d.state == WAITING
    await connection.execute(update(deliveries).where(mine).values(**telling))


async def open_again(connection: AsyncConnection, farm_id: int, happening_id: str, *, use_by_ms: Instant) -> None:
    """Whoever was going cannot after all: the next people are told, of the newest that there is to tell.

    However old it is, it goes on: it is of use again, up to ``use_by_ms``.
    """
    n = notices.c
    mine = (n.farm_id == farm_id) & (n.happening_id == happening_id) & _TOLD_DOWN_A_LIST
    newest = select(n.notice_key).where(mine).order_by(n.decided_ms.desc(), n.notice_key).limit(1)
    key = await connection.scalar(newest)
    again = (n.farm_id == farm_id) & (n.notice_key == key)
    await connection.execute(update(notices).where(again).values(addressed=0))
    await connection.execute(update(notices).where(again, n.use_by_ms < use_by_ms).values(use_by_ms=use_by_ms))


async def reached_nobody(connection: AsyncConnection, farm_id: int, happening_id: str) -> bool:
    """Whether people were to be told of a happening, and none of it arrived, or may yet."""
    told = [t for t in await tellings_of(connection, farm_id, happening_id) if not t["person_id"].startswith("@")]
    return bool(told) and not any(may_reach(t) for t in told)


def may_reach(telling: Record) -> bool:
    """Whether a telling went out, may yet, or stands in a summary."""
    return telling["state"] in {WAITING, SENT, UNSURE} or telling["detail"] == IN_THE_SUMMARY


async def newest_notice(connection: AsyncConnection, farm_id: int, happening_id: str) -> Record | None:
    """The newest notice of a happening that was to be told down the call list."""
    n = notices.c
    mine = (n.farm_id == farm_id) & (n.happening_id == happening_id) & n.kind.not_in(TO_THOSE_WOKEN)
    statement = select(notices).where(mine).order_by(n.decided_ms.desc(), n.notice_key).limit(1)
    row = await one(connection, statement)
    return None if row is None else _with_facts(row)


async def end_decided_ms(connection: AsyncConnection, farm_id: int, happening_id: str) -> Instant | None:
    """When it was found that a happening is over; its end itself lies a little before."""
    n = notices.c
    mine = (n.farm_id == farm_id) & (n.happening_id == happening_id) & n.kind.in_(TO_THOSE_WOKEN)
    ends = mine & (n.kind != "taken")
    found: Instant | None = await connection.scalar(select(func.max(n.decided_ms)).where(ends))
    return found


async def release_claims(connection: AsyncConnection, farm_id: int) -> None:
    """After a start: whatever a worker that is no more had taken is free again."""
    d = deliveries.c
    mine = (d.farm_id == farm_id) & (d.state == WAITING)
    await connection.execute(update(deliveries).where(mine).values(claimed_until_ms=0))


async def cancel_waiting(
    connection: AsyncConnection,
    farm_id: int,
    happening_id: str,
    *,
    at_ms: Instant,
    why: str,
    spare: Sequence[str] = ("back",),
) -> None:
    """Nothing of this happening that is not on its way goes out any more, and nobody further is told.

    Kinds of notices in ``spare`` go out all the same.
    """
    here = select(notices.c.notice_key).where(
        notices.c.farm_id == farm_id, notices.c.happening_id == happening_id, notices.c.kind.not_in(spare)
    )
    # Notices first: whoever is addressing one of them has then either finished, and is seen, or not begun.
    stops = (notices.c.farm_id == farm_id) & notices.c.notice_key.in_(here)
    await connection.execute(update(notices).where(stops).values(addressed=1))
    d = deliveries.c
    mine = (d.farm_id == farm_id) & d.notice_key.in_(here) & (d.state == WAITING) & (d.claimed_until_ms <= at_ms)
    for state, which in ((UNSURE, d.detail == ON_ITS_WAY), (CANCELLED, d.detail != ON_ITS_WAY)):
        await connection.execute(
            update(deliveries).where(mine, which).values(state=state, ended_ms=at_ms, detail=why)
        )


async def receipt(
    connection: AsyncConnection, farm_id: int, *, gateway_ref: str, receipt: str, at_ms: Instant
) -> bool:
    """What the gateway says became of a text that it took: ``delivered``, ``failed``, or ``on its way``.

    "Delivered" stands, whatever comes after it. With "failed" the telling is given up, so that others are told.

    Returns:
        Whether there is a telling that the gateway knows by this name.
    """
    d = deliveries.c
    mine = (d.farm_id == farm_id) & (d.gateway_ref == gateway_ref) & (d.way == "text")  # calls have names too
    if await connection.scalar(select(d.delivery_id).where(mine).limit(1)) is None:
        return False
    noted = {"receipt": receipt, "receipt_ms": at_ms}
    if receipt == DELIVERED:
        late = mine & (d.receipt == FAILED) & (d.state == GAVE_UP)
        await connection.execute(update(deliveries).where(late).values(state=SENT, detail="delivered after all"))
        await connection.execute(
            update(deliveries).where(mine, d.receipt.is_distinct_from(DELIVERED)).values(**noted)
        )
    elif receipt == FAILED:
        sent = mine & d.receipt.is_(None) & (d.state == SENT)
        lost = list(await connection.scalars(select(d.notice_key).where(sent)))
        gone = {"state": GAVE_UP, "ended_ms": at_ms, "detail": "the gateway says that it did not arrive"}
        await connection.execute(update(deliveries).where(sent).values(**noted, **gone))
        await connection.execute(update(deliveries).where(mine, d.receipt.is_(None)).values(**noted))
        await _open_after_loss(connection, farm_id, lost, at_ms)
    return True


async def _open_after_loss(
    connection: AsyncConnection, farm_id: int, notice_keys: Sequence[str], now_ms: Instant
) -> None:
    """Others may be told of these now, though everybody seemed to have been; not of what is over or held back."""
    n, h, later = notices.c, happenings.c, notices.alias()
    goes_on = select(h.happening_id).where(h.farm_id == farm_id, h.ended_ms.is_(None), h.part_of.is_(None))
    since = (later.c.farm_id == farm_id) & (later.c.decided_ms >= n.decided_ms)
    held = (
        select(later.c.notice_key)
        .where(since, later.c.happening_id == n.happening_id, later.c.kind == "held")
        .correlate(notices)
    )
    mine = (n.farm_id == farm_id) & n.notice_key.in_(notice_keys) & n.happening_id.in_(goes_on) & ~held.exists()
    useful = _TOLD_DOWN_A_LIST & (n.use_by_ms > now_ms)
    await connection.execute(update(notices).where(mine, useful).values(addressed=0))


async def turned_down_since_ms(connection: AsyncConnection, farm_id: int) -> Instant | None:
    """Since when a text or call is tried in vain, again and again; ``None`` while none is."""
    d = deliveries.c
    failing = (d.farm_id == farm_id) & (d.state == WAITING) & (d.attempts >= TRIES_IN_VAIN) & d.way.in_(BY_PHONE)
    found: Instant | None = await connection.scalar(select(func.min(d.first_try_ms)).where(failing))
    return found


async def untried_since_ms(connection: AsyncConnection, farm_id: int, now_ms: Instant) -> Instant | None:
    """Since when the longest waiting telling is due and in nobody's hands; ``None`` if there is none."""
    d = deliveries.c
    due = (d.farm_id == farm_id) & (d.state == WAITING) & (d.next_ms <= now_ms) & (d.claimed_until_ms <= now_ms)
    found: Instant | None = await connection.scalar(select(func.min(d.next_ms)).where(due))
    return found
