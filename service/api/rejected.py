"""Messages that were not understood, with their bytes."""

from __future__ import annotations

import base64
from typing import Annotated

from fastapi import APIRouter, Path, Query
from pydantic import Field

from service.api.access import AskedLimit, AskedSpan, AtDesk
from service.api.fields import Answered, ProbeName
from service.api.moments import Shown
from service.api.problems import declared
from service.storage import views
from service.storage.rows import Record

router = APIRouter(prefix="/rejected", tags=["rejected"])


class RejectedMessage(Answered):
    """A message, or a value of one, that could not be used."""

    rejected_id: str
    received: Shown
    topic: str
    probe_id: str | None
    reason: str
    detail: str
    size: int = Field(description="Bytes in all.")
    message_base64: str = Field(description="In a list, only the beginning; ask for the one to have it whole.")
    message_text: str | None = Field(description="The same as text, where it is text that can be shown.")
    whole: bool


class RejectedMessages(Answered):
    """Messages of a span, newest first."""

    rows: list[RejectedMessage]
    more: bool = Field(description="The span holds more than the limit: ask for a shorter one.")


@router.get("", summary="Messages that were not understood", responses=declared())
async def get_rejected(
    desk: AtDesk,
    span: AskedSpan,
    probe: Annotated[ProbeName | None, Query()] = None,
    limit: AskedLimit = 200,
) -> RejectedMessages:
    async with desk.database.read() as connection:
        rows = await views.newest_rejected(
            connection, desk.farm_id, from_ms=span.from_ms, to_ms=span.to_ms, limit=limit + 1, probe_id=probe
        )
    return RejectedMessages(rows=[_message(row) for row in rows[:limit]], more=len(rows) > limit)


@router.get("/{rejected_id}", summary="One message, whole", responses=declared(404))
async def get_message(
    desk: AtDesk, rejected_id: Annotated[str, Path(pattern=r"^[0-9a-f]{1,64}$")]
) -> RejectedMessage:
    async with desk.database.read() as connection:
        return _message(await views.rejected_message(connection, desk.farm_id, rejected_id))


def _message(row: Record) -> RejectedMessage:
    message = bytes(row["message"])
    whole = len(message) == row["size"]
    return RejectedMessage(
        rejected_id=row["rejected_id"],
        received=row["received_ms"],
        topic=row["topic"],
        probe_id=row["probe_id"],
        reason=row["reason"],
        detail=row["detail"],
        size=row["size"],
        message_base64=base64.b64encode(message).decode(),
        message_text=_as_text(message, whole=whole),
        whole=whole,
    )


def _as_text(message: bytes, *, whole: bool) -> str | None:
    """Return text that can be shown; a letter cut in half at the end of a beginning does not count against it."""
    try:
        text = message.decode()
    except UnicodeDecodeError as error:
        if whole or error.start < len(message) - 3:
            return None
        text = message[: error.start].decode()
    shown = text.replace("\n", "").replace("\r", "").replace("\t", "")
    return text if shown.isprintable() else None
