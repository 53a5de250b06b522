"""Readings: as they were measured, out and in."""

from __future__ import annotations

import base64
import binascii
import json
from collections import Counter
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request, Response
from pydantic import Field
from starlette.exceptions import HTTPException

from rules.model import UNIT, Quantity
from service.api.access import AskedSpan, AtDesk, Span
from service.api.fields import Answered, ProbeName, RoomId
from service.api.moments import Shown
from service.api.problems import declared
from service.errors import NotUnderstood
from service.messages import Incoming
from service.storage import rooms
from service.storage.database import Connection
from service.storage.spans import After, Kept, Piece, page, pieces_of_probe, pieces_of_room
from service.watch.record import record
from service.wire.decode import decode_senml_body

router = APIRouter(prefix="/readings", tags=["readings"])

MOST_READINGS: Final = 10_000
KINDS: Final = ("application/senml+json", "application/json", "application/senml+cbor", "application/cbor")
_PACK: Final = {"schema": {"type": "array", "items": {"type": "object"}, "description": "A SenML pack, RFC 8428."}}
_CBOR_PACK: Final = {"schema": {"type": "string", "format": "binary", "description": "The same as CBOR."}}


class Reading(Answered):
    """One value, measured by one probe at one moment."""

    probe: str
    quantity: str
    at: Shown
    value: float
    unit: str | None = Field(description="As SenML writes it; none for a contact, which is 1 (on) or 0 (off).")
    late_ms: int = Field(description="How long after it was measured we had it.")


class Readings(Answered):
    """A page of readings, the oldest first."""

    rows: list[Reading]
    next: str | None = Field(description="Ask again with this as `after`; none at the end.")


class Why(Answered):
    """Why values of a message were not taken, and how many."""

    reason: str
    detail: str = Field(description="Of the first one.")
    count: int


class Taken(Answered):
    """What became of a message."""

    stored: int
    repeated: int = Field(description="There already, with the same value.")
    rejected: list[Why] = Field(description="Kept with the message, and shown under rejected.")


@router.get(
    "",
    summary="Readings of a probe or a room over a span",
    description=(
        "Exactly as stored: nothing rounded, times to the millisecond. Of a room, each probe's readings while it "
        "hung there. Ordered by moment, probe, quantity."
    ),
    responses=declared(404),
)
async def get_readings(
    desk: AtDesk,
    span: AskedSpan,
    *,
    probe: Annotated[ProbeName | None, Query()] = None,
    room: Annotated[RoomId | None, Query()] = None,
    quantity: Annotated[Quantity | None, Query()] = None,
    limit: Annotated[int, Query(ge=1, le=MOST_READINGS)] = 1000,
    after: Annotated[str | None, Query(max_length=400, description="The `next` of the page before.")] = None,
) -> Readings:
    behind = None if after is None else _read_cursor(after)
    async with desk.database.read() as connection:
        pieces = await _pieces(connection, desk.farm_id, probe, room, span)
        wanted = [piece for piece in pieces if quantity is None or piece.quantity == quantity.value]
        found = await page(connection, desk.farm_id, wanted, after=behind, limit=limit + 1)
    last = found[limit - 1] if len(found) > limit else None
    return Readings(rows=[_reading(kept) for kept in found[:limit]], next=None if last is None else _cursor(last))


async def _pieces(
    connection: Connection, farm_id: int, probe: str | None, room: str | None, span: Span
) -> list[Piece]:
    bounds = {"from_ms": span.from_ms, "to_ms": span.to_ms}
    if probe is not None and room is None:
        return await pieces_of_probe(connection, farm_id, probe, **bounds)
    if room is not None and probe is None:
        await rooms.room(connection, farm_id, room)
        return await pieces_of_room(connection, farm_id, room, **bounds)
    raise NotUnderstood("name a probe or a room, one of the two")


@router.post(
    "",
    status_code=202,
    summary="Send readings as a SenML pack",
    description=(
        "Names are probe/quantity, as on the farm's own topic. JSON or CBOR, by content type. 202 when something "
        "was stored (it is judged a little later), 200 when there was nothing new. What could not be used is kept "
        "and named; the rest of its pack counts all the same."
    ),
    responses={
        200: {"description": "Nothing new in it.", "model": Taken},
        **declared(413, 415),
    },
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {kind: _CBOR_PACK if kind.endswith("cbor") else _PACK for kind in KINDS},
        }
    },
)
async def post_readings(desk: AtDesk, request: Request, response: Response) -> Taken:
    content_type = request.headers.get("content-type")
    if (content_type or "").partition(";")[0].strip().lower() not in KINDS:
        raise HTTPException(415, f"Send a SenML pack as one of {', '.join(KINDS)}.")
    body, now_ms = await request.body(), desk.clock.now_ms()
    incoming = Incoming(topic="http", payload=body, received_ms=now_ms, content_type=content_type)
    decoded = decode_senml_body(body, content_type=content_type, received_ms=now_ms)
    recorded = await record(desk.database, desk.farm_id, [(incoming, decoded)])
    if recorded.rooms:
        desk.recorded(recorded.rooms)
    response.status_code = 202 if recorded.stored else 200
    counts = Counter(why.reason.value for why in recorded.refused)
    first = {why.reason.value: why.detail for why in reversed(recorded.refused)}
    whys = [Why(reason=reason, detail=first[reason], count=number) for reason, number in counts.items()]
    return Taken(stored=recorded.stored, repeated=recorded.repeated, rejected=whys)


def _reading(kept: Kept) -> Reading:
    return Reading(
        probe=kept.probe,
        quantity=kept.quantity,
        at=kept.at_ms,
        value=kept.value,
        unit=UNIT.get(Quantity(kept.quantity)),
        late_ms=kept.late_ms,
    )


def _cursor(last: Kept) -> str:
    return base64.urlsafe_b64encode(json.dumps([last.at_ms, last.probe, last.quantity]).encode()).decode()


def _read_cursor(text: str) -> After:
    try:
        at_ms, probe, quantity = json.loads(base64.b64decode(text, altchars=b"-_", validate=True))
    except (ValueError, TypeError, binascii.Error, RecursionError) as error:
        raise NotUnderstood("`after` is not the `next` of a page") from error
    if type(at_ms) is not int or not isinstance(probe, str) or not isinstance(quantity, str):
        raise NotUnderstood("`after` is not the `next` of a page")
    return (at_ms, probe, quantity)
