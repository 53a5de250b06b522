"""What a text gateway brought, taken once: by its web hook, or fetched from it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.model import Instant
from service.errors import PassingError
from service.log import log
from service.messages import Incoming, Reason, Rejected
from service.storage import outbox, readings
from service.storage.database import Connection
from service.watch.desk import Desk
from service.watch.replies import Reply, take_reply
from service.wire.text_hook import Places, ReceiptCame, TextCame, read_receipts, read_texts

TEXTS: Final = "inbound/texts"
RECEIPTS: Final = "inbound/receipts"
"""Where what could not be used is listed, beside the topics of probes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenIn:
    """What came of one body."""

    taken: int
    rejected: tuple[Rejected, ...]


async def take_texts(desk: Desk, body: bytes, places: Places, *, way: str = "text") -> TakenIn:
    """Take every text of a body as an answer; one that was taken before is not taken again.

    Raises:
        PassingError: the database cannot be used just now; what was not taken will come again.
    """
    now_ms = desk.clock.now_ms()
    came = read_texts(body, places, received_ms=now_ms)
    failed = [why for text in came.texts if (why := await take_text(desk, text, now_ms, way=way)) is not None]
    rejected = (*came.rejected, *failed)
    await keep_rejected(desk, TEXTS, body, rejected)
    return TakenIn(taken=len(came.texts) - len(failed), rejected=rejected)


async def take_text(desk: Desk, text: TextCame, now_ms: Instant, *, way: str) -> Rejected | None:
    """Take one text; say why, if that cannot be done. A fault of ours must not keep its neighbours waiting."""
    reply = Reply(
        way=way,
        phone=text.phone,
        person_id=None,
        text=text.text,
        received_ms=now_ms,
        inbound_id=text.inbound_id,
        sent_ms=text.sent_ms,
    )
    try:
        await take_reply(desk, reply)
    except PassingError:
        raise
    except Exception as error:  # noqa: BLE001 - as said above
        log.exception("a text could not be taken", inbound_id=text.inbound_id)
        return Rejected(reason=Reason.NOT_STORED, detail=type(error).__name__)
    return None


async def take_receipts(desk: Desk, body: bytes, places: Places) -> TakenIn:
    """Write down what became of texts of ours.

    Raises:
        PassingError: the database cannot be used just now.
    """
    came = read_receipts(body, places)
    async with desk.database.write() as connection:
        await note_receipts(connection, desk.farm_id, came.receipts, desk.clock.now_ms())
    await keep_rejected(desk, RECEIPTS, body, came.rejected)
    return TakenIn(taken=len(came.receipts), rejected=came.rejected)


async def note_receipts(
    connection: Connection, farm_id: int, receipts: Sequence[ReceiptCame], now_ms: Instant
) -> None:
    """Write down what became of texts of ours, and count what cannot be."""
    counts: Counter[str] = Counter()
    for one in receipts:
        counts["receipts"] += 1
        if one.receipt is None:
            counts["receipts: state without a meaning"] += 1
        elif not await outbox.receipt(
            connection, farm_id, gateway_ref=one.gateway_ref, receipt=one.receipt, at_ms=now_ms
        ):
            counts["receipts: of no text of ours"] += 1
    if counts:
        await readings.tally(connection, farm_id, counts)


async def keep_rejected(desk: Desk, where: str, body: bytes, rejected: tuple[Rejected, ...]) -> None:
    """Keep what could not be used with its bytes, counted, where it is looked for."""
    if not rejected:
        return
    incoming = Incoming(topic=where, payload=body, received_ms=desk.clock.now_ms())
    async with desk.database.write() as connection:
        await readings.keep_rejected(connection, desk.farm_id, [(incoming, why) for why in rejected])
        await readings.tally(connection, desk.farm_id, Counter(f"rejected: {why.reason}" for why in rejected))
