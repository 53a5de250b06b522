"""What goes with a message beside its words: the picture in a mail, and for machines what was said before."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from rules.model import Instant
from service.log import log
from service.notifications.carriers.message import Message
from service.notifications.routing import Way
from service.reports.last_hours import last_hours
from service.storage import outbox
from service.storage.database import Connection
from service.storage.rows import Record
from service.wording.units import Units

_REACHED: Final = frozenset({outbox.SENT, outbox.UNSURE})


async def with_picture(
    connection: Connection, farm: Record, row: Record, message: Message, *, units: Units, now_ms: Instant
) -> Message:
    """The message with its room's last hours, if it is about a room and a quantity.

    A picture that cannot be drawn keeps no mail back.
    """
    facts = row["facts"]
    if row["room_id"] is None or "quantity" not in facts:
        return message
    try:
        picture = await last_hours(
            connection, farm, row["room_id"], facts, now_ms=now_ms, units=units, language=message.language
        )
    except Exception:  # noqa: BLE001 - as said above
        log.exception("picture could not be drawn", notice=row["notice_key"])
        return message
    return message if picture is None else replace(message, image=picture.png, image_alt=picture.alt)


async def with_earlier(connection: Connection, farm_id: int, row: Record, message: Message) -> Message:
    """The message with its own moment, and key and moment of what the same machine was told of it before.

    A machine that speaks CAP takes the later message in place of those, by exactly these moments.
    """
    facts = {**(message.facts or {}), "at_ms": row["at_ms"]}
    if row["happening_id"] is None:
        return replace(message, facts=facts)
    told = await outbox.tellings_of(connection, farm_id, row["happening_id"])
    earlier = [
        [one["delivery_id"], one["at_ms"]]
        for one in told
        if (one["person_id"], one["way"]) == (row["person_id"], Way.WEBHOOK)
        and one["state"] in _REACHED
        and one["delivery_id"] != row["delivery_id"]
    ]
    return replace(message, facts={**facts, "earlier": earlier} if earlier else facts)
